"""Layers on disk: ``FILE.gpkg:LAYER`` read, listed and written whole or not at all.

The only file that imports pyogrio. A write goes to a copy of the GeoPackage in the same folder, made through SQLite's
own backup while the original is held against other writers; the copy takes the original's place in one step. So a
crash at any moment leaves the old file or the new one, and other layers are carried over untouched.
"""

from __future__ import annotations

import contextlib
import os
import re
import sqlite3
import tempfile
import time
import warnings
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from .errors import DataError, FileMissing, LayerMissing, OutputExists, OutputFailed, UsageError

if TYPE_CHECKING:
    import pyproj
    from geopandas import GeoDataFrame

    from .water.depth import DepthSurface

LOCK_WAIT_S: Final = 20.0
TEMPORARY: Final = ".castshed-"
_LAYER_NAME: Final = re.compile(r"[^\W\d][\w\- ]{0,62}")


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
    if Path(text).exists():
        return Reference(Path(text))
    path, colon, layer = text.rpartition(":")
    if colon and len(path) > 1 and not re.search(r"[/\\]", layer):
        if not layer:
            raise UsageError(f"'{text}' names no layer after the colon; write FILE.gpkg:LAYER.")
        return Reference(Path(path), layer)
    return Reference(Path(text))


def _is_geopackage(path: Path) -> bool:
    return path.suffix.lower() == ".gpkg"


def _open_read_only(path: Path) -> sqlite3.Connection:
    return sqlite3.connect(f"{path.resolve().as_uri()}?mode=ro", uri=True, timeout=LOCK_WAIT_S)


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
    if not path.exists():
        raise FileMissing(f"{path} is not there; check the name and the folder.")
    if path.is_dir():
        raise DataError(f"{path} is a folder; give a file.")
    if _is_geopackage(path):
        try:
            with contextlib.closing(_open_read_only(path)) as db:
                rows = db.execute("SELECT table_name, data_type FROM gpkg_contents ORDER BY rowid").fetchall()
        except sqlite3.DatabaseError as error:
            raise DataError(f"{path} cannot be read as a GeoPackage ({error}); restore it from a copy.") from error
        return {str(n): "coverage" if "coverage" in str(t) or t == "tiles" else str(t) for n, t in rows}
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


def read_layer(reference: str | Reference, *, usual: str | None = None, crs: str | None = None) -> GeoDataFrame:
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

    ref = parse_reference(reference) if isinstance(reference, str) else reference
    layer = _choose(ref, "features", usual)
    try:
        frame = pyogrio.read_dataframe(ref.path, layer=layer)
    except Exception as error:
        raise DataError(f"{ref.path}:{layer} cannot be read ({error}).") from error
    if not hasattr(frame, "geometry"):
        raise DataError(f"{ref.path}:{layer} is a table without geometry; a layer with geometry is needed.")
    if crs is not None:
        frame = reprojected(frame, crs, str(ref))
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
        raise UsageError(f"'{crs}' is no coordinate reference system; write for instance EPSG:32615.") from error
    if frame.crs is None:
        raise UsageError(f"{name} states no coordinate reference system, so it cannot be reprojected; set it first.")
    return frame if frame.crs == target else frame.to_crs(target)


def read_surface(reference: str | Reference, *, usual: str | None = None) -> DepthSurface:
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

    ref = parse_reference(reference) if isinstance(reference, str) else reference
    layer = _choose(ref, "coverage", usual)
    source = f"GPKG:{ref.path}:{layer}" if _is_geopackage(ref.path) else str(ref.path)
    try:
        with rasterio.open(source) as data:
            values = data.read(1, masked=True).astype(np.float32).filled(np.nan)
            at = data.transform
            system = data.crs
            tags = data.tags()
    except rasterio.errors.RasterioError as error:
        raise DataError(f"{ref} cannot be read as a raster ({error}).") from error
    if system is None:
        raise DataError(f"{ref} states no coordinate reference system; write it into the raster.")
    if at.b or at.d or at.a <= 0 or at.e >= 0:
        raise DataError(f"{ref} is not a north-up raster; warp it to one first.")
    values[~np.isfinite(values)] = np.nan
    error_m = tags.get("castshed_depth_error_m")
    extra = {} if error_m is None else {"error_m": float(error_m)}
    epsg = system.to_epsg()
    crs = pyproj.CRS.from_epsg(epsg) if epsg else pyproj.CRS.from_wkt(system.to_wkt())
    return DepthSurface(values, at.c, at.f, at.a, -at.e, crs, **extra)


