"""What a step depends on, as fingerprints: files, layers of a GeoPackage, and the code itself.

A layer of a GeoPackage counts by its own rows, so that writing another layer into the same file changes nothing.
"""

from __future__ import annotations

import contextlib
import functools
import hashlib
import sqlite3
from pathlib import Path
from typing import TYPE_CHECKING, Any

from ..errors import DataError
from ..layers.geopackage import holds_geopackage, is_plain_table, open_read_only, trouble
from ..layers.reading import list_layers
from ..layers.reference import Reference
from ..real_files import require_ordinary

if TYPE_CHECKING:
    from ..algorithm.catalogue import Entry

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
