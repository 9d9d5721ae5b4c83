"""Which water it is: one lake out of all the water bodies of a county, by name, or by where the data lie."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import shapely

from ...errors import DataError
from ...text import how_many
from .found import FoundLayer, Questions
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
_APART_M: Final = 500.0  # waters of one name so far apart are two lakes
_ISLANDS: Final = 0.3  # of the lake; more is a part of the water, or the lake once more
_RIVAL: Final = 0.2  # a second water with so large a share of the data is as likely meant


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
    differs
        What another shoreline has more, or less: words and area.
    """

    area: Any
    name: str
    found: FoundLayer | None
    why: list[str] = field(default_factory=list)
    differs: list[tuple[str, Any]] = field(default_factory=list)


def _names(found: FoundLayer, count: int) -> list[str]:
    assert found.frame is not None
    columns = [c for c in map(str, found.frame.columns) if c != found.frame.geometry.name]
    best = [c for c in columns if "name" in c.lower() or c.lower() in ("lake", "water", "waterbody", "label")]
    if not best:
        return [""] * count
    texts = [[("" if v is None or v != v else str(v).strip()) for v in found.frame[c]] for c in best]  # noqa: PLR0124  # NaN
    return [next((t for t in row if t), "") for row in zip(*texts, strict=True)]


def mended(shapes: Geometries) -> Geometries:
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
        whole = mended(shapes[use])
        broken = int((~shapely.is_valid(shapes[use])).sum())
        said = [how_many(broken, "area mended", "areas mended")] if broken else []
        found.taken = int(use.sum())
        return Waters(found, whole, [n for n, keep in zip(names, use, strict=True) if keep], said)
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


def counted(shapes: Geometries, points: Geometries, near_m: float = 0.0) -> Ints:
    """Count points in each shape, or so near to it."""
    if not len(points):
        return np.zeros(len(shapes), dtype=np.int64)
    tree = shapely.STRtree(points)
    if near_m:
        which, _ = tree.query(shapes, predicate="dwithin", distance=near_m)
    else:
        shapely.prepare(shapes)
        which, _ = tree.query(shapes, predicate="intersects")
    return np.bincount(which, minlength=len(shapes)).astype(np.int64)


def listing(waters: Waters, counts: Ints | None = None, rows: Sequence[int] | None = None) -> str:
    """List waters by name and area, those with most data or the largest first; one without a name by its row."""
    areas = shapely.area(waters.shapes) / 1e6
    weight: Any = areas if counts is None else counts + areas * 1e-9
    of = np.arange(len(areas)) if rows is None else np.asarray(rows)
    order = of[np.argsort(-weight[of])][:_LISTED].tolist()
    often = Counter(waters.names[i] for i in of.tolist())
    words = [
        f"{waters.names[i]} ({areas[i]:.3g} km2)"
        if waters.names[i] and often[waters.names[i]] == 1
        else f"row {i + 1} ({waters.names[i] + ', ' if waters.names[i] else ''}{areas[i]:.3g} km2)"
        for i in order
    ]
    more = f" and {len(of) - _LISTED} more" if len(of) > _LISTED else ""
    return ", ".join(words) + more


def _by_name(waters: Waters, water: str) -> list[int]:
    wanted = water.casefold().strip()
    several = [part.strip() for part in wanted.split("+")]
    if len(several) > 1 and wanted not in [name.casefold() for name in waters.names]:
        each = [_by_name(waters, part) for part in several]
        return sorted({row for rows in each for row in rows}) if all(each) else []
    exact = [i for i, name in enumerate(waters.names) if name.casefold() == wanted]
    if exact:
        return exact
    if wanted.startswith("row ") and wanted[4:].isdigit() and 0 < int(wanted[4:]) <= len(waters.shapes):
        return [int(wanted[4:]) - 1]
    return [i for i, name in enumerate(waters.names) if wanted and wanted in name.casefold()]


def _one(waters: Waters, rows: list[int]) -> Any:
    return shapely.union_all(waters.shapes[rows])