def check_output(path: Path, names: list[str], *, replace: bool) -> None:
    """Refuse an output before any work is done.

    Raises
    ------
    OutputExists
        A layer of that name is there and replacing was not asked for.
    OutputFailed
        The folder is missing or read-only.
    UsageError
        Not a GeoPackage, or a layer name that would not work in other programs.
    """
    if not _is_geopackage(path):
        raise UsageError(f"{path} is not a GeoPackage; write the output as FILE.gpkg or FILE.gpkg:LAYER.")
    for name in names:
        if not _LAYER_NAME.fullmatch(name) or name.lower().startswith(("gpkg_", "sqlite_", "rtree_")):
            raise UsageError(
                f"'{name}' cannot be a layer name; use letters, digits, - and _, beginning with a letter (63 at most)."
            )
    folder = path.resolve().parent
    if not folder.is_dir():
        raise OutputFailed(f"The folder {folder} is not there; make it first.")
    if not os.access(folder, os.W_OK) or (path.exists() and not os.access(path, os.W_OK)):
        raise OutputFailed(f"{path} cannot be written: it or its folder is read-only.")
    if path.exists():
        there = {name.lower() for name in list_layers(path)}
        taken = [name for name in names if name.lower() in there]
        if taken and not replace:
            raise OutputExists(
                f"{path} already has {', '.join(taken)}; add --replace to replace it, or choose another name."
            )


@contextlib.contextmanager
def _held(path: Path) -> Iterator[sqlite3.Connection | None]:
    """Hold an existing GeoPackage against other writers; wait for them first."""
    until = time.monotonic() + LOCK_WAIT_S
    while path.exists():
        before = os.stat(path)
        try:
            db = sqlite3.connect(path.resolve().as_uri() + "?mode=rw", uri=True, timeout=1.0, isolation_level=None)
        except sqlite3.OperationalError as error:
            raise OutputFailed(f"{path} cannot be opened for writing ({error}).") from error
        try:
            db.execute("BEGIN IMMEDIATE")
            now = os.stat(path)
            # Another command may have put a new file in place while we waited: then hold that one instead.
            if (now.st_ino, now.st_dev) == (before.st_ino, before.st_dev):
                try:
                    yield db
                finally:
                    with contextlib.suppress(sqlite3.Error):
                        db.execute("ROLLBACK")
                return
        except sqlite3.OperationalError as error:
            if "locked" not in str(error):
                raise OutputFailed(f"{path} cannot be written ({error}).") from error
            if time.monotonic() > until:
                raise OutputFailed(
                    f"{path} is locked by another program; close it there and run the command again."
                ) from error
        except sqlite3.DatabaseError as error:
            raise DataError(f"{path} cannot be read as a GeoPackage ({error}); restore it from a copy.") from error
        finally:
            db.close()
    yield None


def _drop(db: sqlite3.Connection, name: str) -> None:
    """Remove a layer and all that refers to it (GeoPackage 1.4, tables with table_name or tpudt_name columns)."""
    tables = [row[0] for row in db.execute("SELECT name FROM sqlite_master WHERE type = 'table'")]
    system = [t for t in tables if t.lower().startswith("gpkg_")]
    for table in system:
        columns = [str(row[1]) for row in db.execute(f'PRAGMA table_info("{table}")')]
        for column in ("table_name", "tile_matrix_set_name", "tpudt_name"):
            if column in columns and table != "gpkg_contents":
                db.execute(f'DELETE FROM "{table}" WHERE lower("{column}") = lower(?)', (name,))  # noqa: S608  # names come from the file's own schema
    db.execute("DELETE FROM gpkg_contents WHERE lower(table_name) = lower(?)", (name,))
    for index in [t for t in tables if t.lower().startswith(f"rtree_{name.lower()}_") and t.lower().count("_") >= 2]:
        if not re.search(r"_(node|rowid|parent)$", index):
            db.execute(f'DROP TABLE IF EXISTS "{index}"')
    db.execute(f'DROP TABLE IF EXISTS "{name}"')


