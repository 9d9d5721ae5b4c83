"""What a layer is taken for, by what it holds and by the feature classes of S-57 (IHO S-57 edition 3.1, appendix A).

Attributes as there: DRVAL1 and DRVAL2 depth range values, VALDCO value of depth contour, VALSOU value of sounding,
CATZOC category of zone of confidence in data, RESTRN restriction. Depths are metres below the sounding datum.
"""

from __future__ import annotations

import dataclasses
import itertools
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import shapely

from ...errors import UsageError
from ...text import how_many
from .chosen_column import choose_column, stated_column, unit_column
from .depth_cells import without_marks
from .depth_columns import (
    GEOMETRY_Z,
    ROLE_WORDS,
    Candidate,
    candidates,
    ends_of_ranges,
    words_of,
    z_of,
)
from .found import DEPTH_ROLES, FoundLayer, Questions

if TYPE_CHECKING:
    from geopandas import GeoDataFrame

    from .found import FileWishes

# Class -> role, column of the depth.
CLASSES: Final[dict[str, tuple[str, str]]] = {
    "DEPARE": ("depth-areas", ""),
    "DRGARE": ("depth-areas", ""),
    "DEPCNT": ("contours", "VALDCO"),
    "SOUNDG": ("soundings", "DEPTH"),
    "OBSTRN": ("hazards", "VALSOU"),
    "WRECKS": ("hazards", "VALSOU"),
    "UWTROC": ("hazards", "VALSOU"),
    "LNDARE": ("islands", ""),
    "COALNE": ("shoreline", ""),
    "SLCONS": ("shoreline", ""),
    "LAKARE": ("shoreline", ""),
    "LAKSHR": ("shoreline", ""),
    "RESARE": ("zones", ""),
    "CTNARE": ("zones", ""),
    "SLIPWY": ("ramps", ""),
    "M_QUAL": ("quality", ""),
}
KINDS: Final = {"OBSTRN": "obstruction", "WRECKS": "wreck", "UWTROC": "rock"}
_BY_COLUMN: Final = {"DRVAL1": "DEPARE", "VALDCO": "DEPCNT", "CATZOC": "M_QUAL"}
# CATZOC -> depth error (95 %): metres, and share of the depth; S-57 appendix A, attribute CATZOC (from memory).
_ZONES_OF_CONFIDENCE: Final = {1: (0.5, 0.01), 2: (1.0, 0.02), 3: (1.0, 0.02), 4: (2.0, 0.05)}
# RESTRN: what keeps a boat out, or slow; the others are for a person to judge.
_CLOSED: Final = {"7": "entry prohibited", "8": "entry restricted", "14": "area to be avoided"}
_SLOW: Final = {"13": "no wake", "27": "speed restricted"}


def class_of(found: FoundLayer) -> str:
    """Tell the feature class of a layer, by its name or its attributes; empty where it is none."""
    if found.standard in CLASSES:
        return found.standard
    for stem in reversed(found.stems):
        if stem.upper() in CLASSES:
            return stem.upper()
    if found.frame is not None:
        columns = {str(c).upper() for c in found.frame.columns}
        return next((name for column, name in _BY_COLUMN.items() if column in columns), "")
    return ""


def error_of(quality: GeoDataFrame, deepest_m: float) -> tuple[float, str]:
    """Tell the depth error that zones of confidence state, the worst counting; 0 where they state none."""
    import pandas as pd

    codes = pd.to_numeric(quality["CATZOC"], errors="coerce").dropna().astype(int)
    known = [_ZONES_OF_CONFIDENCE[int(code)] for code in codes if int(code) in _ZONES_OF_CONFIDENCE]
    if not known:
        return 0.0, ""
    error = max(base + share * deepest_m for base, share in known)
    return float(
        error
    ), f"CATZOC {', '.join(str(c) for c in sorted(set(codes)))}: {error:.3g} m at {deepest_m:.3g} m"


def zone_of(row: dict[str, Any]) -> tuple[str, str]:
    """Tell the zone a restriction makes, and why; no zone where it is for a person to judge."""
    codes = [c.strip(" []()'\"") for c in str(row.get("RESTRN") or "").replace(";", ",").split(",")]
    inform = str(row.get("INFORM") or "").strip()
    told = f": {inform}" if inform and inform.lower() not in ("nan", "none") else ""
    for table, zone in ((_CLOSED, "no_entry"), (_SLOW, "slow")):
        for code in codes:
            if code in table:
                return zone, f"{table[code]}{told}"
    named = ", ".join(c for c in codes if c and c.lower() not in ("nan", "none"))
    return "", f"restriction {named or 'not told'}{told}"