def _picked(waters: Waters, rows: list[int], told: list[str]) -> PickedLake:
    """Take rows for the lake; other rows of the layer that lie within it are islands."""
    area = _one(waters, rows)
    others = np.setdiff1d(np.arange(len(waters.shapes)), rows)
    shapes = waters.shapes[others]
    inside = (
        shapes[shapely.contains_properly(area, shapely.point_on_surface(shapes))] if len(others) else shapes
    )
    inside = inside[shapely.area(shapely.difference(inside, area)) < 0.02 * shapely.area(inside)]
    size = float(shapely.area(shapely.union_all(inside)))
    if len(inside) and size < _ISLANDS * shapely.area(area):
        area = shapely.difference(area, shapely.union_all(inside))
        told = [*told, f"{how_many(len(inside), 'area')} within it taken out as islands, {size / 1e4:.3g} ha"]
    return PickedLake(area, waters.names[rows[0]], waters.found, told)


def _with_data(waters: Waters, rows: list[int], data: Geometries) -> tuple[list[int], int]:
    """Keep of waters of one name those that hold data of depth, and what touches them; tells how many are left out.

    Two ponds of a county may share a name; the arms of one lake, in several rows, do too.
    """
    shapes = waters.shapes[rows]
    holds = counted(shapes, data) > 0
    if holds.all() or not holds.any():
        return rows, 0
    beside = shapely.distance(shapes, shapely.union_all(shapes[holds])) < _TOUCHING_M
    kept = [row for row, one in zip(rows, beside, strict=True) if one]
    return kept, len(rows) - len(kept)


def _far_apart(waters: Waters, rows: list[int], questions: Questions) -> bool:
    """Ask where waters of one name that all hold data lie apart: two lakes, and no arms of one."""
    shapes = waters.shapes[rows]
    if len(rows) < 2:
        return False
    grown = shapely.union_all(shapely.buffer(shapely.simplify(shapes, 5.0), _APART_M / 2.0, quad_segs=4))
    if len(shapely.get_parts(grown)) == 1:
        return False
    questions.ask(
        waters.found.name,
        f"which of its {len(rows)} waters called {waters.names[rows[0]]} is it? They lie apart, and each holds data of "
        f"depth: {listing(waters, rows=rows)}.",
        "--water-body 'row NUMBER' (or several rows with + between)",
    )
    return True


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
        if len(distinct) > 1 and "+" not in water:
            questions.ask(
                found.name,
                f"'{water}' is in several names: {listing(waters)}.",
                "--water-body and the whole name",
            )
            return None
        rows, left = (named, 0) if "+" in water else _with_data(waters, named, data)
        if "+" not in water and _far_apart(waters, rows, questions):
            return None
        told = [f"--water-body {water}"]
        told += [f"{left} more of that name hold no data of depth and are left out"] if left else []
        return _picked(waters, rows, told)
    if len(waters.shapes) == 1:
        return PickedLake(waters.shapes[0], waters.names[0], found, ["the only water"])
    counts = counted(waters.shapes, data)
    by = "data of depth"
    if not counts.any():
        counts, by = counted(waters.shapes, marks, _NEAR_M), "ramps and spots"
    same_name = [i for i, one in enumerate(waters.names) if one and one.casefold() == name.casefold()]
    if not counts.any():
        if same_name:
            return PickedLake(
                _one(waters, same_name), waters.names[same_name[0]], found, ["it bears the name given"]
            )
        questions.ask(
            found.name,
            f"which of its {len(waters.shapes)} waters is it? There are {listing(waters)}.",
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
        listed = listing(waters, counts, np.flatnonzero(counts > 0).tolist())
        questions.ask(
            found.name,
            f"which of its {len(waters.shapes)} waters is it? Several hold {by}: {listed}.",
            "--water-body NAME (a row too, or several with + between)",
        )
        return None
    rows = [best] if not label else [i for i, one in enumerate(waters.names) if one == label and counts[i]]
    if _far_apart(waters, rows, questions):
        return None
    others = len(waters.shapes) - len(rows)
    why = f"of {len(waters.shapes)} waters the one with most {by}" + (f" ({label})" if label else "")
    left = int(counts.sum() - counts[rows].sum())
    told = [why] + ([f"{left / counts.sum():.0%} of them lie in the {others} others"] if left else [])
    return _picked(waters, rows, told)
