"""The one door to GDAL: every layer and raster of the house is opened, read and made here, and nowhere else.

GDAL opens a file with whatever driver takes its content, and some drivers take programs: rasters described in XML that
run functions or fetch tiles, services, databases, archives. So a file's format is told by its first bytes
(`kinds_of_file`), one of a few drivers opens it, and the others are not there. pyogrio cannot be told which driver to
use; its GDAL therefore forgets all that are not needed, for the whole process. rasterio is told the driver each time.
Each of them brings a GDAL of its own.

What is one file is read from memory, so that no name leads elsewhere and nothing beside it is looked at; of a shapefile
its five parts. A GeoPackage is opened where it lies, read-only.
"""

from __future__ import annotations

import contextlib
import io
import os
import re
import shutil
import tempfile
import threading
import warnings
import zipfile
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from ..errors import DataError, OutputFailed
from ..real_files import require_ordinary
from . import geopackage
from .kinds_of_file import (
    ASCII_GRID,
    BAG,
    FILE_GEODATABASE,
    FLATGEOBUF,
    GEOPACKAGE,
    GEOTIFF,
    MOST_BYTES,
    NETCDF,
    RASTERS,
    S102,
    SHAPEFILE,
    VECTORS,
    XYZ_GRID,
    handed_out_kind,
    kind_of,
    whole,
)

if TYPE_CHECKING:
    from geopandas import GeoDataFrame

    from ..depth import DepthSurface

VECTOR_DRIVERS: Final = frozenset(
    {
        "GPKG", "ESRI Shapefile", "FlatGeobuf", "GeoJSON", "GeoJSONSeq", "LIBKML", "KML", "GPX", "DXF", "S57", "GML",
        "OpenFileGDB",
    }
)  # fmt: skip
RASTER_DRIVERS: Final = {GEOPACKAGE: "GPKG", GEOTIFF: "GTiff", ASCII_GRID: "AAIGrid"}
HANDED_OUT_DRIVERS: Final = {NETCDF: "netCDF", BAG: "BAG", S102: "S102", XYZ_GRID: "XYZ"}

_SHAPEFILE_PARTS: Final = (".shp", ".shx", ".dbf", ".prj", ".cpg")
_ONE_LAYER: Final = frozenset({SHAPEFILE, FLATGEOBUF})
_VECTOR_SETTINGS: Final = {
    "GDAL_PAM_ENABLED": "NO",
    "LIBKML_RESOLVE_STYLE": "NO",
    "LIBKML_EXTERNAL_STYLE": "NO",
    "SHAPE_RESTORE_SHX": "NO",
    "OGR_SQLITE_LOAD_EXTENSIONS": "",
    "CPL_VSIL_CURL_ALLOWED_FILENAME": "none",
    "GML_DOWNLOAD_WFS_SCHEMA": "NO",
    "GML_SKIP_RESOLVE_ELEMS": "ALL",  # no link is followed
    "GML_SKIP_CORRUPTED_FEATURES": "NO",
    "OGR_S57_OPTIONS": "SPLIT_MULTIPOINT=ON,ADD_SOUNDG_DEPTH=ON,UPDATES=IGNORE,RETURN_PRIMITIVES=OFF",
}
_RASTER_SETTINGS: Final = {
    "GDAL_PAM_ENABLED": "NO",  # no .aux.xml, read or written
    "GDAL_DISABLE_READDIR_ON_OPEN": "EMPTY_DIR",  # no overviews, masks, world files or texts beside it
    "GDAL_GEOREF_SOURCES": "INTERNAL",
    "GDAL_TIFF_INTERNAL_MASK": "YES",
    "OGR_SQLITE_LOAD_EXTENSIONS": "",
    "CPL_VSIL_CURL_ALLOWED_FILENAME": "none",
}
_closing = threading.Lock()