def catalogued(found: FoundLayer) -> np.ndarray[Any, Any]:
    """Give the depths of a class whose geometry carries them: soundings (z positive down)."""
    import shapely

    assert found.frame is not None
    return np.asarray(shapely.get_z(found.frame.geometry.to_numpy()), dtype=float)


_SHAPES: Final = {0: "point", 4: "point", 1: "line", 2: "line", 5: "line", 3: "polygon", 6: "polygon"}
_MANY: Final = 50
_OF_ERRORS: Final = {
    "confidence",
    "uncertainty",
    "uncert",
    "error",
    "errors",
    "sigma",
    "std",
    "stdev",
    "quality",
}
_OWN: Final = {
    "shoreline": "shoreline", "contours": "contours", "soundings": "soundings", "ramps": "ramps", "zones": "zones",
    "known_hazards": "hazards", "spots": "spots", "landmarks": "ignore", "depth_areas": "depth-areas",
}  # fmt: skip


def shape_of(found: FoundLayer) -> str:
    """Tell what most rows are: point, line or polygon; empty where there is nothing."""
    assert found.frame is not None
    kinds = shapely.get_type_id(found.frame.geometry.to_numpy())
    names = [_SHAPES.get(int(k), "") for k in np.unique(kinds[kinds >= 0])]
    if not names:
        return ""
    counts = {
        name: sum(int((kinds == k).sum()) for k, n in _SHAPES.items() if n == name) for name in names if name
    }
    return max(counts, key=lambda one: counts[one]) if counts else ""


def _by_words(found: FoundLayer, shape: str) -> tuple[str, str]:
    for stem in reversed(found.stems):
        words = words_of(stem)
        both = {*words, *(a + b for a, b in itertools.pairwise(words))}
        for role, telling, shapes in ROLE_WORDS:
            hit = next((w for w in telling.split() if w in both), None)
            if hit and shape in shapes:
                return role, f"{role}: '{stem}' names {hit}"
    return "", ""


def _guess(found: FoundLayer, shape: str, ranked: list[Candidate]) -> tuple[str, str]:
    """Guess the role of a layer, with why; empty where it cannot be told."""
    assert found.frame is not None
    standard = class_of(found)
    if standard:
        role = CLASSES[standard][0]
        return role, f"{role}: feature class {standard} of S-57"
    if found.kind == "S-57":
        return "ignore", "no feature class that a lake needs"
    if found.layer in _OWN and found.kind == "GeoPackage":
        return _OWN[found.layer], f"{_OWN[found.layer]}: the layer is called so"
    strong = bool(ranked) and ranked[0].score >= 3.5
    role, why = _by_words(found, shape)
    if shape == "line":
        several = bool(ranked) and len(np.unique(ranked[0].numbers[np.isfinite(ranked[0].numbers)])) > 2
        if role == "shoreline" and strong and ranked[0].score >= 4.0 and several:
            return "contours", f"contours: lines with depths in '{ranked[0].column}'"
        if found.kind == "gpx":  # most tracks are those of a boat, and many of them are closed too
            walked = {"shore", "shoreline", "outline", "bank"} & {w for s in found.stems for w in words_of(s)}
            return (
                (role, why) if walked else ("ignore", "tracks, no shoreline unless --as or the name says so")
            )
        if role:
            return role, why
        if ranked:
            return "contours", f"contours: lines, and {ranked[0].why}"
        return "", ""
    if shape == "polygon":
        if role in ("shoreline", ""):
            if ends_of_ranges(found.frame) is not None:
                return "depth-areas", "depth areas: polygons between two depths"
            if role == "" and strong and len(found.frame) > 1:
                return "contours", "contours: the edges of polygons with one depth"
        if role:
            return role, why
        return "shoreline", "shoreline: polygons without depths"
    if shape == "point":
        names = {w for c in found.frame.columns for w in words_of(str(c))}
        if role in ("ramps", "hazards", "spots"):
            return role, why
        if names & {"ramp", "lanes", "launch"}:
            return "ramps", "ramps: its columns say so"
        listed = names & {"name", "kind", "type", "structure", "rating", "species"}
        if strong and not (listed and len(found.frame) < _MANY and ranked[0].unit == "" and role == ""):
            return "soundings", f"soundings: points, and {ranked[0].why}"
        if found.frame.attrs.get("headerless"):
            return "soundings", "soundings: three columns of numbers"
        if ranked and ranked[0].column.lower() == "name":
            return "soundings", "soundings: the names of the points are depths"
        if role:
            return role, why
        if found.kind == "gpx":
            return "spots", "spots: waypoints"
    return "", ""


