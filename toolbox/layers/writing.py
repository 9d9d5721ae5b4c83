"""Layers written: into a GeoPackage, all of them or none, and as files that hold one layer only.

How a file is changed without ever being half written is in `exchange`.
"""

from __future__ import annotations

import warnings
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from ..errors import OutputFailed, UsageError
from ..lineage import level_of_layer, with_level
from . import column_words, door, exchange, geopackage
from .door import write_features

if TYPE_CHECKING:
    from geopandas import GeoDataFrame

    from ..depth import DepthSurface


def _write_surface(path: Path, name: str, surface: DepthSurface, words: str) -> None:
    import numpy as np
    from rasterio import Affine

    from ..depth import DEPTH

    rows, columns = surface.shape
    exists = path.exists()
    options: dict[str, Any] = {
        "width": columns,
        "height": rows,
        "count": 1,
        "dtype": "float32",
        "crs": surface.crs.to_wkt(),
        "transform": Affine(surface.cell_x_m, 0.0, surface.west_m, 0.0, -surface.cell_y_m, surface.north_m),
        "RASTER_TABLE": name,
        "RASTER_IDENTIFIER": name,
        "RASTER_DESCRIPTION": words,
        "TILE_FORMAT": "TIFF",
        "TILING_SCHEME": "CUSTOM",
        "FIELD_NAME": "depth_m" if surface.quantity == DEPTH else "error_m",
        "UOM": "m",
        "QUANTITY_DEFINITION": surface.quantity,
    }
    if exists:
        options["APPEND_SUBDATASET"] = "YES"
    values = np.where(np.isfinite(surface.depth_m), surface.depth_m, np.float32(geopackage.NO_DEPTH)).astype(
        np.float32
    )
    with door.new_raster(path, **options) as data:
        data.write(values, 1)
        data.update_tags(castshed_depth_error_m=repr(float(surface.error_m)))
    geopackage.mark_no_data(path, name)


def _write_frame(path: Path, name: str, frame: GeoDataFrame, words: str, types: tuple[str, ...]) -> None:
    import shapely

    rings = shapely.get_type_id(frame.geometry.to_numpy()) == shapely.GeometryType.LINEARRING
    if rings.any():
        # Formats know no ring outside a polygon; asked for a layer of rings the driver ends the process.
        lines = frame.geometry.to_numpy().copy()
        lines[rings] = [shapely.LineString(ring.coords) for ring in lines[rings]]
        frame = frame.set_geometry(lines, crs=frame.crs)
    kinds = set(frame.geometry.geom_type.dropna().unique()) or set(types)
    simple = {k.removeprefix("Multi") for k in kinds}
    if len(kinds) == 1:
        geometry = next(iter(kinds))
    elif len(simple) == 1:
        geometry = "Multi" + next(iter(simple))
    else:
        geometry = "Unknown"
    door.write_features(
        frame,
        path,
        layer=name,
        driver="GPKG",
        geometry_type=geometry,
        promote_to_multi=geometry.startswith("Multi"),
        append=False,
        layer_options={"DESCRIPTION": words, "SPATIAL_INDEX": "YES", "FID": "fid"},
        dataset_options={} if path.exists() else {"VERSION": "1.4"},
    )


def _fill(
    part: Path,
    layers: Mapping[str, Any],
    words: str,
    types: Mapping[str, tuple[str, ...]],
    lineage: str,
    *,
    dictionary: bool = False,
) -> None:
    from ..depth import DepthSurface

    said = column_words.LAYERS if dictionary else {}

    try:
        # Surfaces first: the raster driver makes a new file when there is none, and would not append to a bare one.
        for name, value in layers.items():
            if isinstance(value, DepthSurface):
                _write_surface(part, name, value, said.get(name, words))
        for name, value in layers.items():
            if not isinstance(value, DepthSurface):
                with warnings.catch_warnings():
                    warnings.simplefilter("ignore", UserWarning)
                    _write_frame(part, name, value, said.get(name, words), types.get(name, ()))
    except OutputFailed as error:
        raise OSError(str(error)) from error
    levels = {name: level for name, one in layers.items() if (level := level_of_layer(one)) is not None}
    for level_m in sorted(set(levels.values())):
        of_it = [name for name, level in levels.items() if level == level_m]
        geopackage.write_lineage(part, of_it, with_level(lineage, level_m))
    rest = [name for name in layers if name not in levels]
    if lineage and rest:
        geopackage.write_lineage(part, rest, lineage)
    if dictionary:
        frames = [name for name, one in layers.items() if not isinstance(one, DepthSurface)]
        column_words.write_column_words(part, frames)


def write_layers(
    path: str | Path,
    layers: Mapping[str, Any],
    *,
    replace: bool = False,
    lineage: str = "",
    words: str = "",
    types: Mapping[str, tuple[str, ...]] | None = None,
    dictionary: bool = False,
) -> None:
    """Write frames and depth surfaces into a GeoPackage: all of them or none.

    Parameters
    ----------
    path
        The GeoPackage; made when it is not there.
    layers
        Layer name -> GeoDataFrame or DepthSurface.
    replace
        Whether layers of those names may be replaced.
    lineage
        JSON text kept in the GeoPackage's metadata tables for each layer.
    words
        Description kept with each layer.
    types
        Layer name -> geometry types, for layers without rows.
    dictionary
        Whether to keep with each layer what it and its columns say (`column_words`).

    Raises
    ------
    OutputExists, OutputFailed, UsageError
        See `exchange.change`; the old file is then as it was.
    """
    exchange.change(
        Path(path),
        list(layers),
        lambda part: _fill(part, layers, words, types or {}, lineage, dictionary=dictionary),
        replace=replace,
    )