def _vectors() -> Any:
    """Return pyogrio, with the drivers that are needed and no others.

    Raises
    ------
    DataError
        It has others still: nothing is then opened.
    """
    import pyogrio
    from pyogrio._ogr import _register_drivers

    if not VECTOR_DRIVERS.issuperset(pyogrio.list_drivers()):
        with _closing:
            others = sorted(VECTOR_DRIVERS.symmetric_difference({*VECTOR_DRIVERS, *pyogrio.list_drivers()}))
            pyogrio.set_gdal_config_options({**_VECTOR_SETTINGS, "GDAL_SKIP": ",".join(others)})
            _register_drivers()  # GDAL drops what is to be skipped each time drivers are registered
            if left := set(pyogrio.list_drivers()) - VECTOR_DRIVERS:
                raise DataError(
                    f"The library that reads layers keeps formats that are not wanted ({', '.join(sorted(left))}); "
                    "install a version of pyogrio that castshed was tried with."
                )
    return pyogrio


@contextlib.contextmanager
def _verbatim(path: Path) -> Iterator[str]:
    """Give a name that pyogrio takes as it stands: a link to the file's folder or the file where it would not.

    It cuts ``;v2.gpkg`` off, looks for archives before ``!`` and unpacks what ends in ``.zip``.
    """
    from pyogrio.util import vsi_path

    text = os.path.abspath(path)  # noqa: PTH100  # resolve() would follow a link, and its journal's name with it
    if text == vsi_path(text) and text.isprintable() and "?" not in text:
        yield text
        return
    with tempfile.TemporaryDirectory(prefix="castshed-") as folder:
        try:
            there = Path(folder, "folder")
            there.symlink_to(Path(text).parent, target_is_directory=True)
            inside = str(there / path.name)
            if inside != vsi_path(inside) or not path.name.isprintable() or "?" in inside:
                there = Path(folder, "layers.gpkg")
                there.symlink_to(path.resolve())
                inside = str(there)
        except OSError as error:
            raise DataError(
                f"{path} has a name that the library for layers cannot take; rename it or its folder without ; ! ? "
                f"({error.strerror or error})."
            ) from error
        yield inside


def _packed_shapefile(path: Path) -> bytes:
    """Put the parts of a shapefile that are read into one archive in memory."""
    parts = io.BytesIO()
    with zipfile.ZipFile(parts, "w") as archive:
        for ending in _SHAPEFILE_PARTS:
            names = (
                [path] if ending == ".shp" else [path.with_suffix(ending), path.with_suffix(ending.upper())]
            )
            part = next((p for p in names if p.exists()), None)
            if part is not None:
                require_ordinary(part, "a file")
                archive.writestr(f"layer{ending}", whole(part, SHAPEFILE))
    return parts.getvalue()


def vector_kind(path: Path) -> str:
    """Tell the format of a file of features.

    Raises
    ------
    DataError
        It is in no format that features are read from.
    """
    kind = kind_of(path)
    if kind not in VECTORS:
        raise DataError(f"{path} is a raster ({kind}); features are read from {', '.join(VECTORS)}.")
    return kind


def holds_raster_only(path: Path) -> bool:
    """Whether a file is a raster by its content, and no GeoPackage."""
    kind = kind_of(path)
    return kind in RASTERS and kind != GEOPACKAGE


def _named(path: Path, kind: str, found: Any) -> list[str]:
    """Name layers; one that has no name of its own has that of the file, as it would where it lies."""
    names = [str(name) for name, _ in found]
    bare = {name for name in names if re.fullmatch(r"(?:pyogrio_)?[0-9a-f]{32}", name)}
    return (
        [path.stem]
        if kind in _ONE_LAYER and len(names) == 1
        else [path.stem if n in bare else n for n in names]
    )


def _content(path: Path, kind: str) -> bytes:
    return _packed_shapefile(path) if kind == SHAPEFILE else whole(path, kind)


def layers_of(path: Path) -> list[str]:
    """List the layers of a file of features that is no GeoPackage.

    Raises
    ------
    DataError
        It cannot be read.
    """
    kind = vector_kind(path)
    data = _content(path, kind)
    try:
        return _named(path, kind, _vectors().list_layers(data))
    except Exception as error:
        raise DataError(f"{path} cannot be read as {kind} ({error}).") from error


