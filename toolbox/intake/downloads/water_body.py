"""Which water it is: one lake out of all the water bodies of a county, by name, or by where the data lie."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import shapely

from ...errors import DataError, UsageError
from ...text import how_many
from .found import DEPTH_ROLES, FoundLayer, Questions
from .layer_roles import shape_of
from .measures import moved, sample_of
from .shore_lines import areas_of_lines
from .systems import system_of

if TYPE_CHECKING:
    from collections.abc import Sequence

    from ...arrays import Geometries, Ints

_NEAR_M: Final = 150.0
_LISTED: Final = 12
_TOUCHING_M: Final = 1.0
_RIVAL: Final = 0.2  # a second water with so large a share of the data is as likely meant
_AGREE: Final = 0.98


@dataclass(eq=False)
class Waters:
    """The waters of one layer, in the metric system."""

    found: FoundLayer
    shapes: Geometries
    names: list[str]
    said: list[str] = field(default_factory=list)


@dataclass(eq=False)
class PickedLake:
    """The lake that was picked.

    Attributes
    ----------
    area
        Water at chart datum, islands as holes.
    name
        Its name in the data; empty where it has none.
    why
        Why this one, gaps that were closed, other shorelines that disagree.
    """

    area: Any
    name: str
    found: FoundLayer | None
    why: list[str] = field(default_factory=list)


def _names(found: FoundLayer, count: int) -> list[str]:
    assert found.frame is not None
    columns = [c for c in map(str, found.frame.columns) if c != found.frame.geometry.name]
    best = [c for c in columns if "name" in c.lower() or c.lower() in ("lake", "water", "waterbody", "label")]
    if not best:
        return [""] * count
    texts = [[("" if v is None or v != v else str(v).strip()) for v in found.frame[c]] for c in best]  # noqa: PLR0124  # NaN
    return [next((t for t in row if t), "") for row in zip(*texts, strict=True)]


def _mended(shapes: Geometries) -> Geometries:
    """Mend areas that are not valid; what cannot be mended is None."""
    made = np.asarray(shapes, dtype=object).copy()
    bad = ~shapely.is_missing(made) & ~shapely.is_valid(made)
    if bad.any():
        made[bad] = shapely.make_valid(made[bad], method="structure", keep_collapsed=False)
    return made


def waters_of(found: FoundLayer, crs: Any) -> Waters | None:
    """Read the waters of a shoreline layer: its areas, or those its lines enclose."""
    assert found.frame is not None
    if system_of(found) is None:
        return None
    shapes = moved(found.frame.geometry.to_numpy(), system_of(found), crs)
    there = ~shapely.is_missing(shapes)
    for row in np.flatnonzero(~there)[:1000].tolist():
        found.leave(row + 1, "has no place in the system of the lake")
    if shape_of(found) == "polygon":
        kinds = shapely.get_type_id(shapes)
        use = there & np.isin(kinds, (3, 6))
        names = _names(found, len(shapes))
        mended = _mended(shapes[use])
        broken = int((~shapely.is_valid(shapes[use])).sum())
        said = [how_many(broken, "area mended", "areas mended")] if broken else []
        found.taken = int(use.sum())
        return Waters(found, mended, [n for n, keep in zip(names, use, strict=True) if keep], said)
    lines = shapes[there & np.isin(shapely.get_type_id(shapes), (1, 2, 5))]
    if not len(lines):
        return None
    made = areas_of_lines(lines)
    said = []
    if made.closed_m:
        said.append(
            f"{how_many(len(made.closed_m), 'gap')} in the shoreline closed: "
            f"{', '.join(f'{g:.3g} m' for g in made.closed_m[:8])}"
        )
    if made.open_m:
        said.append(
            f"{how_many(len(made.open_m), 'loose end')} of lines left out, the next one {min(made.open_m):.3g} m away"
        )
    if not len(made.areas):
        raise DataError(
            f"{found.name}: its lines enclose no area: {how_many(len(made.open_m), 'loose end')}, gaps of "
            f"{', '.join(f'{g:.3g} m' for g in sorted(made.open_m)[:5])}. Close the shoreline, or say --as "
            f"{found.name}=ignore."
        )
    found.taken = len(lines)
    return Waters(found, made.areas, [""] * len(made.areas), said)


def evidence(founds: Sequence[FoundLayer], crs: Any, roles: Sequence[str]) -> Geometries:
    """Give points where data lie, in the metric system."""
    import pyproj

    parts: list[Any] = []
    for found in founds:
        if found.role not in roles or system_of(found) is None:
            continue
        if found.grid is not None:
            cells = np.argwhere(np.isfinite(found.grid.numbers))
            known = cells[:: max(1, len(cells) // 20_000)] + 0.5
            a, b, c, d, e, f = found.grid.affine
            x, y = a * known[:, 1] + b * known[:, 0] + c, d * known[:, 1] + e * known[:, 0] + f
            go = pyproj.Transformer.from_crs(system_of(found), crs, always_xy=True)
            x, y = go.transform(x, y)
            there = np.isfinite(x) & np.isfinite(y)
            parts.append(shapely.points(np.asarray(x)[there], np.asarray(y)[there]))
        elif found.frame is not None:
            points = moved(sample_of(found.frame.geometry.to_numpy()), system_of(found), crs)
            parts.append(points[~shapely.is_missing(points)])
    return np.asarray(np.concatenate(parts) if parts else np.empty(0, dtype=object), dtype=object)


def _counts(shapes: Geometries, points: Geometries, near_m: float = 0.0) -> Ints:
    if not len(points):
        return np.zeros(len(shapes), dtype=np.int64)
    tree = shapely.STRtree(points)
    if near_m:
        which, _ = tree.query(shapes, predicate="dwithin", distance=near_m)
    else:
        shapely.prepare(shapes)
        which, _ = tree.query(shapes, predicate="intersects")
    return np.bincount(which, minlength=len(shapes)).astype(np.int64)


def _listing(waters: Waters, counts: Ints | None = None) -> str:
    areas = shapely.area(waters.shapes) / 1e6
    weight: Any = areas if counts is None else counts + areas * 1e-9
    order = np.argsort(-weight)[:_LISTED]
    words = [f"{waters.names[i] or f'row {i + 1}'} ({areas[i]:.3g} km2)" for i in order.tolist()]
    more = f" and {len(areas) - _LISTED} more" if len(areas) > _LISTED else ""
    return ", ".join(words) + more


def _by_name(waters: Waters, water: str) -> list[int]:
    wanted = water.casefold().strip()
    exact = [i for i, name in enumerate(waters.names) if name.casefold() == wanted]
    if exact:
        return exact
    if wanted.startswith("row ") and wanted[4:].isdigit() and 0 < int(wanted[4:]) <= len(waters.shapes):
        return [int(wanted[4:]) - 1]
    return [i for i, name in enumerate(waters.names) if wanted and wanted in name.casefold()]


def _one(waters: Waters, rows: list[int]) -> Any:
    return shapely.union_all(waters.shapes[rows])


def _with_data(waters: Waters, rows: list[int], data: Geometries) -> tuple[list[int], int]:
    """Keep of waters of one name those that hold data of depth, and what touches them; tells how many are left out.

    Two ponds of a county may share a name; the arms of one lake, in several rows, do too.
    """
    shapes = waters.shapes[rows]
    holds = _counts(shapes, data) > 0
    if holds.all() or not holds.any():
        return rows, 0
    beside = shapely.distance(shapes, shapely.union_all(shapes[holds])) < _TOUCHING_M
    kept = [row for row, one in zip(rows, beside, strict=True) if one]
    return kept, len(rows) - len(kept)


def pick_from(
    waters: Waters, data: Geometries, marks: Geometries, name: str, water: str, questions: Questions
) -> PickedLake | None:
    """Pick one out of the waters of a layer; None where a question was asked, or none bears the name."""
    found = waters.found
    named = _by_name(waters, water) if water else []
    if water and not named:
        return None
    if named:
        distinct = {waters.names[i].casefold() for i in named}
        if len(distinct) > 1:
            questions.ask(
                found.name,
                f"'{water}' is in several names: {_listing(waters)}.",
                "--water-body and the whole name",
            )
            return None
        rows, left = _with_data(waters, named, data)
        told = [f"--water-body {water}"]
        told += [f"{left} more of that name hold no data of depth and are left out"] if left else []
        return PickedLake(_one(waters, rows), waters.names[rows[0]], found, told)
    if len(waters.shapes) == 1:
        return PickedLake(waters.shapes[0], waters.names[0], found, ["the only water"])
    counts = _counts(waters.shapes, data)
    by = "data of depth"
    if not counts.any():
        counts, by = _counts(waters.shapes, marks, _NEAR_M), "ramps and spots"
    same_name = [i for i, one in enumerate(waters.names) if one and one.casefold() == name.casefold()]
    if not counts.any():
        if same_name:
            return PickedLake(
                _one(waters, same_name), waters.names[same_name[0]], found, ["it bears the name given"]
            )
        questions.ask(
            found.name,
            f"which of its {len(waters.shapes)} waters is it? There are {_listing(waters)}.",
            "--water-body NAME",
        )
        return None
    order = np.argsort(-counts)
    best, second = int(order[0]), int(order[1])
    label = waters.names[best]
    if counts[second] >= _RIVAL * counts[best] and not (label and label == waters.names[second]):
        if same_name and counts[same_name].sum() >= counts[second] and by == "data of depth":
            return PickedLake(
                _one(waters, same_name),
                waters.names[same_name[0]],
                found,
                ["it bears the name given, and holds data"],
            )
        holding = counts > 0
        there = [n for n, held in zip(waters.names, holding, strict=True) if held]
        listed = _listing(Waters(found, waters.shapes[holding], there), counts[holding])
        questions.ask(
            found.name,
            f"which of its {len(waters.shapes)} waters is it? Several hold {by}: {listed}.",
            "--water-body NAME",
        )
        return None
    rows = [best] if not label else [i for i, one in enumerate(waters.names) if one == label and counts[i]]
    others = len(waters.shapes) - len(rows)
    why = f"of {len(waters.shapes)} waters the one with most {by}" + (f" ({label})" if label else "")
    left = int(counts.sum() - counts[rows].sum())
    told = [why] + ([f"{left / counts.sum():.0%} of them lie in the {others} others"] if left else [])
    return PickedLake(_one(waters, rows), label, found, told)


def without_islands(lake: PickedLake, founds: Sequence[FoundLayer], crs: Any) -> None:
    """Take islands out of the lake."""
    for found in founds:
        if found.role != "islands" or found.frame is None or system_of(found) is None:
            continue
        shapes = moved(found.frame.geometry.to_numpy(), system_of(found), crs)
        shapes = shapes[~shapely.is_missing(shapes)]
        if shape_of(found) == "line":
            shapes = areas_of_lines(shapes).areas
        shapes = _mended(shapes)
        inside = shapes[shapely.intersects(lake.area, shapes) & np.isin(shapely.get_type_id(shapes), (3, 6))]
        if len(inside):
            before = shapely.area(lake.area)
            lake.area = shapely.difference(lake.area, shapely.union_all(inside))
            found.taken = len(inside)
            taken = before - shapely.area(lake.area)
            lake.why.append(
                f"{how_many(len(inside), 'island')} of {found.name} taken out, {taken / 1e4:.3g} ha"
            )


def pick_lake(
    founds: Sequence[FoundLayer], crs: Any, *, name: str, water: str, questions: Questions
) -> PickedLake | None:
    """Pick the lake out of the shorelines; None where there is no shoreline, or a question was asked.

    Raises
    ------
    UsageError
        No water bears the name that was asked for.
    DataError
        No depth lies in any water.
    """
    data = evidence(founds, crs, DEPTH_ROLES)
    marks = evidence(founds, crs, ("ramps", "spots"))
    every = [
        waters
        for found in founds
        if found.role == "shoreline" and (waters := waters_of(found, crs)) is not None
    ]
    every = [w for w in every if len(w.shapes)]
    every.sort(key=lambda w: shape_of(w.found) != "polygon")
    picked: list[PickedLake] = []
    asked = Questions()
    for waters in every:
        lake = pick_from(waters, data, marks, name, water, asked)
        if lake is None:
            continue
        lake.why += waters.said
        picked.append(lake)
    if every and water and not picked and not asked.asked:
        raise UsageError(f"--water-body: no water is called '{water}'; there are {_listing(every[0])}.")
    if not picked:
        questions.asked += [one for one in asked.asked if one not in questions.asked]
        return None
    if len(data):
        holding = [int(_counts(np.array([one.area], dtype=object), data)[0]) for one in picked]
        if not any(holding):
            raise DataError(
                f"No depth lies in the water of {picked[0].found.name if picked[0].found else ''} "
                f"({picked[0].name or 'no name'}): "
                "the files are of different lakes, or a reference system is wrong (--file-crs FILE=EPSG:NUMBER)."
            )
        best = picked[int(np.argmax([h > 0 for h in holding]))]
    else:
        best = picked[0]
    for other in picked:
        if other is not best and other.found is not None:
            both = shapely.area(shapely.intersection(best.area, other.area))
            share = both / max(shapely.area(shapely.union(best.area, other.area)), 1e-9)
            if share < _AGREE:
                best.why.append(
                    f"the shoreline of {other.found.name} disagrees: they have {share:.0%} in common"
                )
    without_islands(best, founds, crs)
    parts = [p for p in shapely.get_parts(best.area) if shapely.area(p) > 1.0 and shapely.get_type_id(p) == 3]
    best.area = shapely.multipolygons(parts) if len(parts) > 1 else parts[0] if parts else best.area
    return best
