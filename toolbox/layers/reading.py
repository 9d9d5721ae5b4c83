"""Layers listed and read: vector layers into frames, depth coverages into surfaces."""

from __future__ import annotations

import warnings
from pathlib import Path
from typing import TYPE_CHECKING, Any

from .. import geopackage
from ..errors import DataError, FileMissing, LayerMissing, UsageError
from ..level_told import LEVEL, level_in_lineage
from .reference import Reference, is_there, parse_reference

if TYPE_CHECKING:
    from geopandas import GeoDataFrame

    from ..water.depth import DepthSurface


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
    if geopackage.is_geopackage(ref.path):
        level_m = level_in_lineage(geopackage.read_lineage(ref.path, layer))
        if level_m is not None:
            frame.attrs[LEVEL] = level_m
    return frame


def read_with_lineage(reference: Reference, *, crs: str | None = None) -> GeoDataFrame:
    """Read one vector layer; the lineage kept with it in a GeoPackage goes with the frame, in its ``attrs``."""
    from ..output.lineage import ATTRIBUTE

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
    from ..water.room import MOST_CELLS

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

    from ..water.depth import DepthSurface

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
