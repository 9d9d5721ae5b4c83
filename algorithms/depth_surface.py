"""One depth coverage from contours, soundings and shoreline, or from a raster."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, NamedTuple

from castshed.toolbox.algorithm import algorithm
from castshed.toolbox.parameters import (
    LINE,
    POINT,
    POLYGON,
    CellSize,
    Choice,
    Column,
    Contradictions,
    Depth,
    DepthConfidence,
    DepthError,
    Layer,
    Length,
    Number,
    Plain,
    Shoreline,
    SignedLength,
    WordList,
    YesNo,
)
from castshed.toolbox.text import how_many

if TYPE_CHECKING:
    import numpy as np
    from geopandas import GeoDataFrame
    from numpy.typing import NDArray
    from shapely.geometry.base import BaseGeometry

else:  # at run time the plain type plays no part
    GeoDataFrame = object

_ORIGIN = (
    Column("source", "text", gaps=True),
    Column("surveyed", "text", gaps=True),
    Column("time", "text", gaps=True),
)
Contours = Annotated[GeoDataFrame, Layer("contours", LINE, needs=(Column("depth_m"),), optional=_ORIGIN)]
Soundings = Annotated[GeoDataFrame, Layer("soundings", POINT, needs=(Column("depth_m"),), optional=_ORIGIN)]
DepthAreas = Annotated[
    GeoDataFrame,
    Layer("depth_areas", POLYGON, needs=(Column("from_m"), Column("to_m", gaps=True)), optional=_ORIGIN),
]
Method = Annotated[str, Choice(("minimum-curvature", "triangles"))]
Holds = Annotated[str, Choice(("depth", "negative-depth", "elevation"))]
Unit = Annotated[str, Choice(("m", "ft", "ftUS", "fathom"))]
Tension = Annotated[float, Number(0.0, 0.95)]

LOOSE_ERROR_M = 0.5
"""Depth error of soundings or a raster that state none (common practice)."""


class DepthLayers(NamedTuple):
    """A lake's depth, how far it may be off at each place, and where what it was made from disagrees."""

    depth: Depth
    depth_confidence: DepthConfidence
    contradictions: Contradictions


def _from_raster(
    raster: Depth,
    lake: BaseGeometry,
    holds: str,
    unit: str,
    datum_m: float,
    cell_m: float | None,
    no_data: float | None,
    stated_m: float,
    position_m: float,
) -> tuple[Depth, NDArray[np.float32]]:

    import numpy as np

    from castshed.toolbox.errors import DataError, UsageError
    from castshed.toolbox.real_files import check_room
    from castshed.toolbox.report import note
    from castshed.toolbox.units import convert
    from castshed.toolbox.water.bottom.barriers import centres_inside
    from castshed.toolbox.water.bottom.surface import grid_over
    from castshed.toolbox.water.bottom.survey import depth_from, resampled, with_shore
    from castshed.toolbox.water.doubt.depth_doubt import doubt_shore, refuse_beyond_lakes, refuse_marks
    from castshed.toolbox.water.sureness.confidence import whole_error_m
    from castshed.toolbox.water.sureness.raster_error import raster_error_m

    if no_data is not None:
        raster = raster.with_depth(
            np.where(raster.depth_m == np.float32(no_data), np.float32(np.nan), raster.depth_m)
        )
        if np.isnan(raster.depth_m).all():
            raise DataError(f"Every cell of the raster is {no_data:g}, the number given with --no-data.")
    refuse_marks(raster)
    unit_m = convert(1.0, unit, "length")
    if raster.stated_unit and unit_m != 1.0:
        if unit != raster.stated_unit:
            raise UsageError(
                f"The raster states its unit itself, {raster.stated_unit}, and was turned into metres; --raster-unit "
                f"{unit} is for one that states none. Leave it out, or correct the unit in the file."
            )
        unit_m = 1.0
    surface = depth_from(raster, holds, datum_m, unit_m=unit_m)
    as_depth = f"The raster read as {holds}"
    refuse_beyond_lakes(surface, as_depth)
    whole = surface
    wet = centres_inside(whole, lake) & np.isfinite(whole.depth_m)
    told = raster_error_m(whole, wet, stated_m=stated_m, position_m=position_m)
    if cell_m is not None:
        check_room(surface.bounds, cell_m)
        grid = grid_over(surface.bounds, cell_m, cell_m)
        surface = resampled(surface, grid)
        own = resampled(whole.with_depth(told), grid).depth_m
        # Cells wider than the raster's lose what it shows.
        told = own if cell_m <= min(whole.cell_x_m, whole.cell_y_m) else np.fmax(own, raster_error_m(
            surface, centres_inside(surface, lake) & np.isfinite(surface.depth_m),
            stated_m=stated_m, position_m=position_m,
        ))  # fmt: skip
    inside = centres_inside(surface, lake) & np.isfinite(surface.depth_m)
    if not inside.any():
        raise DataError(
            "The raster holds no value inside the shoreline; check that both are of the same lake, and that the "
            "cells are not wider than the lake."
        )
    dry = float((surface.depth_m[inside] < 0).mean())
    if dry > 0.5:
        raise DataError(
            f"By the raster {dry:.0%} of the ground inside the shoreline lies above chart datum. Say what it holds "
            "with --raster-holds depth, negative-depth or elevation, and for elevation give that of chart datum "
            "with --chart-datum."
        )
    doubt_shore(whole, lake, name=as_depth)
    if dry > 0.05:
        note(
            f"By the raster {dry:.0%} of the ground inside the shoreline lies above chart datum; it counts as land.",
            stacklevel=3,
        )
    surface, missing = with_shore(surface, lake)
    if missing:
        note(
            f"{how_many(missing, 'cell')} inside the shoreline without a depth in the raster: not known.",
            stacklevel=3,
        )
    known = np.isfinite(surface.depth_m)
    # The rim that was carried ashore is as unsure as the usual cell.
    told = np.where(known & np.isnan(told), np.float32(np.nanmedian(told)), told)
    told = np.where(known, told, np.float32(np.nan)).astype(np.float32)
    error = max(stated_m, whole_error_m(told[centres_inside(surface, lake)]))
    return surface.with_depth(surface.depth_m, error_m=error), told


