"""Layers by name: ``FILE.gpkg:LAYER`` listed, read and written.

The only file that imports pyogrio. How a file is changed without ever being half written is in `exchange`.
"""

from __future__ import annotations

import re
import warnings
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from . import exchange, geopackage
from .errors import DataError, FileMissing, LayerMissing, OutputFailed, UsageError

if TYPE_CHECKING:
    from geopandas import GeoDataFrame

    from .water.depth import DepthSurface


@dataclass(frozen=True)
class Reference:
    """A file and, when named, a layer of it."""

    path: Path
    layer: str | None = None

    def __str__(self) -> str:
        return f"{self.path}:{self.layer}" if self.layer else str(self.path)


def is_there(path: Path) -> bool:
    """Whether a path exists; a name that no file can have is not there."""
    try:
        return path.exists()
    except (OSError, ValueError):
        return False


def parse_reference(text: str) -> Reference:
    r"""Split ``FILE:LAYER``; a drive letter (``C:\lake.gpkg``) is not a layer.

    Raises
    ------
    UsageError
        The text is empty or names no file.

    Examples
    --------
    >>> parse_reference("lake.gpkg:spots").layer
    'spots'
    """
    text = text.strip()
    if not text:
        raise UsageError("An empty file name was given; write FILE.gpkg:LAYER.")
    if is_there(Path(text)):
        return Reference(Path(text))
    path, colon, layer = text.rpartition(":")
    if colon and len(path) > 1 and not re.search(r"[/\\]", layer):
        if not layer:
            raise UsageError(f"'{text}' names no layer after the colon; write FILE.gpkg:LAYER.")
        return Reference(Path(path), layer)
    return Reference(Path(text))


def list_layers(path: Path) -> dict[str, str]:
    """List a file's layers without loading a GIS library when it is a GeoPackage.

    Returns
    -------
    dict
        Layer name -> ``features``, ``coverage`` or another data type of the GeoPackage standard.

    Raises
    ------
    FileMissing, DataError
        The file is not there, or cannot be read.
    """
    if not is_there(path):
        shown = str(path) if len(str(path)) < 300 else f"{str(path)[:300]}..."
        raise FileMissing(f"{shown} is not there; check the name and the folder.")
    if path.is_dir():
        raise DataError(f"{path} is a folder; give a file.")
    if geopackage.is_geopackage(path):
        return geopackage.contents(path)
    import pyogrio

    try:
        return {str(name): "features" for name, _ in pyogrio.list_layers(path)}
    except Exception as error:
        if _raster_bands(path):
            return {path.stem: "coverage"}
        raise DataError(f"{path} cannot be read as a vector or raster file ({error}).") from error


def _raster_bands(path: Path) -> int:
    import rasterio

    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            with rasterio.open(path) as data:
                return int(data.count)
    except rasterio.errors.RasterioError:
        return 0


def _choose(reference: Reference, kind: str, usual: str | None) -> str:
    there = list_layers(reference.path)
    fitting = [name for name, found in there.items() if (found == "coverage") == (kind == "coverage")]
    listing = ", ".join(f"{name} ({found})" for name, found in there.items()) or "no layers"
    if reference.layer is not None:
        if reference.layer not in there:
            raise LayerMissing(f"{reference.path} has no layer '{reference.layer}'; it has: {listing}.")
        if reference.layer not in fitting:
            raise LayerMissing(
                f"{reference} is {there[reference.layer]}, {kind} is needed; the file has: {listing}."
            )
        return reference.layer
    if usual in fitting:
        return str(usual)
    if len(fitting) == 1:
        return fitting[0]
    raise LayerMissing(
        f"{reference.path}: say which layer, as {reference.path.name}:LAYER; it has: {listing}."
    )