def to_flatgeobuf(frame: GeoDataFrame, name: str, *, title: str, words: str) -> bytes:
    """Write one frame as a FlatGeobuf file, its rows in their order.

    Parameters
    ----------
    frame
        Columns of numbers and text.
    name
        What the layer is called in the file.
    title, words
        Kept in the head of the file.

    Raises
    ------
    OutputFailed
        The frame cannot be written so.
    """
    import io

    whole = io.BytesIO()
    try:
        write_features(
            frame,
            whole,
            driver="FlatGeobuf",
            layer=name,
            geometry_type="Unknown",
            # an index would sort the rows by place, and refuse those that have none
            layer_options={"SPATIAL_INDEX": "NO", "TITLE": title, "DESCRIPTION": words},
        )
    except OutputFailed as error:
        raise OutputFailed(f"{name} could not be written as FlatGeobuf ({error}).") from error
    return whole.getvalue()


def to_geoparquet(frame: GeoDataFrame, name: str, *, words: str) -> bytes:
    """Write one frame as a GeoParquet 1.1 file (OGC), with the box of each row beside it.

    Parameters
    ----------
    frame, name
        The layer and what it is called.
    words
        Description kept in the file.

    Raises
    ------
    UsageError
        The library that writes it is not installed.
    """
    import io

    try:
        import pyarrow  # noqa: F401, ICN001 -- only asked for
    except ImportError:
        raise UsageError(
            f"{name} cannot be written as GeoParquet without pyarrow: pip install 'castshed[many]', or choose another "
            "format."
        ) from None
    whole = io.BytesIO()
    told = frame.copy()
    told.attrs = {"title": name, "description": words}
    told.to_parquet(whole, index=False, schema_version="1.1.0", write_covering_bbox=True)
    return whole.getvalue()


def to_geotiff(surface: DepthSurface, *, words: str) -> bytes:
    """Write a coverage as a cloud-optimised GeoTIFF (OGC 21-026), overviews included; NaN where nothing is known.

    Parameters
    ----------
    surface
        Depths or errors in metres.
    words
        Description kept in the file.

    Raises
    ------
    OutputFailed
        It cannot be written.
    """
    return door.cog_bytes(surface, words)


def to_shapefile(frame: GeoDataFrame, name: str, geometry: str) -> dict[str, bytes]:
    """Write one frame of a single kind of geometry as the files of a shapefile, in UTF-8.

    Parameters
    ----------
    frame
        Columns of numbers and text, their names of at most ten characters.
    name
        File name of the set, without ending.
    geometry
        ``Point``, ``MultiPoint``, ``LineString`` or ``Polygon``.

    Raises
    ------
    OutputFailed
        The frame cannot be written so.
    """
    import tempfile

    with tempfile.TemporaryDirectory() as folder:
        try:
            write_features(
                frame,
                Path(folder) / f"{name}.shp",
                driver="ESRI Shapefile",
                geometry_type=geometry,
                encoding="UTF-8",
            )
        except OutputFailed as error:
            raise OutputFailed(f"{name} could not be written as a shapefile ({error}).") from error
        return {path.name: path.read_bytes() for path in sorted(Path(folder).iterdir())}


HISTORY: Final = "history"


@dataclass(frozen=True)
class BookChange:
    """What an algorithm would change in a book."""

    layers: Mapping[str, GeoDataFrame]  # layer name -> frame: the book as it would be, and what goes with it
    earlier: GeoDataFrame  # the spots as they are now, kept under the name ``spots_`` and the day
    history: GeoDataFrame  # lines to add to the layer of what changed when
    day: str  # day of the change, ISO text
    said: tuple[str, ...] = ()  # lines for people, printed at the end of the command
    figures: Mapping[str, Any] = field(default_factory=dict)  # the few numbers that matter, for the report


def _free_name(day: str, taken: set[str]) -> str:
    stem = f"spots_{day.replace('-', '_')}"
    name, number = stem, 2
    while name in taken:
        name, number = f"{stem}_{number}", number + 1
    return name


def write_book(path: Path, change: BookChange, *, lineage: str, words: str) -> dict[str, int]:
    """Write a book with its past, all layers or none.

    Parameters
    ----------
    path
        The GeoPackage; made when it is not there. Its layer ``history`` grows; earlier states in it stay.
    change
        What to write.
    lineage, words
        See `castshed.toolbox.layers.write_layers`.

    Returns
    -------
    Layer name -> number of rows.
    """
    import pandas as pd

    from .reading import Reference, read_layer

    there = set(geopackage.contents(path)) if path.exists() else set()
    history = change.history
    if HISTORY in there:
        before = read_layer(Reference(path, HISTORY), crs=str(history.crs))
        if len(before):
            history = pd.concat([before, history], ignore_index=True) if len(history) else before
    layers = {**change.layers, _free_name(change.day, there): change.earlier, HISTORY: history}
    write_layers(
        path, layers, replace=True, lineage=lineage, words=words, types=dict.fromkeys(layers, ("Point",))
    )
    return {name: len(frame) for name, frame in layers.items()}