@algorithm(
    step="water",
    example="castshed depth-surface demo_layers/reservoir.gpkg:shoreline "
    "--contours demo_layers/reservoir.gpkg:contours "
    "--soundings demo_layers/reservoir.gpkg:soundings --cell 10m --out my.gpkg",
)
def depth_surface(
    shoreline: Shoreline,
    *,
    contours: Contours | None = None,
    soundings: Soundings | None = None,
    depth_areas: DepthAreas | None = None,
    raster: Depth | None = None,
    raster_holds: Holds = "depth",
    raster_unit: Unit = "m",
    chart_datum_m: SignedLength = 0.0,
    no_data: Plain | None = None,
    cell_m: CellSize | None = None,
    method: Method = "minimum-curvature",
    tension: Tension | None = None,
    source_errors: WordList = (),
    ageing_m: Length = 0.01,
    keep_blunders: YesNo = False,
    mend_shift: YesNo = False,
    depth_error_m: DepthError | None = None,
    position_error_m: Length = 0.0,
) -> DepthLayers:
    """Make the depth coverage of a lake from contours, soundings or areas, or from a raster.

    Contours and soundings are joined by a surface that bends as little as possible (minimum curvature with
    tension), or by triangles between them. Land is a barrier: depths do not leak across a spit or an island. Between
    two contours the surface stays between their depths. The coverage knows no land but for a rim of one cell that
    brings the depth to 0 at the shoreline.

    Where data differ, the better ones count more: by the error their source states, and less with every year they are
    older than the newest (columns source, and surveyed or time). A contour or a sounding that contradicts all round
    it is left out and named in a note, with the depth its neighbours make expect.

    Where contours and soundings contradict each other by more than the contour interval, no sounding gives way to the
    chart: a surface is made of each, and they are joined by what each gets wrong, the contours' error as the soundings
    show it. A shift of the contours is looked for and told with what it would gain.

    A layer, contradictions, holds each sounding that differs from the contours round it by more than their interval
    and the stated errors, lies beyond the limits of its depth area, or differs from a raster by more than its band:
    difference_m is charted minus sounded depth, above 0 where the chart promises more water; believed names the source
    that the surface follows there. It is empty where all agree.

    A second coverage, depth_confidence, says how far each depth may be off (half-width, 95 %). It is learnt from the
    lake's own data: some are left out, the surface is made without them, and what it gets wrong there tells how it
    errs with the distance to data, the steepness and the bending of the bottom. Where data are too few, what is usual
    counts, widened to hold what could be left out.

    The depth error, kept with the coverage and used by hazards, is by default half the contour interval; without
    contours 0.5 m; never less than what a source states, nor than holds 95 % of the depths by depth_confidence.

    Minimum curvature makes more than 12 million cells in blocks, which take 700 MB and 24 MB for each million. More
    than the machine has free, than 400 million, or than 60 million by triangles or from a raster, are refused before
    the work begins.

    A raster is taken as it is, sign and datum put right, on its own cells or on new ones; what it knows of the land is
    kept. How far it may be off is told by what its cells cannot show: by how much wider cells would miss. Soundings
    given beside it judge it: its band is widened to hold 95 % of them, and up to each that reads less water.

    Parameters
    ----------
    shoreline
        Water's edge at chart datum, islands as holes.
    contours
        Lines of equal depth, depth_m positive down below chart datum.
    soundings
        Points of known depth, depth_m positive down below chart datum.
    depth_areas
        Areas between two depths, from_m and to_m, positive down below chart datum; the lines along which they meet
        are taken as contours, with the source and date of the area that begins there.
    raster
        A raster instead of contours and soundings: a GeoPackage coverage, a GeoTIFF or an ASCII grid.
    raster_holds
        What the raster holds: depth (positive down, below chart datum), negative-depth, or elevation.
    raster_unit
        Unit of the raster's numbers where it states none itself.
    chart_datum_m
        Elevation of chart datum on the raster's vertical datum, when it holds elevations.
    no_data
        Number that stands for 'nothing known' in the raster, where the raster itself does not say so.
    method
        minimum-curvature, or triangles (Delaunay; flat at tops and in hollows).
    tension
        Of minimum curvature: 0 bends least and may swing between far data, near 1 is a stretched skin. By default
        0.3 where there are contours, else 0.1.
    source_errors
        Depth error (95 %) by source, NAME=LENGTH, for instance 'club 1998=2ft'; 0.3 m for a source that is not named
        (common practice).
    ageing_m
        Error added for each year by which data are older than the newest; a centimetre for silt (common practice).
    keep_blunders
        Name rows that contradict all round them, but leave them in.
    mend_shift
        Where contours contradict soundings, move the contours by the shift under which they fit best.
    position_error_m
        How far the data may lie beside their place (95 %): it counts as so much depth as the bottom falls on that way.
        0 where none is stated; what coarsely drawn lines show of it themselves is counted anyway.

    Returns
    -------
    DepthLayers
        depth, in metres below chart datum; depth_confidence, in metres; contradictions, points.

    Raises
    ------
    UsageError
        No data, or a raster beside the others, or too many cells, or an error for a source that is not there.
    DataError
        The data do not lie in the lake, or have the wrong sign; what is given as depth is elevation, lies on another
        datum than the shoreline, is in another unit than beside it, or holds an undeclared mark for 'nothing known'.

    Notes
    -----
    Minimum curvature with tension: Smith and Wessel 1990, Geophysics 55, 293-305. Half the contour interval is the
    rule of the US National Map Accuracy Standards of 1947 for nine tenths of tested points (from memory); the error
    of the contours themselves comes on top of it.

    The band is split-conformal (Lei et al. 2018, J. Am. Stat. Assoc. 113, 1094-1111) with what is left out taken
    by discs or by whole levels of contours (Roberts et al. 2017, Ecography 40, 913-929).

    What makes the result wrong: humps and hollows between two contours that no line shows, contours that end or bear a
    wrong depth, soundings far apart, a shoreline drawn at another level than chart datum.
    """
    from dataclasses import replace

    import numpy as np
    import shapely

    from castshed.toolbox.depth import LOCAL_ERROR, DepthSurface
    from castshed.toolbox.errors import UsageError
    from castshed.toolbox.lineage import require_charted
    from castshed.toolbox.real_files import ONE_PIECE_CELLS, check_room
    from castshed.toolbox.report import note, progress
    from castshed.toolbox.water.bottom.measured import Measured
    from castshed.toolbox.water.bottom.surface import METHODS, grid_over
    from castshed.toolbox.water.bottom.survey import (
        measured_from,
        usable_rows,
        usual_interval,
        with_depth_areas,
    )
    from castshed.toolbox.water.doubt.blunders import stray_lines, without_blunders
    from castshed.toolbox.water.doubt.depth_agreement import doubt_against, doubt_rows
    from castshed.toolbox.water.sureness.band import surface_error_m
    from castshed.toolbox.water.sureness.blocks import depth_and_error
    from castshed.toolbox.water.sureness.confidence import whole_error_m
    from castshed.toolbox.water.sureness.two_sources import (
        apart_from_areas,
        apart_from_contours,
        contradictions_of,
        fit_of,
        joined,
        judged_by_soundings,
        shifted_contours,
        told_of,
    )

    require_charted({"contours": contours, "soundings": soundings, "depth_areas": depth_areas})
    lake = shapely.union_all(shoreline.geometry.to_numpy())
    if raster is not None and not (contours is None and depth_areas is None):
        raise UsageError(
            "A raster was given beside contours or depth areas; give one or the other. Soundings may judge a raster."
        )
    if cell_m is not None and cell_m <= 0:
        raise UsageError(f"cell is {cell_m:g} m; a cell needs a size above 0, such as 5m.")
    if raster is not None:
        made, unsure = _from_raster(
            raster,
            lake,
            raster_holds,
            raster_unit,
            chart_datum_m,
            cell_m,
            no_data,
            depth_error_m or 0.0,
            position_error_m,
        )
        points = usable_rows(soundings, lake, "soundings")
        if points is None:
            nothing = Measured.gather(
                lake, np.empty(0, dtype=object), np.empty(0), np.empty((0, 2)), np.empty(0)
            )
            agree = contradictions_of(nothing, None, made)
            return DepthLayers(made, replace(made, depth_m=unsure, quantity=LOCAL_ERROR), agree)
        doubt_against(
            made, points, what="soundings", name="The raster",
            mend="See --raster-holds, --raster-unit and --chart-datum.",
        )  # fmt: skip
        beside, stated = measured_from(lake, None, points, source_errors=source_errors, ageing_m=ageing_m)
        unsure, apart_rows, text = judged_by_soundings(beside, made, unsure, stated_m=stated)
        note(text, stacklevel=2)
        made = made.with_depth(made.depth_m, error_m=max(made.error_m, whole_error_m(unsure)))
        differ = contradictions_of(beside, points, made, apart_rows)
        return DepthLayers(made, replace(made, depth_m=unsure, quantity=LOCAL_ERROR), differ)

    lines = usable_rows(with_depth_areas(contours, depth_areas), lake, "contours")
    points = usable_rows(soundings, lake, "soundings")
    if lines is None and points is None:
        raise UsageError(
            "No depths were given; give --contours, --soundings or --depth-areas with at least one row, or a --raster."
        )
    doubt_rows(lake, lines, points)
    cell = 5.0 if cell_m is None else cell_m
    smooth = method == "minimum-curvature"
    remedy = "" if smooth else ", or minimum-curvature as the method, which is made in blocks"
    check_room(lake.bounds, cell, in_blocks=smooth, otherwise=remedy)
    grid = grid_over(lake.bounds, cell, cell)
    known, stated = measured_from(lake, lines, points, source_errors=source_errors, ageing_m=ageing_m)
    rows = [[] if layer is None else list(layer.index) for layer in (lines, points)]
    interval = usual_interval(lines)
    given = known
    odd = stray_lines(known.lines, known.line_depth_m, known.shores)
    known, said, shoals = without_blunders(known, rows[0], rows[1], keep=keep_blunders, lines=odd)
    fit = None if interval is None or not smooth else fit_of(known, interval)
    apart = fit is not None and fit.contradict
    if fit is not None and apart:
        note(told_of(fit, mended=mend_shift), stacklevel=2)
        if mend_shift:
            given = shifted_contours(given, fit.shift_m)
        known, said, shoals = without_blunders(
            given, rows[0], rows[1], keep=keep_blunders, apart=True, lines=None if mend_shift else odd
        )
    for text in said:
        note(text, stacklevel=2)
    if points is None and lines is not None:
        note(
            "Contours alone: nothing shows how far they lie from the bottom, so depth_confidence holds for what lies "
            "between the lines, not for the lines themselves. Hold a few soundings against them.",
            stacklevel=2,
        )
    error = depth_error_m
    if error is None:
        error = max(LOOSE_ERROR_M if interval is None else interval / 2.0, stated)
    with progress("Making the depth surface") as step:
        if smooth and grid.rows * grid.columns > ONE_PIECE_CELLS:
            depth, unsure = depth_and_error(
                grid,
                known,
                tension=tension,
                interval_m=interval,
                least_m=stated,
                sideways_m=position_error_m,
                shoals=shoals,
                learnt=True,
                progress=step,
            )
        elif apart and interval is not None:
            both = joined(
                grid,
                known,
                interval_m=interval,
                least_m=stated,
                sideways_m=position_error_m,
                tension=tension,
                progress=step,
            )
            depth, unsure = both.depth_m, both.error_m
        else:
            depth = METHODS[method](grid, known, tension=tension, progress=step)
            unsure = surface_error_m(
                grid,
                known,
                depth,
                interval_m=interval,
                least_m=stated,
                sideways_m=position_error_m,
                shoals=shoals,
                tension=tension,
            )
    if depth_error_m is None:
        error = max(error, whole_error_m(unsure))
    made = DepthSurface(depth, grid.west_m, grid.north_m, cell, cell, shoreline.crs, error)
    if np.isnan(depth).all():
        raise UsageError(f"cell is {cell:g} m; no cell that large lies on the water, give a smaller one.")
    aparts = []
    if points is not None and depth_areas is not None and len(depth_areas):
        aparts.append(apart_from_areas(given, depth_areas, stated_m=stated, sideways_m=position_error_m))
    if points is not None and interval is not None:
        aparts.append(
            apart_from_contours(given, interval_m=interval, stated_m=stated, sideways_m=position_error_m)
        )
    differ = contradictions_of(given, points, made, *aparts)
    return DepthLayers(made, replace(made, depth_m=unsure, quantity=LOCAL_ERROR), differ)