def read_layer(
    reference: str | Path | Reference, *, usual: str | None = None, crs: str | None = None
) -> GeoDataFrame:
    """Read one vector layer.

    Parameters
    ----------
    reference
        ``FILE:LAYER``, or ``FILE`` alone where the file holds one layer or one of the usual name.
    usual
        The layer's usual name.
    crs
        Reproject into this system.

    Raises
    ------
    FileMissing, LayerMissing, DataError
        Nothing there under that name (the layers there are get listed), or the file is broken.
    """
    import pyogrio

    ref = reference if isinstance(reference, Reference) else parse_reference(str(reference))
    layer = _choose(ref, "features", usual)
    if geopackage.is_geopackage(ref.path):
        geopackage.require_table(ref.path, layer)
    try:
        frame = pyogrio.read_dataframe(ref.path, layer=layer)
    except Exception as error:
        raise DataError(f"{ref.path}:{layer} cannot be read ({error}).") from error
    if not hasattr(frame, "geometry"):
        raise DataError(f"{ref.path}:{layer} is a table without geometry; a layer with geometry is needed.")
    if crs is not None:
        frame = reprojected(frame, crs, str(ref))
    return frame


def read_with_lineage(reference: Reference, *, crs: str | None = None) -> GeoDataFrame:
    """Read one vector layer; the lineage kept with it in a GeoPackage goes with the frame, in its ``attrs``."""
    from .output.lineage import ATTRIBUTE

    frame = read_layer(reference, crs=crs)
    if reference.layer and geopackage.is_geopackage(reference.path):
        told = geopackage.read_lineage(reference.path, reference.layer)
        if told:
            frame.attrs[ATTRIBUTE] = told
    return frame


def reprojected(frame: GeoDataFrame, crs: str, name: str) -> GeoDataFrame:
    """Bring a frame into another reference system.

    Raises
    ------
    UsageError
        The system is not known, or the frame has none to start from.
    """
    import pyproj

    try:
        target = pyproj.CRS.from_user_input(crs)
    except pyproj.exceptions.CRSError as error:
        raise UsageError(
            f"'{crs}' is no coordinate reference system; write for instance EPSG:32615."
        ) from error
    if frame.crs is None:
        raise UsageError(
            f"{name} states no coordinate reference system, so it cannot be reprojected; set it first."
        )
    return frame if frame.crs == target else frame.to_crs(target)


def _refuse_size(ref: Reference, columns: int, rows: int) -> None:
    from .water.room import MOST_CELLS

    if columns * rows > MOST_CELLS:
        raise DataError(
            f"{ref} has {columns} x {rows} cells; at most {MOST_CELLS // 1_000_000} million are read. "
            "Cut it to the lake, or make its cells larger."
        )


def read_surface(reference: str | Path | Reference, *, usual: str | None = None) -> DepthSurface:
    """Read a depth coverage: a GeoPackage gridded coverage or any north-up raster GDAL reads.

    Raises
    ------
    FileMissing, LayerMissing, DataError
        Nothing there under that name, or the raster is turned, skewed or has no cells.
    """
    import numpy as np
    import pyproj
    import rasterio

    from .water.depth import DepthSurface

    ref = reference if isinstance(reference, Reference) else parse_reference(str(reference))
    layer = _choose(ref, "coverage", usual)
    source = str(ref.path)
    if geopackage.is_geopackage(ref.path):
        geopackage.require_table(ref.path, layer)
        source = f"GPKG:{ref.path}:{layer}"
    try:
        with rasterio.open(source) as data:
            _refuse_size(ref, data.width, data.height)
            values = data.read(1, masked=True).astype(np.float32).filled(np.nan)
            at = data.transform
            system = data.crs
            tags = data.tags()
    except DataError:
        raise
    except (rasterio.errors.RasterioError, UnicodeDecodeError, IndexError, ValueError) as error:
        raise DataError(f"{ref} cannot be read as a raster ({error}).") from error
    if system is None:
        raise DataError(f"{ref} states no coordinate reference system; write it into the raster.")
    if at.b or at.d or not (at.a > 0 and at.e < 0):
        raise DataError(f"{ref} is not a north-up raster; warp it to one first.")
    values[~np.isfinite(values)] = np.nan
    try:
        error_m = tags.get("castshed_depth_error_m")
        extra: dict[str, Any] = {} if error_m is None else {"error_m": float(error_m)}
        epsg = system.to_epsg()
        crs = pyproj.CRS.from_epsg(epsg) if epsg else pyproj.CRS.from_wkt(system.to_wkt())
        return DepthSurface(values, at.c, at.f, at.a, -at.e, crs, **extra)
    except DataError:
        raise
    except (UsageError, ValueError, pyproj.exceptions.CRSError, rasterio.errors.CRSError) as error:
        raise DataError(f"{ref} is no depth coverage that can be used: {error}") from error


