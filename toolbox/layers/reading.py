"""Layers listed and read: vector layers into frames, depth coverages into surfaces."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

from ..errors import DataError, LayerMissing, UsageError
from ..level_told import LEVEL, level_in_lineage, mark_from_column
from ..real_files import require_ordinary
from . import geopackage
from .reference import Reference, parse_reference

if TYPE_CHECKING:
    from geopandas import GeoDataFrame

    from ..depth import DepthSurface


def list_layers(path: Path) -> dict[str, str]:
    """List a file's layers without loading a GIS library when it is a GeoPackage.

    Returns
    -------
    Layer name -> ``features``, ``coverage`` or another data type of the GeoPackage standard.

    Raises
    ------
    FileMissing, DataError
        The file is not there, or cannot be read.
    """
    require_ordinary(path, "a file")
    if geopackage.holds_geopackage(path):
        return geopackage.contents(path)
    from . import door

    if door.holds_raster_only(path):
        return {path.stem: "coverage"}
    return dict.fromkeys(door.layers_of(path), "features")


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
    from . import door

    ref = reference if isinstance(reference, Reference) else parse_reference(str(reference))
    layer = _choose(ref, "features", usual)
    frame = door.read_features(ref.path, layer)
    if not hasattr(frame, "geometry"):
        raise DataError(f"{ref.path}:{layer} is a table without geometry; a layer with geometry is needed.")
    if crs is not None:
        frame = reprojected(frame, crs, str(ref))
    if geopackage.is_geopackage(ref.path):
        level_m = level_in_lineage(geopackage.read_lineage(ref.path, layer))
        if level_m is not None:
            frame.attrs[LEVEL] = level_m
    else:
        mark_from_column(frame)
    return frame


def read_with_lineage(reference: Reference, *, crs: str | None = None) -> GeoDataFrame:
    """Read one vector layer; the lineage kept with it in a GeoPackage goes with the frame, in its ``attrs``."""
    from ..lineage import ATTRIBUTE

    frame = read_layer(reference, crs=crs)
    if reference.layer and geopackage.holds_geopackage(reference.path):
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
    from ..size_limits import MOST_CELLS

    if columns * rows > MOST_CELLS:
        raise DataError(
            f"{ref} has {columns} x {rows} cells; at most {MOST_CELLS // 1_000_000} million are read. "
            "Cut it to the lake, or make its cells larger."
        )


def read_surface(reference: str | Path | Reference, *, usual: str | None = None) -> DepthSurface:
    """Read a depth coverage: a GeoPackage gridded coverage, a GeoTIFF or an ASCII grid, north up.

    Scale and offset are applied, and the unit it states is turned into metres.

    Raises
    ------
    FileMissing, LayerMissing, DataError
        Nothing there under that name, or the raster is turned, skewed, has no cells, or states an unknown unit.
    """
    import numpy as np
    import pyproj

    from ..depth import DepthSurface
    from . import door
    from .raster_units import horizontal, meaning_of

    ref = reference if isinstance(reference, Reference) else parse_reference(str(reference))
    layer = _choose(ref, "coverage", usual)
    if geopackage.holds_geopackage(ref.path):
        geopackage.refuse_unsure_numbers(ref.path, layer)
    with door.opened_raster(ref.path, layer) as data:
        _refuse_size(ref, data.width, data.height)
        if data.crs is None:
            raise DataError(f"{ref} states no coordinate reference system; write it into the raster.")
        epsg = data.crs.to_epsg()
        try:
            crs = pyproj.CRS.from_epsg(epsg) if epsg else pyproj.CRS.from_wkt(data.crs.to_wkt())
        except (pyproj.exceptions.CRSError, ValueError) as error:
            raise DataError(
                f"{ref} has a reference system that is not known ({error}); correct it."
            ) from error
        means = meaning_of(
            str(ref), scale=float(data.scales[0]), offset=float(data.offsets[0]), unit=data.units[0], crs=crs
        )
        numbers = data.read(1, masked=True)
        at = data.transform
        tags = data.tags()
    if (means.factor, means.offset_m) == (1.0, 0.0):
        values = numbers.astype(np.float32).filled(np.nan)
    else:
        values = (
            (numbers.astype(np.float64) * means.factor + means.offset_m).astype(np.float32).filled(np.nan)
        )
    if at.b or at.d or not (at.a > 0 and at.e < 0):
        raise DataError(f"{ref} is not a north-up raster; warp it to one first.")
    values[~np.isfinite(values)] = np.nan
    try:
        error_m = tags.get("castshed_depth_error_m")
        extra: dict[str, Any] = {} if error_m is None else {"error_m": float(error_m)}
        return DepthSurface(values, at.c, at.f, at.a, -at.e, horizontal(crs), stated_unit=means.unit, **extra)
    except DataError:
        raise
    except (UsageError, ValueError, pyproj.exceptions.CRSError) as error:
        raise DataError(f"{ref} is no depth coverage that can be used: {error}") from error
