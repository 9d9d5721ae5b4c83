"""Layers named, listed and read: vector layers into frames, depth coverages into surfaces in metres."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final, NamedTuple

from ..errors import DataError, LayerMissing, UsageError
from ..lineage import LEVEL, level_in_lineage, mark_from_column
from ..real_files import is_there, require_ordinary
from ..units import convert
from . import geopackage

if TYPE_CHECKING:
    from geopandas import GeoDataFrame

    from ..depth import DepthSurface


@dataclass(frozen=True)
class Reference:
    """A file and, when named, a layer of it."""

    path: Path
    layer: str | None = None

    def __str__(self) -> str:
        return f"{self.path}:{self.layer}" if self.layer else str(self.path)


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
    from ..real_files import MOST_CELLS

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


# Unit as files state it, in small letters without blanks, _ and - -> unit as the house writes it. Names of EPSG (WKT),
# symbols of UCUM (the uom of a GeoPackage coverage) and of PROJ, and what people write.
_NAMES: Final[dict[str, str]] = {
    name: unit
    for unit, names in {
        "m": "m metre metres meter meters [m] mtr m.",
        "cm": "cm centimetre centimetres centimeter centimeters",
        "mm": "mm millimetre millimetres millimeter millimeters",
        "km": "km kilometre kilometres kilometer kilometers",
        "ft": "ft foot feet [fti] internationalfoot footinternational internationalfeet ft.",
        "ftUS": "ftus usft [ftus] ussurveyfoot ussurveyfeet footus surveyfoot surveyfeet usfoot usfeet",
        "in": "in inch inches [ini]",
        "yd": "yd yard yards [ydi]",
        "fathom": "fathom fathoms fath fth ftm [fthi] fathomi",
        "mi": "mi mile miles [mii] statutemile",
        "nmi": "nmi nauticalmile nauticalmiles [nmii]",
    }.items()
    for name in names.split()
}


class Meaning(NamedTuple):
    """How stored numbers become metres, and the unit that the raster states, empty where it states none."""

    factor: float
    offset_m: float
    unit: str


def _house_unit(stated: str) -> str | None:
    plain = "".join(c for c in stated.strip().lower() if c not in " _-")
    return _NAMES.get(plain)


def _vertical_unit_m(crs: Any) -> float | None:
    """Length of the unit of heights or depths of a compound system; None where it has none."""
    for part in crs.sub_crs_list:
        if part.is_vertical and part.axis_info:
            return float(part.axis_info[0].unit_conversion_factor)
    if len(crs.axis_info) == 3:
        return float(crs.axis_info[2].unit_conversion_factor)
    return None


def meaning_of(name: str, *, scale: float, offset: float, unit: str | None, crs: Any) -> Meaning:
    """Work out how a band's numbers become metres: ``(number x scale + offset) x unit``.

    Parameters
    ----------
    name
        What the raster is called in messages.
    scale, offset, unit
        As the band states them.
    crs
        The raster's reference system; its vertical unit counts where the band states none.

    Raises
    ------
    DataError
        The scale is nought or no number, the unit is not known, or band and reference system state different ones.
    """
    if not (math.isfinite(scale) and math.isfinite(offset) and scale != 0.0):
        raise DataError(
            f"{name} states a scale of {scale} and an offset of {offset}; both must be numbers, the scale not 0. Save "
            "it again with its depths as plain metres."
        )
    of_system = _vertical_unit_m(crs)
    stated = (unit or "").strip()
    house = _house_unit(stated) if stated else None
    if stated and house is None:
        raise DataError(
            f"{name} states its unit as '{stated[:40]}', which is not known (m, cm, mm, ft, us-ft, fathom, in, yd and "
            "their names are). Write one of these into the raster, or save it with its depths in metres."
        )
    length = convert(1.0, house, "length") if house else (1.0 if of_system is None else of_system)
    if house and of_system is not None and abs(length / of_system - 1.0) > 1e-9:
        raise DataError(
            f"{name} states its unit as '{stated}' in its band, but its reference system counts heights in units of "
            f"{of_system:.6g} m. Correct the one that is wrong, or save the raster with its depths in metres."
        )
    if not (math.isfinite(length) and length > 0.0):
        raise DataError(
            f"{name} has a vertical unit of {length} m, which is none; correct its reference system."
        )
    told = house or ("" if of_system is None else ("m" if length == 1.0 else f"{length:.6g} m"))
    return Meaning(scale * length, offset * length, told)


def horizontal(crs: Any) -> Any:
    """Return the part of a compound system that places are given in; any other system as it is."""
    return next((part for part in crs.sub_crs_list if not part.is_vertical), crs) if crs.is_compound else crs