def _write_surface(path: Path, name: str, surface: DepthSurface, words: str) -> None:
    import numpy as np
    import rasterio
    from rasterio.transform import from_origin

    rows, columns = surface.shape
    exists = path.exists()
    options: dict[str, Any] = {
        "driver": "GPKG",
        "width": columns,
        "height": rows,
        "count": 1,
        "dtype": "float32",
        "crs": surface.crs.to_wkt(),
        "transform": from_origin(surface.west_m, surface.north_m, surface.cell_x_m, surface.cell_y_m),
        "nodata": -32768.0,
        "RASTER_TABLE": name,
        "RASTER_IDENTIFIER": name,
        "RASTER_DESCRIPTION": words,
        "TILE_FORMAT": "TIFF",
        "TILING_SCHEME": "CUSTOM",
        "FIELD_NAME": "depth_m",
        "UOM": "m",
    }
    if exists:
        options["APPEND_SUBDATASET"] = "YES"
    values = np.where(np.isfinite(surface.depth_m), surface.depth_m, np.float32(-32768.0)).astype(np.float32)
    with rasterio.Env(), rasterio.open(path, "w", **options) as data:
        data.write(values, 1)
        data.update_tags(castshed_depth_error_m=repr(float(surface.error_m)))


def _write_frame(path: Path, name: str, frame: GeoDataFrame, words: str, types: tuple[str, ...]) -> None:
    import pyogrio

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


def _sync(path: Path) -> None:
    with path.open("rb") as file:
        os.fsync(file.fileno())


def _place(made: Path, path: Path, *, fresh: bool) -> bool:
    """Put the finished file in place; False when somebody else made the file meanwhile."""
    if fresh:
        try:
            os.link(made, path)
        except FileExistsError:
            return False
        except OSError:  # a file system without hard links
            if path.exists():
                return False
            os.replace(made, path)
    else:
        os.replace(made, path)
    if os.name == "posix":
        folder = os.open(path.resolve().parent, os.O_RDONLY)
        try:
            os.fsync(folder)
        finally:
            os.close(folder)
    return True


