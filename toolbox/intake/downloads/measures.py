"""Unit and sign of depths, told or asked for, and features brought into another reference system."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

import numpy as np
import shapely

from ...same_system import same_crs
from ...units import FATHOM_M, FOOT_M, in_words
from .depth_columns import datum_in, unit_in_file_name
from .found import FoundLayer, Questions, unit_length_m
from .systems import system_of

if TYPE_CHECKING:
    from collections.abc import Sequence

    from ...arrays import Floats, Geometries
    from .found import FileWishes


def moved(shapes: Geometries, source: Any, target: Any) -> Geometries:
    """Bring shapes from one system into another, two coordinates each; what has no place there becomes None."""
    import pyproj

    flat: Geometries = shapely.force_2d(np.asarray(shapes, dtype=object))
    if same_crs(pyproj.CRS.from_user_input(source), pyproj.CRS.from_user_input(target)):
        return flat
    go = pyproj.Transformer.from_crs(source, target, always_xy=True)
    if len(flat) and not (shapely.get_type_id(flat) != 0).any() and not shapely.is_empty(flat).any():
        x, y = go.transform(shapely.get_x(flat), shapely.get_y(flat))  # points by the million
        there = np.isfinite(x) & np.isfinite(y)
        placed = np.full(len(flat), None, dtype=object)
        placed[there] = shapely.points(np.asarray(x)[there], np.asarray(y)[there])
        return placed

    def step(xy: Any) -> Any:
        x, y = go.transform(xy[:, 0], xy[:, 1])
        return np.column_stack([x, y])

    made = shapely.transform(flat, step)
    xy, owner = shapely.get_coordinates(made, return_index=True)
    lost = np.unique(owner[~np.isfinite(xy).all(axis=1)])
    if len(lost):
        made = made.copy()
        made[lost] = None
    return made


def sample_of(shapes: Geometries, most: int = 20_000) -> Geometries:
    """Give corners of shapes as points, spread over all of them, at most so many."""
    xy = shapely.get_coordinates(shapes)
    found: Geometries = np.asarray(shapely.points(xy[:: max(1, len(xy) // most)]), dtype=object)
    return found


_FEW: Final = 24
_ENOUGH: Final = 30
_NEARLY: Final = 0.9
_FEWER: Final = 0.01  # of the numbers: fewer far from all others are blunders, and set aside later
_LADDER: Final = 5
_APART: Final = 3.0  # gap between two groups of numbers, in the wider one's range: no bottom leaps so
_NEAR_0: Final = 0.35  # of their range, within which numbers begin near 0
_UNIT_RATIOS: Final = (("m", 1.0), ("ft", FOOT_M), ("fathom", FATHOM_M))
_TOLERANCE: Final = 0.12
# Depths reach the shore, or nearly. Soundings of the middle of a crater lake alone are the rare exception, and answer
# with their contour of 0.
_FAR_UNDER_M: Final = 20.0
_FAR_UNDER: Final = 2.0  # in spreads of the depths themselves


def take_unit(found: FoundLayer, wishes: FileWishes) -> None:
    """Tell the unit: said, in the header or the cells, stated by the file, in its name."""
    said, where = wishes.of(found, "unit")
    if said:
        found.unit = said
        found.why.append(f"unit by {where}")
    elif not found.unit and found.grid is not None and found.grid.unit:
        found.unit = "m"  # its numbers were turned into metres as they were read
        found.why.append(f"the raster states its unit ({found.grid.unit})")
    elif not found.unit:
        for stem in reversed(found.stems):
            if unit := unit_in_file_name(stem):
                found.unit = unit
                found.why.append(f"unit in the name '{stem}'")
                break
    if not found.unit:
        said, where = wishes.of_all("unit")
        if said:
            found.unit = said
            found.why.append(f"unit by {where}")
    if found.unit:
        found.unit_m = unit_length_m(found.unit)


def numbers_of(found: FoundLayer) -> Floats:
    """Give the numbers of a layer or raster that are known, as they stand."""
    values = found.grid.numbers if found.grid is not None and found.numbers is None else found.numbers
    flat = np.asarray(values, dtype=float).ravel()
    known: Floats = flat[np.isfinite(flat)]
    return known


def _shoreward(found: FoundLayer, lake: Any, crs: Any) -> float:
    """Tell whether numbers grow away from the shore: near minus far median by their range; NaN if unknown."""
    if lake is None or found.frame is None or found.numbers is None or np.ndim(found.numbers) != 1:
        return float("nan")
    stride = max(1, len(found.frame) // 3000)
    shapes = moved(found.frame.geometry.to_numpy()[::stride], system_of(found), crs)
    values = np.asarray(found.numbers, dtype=float)[::stride]
    points = shapely.point_on_surface(shapes)
    inside = ~shapely.is_missing(points) & np.isfinite(values)
    inside[inside] = shapely.intersects(lake, points[inside])
    if inside.sum() < _FEW:
        return float("nan")
    off = shapely.distance(points[inside], shapely.boundary(lake))
    values = values[inside]
    near = off <= np.percentile(off, 25)
    spread = float(np.ptp(values))
    return float(np.median(values[near]) - np.median(values[~near])) / spread if spread else float("nan")


def _signs(found: FoundLayer, values: Floats, lake: Any, crs: Any) -> tuple[str, str]:
    """Tell what numbers are by themselves; empty where they do not tell."""
    other = values[values != 0]
    if not other.size:
        return ("depth", "all are 0") if values.size else ("", "")
    below = float((other < 0).mean())
    low, high = float(values.min()), float(values.max())
    spread = high - low
    if below >= _NEARLY:
        near = high >= -_NEAR_0 * spread
        return ("height", f"{below:.0%} below 0, {high:.6g} at most") if near else ("", "")
    if below > 0.0:
        return ("depth", f"{below:.0%} below 0, which dry") if below <= 1 - _NEARLY else ("", "")
    growing = _shoreward(found, lake, crs)
    if low > 2.0 * spread or (low > 0.5 * spread and growing > 0.05):
        return "elevation", f"from {low:.6g} to {high:.6g}, nowhere near 0"
    if low <= _NEAR_0 * spread and not growing > 0.05:
        return "depth", f"from {low:.6g} to {high:.6g}, positive"
    if growing < -0.05 and low <= 1.0 * spread:
        return "depth", f"from {low:.6g} to {high:.6g}, greater away from the shore"
    if len(np.unique(other)) == 1 and found.role == "contours":
        return "depth", "one contour"
    return "", ""


def _parted(values: Floats) -> str:
    """Tell the two groups that numbers fall into, far apart from each other; empty where they are one."""
    if len(values) < _ENOUGH or np.ndim(values) != 1:
        return ""
    inner = np.sort(values)
    steps = np.diff(inner)
    cut = int(np.argmax(steps)) + 1
    low, high = inner[:cut], inner[cut:]
    few = max(3, int(_FEWER * len(inner)))
    kinds = min(len(np.unique(low)), len(np.unique(high)))  # of a few levels any two lie far apart
    if (
        min(len(low), len(high)) < few
        or kinds < 3
        or steps[cut - 1] < _APART * max(float(np.ptp(low)), float(np.ptp(high)))
    ):
        return ""
    return f"{len(low):,} from {low[0]:.6g} to {low[-1]:.6g} and {len(high):,} from {high[0]:.6g} to {high[-1]:.6g}"


def _off_ladder(values: Floats) -> str:
    """Tell contours that lie between the steps of the others, and would be a step of them in another unit."""
    steps = np.unique(np.abs(values[values != 0]))
    if len(steps) < _LADDER:
        return ""
    step = float(np.median(np.diff(steps)))

    def on(numbers: Floats) -> Any:
        return np.abs(numbers / step - np.rint(numbers / step)) < 0.02

    off = steps[~on(steps)]
    if not len(off) or len(off) > 0.5 * len(steps):
        return ""
    fits = [length for length in (FOOT_M, 1.0 / FOOT_M) if on(off * length).all()]
    return ", ".join(f"{one:.6g}" for one in off[:6].tolist()) if fits else ""


def take_values(found: FoundLayer, wishes: FileWishes, questions: Questions, lake: Any, crs: Any) -> None:
    """Tell whether numbers are depths, heights below the surface, or elevations above the sea."""
    said, where = wishes.of(found, "values")
    if not said and not found.values:
        said, where = wishes.of_all("values")
    values = numbers_of(found)
    if said:
        found.values = said
        found.why.append(f"{said} by {where}")
        return
    if not values.size:
        return
    if found.grid is None and (parted := _parted(values)):
        questions.ask(
            found.name,
            f"'{found.column}' holds two kinds of numbers, {parted}: depths and elevations mixed, or two units? "
            "One of them has to go.",
            f"two files, or --values {found.name}=depth, height or elevation, if they are one kind after all",
        )
        return
    if found.role == "contours" and (odd := _off_ladder(values)):
        questions.ask(
            found.name,
            f"'{found.column}' holds contours at {odd}, between the steps of the others; in another unit they fit "
            "these: which are right?",
            f"two files, or --values {found.name}=depth, height or elevation, if they are right as they stand",
        )
        return
    word = found.values or (found.grid.holds if found.grid is not None else "")
    stated = word or _word_of(found)
    by_number, told = _signs(found, values, lake, crs)
    other = values[values != 0]
    below = float((other < 0).mean()) if other.size else 0.0
    if stated == "depth":
        if below > 0.5 and below < _NEARLY:
            _ask(found, values, questions)
            return
        if by_number == "elevation" and found.role == "contours":
            _ask(found, values, questions)
            return
        found.values = "height" if below >= _NEARLY else "depth"
        found.why.append(
            "depth, " + ("written with a minus" if found.values == "height" else "positive down")
        )
    elif stated in ("elevation", "height"):
        if by_number == "height":
            found.values = "height"
            found.why.append(f"heights below the surface: {told}")
        elif stated == "elevation":
            found.values = "elevation"
            found.why.append("elevations above the sea")
        else:
            _ask(found, values, questions)
    elif by_number:
        found.values = by_number
        found.why.append(f"{by_number}: {told}")
    else:
        _ask(found, values, questions)


def _word_of(found: FoundLayer) -> str:
    from .depth_columns import DEPTH_COLUMNS, words_of

    texts = [
        *(found.stems if found.grid is not None else ()),
        found.grid.words if found.grid is not None else "",
    ]
    for text in reversed(texts):
        for word in words_of(text):
            if word in ("depth", "depths"):
                return "depth"
            if DEPTH_COLUMNS.get(word) == "elevation" or word in ("dem", "dtm", "topobathy"):
                return "elevation"
    return ""


def _ask(found: FoundLayer, values: Floats, questions: Questions) -> None:
    questions.ask(
        found.name,
        f"are the numbers of '{found.column or 'the raster'}' ({values.min():.6g} to {values.max():.6g}) depths, "
        "heights below "
        "the surface, or elevations above the sea?",
        f"--values {found.name}=depth, height or elevation",
    )


def in_depth(found: FoundLayer, numbers: Any, pool_m: float | None) -> Any:
    """Turn numbers into depths below the surface at normal pool, metres; the unit and the values are known."""
    metres = np.asarray(numbers, dtype=float) * found.unit_m
    if found.values == "height":
        return -metres
    if found.values == "elevation":
        assert pool_m is not None
        return pool_m - metres
    return metres


def take_datum(found: FoundLayer, pool_m: float | None, questions: Questions) -> None:
    """Tell what depths are counted from; ask for the normal pool where they are elevations."""
    names = [found.column, *found.stems]
    crs = system_of(found)
    named = datum_in(*names) or (datum_in(crs.name) if crs is not None else "")
    if found.values != "elevation":
        found.datum = "chart datum" if found.kind in ("S-57", "BAG", "S-102") else "normal pool"
        return
    if pool_m is None:
        values = numbers_of(found) * (found.unit_m if np.isfinite(found.unit_m) else 1.0)
        unit = "m" if np.isfinite(found.unit_m) else ""
        questions.ask(
            found.name,
            f"'{found.column or 'the raster'}' holds elevations ({values.min():.6g} to {values.max():.6g} "
            f"{unit}): which is that "
            "of the water's surface at normal pool" + (f" in {named}" if named else "") + "?",
            "--normal-pool LENGTH, such as --normal-pool '345 m'",
        )
        return
    found.datum = f"{named + ', ' if named else ''}pool at {in_words(pool_m, 'length')}"
    if np.isfinite(found.unit_m):
        _doubt_pool(found, in_depth(found, numbers_of(found), pool_m), pool_m, questions)


def _doubt_pool(found: FoundLayer, depth_m: Any, pool_m: float, questions: Questions) -> None:
    """Ask for the pool once more where the bottom nowhere comes near it: it was given in another unit or datum."""
    if not len(depth_m):
        return
    least, most = np.percentile(depth_m, (2.0, 98.0))
    under = least > max(_FAR_UNDER_M, _FAR_UNDER * (most - least))
    if under or most < 0.0:
        where = f"{in_words(least, 'length')} under it at the least" if under else "above it"
        questions.ask(
            found.name,
            f"with the water's surface at {in_words(pool_m, 'length')} all of '{found.column or 'the raster'}' lies "
            f"{where}; is the pool in another unit than was said, or on another datum?",
            "--normal-pool LENGTH, with the right unit",
        )


def unit_by_ratio(found: FoundLayer, settled: Sequence[FoundLayer], crs: Any, pool_m: float | None) -> None:
    """Find the unit from depths known for the same places; it stays unknown where they do not tell one unit apart."""
    if (
        found.unit
        or found.values not in ("depth", "height")
        or found.frame is None
        or np.ndim(found.numbers) != 1
    ):
        return
    for other in settled:
        if (
            other is found
            or other.frame is None
            or not np.isfinite(other.unit_m)
            or np.ndim(other.numbers) != 1
        ):
            continue
        if other.values == "elevation" and pool_m is None:
            continue
        known = in_depth(other, other.numbers, pool_m)
        ratio, count = _ratio(found, other, known, crs)
        if count < _ENOUGH:
            continue
        near = (
            [name for name, length in _UNIT_RATIOS if abs(np.log(ratio / length)) < _TOLERANCE]
            if ratio > 0
            else []
        )
        if len(near) == 1:
            found.unit = near[0]
            found.unit_m = unit_length_m(near[0])
            found.why.append(
                f"unit by ratio: {count} places of {other.name} are {ratio:.3g} m for each 1 here"
            )
            return


def _ratio(found: FoundLayer, other: FoundLayer, known: Floats, crs: Any) -> tuple[float, int]:
    assert found.frame is not None and other.frame is not None  # noqa: PT018

    def places(one: FoundLayer, values: Floats) -> tuple[Any, Floats]:
        assert one.frame is not None
        shapes = one.frame.geometry.to_numpy()
        xy, owner = shapely.get_coordinates(shapes, return_index=True)
        stride = max(1, len(xy) // 20_000)
        points = moved(np.asarray(shapely.points(xy[::stride]), dtype=object), system_of(one), crs)
        at = values[owner[::stride]]
        use = ~shapely.is_missing(points) & np.isfinite(at)
        return points[use], at[use]

    own = np.abs(np.asarray(found.numbers, dtype=float))
    here, mine = places(found, own)
    there, theirs = places(other, known)
    if not len(here) or not len(there):
        return float("nan"), 0
    (at, nearest), off = shapely.STRtree(there).query_nearest(here, return_distance=True, all_matches=False)
    near = (off <= np.percentile(off, 25)) & (mine[at] > 1.0) & (theirs[nearest] > 0.5)
    if not near.any():
        return float("nan"), 0
    return float(np.median(theirs[nearest][near] / mine[at][near])), int(near.sum())


def ask_unit(found: FoundLayer, questions: Questions) -> None:
    """Ask for a unit that nothing tells."""
    values = numbers_of(found)
    if found.unit or not values.size or not np.any(values != 0):
        return
    questions.ask(
        found.name,
        f"in which unit is '{found.column or 'the raster'}' ({values.min():.6g} to {values.max():.6g})? Neither "
        "its name nor the "
        "file tells.",
        f"--depths-in {found.name}=ft, m, us-ft, fathom, dm or cm",
    )