def read_features(path: Path, layer: str) -> GeoDataFrame:
    """Read one layer of features, of a GeoPackage all rows that its table has.

    Raises
    ------
    DataError
        It cannot be read, or not all of it.
    """
    kind = vector_kind(path)
    if kind == GEOPACKAGE:
        return _read_table(path, layer)
    data = _content(path, kind)
    vectors = _vectors()
    try:
        at = _named(path, kind, vectors.list_layers(data)).index(layer)
        return vectors.read_dataframe(data, layer=at, use_arrow=False)
    except Exception as error:
        raise DataError(f"{path}:{layer} cannot be read ({error}).") from error


def _read_table(path: Path, layer: str) -> GeoDataFrame:
    rows = geopackage.require_table(path, layer)
    vectors = _vectors()
    options = {"LIST_ALL_TABLES": "NO"}
    if geopackage.is_at_rest(path):
        options["IMMUTABLE"] = "YES"
    try:
        with _verbatim(path) as name, warnings.catch_warnings():
            warnings.filterwarnings("ignore", ".*non conformant file extension", RuntimeWarning)
            # With a condition the driver counts the rows; without one it believes the count kept in
            # gpkg_ogr_contents, which other programs do not keep up.
            frame = vectors.read_dataframe(name, layer=layer, where="1 = 1", use_arrow=False, **options)
    except DataError:
        raise
    except Exception as error:
        raise DataError(f"{path}:{layer} cannot be read ({error}).") from error
    if len(frame) != rows:
        raise DataError(
            f"{path}:{layer} has {rows} rows, and {len(frame)} were read; a program may have written to it meanwhile. "
            "Run it again, and if that does not help save the layer into a new file."
        )
    return frame


def write_features(frame: GeoDataFrame, target: Path | io.BytesIO, **options: Any) -> None:
    """Write a frame by one of the drivers.

    Raises
    ------
    OutputFailed
        The library could not.
    """
    vectors = _vectors()
    assert options["driver"] in VECTOR_DRIVERS
    try:
        if isinstance(target, io.BytesIO):
            vectors.write_dataframe(frame, target, **options)
            return
        with _verbatim(target) as name:
            vectors.write_dataframe(frame, name, **options)
    except (
        vectors.errors.DataSourceError,
        vectors.errors.DataLayerError,
        vectors.errors.FieldError,
    ) as error:
        raise OutputFailed(str(error)) from error


@contextlib.contextmanager
def _handed_out(path: Path, kind: str) -> Iterator[Any]:
    """Give what the library opens: the bytes of a file, or a copy of a geodatabase that holds its own files alone."""
    if kind != FILE_GEODATABASE:
        yield whole(path, kind)
        return
    files = sorted(one for one in path.iterdir() if not one.is_dir())
    total = 0
    for one in files:
        require_ordinary(one, "a part of a file geodatabase")
        total += one.stat().st_size
    if total > MOST_BYTES:
        raise DataError(
            f"{path} is larger than {MOST_BYTES // 1_000_000_000} GB; save the layers as GeoPackage."
        )
    with tempfile.TemporaryDirectory(prefix="castshed-") as folder:
        home = Path(folder, "lake.gdb")
        home.mkdir()
        for one in files:
            shutil.copyfile(one, home / one.name)
        yield str(home)


def handed_out_layers(path: Path) -> dict[str, GeoDataFrame]:
    """Read all layers of features of an S-57, GML or file geodatabase; tables without geometry are left out.

    Raises
    ------
    DataError
        It cannot be read.
    """
    kind = str(handed_out_kind(path))
    vectors = _vectors()
    with _handed_out(path, kind) as source:
        try:
            found = [(str(name), shape) for name, shape in vectors.list_layers(source)]
            return {
                name: vectors.read_dataframe(source, layer=name, use_arrow=False)
                for name, shape in found
                if shape is not None
            }
        except DataError:
            raise
        except Exception as error:
            raise DataError(f"{path} cannot be read as {kind} ({error}).") from error