def take_role(found: FoundLayer, wishes: FileWishes, questions: Questions) -> None:
    """Tell the role of a layer, and the column of its depths; ask where it cannot be told."""
    said, where = wishes.of(found, "role")
    if found.grid is not None:
        errors = _OF_ERRORS & {w for stem in (*found.stems[1:], found.layer) for w in words_of(stem)}
        found.role = said or ("ignore" if errors else "raster")
        if found.role not in ("raster", "ignore"):
            raise UsageError(f"{where}: {found.name} is a raster; it can be raster or ignore.")
        guess = f"raster: {found.kind}" if not errors else f"a raster of errors: its name says {errors.pop()}"
        found.why.append(f"{where} says so" if said else guess)
        found.why += found.grid.said
        return
    assert found.frame is not None
    frame = found.frame
    empty = shapely.is_missing(frame.geometry.to_numpy()) | shapely.is_empty(frame.geometry.to_numpy())
    if empty.any():
        for row in np.flatnonzero(empty)[:10_000].tolist():
            found.leave(row + 1, "no place")
        attrs = dict(frame.attrs)
        found.frame = frame = frame[~empty]
        frame.attrs.update(attrs)
    many = shapely.get_type_id(frame.geometry.to_numpy()) == 4
    if many.any():
        attrs = dict(frame.attrs)
        found.frame = frame = frame.explode(index_parts=False, ignore_index=True)
        frame.attrs.update(attrs)
        found.rows = len(frame)
        found.why.append(f"{how_many(int(many.sum()), 'row')} of many points taken apart")
    if frame.empty:
        found.role = "ignore"
        found.why.append("empty")
        return
    shape = shape_of(found)
    ranked = candidates(frame, lines=shape == "line")
    standard = class_of(found)
    role, why = (said, f"{where} says so") if said else _guess(found, shape, ranked)
    column, column_where = wishes.of(found, "column")
    if not role and column:
        role, why = (
            {"line": "contours", "point": "soundings", "polygon": "contours"}.get(shape, ""),
            f"{column_where} names a depth",
        )
    if not role:
        columns = ", ".join(str(c) for c in frame.columns if c != frame.geometry.name)
        questions.ask(
            found.name,
            f"what are its {len(frame):,} {shape}s? Nothing tells (columns: {columns or 'none'}).",
            f"--as {found.name}=ROLE, with contours, soundings, depth-areas, shoreline, islands, ramps, hazards, "
            "zones, "
            "spots or ignore",
        )
        return
    found.role, found.role_said = role, bool(said)
    found.why.append(why)
    if standard and standard in ("DEPARE", "DRGARE", "DEPCNT", "SOUNDG", "OBSTRN", "WRECKS", "UWTROC"):
        found.unit, found.values = "m", "depth"
        found.why.append("metres, positive down: S-57")
    if role == "depth-areas":
        ends = ends_of_ranges(frame)
        if ends is None:
            questions.ask(
                found.name,
                "which columns hold the shallow and the deep end of its depth areas?",
                f"--as {found.name}=contours and --column, or call them min_depth and max_depth",
            )
            return
        found.pair = ends[0], ends[1]
        found.column = " and ".join(dict.fromkeys(found.pair))
        found.numbers = np.column_stack([ends[2], ends[3]])
        found.unit = found.unit or ends[4]
        return
    if role not in DEPTH_ROLES:
        return
    if standard == "SOUNDG" and not column and not any(c.column.upper() == "DEPTH" for c in ranked):
        found.column, found.numbers = GEOMETRY_Z, z_of(frame)
        return
    chosen = (
        stated_column(found, column, ranked, column_where)
        if column
        else choose_column(found, ranked, questions)
    )
    if chosen is None:
        return
    found.column, found.numbers = chosen.column, np.array(chosen.numbers, dtype=float)
    found.why += without_marks(found.numbers, "rows")
    chosen = dataclasses.replace(chosen, numbers=found.numbers)
    unit_column(found, chosen, wishes, questions)
    found.why.append(chosen.why)
    found.unit = found.unit or chosen.unit
    found.values = found.values or chosen.holds  # noqa: PD011 - what the numbers are, no pandas
