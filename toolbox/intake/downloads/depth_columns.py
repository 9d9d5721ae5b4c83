"""Which column holds the depth, in what unit; and the ordinary words by which agencies name files and columns."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
import pandas as pd
import shapely

from .depth_cells import ENOUGH, read_cells
from .found import UNITS

if TYPE_CHECKING:
    from geopandas import GeoDataFrame

    from ...arrays import Floats

_RAMP: Final = (
    "ramp ramps launch launches boatramp boatramps access accesses slipway slipways boataccess "
    "landing landings"
)
_HAZARD: Final = (
    "hazard hazards rock rocks stump stumps obstruction obstructions wreck wrecks snag snags danger dangers "
    "knownhazards"
)
_ZONE: Final = (
    "zone zones restricted restriction restrictions nowake wake closed buoyline regulation "
    "regulations closure closures"
)
_SPOT: Final = (
    "spot spots attractor attractors habitat brush brushpile brushpiles waypoint waypoints structure structures crib "
    "cribs reef reefs fishattractors"
)
_SHORE: Final = (
    "shoreline shorelines shore shores lake lakes water waters waterbody waterbodies outline outlines hydro "
    "hydrography pond ponds reservoir reservoirs boundary perimeter coastline bank banks edge"
)
_DEPTHS: Final = "bathymetry bathy bathymetric depths depth"
# Role -> words in the name of a file or layer; the first role that has one is taken, for shapes that it can have.
ROLE_WORDS: Final[tuple[tuple[str, str, tuple[str, ...]], ...]] = (
    ("ramps", _RAMP, ("point",)),
    ("hazards", _HAZARD, ("point", "line", "polygon")),
    ("zones", _ZONE, ("polygon",)),
    ("spots", _SPOT, ("point", "polygon")),
    ("islands", "island islands isle isles islet islets", ("polygon", "line")),
    ("depth-areas", "depthareas depare deptharea depthbands depthpolygons depthzones", ("polygon",)),
    ("soundings", "sounding soundings xyz sonar survey depthpoints bathypoints pings soundg", ("point",)),
    ("contours", "contour contours isobath isobaths depcnt depthcontours", ("line", "polygon")),
    ("shoreline", _SHORE, ("polygon", "line")),
    ("contours", _DEPTHS, ("line",)),
    ("soundings", f"{_DEPTHS} points", ("point",)),
)
# Words of a column, and whether its numbers are depths, elevations, or either.
DEPTH_COLUMNS: Final[dict[str, str]] = {
    **dict.fromkeys(
        ("depth", "depths", "dep", "dpth", "valdco", "valsou", "sounding", "waterdepth", "profundidad", "tiefe",
         "profondeur", "djup", "dybde", "syvyys", "diepte"), "depth",
    ),
    **dict.fromkeys(("elev", "elevation", "elevations", "altitude", "alt"), "elevation"),
    **dict.fromkeys(
        ("bathy", "bathymetry", "isobath", "contour", "contours", "cont", "contr", "z", "zvalue", "bottom", "bed"), "",
    ),
    "height": "height",
}  # fmt: skip
WEAK_COLUMNS: Final = (
    "value",
    "val",
    "level",
    "label",
    "name",
    "text",
    "gridcode",
    "description",
    "desc",
    "id",
    "code",
    "folder",
)
_NEVER: Final = (
    "length leng len area perimeter perim acres hectares fid objectid gid ogc oid shape year date time count "
    "confidence quality error accuracy uncertainty temp temperature speed heading interval lat lon latitude "
    "longitude easting northing x y minelev scale symbol color colour layer linetype entityhandle paperspace "
    "subclasses extendedentity"
)
NEVER_DEPTHS: Final = frozenset(_NEVER.split())
DATUMS: Final = re.compile(
    r"navd[ _-]?88|ngvd[ _-]?29|ngvd|navd|cgvd[ _-]?\d+|igld[ _-]?\d*|nzvd[ _-]?\d*|msl|mllw|nap|evrf\d*|ahd",
    re.IGNORECASE,
)
_PIECE: Final = re.compile(r"[A-Z]+(?![a-z])|[A-Z]?[a-z]+|\d+|[^\W\d_]+|'")
_GLUED: Final = re.compile(
    r"(depth|elev|elevation|contour|bathy|z|cont)(ft|feet|foot|m|meters|metres|fathoms|fath|cm|dm|usft)",
    re.IGNORECASE,
)


def words_of(name: str) -> list[str]:
    """Take a name apart into small words: ``BathyContours_ft`` is bathy, contours, ft."""
    found: list[str] = []
    for piece in _PIECE.findall(name):
        low = piece.lower()
        glued = _GLUED.fullmatch(low)
        found += [glued[1], glued[2]] if glued else [low]
    return found


def unit_in(name: str) -> str:
    """Find the unit that a name states; empty where it states none, or more than one."""
    words = words_of(name)
    joined = "".join(words)
    if "usft" in joined or "ftus" in joined or "surveyf" in joined:
        return "ftUS"
    units = {UNITS[w] for w in words if w in UNITS and w not in ("in", "f", "'", "d")}
    return units.pop() if len(units) == 1 else ""


def unit_in_file_name(name: str) -> str:
    """Find the unit that the name of a file states: feet, fathoms, or metres beyond doubt; empty for any other.

    Examples
    --------
    >>> unit_in_file_name("contours_5m"), unit_in_file_name("bathymetry_feet"), unit_in_file_name("pond_m")
    ('m', 'ft', '')
    """
    unit = unit_in(name)
    words = words_of(name)
    if unit == "m" and "m" in words:
        before = words[words.index("m") - 1] if words.index("m") else ""
        return (
            "m" if before.isdigit() or before in DEPTH_COLUMNS or before in ("soundings", "isobaths") else ""
        )
    return unit if unit in ("m", "ft", "ftUS", "fathom") else ""


def datum_in(*names: str) -> str:
    """Find the vertical datum that one of the names states."""
    for name in names:
        if found := DATUMS.search(name):
            return found[0].upper().replace("_", "").replace(" ", "").replace("-", "")
    return ""


GEOMETRY_Z: Final = "z of the geometry"
_RANGE: Final = re.compile(
    r"\s*(-?\d+(?:\.\d+)?)\s*(?:-|–|to)\s*(-?\d+(?:\.\d+)?)\s*"
    r"(ft|feet|foot|'|m|met(?:er|re)s?|fathoms?)?\.?\s*",
    re.IGNORECASE,
)


@dataclass(frozen=True)
class Candidate:
    """A column that may hold the depth."""

    column: str
    score: float
    numbers: Floats
    unit: str
    holds: str
    why: str


def _is_ladder(numbers: Floats) -> bool:
    """Whether numbers are the steps of contours: few, evenly spaced, used again or not just counted through."""
    there = numbers[np.isfinite(numbers)]
    steps = np.unique(there)
    if not 3 <= len(steps) <= 400 or len(there) < 3:
        return False
    apart = np.diff(steps)
    least = float(apart.min())
    even = (
        bool(np.all(np.abs(apart / least - np.rint(apart / least)) < 1e-6))
        and float(np.median(apart)) <= 3 * least
    )
    counted = len(steps) == len(there) and least == 1.0 and float(steps[0]) in (0.0, 1.0)
    return even and not counted and least >= 0.25


def candidates(frame: GeoDataFrame, *, lines: bool) -> list[Candidate]:
    """List the columns that may hold the depth, the likeliest first."""
    found: list[Candidate] = []
    for column in map(str, frame.columns):
        if column == frame.geometry.name:
            continue
        words = words_of(column)
        if column == "depth_m":
            numbers, _ = read_cells(frame[column])
            found.append(
                Candidate(column, 9.0, numbers, "m", "depth", "depth_m: metres, as castshed writes it")
            )
            continue
        if any(w in NEVER_DEPTHS for w in words) and not any(
            w in ("depth", "elev", "elevation", "contour") for w in words
        ):
            continue
        telling = [w for w in words if w in DEPTH_COLUMNS]
        weak = [w for w in words if w in WEAK_COLUMNS] or (["column"] if column.startswith("column ") else [])
        if not telling and not weak and not lines:
            continue
        numbers, unit = read_cells(frame[column])
        known = np.isfinite(numbers)
        if (not len(numbers) or known.mean() < ENOUGH) and not (telling and known.any()):
            continue
        if telling == ["height"] and not lines and not float(np.nanmean(numbers < 0)) > 0.5:
            continue  # of a structure or a mark, not of the bottom
        if telling:
            strong = any(DEPTH_COLUMNS[w] == "depth" for w in telling)
            score = 5.0 if strong else 4.0
            score += 0.5 if len(words) == 1 else 0.0
            score -= (
                2.0
                if any(w in ("min", "max", "mean", "avg", "least", "most", "secchi") for w in words)
                else 0.0
            )
            holds = next((DEPTH_COLUMNS[w] for w in telling if DEPTH_COLUMNS[w]), "")
            why = f"its name says so ('{column}')"
        elif lines and _is_ladder(numbers):
            score = 3.0 if weak and words[0] != "id" else 2.0
            holds, why = "", f"the values of '{column}' are the steps of contours"
        elif unit:
            score, holds, why = 2.5, "", f"the cells of '{column}' are lengths"
        else:
            continue
        if "below" in words:
            holds = "depth"
        found.append(Candidate(column, score, numbers, unit or unit_in(column), holds, why))
    z = (
        shapely.get_coordinates(frame.geometry.to_numpy(), include_z=True)[:, 2]
        if len(frame)
        else np.empty(0)
    )
    if (
        len(z)
        and np.isfinite(z).mean() > ENOUGH
        and len(np.unique(z[np.isfinite(z)])) > 1
        and not (lines and _up_and_down(frame, z))
    ):
        found.append(
            Candidate(GEOMETRY_Z, 3.5, z_of(frame), "", "", "the geometry has heights or depths of its own")
        )
    return sorted(found, key=lambda one: -one.score)


def _up_and_down(frame: GeoDataFrame, z: Floats) -> bool:
    """Whether many lines rise and fall along their way: tracks or edges, and no contours."""
    owner = shapely.get_coordinates(frame.geometry.to_numpy(), return_index=True)[1]
    known = np.isfinite(z)
    top, low = np.full(len(frame), -np.inf), np.full(len(frame), np.inf)
    np.maximum.at(top, owner[known], z[known])
    np.minimum.at(low, owner[known], z[known])
    there = np.isfinite(top)
    return bool(np.mean(top[there] - low[there] > 0.01 * float(np.ptp(z[known]))) > 1.0 - ENOUGH)


def z_of(frame: GeoDataFrame) -> Floats:
    """Tell the height of each row: the mean over its corners."""
    xyz, owner = shapely.get_coordinates(frame.geometry.to_numpy(), include_z=True, return_index=True)
    with np.errstate(invalid="ignore"):
        total = np.bincount(owner, weights=xyz[:, 2], minlength=len(frame))
        found: Floats = total / np.maximum(np.bincount(owner, minlength=len(frame)), 1)
    return found


def ends_of_ranges(frame: GeoDataFrame) -> tuple[str, str, Floats, Floats, str] | None:
    """Find the shallow and the deep end of depth areas: two columns, or one of texts such as ``5-10 ft``."""
    low = {str(c).lower(): str(c) for c in frame.columns}
    pairs = (
        ("drval1", "drval2", "m"), ("from_m", "to_m", "m"), ("min_depth", "max_depth", ""),
        ("mindepth", "maxdepth", ""), ("depth_min", "depth_max", ""), ("depth_from", "depth_to", ""),
        ("depthmin", "depthmax", ""), ("from", "to", ""), ("shallow", "deep", ""),
        ("least_depth", "most_depth", ""), ("depth1", "depth2", ""),
    )  # fmt: skip
    units = ("", "_ft", "_m", "_feet")
    for one, two, unit in pairs:
        for end in units:
            if one + end in low and two + end in low:
                first, second = low[one + end], low[two + end]
                a, told = read_cells(frame[first])
                b, told_too = read_cells(frame[second])
                return first, second, a, b, unit or told or told_too or unit_in(first)
    for column in map(str, frame.columns):
        if column == frame.geometry.name or (
            not pd.api.types.is_string_dtype(frame[column])
            and not pd.api.types.is_object_dtype(frame[column])
        ):
            continue
        read = [_RANGE.fullmatch(str(v)) if v is not None else None for v in frame[column]]
        if read and sum(one is not None for one in read) > ENOUGH * len(read):
            a = np.array([float(m[1]) if m else np.nan for m in read])
            b = np.array([float(m[2]) if m else np.nan for m in read])
            told_units = {UNITS.get((m[3] or "").lower(), "") for m in read if m} - {""}
            unit = told_units.pop() if len(told_units) == 1 else unit_in(column)
            return column, column, np.fmin(a, b), np.fmax(a, b), unit
    return None
