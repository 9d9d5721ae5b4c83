"""What layers tell of a bottom, brought together: contours, soundings, depth areas, a raster; and their weights."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import geopandas
import numpy as np
import pandas as pd
import shapely

from ...dates_and_times import read_dates
from ...depth import DepthSurface
from ...errors import DataError, UsageError
from ...report import note
from ...text import how_many
from ...units import parse
from .barriers import grid_of, rings_of
from .measured import Measured
from .surface import ashore

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from geopandas import GeoDataFrame
    from numpy.typing import NDArray
    from shapely.geometry.base import BaseGeometry

    from .barriers import Grid

_TOUCH_M: Final = 0.01


def contours_between(
    areas: NDArray[np.object_], from_m: NDArray[np.float64], to_m: NDArray[np.float64]
) -> tuple[NDArray[np.object_], NDArray[np.float64]]:
    """Draw the lines along which depth areas meet.

    Parameters
    ----------
    areas
        Polygons.
    from_m, to_m
        Least and greatest depth of each; the greatest may be NaN where it is not known.

    Returns
    -------
    Lines, and the depth of each: that up to which one side reaches and from which the other begins.

    Raises
    ------
    DataError
        An area whose greatest depth is less than its least.

    Notes
    -----
    An outer edge with nothing beyond is not drawn: it may be the shore or the end of the survey. Where areas meet
    that have a gap between their depths (0 to 5 m beside 10 to 20 m) the line bears both depths.
    """
    wrong = np.flatnonzero(to_m < from_m)
    if len(wrong):
        raise DataError(
            f"depth_areas reach from {from_m[wrong[0]]:g} to {to_m[wrong[0]]:g} m in row {wrong[0]}; give the least "
            "depth in from_m and the greatest in to_m, positive down."
        )
    lines: list[NDArray[np.object_]] = []
    depths: list[float] = []
    for depth in np.unique(np.concatenate([from_m, to_m[np.isfinite(to_m)]])):
        deeper = shapely.union_all(areas[from_m >= depth])
        shoaler = shapely.union_all(areas[to_m <= depth])
        if depth <= 0 or shapely.is_empty(deeper) or shapely.is_empty(shoaler):
            continue
        shared = shapely.intersection(shapely.boundary(deeper), shapely.buffer(shoaler, _TOUCH_M))
        parts = shapely.get_parts(shapely.line_merge(_lines_of(shared)))
        parts = parts[shapely.length(parts) > 2.0 * _TOUCH_M]
        lines.append(parts)
        depths += [float(depth)] * len(parts)
    found = np.concatenate(lines) if lines else np.empty(0, dtype=object)
    return found, np.array(depths, dtype=np.float64)


def _lines_of(geometry: shapely.Geometry) -> shapely.MultiLineString:
    parts = shapely.get_parts(geometry)
    parts = parts[~shapely.is_empty(parts)]  # areas with a gap between them share nothing
    return shapely.MultiLineString(list(parts[shapely.get_type_id(parts) == shapely.GeometryType.LINESTRING]))


USUAL_ERROR_M: Final = 0.3
"""Depth error (95 %) of data whose source states none (common practice)."""

_LEAST_ERROR_M: Final = 0.01


def read_source_errors(texts: Sequence[str]) -> dict[str, float]:
    """Read ``NAME=LENGTH`` pairs, such as ``club 1998=2ft``.

    Raises
    ------
    UsageError
        Not such a pair, a name given twice, or an error that is not above 0.
    """
    found: dict[str, float] = {}
    for text in texts:
        name, equals, length = text.rpartition("=")
        name = name.strip()
        if not equals or not name:
            raise UsageError(f"source-errors is '{text}'; write NAME=LENGTH, such as 'club 1998=2ft'.")
        if name in found:
            raise UsageError(f"source-errors names '{name}' twice; give each source one error.")
        found[name] = parse(length, "length")
        if found[name] <= 0:
            raise UsageError(f"source-errors gives '{name}' {length.strip()}; an error is a length above 0.")
    return found


def survey_years(texts: Sequence[str]) -> NDArray[np.float64]:
    """Years of dates as written, NaN where none can be read."""
    return np.array([float(date[:4]) if date else np.nan for date, _ in read_dates(list(texts))])


def data_errors_m(
    sources: Sequence[str],
    years: NDArray[np.float64],
    stated_m: Mapping[str, float],
    *,
    newest_year: float,
    ageing_m: float,
) -> NDArray[np.float64]:
    """Depth error (95 %) of each datum: what its source states, and more with every year.

    Parameters
    ----------
    sources, years
        Of each datum; a year that is NaN counts as that of the newest data.
    stated_m
        Error by source; others have `USUAL_ERROR_M`.
    newest_year
        Year from which age is counted back; NaN where no year is known.
    ageing_m
        Error added for each year of age: silt, slumping, dredging.
    """
    error = np.array([stated_m.get(source, USUAL_ERROR_M) for source in sources], dtype=np.float64)
    age = np.nan_to_num(newest_year - years, nan=0.0).clip(0.0)
    return np.maximum(error + ageing_m * age, _LEAST_ERROR_M)


def trust_of(error_m: NDArray[np.float64], best_m: float) -> NDArray[np.float64]:
    """Weights of data by the inverse square of their error; 1 for the best there are."""
    return np.asarray(np.clip((best_m / error_m) ** 2, 1e-4, 1.0))


ORIGIN: Final = ("source", "surveyed", "time")
"""Columns that say where data come from and when; empty text where it is not known."""


def _said(text: str) -> None:
    note(text, stacklevel=4)


def usable_rows(layer: GeoDataFrame | None, lake: BaseGeometry, name: str) -> GeoDataFrame | None:
    """Leave out rows above chart datum and rows that do not touch the lake, and say how many."""
    if layer is None or len(layer) == 0:
        return None
    depth = layer["depth_m"].to_numpy(dtype=float)
    if not (depth > 0).any() and (depth < 0).any():
        raise DataError(
            f"{name}.depth_m holds no depth above 0; depths are positive down, metres below chart datum. "
            "Turn the sign of the column, or take the elevations from that of chart datum."
        )
    shapely.prepare(lake)
    touches = shapely.intersects(lake, layer.geometry.to_numpy())
    if not touches.any():
        raise DataError(
            f"{name}: none of the {len(layer)} rows lies inside the shoreline; check that both layers are of the same "
            "lake and that their reference systems are stated rightly."
        )
    above = depth < 0
    if above.any():
        _said(f"{name}: {how_many(int(above.sum()), 'row')} with a depth_m below 0 (land) left out.")
    if (~touches).any():
        _said(f"{name}: {how_many(int((~touches).sum()), 'row')} outside the shoreline left out.")
    return layer[np.asarray(touches & ~above)]


def with_depth_areas(contours: GeoDataFrame | None, areas: GeoDataFrame | None) -> GeoDataFrame | None:
    """Add the lines along which depth areas meet to the contours."""
    if areas is None or len(areas) == 0:
        return contours
    lines, depths = contours_between(
        areas.geometry.to_numpy(), areas["from_m"].to_numpy(float), areas["to_m"].to_numpy(float)
    )
    if not len(lines):
        raise DataError(
            "No two depth areas meet at a depth above 0: none reaches as deep (to_m) as another begins (from_m). "
            "Depths are positive down, in metres below chart datum."
        )
    names = np.array([f"between depth areas at {depth:g} m" for depth in depths], dtype=object)
    made = geopandas.GeoDataFrame({"depth_m": depths}, geometry=lines, crs=areas.crs, index=names)
    near = _area_of(lines, depths, areas)
    for column in ORIGIN:
        made[column] = areas[column].to_numpy(dtype=object)[near] if column in areas else ""
    return made if contours is None else geopandas.GeoDataFrame(pd.concat([contours, made]), crs=areas.crs)


def _area_of(
    lines: NDArray[np.object_], depths: NDArray[np.float64], areas: GeoDataFrame
) -> NDArray[np.int64]:
    """Row of the area that begins along each line at its depth; whose limit it is says whose error and date it has."""
    shapes = np.asarray(areas.geometry.to_numpy(), dtype=object)
    middle = shapely.line_interpolate_point(lines, 0.5, normalized=True)
    line, area = shapely.STRtree(shapes).query(middle, predicate="dwithin", distance=2.0 * _TOUCH_M)
    begins = areas["from_m"].to_numpy(dtype=float)[area] >= depths[line]
    order = np.lexsort((~begins, line))
    found = np.zeros(len(lines), dtype=np.int64)
    line, first = np.unique(line[order], return_index=True)
    found[line] = area[order][first]
    return found


def measured_from(
    lake: BaseGeometry,
    contours: GeoDataFrame | None,
    soundings: GeoDataFrame | None,
    *,
    source_errors: Sequence[str] = (),
    ageing_m: float = 0.0,
) -> tuple[Measured, float]:
    """Bring together what is known, weighted by source and age.

    Parameters
    ----------
    lake
        The water at chart datum.
    contours, soundings
        Usable rows, with the columns of `ORIGIN`; None where there are none.
    source_errors
        Depth error (95 %) by source, ``NAME=LENGTH``.
    ageing_m
        Error added for each year by which a row is older than the newest.

    Returns
    -------
    What is known, and the greatest error that one of its sources states.

    Raises
    ------
    UsageError
        An error is stated for a source that no row has.
    """
    stated = read_source_errors(source_errors)
    depths, years = [np.empty(0), np.empty(0)], [np.empty(0), np.empty(0)]
    sources: list[list[str]] = [[], []]
    for k, layer in enumerate((contours, soundings)):
        if layer is not None:
            depths[k] = layer["depth_m"].to_numpy(dtype=float)
            sources[k] = [text.strip() for text in layer["source"]]
            dates = layer["surveyed"].where(layer["surveyed"].str.strip() != "", layer["time"])
            years[k] = survey_years([text.strip() for text in dates])
    there = set(sources[0]) | set(sources[1])
    for name in stated:
        if name not in there:
            names = ", ".join(sorted(there - {""})) or "none"
            raise UsageError(
                f"source-errors names '{name}', which no row has as its source; there are: {names}."
            )
    known_years = np.concatenate(years)
    newest = float(np.nanmax(known_years)) if np.isfinite(known_years).any() else np.nan
    errors = [
        data_errors_m(sources[k], years[k], stated, newest_year=newest, ageing_m=ageing_m) for k in (0, 1)
    ]
    best = float(np.concatenate(errors).min())
    empty = np.empty(0, dtype=object)
    known = Measured.gather(
        lake,
        empty if contours is None else contours.geometry.to_numpy(),
        depths[0],
        np.empty((0, 2))
        if soundings is None
        else np.column_stack([soundings.geometry.x, soundings.geometry.y]),
        depths[1],
        contour_trust=trust_of(errors[0], best),
        trust=trust_of(errors[1], best),
    )
    worst = max((stated[name] for name in there if name in stated), default=0.0)
    return known, worst


def usual_interval(contours: GeoDataFrame | None) -> float | None:
    """Find the usual step between contours; the first step is from the shore."""
    if contours is None or len(contours) == 0:
        return None
    depths = np.unique(np.concatenate([[0.0], contours["depth_m"].to_numpy(dtype=float)]))
    return float(np.median(np.diff(depths))) if len(depths) > 1 else None


def resampled(surface: DepthSurface, grid: Grid) -> DepthSurface:
    """Read a surface at the cell centres of another grid, bilinear; NaN where it has no depth."""
    x = grid.west_m + (np.arange(grid.columns) + 0.5) * grid.cell_x_m
    depth = np.empty((grid.rows, grid.columns), dtype=np.float32)
    for row in range(grid.rows):  # by rows, so that memory stays that of the result
        y = grid.north_m - (row + 0.5) * grid.cell_y_m
        depth[row] = surface.at(x, np.full(grid.columns, y))
    return DepthSurface(
        depth, grid.west_m, grid.north_m, grid.cell_x_m, grid.cell_y_m, surface.crs, surface.error_m
    )


def depth_from(values: DepthSurface, holds: str, datum_m: float, *, unit_m: float = 1.0) -> DepthSurface:
    """Turn raw values into depths below chart datum.

    Parameters
    ----------
    values
        A raster as read: its numbers are what the raster holds.
    holds
        ``depth`` (positive down, below chart datum), ``elevation`` (positive up) or ``negative-depth``.
    datum_m
        Elevation of chart datum in metres, on the raster's own vertical datum; for ``elevation`` only.
    unit_m
        Length of the raster's unit in metres.
    """
    if unit_m != 1.0:
        values = values.with_depth(values.depth_m * np.float32(unit_m))
    if holds == "elevation":
        return values.with_depth(np.float64(datum_m) - values.depth_m)
    if holds == "negative-depth":
        return values.with_depth(-values.depth_m)
    return values


def with_shore(surface: DepthSurface, lake: BaseGeometry) -> tuple[DepthSurface, int]:
    """Give unknown land centres beside the water what makes the surface 0 at the shoreline.

    Returns
    -------
    The surface, and how many centres inside the shoreline have no depth.
    """
    depth, water = ashore(grid_of(surface), rings_of(lake), surface.depth_m)
    beside = np.isnan(surface.depth_m) & ~water
    filled = np.where(beside, depth, surface.depth_m)
    return surface.with_depth(filled), int((water & np.isnan(surface.depth_m)).sum())
