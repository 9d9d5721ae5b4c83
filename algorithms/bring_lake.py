"""Any lake as agencies hand it out, brought in by one command: a checked lake and a day file to start from."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Any, Final

from castshed.toolbox.algorithm import algorithm
from castshed.toolbox.parameters import (
    CellSize,
    Downloads,
    FolderContents,
    FolderSet,
    NormalPool,
    WordList,
    Words,
)

if TYPE_CHECKING:
    from castshed.toolbox.intake.downloads.bringing import Brought

FILES: Final = ("lake.gpkg", "day.toml", "lake.png", "read.csv")
_CELLS_M: Final = (1.0, 2.0, 2.5, 5.0, 10.0, 20.0, 25.0, 50.0)
_MANY_CELLS: Final = 600_000
_MANY_SOUNDINGS: Final = 100_000
_MANY_CORNERS: Final = 200_000
_FINE: Final = 0.025  # of a cell: no surface tells such a bend of a contour
_STAGES: Final = {"Reading what was handed out": 35.0, "Making the depth surface": 50.0, "Drawing": 15.0}


def _cell_of(area_m2: float) -> float:
    """Choose cells so that a lake has some hundred thousand."""
    wanted = (area_m2 / _MANY_CELLS) ** 0.5
    return next((cell for cell in _CELLS_M if cell >= wanted), _CELLS_M[-1])


def _thinned(brought: Brought, cell_m: float) -> None:
    """Thin soundings that are far denser than any surface: of each cell the shallowest stays, and the middle one."""
    import numpy as np

    from castshed.toolbox.report import note
    from castshed.toolbox.units import in_words
    from castshed.toolbox.water.bottom.readings import thin

    layer = brought.soundings
    if layer is None or len(layer) <= _MANY_SOUNDINGS:
        return
    x, y = layer.geometry.x.to_numpy(), layer.geometry.y.to_numpy()
    depth = layer["depth_m"].to_numpy(dtype=float)
    # Of a cell that holds soundings two are kept: begin where about so many are left.
    held = len(np.unique(np.floor(x / cell_m) * 1e7 + np.floor(y / cell_m)))
    side = max(0.5, (held / (0.45 * _MANY_SOUNDINGS)) ** 0.5) * cell_m
    while True:
        rows = np.union1d(*(thin(x, y, depth, side, least=least)[0] for least in (True, False)))
        if len(rows) <= _MANY_SOUNDINGS:
            break
        side *= 1.1
    brought.soundings = layer.iloc[rows].reset_index(drop=True)
    note(
        f"{len(layer):,} soundings are denser than a surface can use: of each cell of {in_words(side, 'length')} the "
        f"shallowest and the middle one are kept, {len(rows):,} in all.",
        stacklevel=3,
    )


def _without_fine_bends(lines: Any, cell_m: float) -> Any:
    """Take corners out of contours far denser than any surface; none moves by more than a fraction of a cell."""
    import shapely

    shapes = None if lines is None else lines.geometry.to_numpy()
    if shapes is None or shapely.get_num_coordinates(shapes).sum() <= _MANY_CORNERS:
        return lines
    return lines.set_geometry(shapely.simplify(shapes, _FINE * cell_m, preserve_topology=False))


def _surface(brought: Brought, cell_m: float | None) -> Any:
    """Make the depth surface from what the lake has, by the algorithm of that name."""
    import geopandas
    import shapely

    from castshed.algorithms.depth_surface import depth_surface

    shore = geopandas.GeoDataFrame(geometry=[brought.lake.area], crs=brought.crs)
    if brought.raster is not None:
        _thinned(brought, cell_m or brought.raster.cell_x_m)
        return depth_surface(
            shore,
            raster=brought.raster,
            soundings=brought.soundings,
            cell_m=cell_m,
            depth_error_m=brought.error_m or None,
        )
    cell = cell_m or _cell_of(float(shapely.area(brought.lake.area)))
    _thinned(brought, cell)
    errors: tuple[str, ...] = ()
    if brought.error_m:
        sources = {s for f in (brought.contours, brought.soundings) if f is not None for s in f["source"]}
        errors = tuple(f"{s}={brought.error_m:.3f} m" for s in sorted(sources))
    return depth_surface(
        shore,
        contours=_without_fine_bends(brought.contours, cell),
        soundings=brought.soundings,
        depth_areas=brought.areas if brought.contours is None else None,
        cell_m=cell,
        source_errors=errors,
    )


@algorithm(
    step="gather",
    example="castshed bring-lake demo_layers/reservoir.gpkg:contours demo_layers/reservoir.gpkg:soundings "
    "demo_layers/reservoir.gpkg:shoreline demo_layers/reservoir.gpkg:ramps --name 'Larkmoor Reservoir' --cell 10m "
    "--out my_lake",
)
def bring_lake(
    files: Downloads,
    *,
    name: Words,
    as_: WordList = (),
    column: WordList = (),
    depths_in: WordList = (),
    values: WordList = (),
    normal_pool_m: NormalPool | None = None,
    file_crs: WordList = (),
    crs: Words = "",
    water_body: Words = "",
    cell_m: CellSize | None = None,
) -> Annotated[FolderContents, FolderSet(FILES)]:
    """Bring in a lake as agencies hand it out, and write a checked lake with a day file to start from.

    Takes shapefiles (in a ZIP too), GeoPackage, GeoJSON, KML and KMZ, GML, DXF, FlatGeobuf, file geodatabases, S-57,
    GeoTIFF, ASCII grids, netCDF, BAG, S-102, tables of points (CSV, TSV, XYZ with or without a header), workbooks and
    GPX. Of each layer it tells what it was taken for and why: role, column, unit, sign, datum, reference system, rows
    taken and set aside. Elevations of the bottom need that of normal pool. Every guess can be overruled, by an option
    or by a file FILE.toml beside FILE with the keys role, column, unit, values, crs. What cannot be told is asked for,
    with the option that answers it, and nothing is written.

    The folder gets lake.gpkg (shoreline, depth, depth_confidence and, as far as known, contours, soundings, areas,
    ramps, zones, known_hazards, spots; contradictions of soundings and contours; set_aside holds what was left out),
    day.toml to plan from, lake.png to look at, and read.csv, a table of what was read.

    Parameters
    ----------
    files
        What was downloaded; of two rasters the first counts. Of two shorelines that differ by more than a twentieth
        the one counts that is called so: FILE=shoreline of the option as.
    name
        What the lake is called.
    as_
        Role of a file, FILE=ROLE: contours, soundings, depth-areas, raster, shoreline, islands, ramps, hazards, zones,
        spots or ignore. A layer of a file is FILE:LAYER.
    column
        Column that holds the depth, FILE=NAME.
    depths_in
        Unit of depths, FILE=UNIT, or UNIT alone for every file that tells none: m, ft, us-ft, fathom, dm, cm, in, yd.
    values
        What the numbers are, FILE=depth (positive down), height (negative down) or elevation (above the sea).
    file_crs
        Reference system, FILE=EPSG:NUMBER, or EPSG:NUMBER alone for every file that names none.
    crs
        Metric reference system of the result; by default the UTM zone of the lake.
    water_body
        Which water body, by its name in the shoreline file.

    Returns
    -------
    FolderContents
        The layers and files of the lake.

    Raises
    ------
    UsageError
        An option names what is not there, or cannot be read.
    DataError
        Something cannot be told from the files, or they are not of one lake, or hold no depth.

    Notes
    -----
    What makes the result wrong: a name that lies (DEPTH_FT over metres), a datum other than the one stated, a
    shoreline drawn at another level than normal pool. Look at lake.png and read.csv before you trust it.

    Examples
    --------
    >>> lake = bring_lake(["contours.zip", "shore.shp"], name="Far Lake").layers["lake.gpkg"]  # doctest: +SKIP
    """
    from castshed.toolbox.errors import UsageError
    from castshed.toolbox.intake.downloads.bringing import bring
    from castshed.toolbox.intake.downloads.found import read_wishes
    from castshed.toolbox.report import stages

    title = " ".join(name.split())
    if not title:
        raise UsageError("name is empty; say what the lake is called.")
    wishes = read_wishes(
        {"role": as_, "column": column, "unit": depths_in, "values": values, "crs": file_crs}
    )
    with stages(_STAGES) as stage:
        with stage("Reading what was handed out"):
            brought = bring(
                files, wishes, name=title, pool_m=normal_pool_m, crs=crs.strip(), water=water_body.strip()
            )
        with stage("Making the depth surface"):
            made = _surface(brought, cell_m)
        with stage("Drawing"):
            from castshed.toolbox.plan.lake_folder import lake_folder

            return lake_folder(
                brought,
                made.depth,
                made.depth_confidence,
                title=title,
                contradictions=made.contradictions,
            )