def _write_surface(path: Path, name: str, surface: DepthSurface, words: str) -> None:
    import numpy as np
    import rasterio

    from .water.depth import DEPTH

    rows, columns = surface.shape
    exists = path.exists()
    options: dict[str, Any] = {
        "driver": "GPKG",
        "width": columns,
        "height": rows,
        "count": 1,
        "dtype": "float32",
        "crs": surface.crs.to_wkt(),
        "transform": rasterio.Affine(
            surface.cell_x_m, 0.0, surface.west_m, 0.0, -surface.cell_y_m, surface.north_m
        ),
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
    with rasterio.Env(), rasterio.open(path, "w", **options) as data:
        data.write(values, 1)
        data.update_tags(castshed_depth_error_m=repr(float(surface.error_m)))
    geopackage.mark_no_data(path, name)


def _write_frame(path: Path, name: str, frame: GeoDataFrame, words: str, types: tuple[str, ...]) -> None:
    import pyogrio
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
    pyogrio.write_dataframe(
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
) -> None:
    import pyogrio

    from .water.depth import DepthSurface

    try:
        # Surfaces first: the raster driver makes a new file when there is none, and would not append to a bare one.
        for name, value in layers.items():
            if isinstance(value, DepthSurface):
                _write_surface(part, name, value, words)
        for name, value in layers.items():
            if not isinstance(value, DepthSurface):
                with warnings.catch_warnings():
                    warnings.simplefilter("ignore", UserWarning)
                    _write_frame(part, name, value, words, types.get(name, ()))
    except (
        pyogrio.errors.DataSourceError,
        pyogrio.errors.DataLayerError,
        pyogrio.errors.FieldError,
    ) as error:
        raise OSError(str(error)) from error
    if lineage:
        geopackage.write_lineage(part, list(layers), lineage)


def write_layers(
    path: str | Path,
    layers: Mapping[str, Any],
    *,
    replace: bool = False,
    lineage: str = "",
    words: str = "",
    types: Mapping[str, tuple[str, ...]] | None = None,
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

    Raises
    ------
    OutputExists, OutputFailed, UsageError
        See `exchange.change`; the old file is then as it was.
    """
    exchange.change(
        Path(path),
        list(layers),
        lambda part: _fill(part, layers, words, types or {}, lineage),
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

    import pyogrio

    whole = io.BytesIO()
    try:
        pyogrio.write_dataframe(
            frame,
            whole,
            driver="FlatGeobuf",
            layer=name,
            geometry_type="Unknown",
            # an index would sort the rows by place, and refuse those that have none
            layer_options={"SPATIAL_INDEX": "NO", "TITLE": title, "DESCRIPTION": words},
        )
    except pyogrio.errors.DataSourceError as error:
        raise OutputFailed(f"{name} could not be written as FlatGeobuf ({error}).") from error
    return whole.getvalue()


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

    import pyogrio

    with tempfile.TemporaryDirectory() as folder:
        try:
            pyogrio.write_dataframe(
                frame,
                Path(folder) / f"{name}.shp",
                driver="ESRI Shapefile",
                geometry_type=geometry,
                encoding="UTF-8",
            )
        except (
            pyogrio.errors.DataSourceError,
            pyogrio.errors.DataLayerError,
            pyogrio.errors.FieldError,
        ) as error:
            raise OutputFailed(f"{name} could not be written as a shapefile ({error}).") from error
        return {path.name: path.read_bytes() for path in sorted(Path(folder).iterdir())}
