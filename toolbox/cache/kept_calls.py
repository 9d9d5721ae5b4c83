"""Calls of algorithms kept in the open store, known by fingerprints of files, layers and the code itself.

What a result depends on is the algorithm, all code of castshed, the libraries that do its work, and every argument by
its content. One changed bit in any of them is another call.

A layer of a GeoPackage counts by its own rows, so that writing another layer into the same file changes nothing.
"""

from __future__ import annotations

import contextlib
import functools
import hashlib
import importlib.metadata
import inspect
import sqlite3
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final, ParamSpec, TypeVar, get_type_hints

from ..errors import DataError
from ..layers.geopackage import holds_geopackage, is_plain_table, open_read_only, trouble
from ..layers.reading import Reference, list_layers
from ..real_files import require_ordinary
from ..report import collecting_notes, note
from .store import fingerprint, open_store

if TYPE_CHECKING:
    from collections.abc import Callable

    from ..algorithm.catalogue import Entry
    from ..algorithm.spec import Spec

P = ParamSpec("P")
R = TypeVar("R")

_LIBRARIES: Final = (
    "numpy",
    "scipy",
    "pandas",
    "shapely",
    "geopandas",
    "pyproj",
    "rasterio",
    "numba",
    "contourpy",
    "networkx",
)


@functools.lru_cache(maxsize=1)
def code_and_libraries() -> str:
    """Fingerprint all that works: castshed's own code, Python, and the libraries with their versions."""
    import shapely

    told = [f"{name} {importlib.metadata.version(name)}" for name in _LIBRARIES]
    return fingerprint(own_code(), sys.version, shapely.geos_version_string, *told)


def _content(value: Any) -> str | None:
    """Fingerprint an argument; None where its content cannot be told."""
    if hasattr(value, "geometry"):
        from .kept_results import frame_to_arrays

        apart = frame_to_arrays(value)
        if apart is None:
            return None
        head, arrays = apart
        return fingerprint("layer", repr(head), *(part for name in arrays for part in (name, arrays[name])))
    if hasattr(value, "depth_m"):
        from .kept_results import SHAPE

        told = [repr(getattr(value, name)) for name in SHAPE]
        return fingerprint("surface", value.depth_m, value.crs.to_json(), *told)
    if isinstance(value, tuple | list):
        parts = [_content(one) for one in value]
        return None if None in parts else fingerprint(type(value).__name__, *(str(part) for part in parts))
    if value is None or isinstance(value, bool | int | float | str):
        return f"{type(value).__name__} {value!r}"
    return None


def _key(spec: Spec, arguments: dict[str, Any]) -> str | None:
    parts = []
    for name, value in arguments.items():
        content = _content(value)
        if content is None:
            return None
        parts += [name, content]
    return fingerprint("a call", spec.name, code_and_libraries(), *parts)


def _as_made(function: Any, spec: Spec, result: Any) -> Any:
    """Give several results the names they have when the algorithm itself returns them."""
    if not spec.several:
        return result
    kind: Any = get_type_hints(function).get("return")
    return kind(*result) if hasattr(kind, "_fields") else result


def kept(function: Callable[P, R], what: str) -> Callable[P, R]:
    """Make an algorithm take its result from the open store, and keep it there.

    Parameters
    ----------
    function
        An algorithm of layers and surfaces.
    what
        What it makes, as a person would call it; told when the work is stopped.

    Returns
    -------
    Takes and gives the same; what was noted while a result was made is noted again with it. Where no store is
    open, or an argument is something whose content cannot be told, the algorithm is simply run.
    """
    from ..algorithm import mark_outputs, spec_of

    spec = spec_of(function)

    @functools.wraps(function)
    def call(*args: P.args, **kwargs: P.kwargs) -> R:
        from .kept_results import pack, unpack

        store = open_store()
        if store is None:
            return function(*args, **kwargs)
        bound = inspect.signature(function).bind(*args, **kwargs)
        bound.apply_defaults()
        key = _key(spec, bound.arguments)
        if key is None:
            return function(*args, **kwargs)
        arrays = store.get(key)
        kept_result: tuple[Any, list[str]] | None = None
        if arrays is not None:
            # kept in a shape that is not ours: whatever it lacks, it is made anew
            with contextlib.suppress(Exception):
                kept_result = unpack(spec, arrays)
        if kept_result is not None:
            found, notes = kept_result
            store.tell(what)
            mark_outputs(spec, found, bound.arguments)
            result: R = _as_made(function, spec, found)
        else:
            with collecting_notes() as notes:
                result = function(*args, **kwargs)
            store.put(key, pack(spec, result, notes), what)
        for told in notes:
            note(told, stacklevel=2)
        return result

    return call