def write_layers(
    path: Path,
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
        See `check_output`; also a locked file or a full disk. The old file is then as it was.
    """
    names = list(layers)
    for _ in range(5):
        check_output(path, names, replace=replace)
        with _held(path) as original:
            handle, temporary = tempfile.mkstemp(
                prefix=TEMPORARY, suffix=".gpkg.part", dir=path.resolve().parent
            )
            os.close(handle)
            made = Path(temporary)
            part = made.with_name(made.name.removesuffix(".part"))
            try:
                made.unlink()
                if original is not None:
                    check_output(path, names, replace=replace)
                    with contextlib.closing(_open_read_only(path)) as source, contextlib.closing(sqlite3.connect(part)) as copy:
                        source.backup(copy)
                        with copy:
                            for name in names:
                                _drop(copy, name)
                        copy.execute("PRAGMA journal_mode = DELETE")
                _fill(part, layers, words, types or {}, lineage)
                _sync(part)
                if original is not None:
                    os.chmod(part, os.stat(path).st_mode & 0o7777)
                else:
                    mask = os.umask(0)
                    os.umask(mask)
                    os.chmod(part, 0o666 & ~mask)
                if _place(part, path, fresh=original is None):
                    return
            except OSError as error:
                raise OutputFailed(f"{path} could not be written ({error}); nothing was changed.") from error
            except sqlite3.Error as error:
                raise OutputFailed(f"{path} could not be written ({error}); nothing was changed.") from error
            finally:
                for rest in (part, made, *(part.with_name(part.name + s) for s in ("-journal", "-wal", "-shm", ".aux.xml"))):
                    with contextlib.suppress(FileNotFoundError):
                        rest.unlink()
    raise OutputFailed(f"{path} keeps being changed by another program; try again.")


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
    except (pyogrio.errors.DataSourceError, pyogrio.errors.DataLayerError, pyogrio.errors.FieldError) as error:
        raise OSError(str(error)) from error
    if lineage:
        _write_lineage(part, list(layers), lineage)


_METADATA_TABLES: Final = """
CREATE TABLE IF NOT EXISTS gpkg_metadata (
  id INTEGER CONSTRAINT m_pk PRIMARY KEY ASC NOT NULL, md_scope TEXT NOT NULL DEFAULT 'dataset',
  md_standard_uri TEXT NOT NULL, mime_type TEXT NOT NULL DEFAULT 'text/xml', metadata TEXT NOT NULL DEFAULT '');
CREATE TABLE IF NOT EXISTS gpkg_metadata_reference (
  reference_scope TEXT NOT NULL, table_name TEXT, column_name TEXT, row_id_value INTEGER,
  timestamp DATETIME NOT NULL DEFAULT (strftime('%Y-%m-%dT%H:%M:%fZ','now')),
  md_file_id INTEGER NOT NULL, md_parent_id INTEGER,
  CONSTRAINT crmr_mfi_fk FOREIGN KEY (md_file_id) REFERENCES gpkg_metadata(id),
  CONSTRAINT crmr_mpi_fk FOREIGN KEY (md_parent_id) REFERENCES gpkg_metadata(id));
CREATE TABLE IF NOT EXISTS gpkg_extensions (
  table_name TEXT, column_name TEXT, extension_name TEXT NOT NULL, definition TEXT NOT NULL, scope TEXT NOT NULL,
  CONSTRAINT ge_tce UNIQUE (table_name, column_name, extension_name));
"""
LINEAGE_URI: Final = "urn:castshed:lineage"


def _write_lineage(path: Path, names: list[str], lineage: str) -> None:
    with contextlib.closing(sqlite3.connect(path)) as db, db:
        db.executescript(_METADATA_TABLES)
        for table in ("gpkg_metadata", "gpkg_metadata_reference"):
            db.execute(
                "INSERT OR IGNORE INTO gpkg_extensions SELECT ?, NULL, 'gpkg_metadata', "
                "'http://www.geopackage.org/spec140/#extension_metadata', 'read-write' WHERE NOT EXISTS "
                "(SELECT 1 FROM gpkg_extensions WHERE table_name = ? AND extension_name = 'gpkg_metadata')",
                (table, table),
            )
        added = db.execute(
            "INSERT INTO gpkg_metadata (md_scope, md_standard_uri, mime_type, metadata) VALUES (?, ?, ?, ?)",
            ("dataset", LINEAGE_URI, "application/json", lineage),
        ).lastrowid
        db.executemany(
            "INSERT INTO gpkg_metadata_reference (reference_scope, table_name, md_file_id) VALUES ('table', ?, ?)",
            [(name, added) for name in names],
        )
        db.execute(
            "DELETE FROM gpkg_metadata WHERE md_standard_uri = ? AND id NOT IN "
            "(SELECT md_file_id FROM gpkg_metadata_reference)",
            (LINEAGE_URI,),
        )


def read_lineage(path: Path, name: str) -> str | None:
    """Return the lineage JSON kept with a layer; None when it has none."""
    try:
        with contextlib.closing(_open_read_only(path)) as db:
            row = db.execute(
                "SELECT metadata FROM gpkg_metadata JOIN gpkg_metadata_reference ON md_file_id = id "
                "WHERE table_name = ? AND md_standard_uri = ? ORDER BY id DESC",
                (name, LINEAGE_URI),
            ).fetchone()
    except sqlite3.Error:
        return None
    return None if row is None else str(row[0])