@contextlib.contextmanager
def opened_grid(path: Path, kind: str, part: str = "") -> Iterator[Any]:
    """Open a raster of those that agencies hand out, under a plain name, by its one driver.

    Parameters
    ----------
    path, kind
        The file, and its format.
    part
        Of a netCDF the variable.

    Raises
    ------
    DataError
        It cannot be read.
    """
    import rasterio

    require_ordinary(path, "a file")
    with tempfile.TemporaryDirectory(prefix="castshed-") as folder:
        # A link, so that the name says nothing to the library and nothing lies beside it.
        link = Path(folder, "grid" + {NETCDF: ".nc", BAG: ".bag", S102: ".h5"}.get(kind, ".xyz"))
        link.symlink_to(path.resolve())
        name: Any = f'NETCDF:"{link}":{part}' if part else link
        try:
            with (
                rasterio.Env(**_RASTER_SETTINGS),
                warnings.catch_warnings(),
            ):
                warnings.simplefilter("ignore", rasterio.errors.NotGeoreferencedWarning)
                with rasterio.open(name, driver=HANDED_OUT_DRIVERS[kind]) as data:
                    yield data
        except DataError:
            raise
        except (rasterio.errors.RasterioError, UnicodeError, IndexError, ValueError) as error:
            raise DataError(f"{path} cannot be read as {kind} ({error}).") from error


@contextlib.contextmanager
def opened_raster(path: Path, layer: str) -> Iterator[Any]:
    """Open a raster for reading, by the one driver that its content asks for.

    Raises
    ------
    DataError
        It cannot be read.
    """
    import rasterio

    kind = kind_of(path)
    if kind not in RASTERS:
        raise DataError(f"{path} holds features ({kind}); rasters are read from {', '.join(RASTERS)}.")
    options: dict[str, str] = {}
    if kind == GEOPACKAGE:
        geopackage.require_table(path, layer)
        options = {"TABLE": layer, "LIST_ALL_TABLES": "NO"}
        if geopackage.is_at_rest(path):
            options["IMMUTABLE"] = "YES"
    try:
        with (
            rasterio.Env(**_RASTER_SETTINGS),
            rasterio.open(Path(os.path.abspath(path)), driver=RASTER_DRIVERS[kind], **options) as data,  # noqa: PTH100
        ):
            yield data
    except DataError:
        raise
    except (rasterio.errors.RasterioError, UnicodeError, IndexError, ValueError) as error:
        raise DataError(f"{path}:{layer} cannot be read as a raster ({error}).") from error


def cog_bytes(surface: DepthSurface, words: str) -> bytes:
    """Write a coverage as a cloud-optimised GeoTIFF, by GDAL's driver for it, in memory.

    Raises
    ------
    OutputFailed
        GDAL cannot write it.
    """
    import numpy as np
    import rasterio
    import rasterio.shutil
    from rasterio.io import MemoryFile

    rows, columns = surface.shape
    options: dict[str, Any] = {
        "driver": "GTiff",
        "width": columns,
        "height": rows,
        "count": 1,
        "dtype": "float32",
        "nodata": float("nan"),
        "crs": surface.crs.to_wkt(),
        "transform": rasterio.Affine(
            surface.cell_x_m, 0.0, surface.west_m, 0.0, -surface.cell_y_m, surface.north_m
        ),
    }
    told = {"TIFFTAG_IMAGEDESCRIPTION": words, "castshed_depth_error_m": repr(float(surface.error_m))}
    try:
        with rasterio.Env(GDAL_PAM_ENABLED="NO"), MemoryFile() as plain, MemoryFile() as made:
            with plain.open(**options) as data:
                data.write(surface.depth_m.astype(np.float32), 1)
                data.set_band_description(1, "depth_m")
                data.set_band_unit(1, "m")
                data.update_tags(**told)
            with plain.open() as source:
                rasterio.shutil.copy(
                    source,
                    made.name,
                    driver="COG",
                    COMPRESS="DEFLATE",
                    PREDICTOR="YES",
                    OVERVIEW_RESAMPLING="NEAREST",
                )
            return bytes(made.getbuffer())
    except rasterio.errors.RasterioError as error:
        raise OutputFailed(f"The coverage could not be written as GeoTIFF ({error}).") from error


@contextlib.contextmanager
def new_raster(path: Path, **options: Any) -> Iterator[Any]:
    """Make a coverage in a GeoPackage."""
    import rasterio

    with (
        rasterio.Env(GDAL_PAM_ENABLED="NO"),
        rasterio.open(Path(os.path.abspath(path)), "w", driver="GPKG", **options) as data,  # noqa: PTH100
    ):
        yield data