_TAGS = """SELECT m.metadata FROM gpkg_metadata m JOIN gpkg_metadata_reference r ON r.md_file_id = m.id
    WHERE r.table_name = ? AND m.md_standard_uri = 'http://gdal.org' ORDER BY m.id"""
_ABOUT_TABLE = (
    "SELECT data_type, srs_id, min_x, min_y, max_x, max_y FROM gpkg_contents WHERE table_name = ?",
    "SELECT * FROM gpkg_geometry_columns WHERE table_name = ?",
    "SELECT datatype, scale, offset, data_null FROM gpkg_2d_gridded_coverage_ancillary WHERE tile_matrix_set_name = ?",
    "SELECT * FROM gpkg_tile_matrix WHERE table_name = ? ORDER BY zoom_level",
    "SELECT * FROM gpkg_tile_matrix_set WHERE table_name = ?",
    "SELECT s.definition FROM gpkg_spatial_ref_sys s JOIN gpkg_contents c USING (srs_id) WHERE c.table_name = ?",
    _TAGS,
)


def _add(total: Any, row: Any) -> None:
    for cell in row:
        content = cell if isinstance(cell, bytes) else repr(cell).encode()
        total.update(f"{type(cell).__name__} {len(content)}\n".encode())
        total.update(content)


def _layer(path: Path, name: str) -> str:
    """Fingerprint one table of a GeoPackage with all that tells what it means."""
    total = hashlib.sha256()
    try:
        with contextlib.closing(open_read_only(path)) as db:
            if not is_plain_table(db, name):
                raise DataError(f"{path}:{name} is a view or has no plain table; save it as a layer first.")
            for query in _ABOUT_TABLE:
                with contextlib.suppress(
                    sqlite3.OperationalError
                ):  # a file without coverages has no such table
                    for row in db.execute(query, (name,)):
                        _add(total, row)
            quoted = name.replace('"', '""')
            _add(total, [row[:3] for row in db.execute(f'PRAGMA table_info("{quoted}")')])
            for row in db.execute(f'SELECT * FROM "{quoted}" ORDER BY 1'):
                _add(total, row)
    except sqlite3.Error as error:
        raise trouble(path, name, error) from error
    return total.hexdigest()


def of_file(path: Path) -> str:
    """Fingerprint the bytes of a file."""
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def of_reference(ref: Reference, layers: tuple[str, ...] | None) -> str:
    """Fingerprint what a reference leads to.

    Parameters
    ----------
    ref
        The file, and a layer of it where one is named.
    layers
        Usual names of the layers that count where none is named; None where the whole file counts.

    Raises
    ------
    FileMissing, DataError
        It is not there, or cannot be read.
    """
    path = ref.path
    require_ordinary(path, "a file")
    if layers is not None and holds_geopackage(path):
        there = list_layers(path)
        named = [ref.layer] if ref.layer else [n for n in layers if n in there] or sorted(there)
        total = hashlib.sha256()
        for name in named:
            _add(total, [name, _layer(path, name) if name in there else "missing"])
        return total.hexdigest()
    # a format of several files (shapefile) counts with all of them
    beside = (
        sorted(p for p in path.parent.glob(f"{path.stem}.*") if p.is_file())
        if path.suffix == ".shp"
        else [path]
    )
    total = hashlib.sha256()
    for one in beside:
        _add(total, [one.name, of_file(one)])
    _add(total, [ref.layer])
    return total.hexdigest()


@functools.lru_cache(maxsize=1)
def own_code() -> str:
    """Fingerprint all code of castshed."""
    total = hashlib.sha256()
    home = Path(__file__).parent.parent
    for folder in (home, home.parent / "algorithms"):
        for path in sorted(folder.rglob("*.py")):
            _add(total, [path.relative_to(folder).as_posix(), path.read_bytes()])
    return total.hexdigest()


def of_code(entry: Entry) -> str:
    """Fingerprint the code of an algorithm: all of castshed's, and a plugin's version and file."""
    from ..algorithm.describe import version_of

    total = hashlib.sha256()
    _add(total, [own_code(), version_of(entry)])
    if entry.path is not None:
        _add(total, [entry.path.read_bytes()])
    return total.hexdigest()
