"""What a GeoPackage says of its layers, looked up as in any database: names, tables, sizes, lineage.

How its layers are exchanged is in `exchange`. Loads no GIS library.
"""

from __future__ import annotations

import contextlib
import re
import sqlite3
import stat
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Final

from ..errors import DataError

LOCK_WAIT_S: Final = 20.0  # of a writer for others
READ_WAIT_S: Final = 2.0  # of a reader; a writer holds readers off only while it puts its pages in place
NO_DEPTH: Final = -32768.0
_WORKED_OUT: Final = 2
MOST_GEOMETRY_BYTES: Final = 64_000_000  # 2 million corners with height and measure, see `water.room`
LINEAGE_URI: Final = "urn:castshed:lineage"


MAGIC: Final = b"SQLite format 3\x00"
_WAL: Final = 2  # at byte 19: a file that is kept with a log (sqlite.org/fileformat2.html)


def is_geopackage(path: Path) -> bool:
    """Whether a file name says GeoPackage: for outputs and lists of a folder. `holds_geopackage` looks inside."""
    return path.suffix.lower() == ".gpkg"


# First bytes of the files this process holds against other writers, by device and number: whoever opens and closes such
# a file, in any thread, gives up all its locks (POSIX advisory locks; sqlite.org/howtocorrupt.html, 2.2).
_held: Final[dict[tuple[int, int], list[bytes]]] = {}


@contextlib.contextmanager
def not_opened(path: Path) -> Iterator[None]:
    """Look at a file's first bytes now, and not again while it is held: opening it would give up the hold."""
    head, found = _head(path), path.stat()
    own = _held.setdefault((found.st_dev, found.st_ino), [])
    own.append(head)
    try:
        yield
    finally:
        own.pop()


def _head(path: Path) -> bytes:
    try:
        found = path.stat()
        if not stat.S_ISREG(found.st_mode):
            return b""
        if known := _held.get((found.st_dev, found.st_ino)):
            return known[0]
        with path.open("rb") as stream:
            return stream.read(20)
    except (OSError, ValueError):
        return b""


def holds_geopackage(path: Path) -> bool:
    """Whether a file is a database by its first bytes, whatever it is called."""
    return _head(path).startswith(MAGIC)


def _beside(path: Path, ending: str) -> Path:
    real = path.resolve()
    return real.with_name(real.name + ending)


def is_at_rest(path: Path) -> bool:
    """Whether a file is of the kind that is kept with a log, and has none.

    Nobody is writing to it then, and it is read as a file that does not change: read in the ordinary way, SQLite would
    make a log and its index beside it, and leave them there.
    """
    head = _head(path)
    return len(head) == 20 and head[19] == _WAL and not _beside(path, "-wal").exists()


def open_read_only(path: Path) -> sqlite3.Connection:
    """Open a GeoPackage for looking only."""
    rest = "&immutable=1" if is_at_rest(path) else ""
    return sqlite3.connect(f"{path.resolve().as_uri()}?mode=ro{rest}", uri=True, timeout=READ_WAIT_S)


def trouble(path: Path, layer: str | None, error: Exception) -> DataError:
    """Say why a GeoPackage could not be looked into, and what to do.

    A file whose last write was broken off is not mended here: SQLite undoes such a write as soon as it may write
    itself, and what is undone is the user's.
    """
    name = f"{path}:{layer}" if layer else str(path)
    code = getattr(error, "sqlite_errorcode", 0)
    if code & 0xFF in {sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED}:
        return DataError(
            f"{name} is in use: another program holds the file while it writes. Close it there, or wait until "
            "it is done, and run the command again."
        )
    journal = _beside(path, "-journal")
    if code in {sqlite3.SQLITE_READONLY_ROLLBACK, sqlite3.SQLITE_CANTOPEN} and journal.exists():
        return DataError(
            f"{name} has an unfinished write: {journal.name} lies beside it, left by a program that was broken off. "
            "Nothing was changed. Keep a copy of both files, then open the file once in the program that wrote it, "
            "which undoes that write, and run the command again."
        )
    if layer is None:
        return DataError(f"{path} cannot be read as a GeoPackage ({error}); restore it from a copy.")
    return DataError(f"{name} cannot be read ({error}); restore it from a copy.")


def refuse_unfinished(path: Path) -> None:
    """Refuse a file whose last write was broken off, before it is opened for writing, which would undo that write.

    Raises
    ------
    DataError
        It has such a write.
    """
    if not _beside(path, "-journal").exists():
        return
    try:
        with contextlib.closing(open_read_only(path)) as db:
            db.execute("SELECT count(*) FROM sqlite_master").fetchone()
    except sqlite3.Error as error:
        if getattr(error, "sqlite_errorcode", 0) == sqlite3.SQLITE_READONLY_ROLLBACK:
            raise trouble(path, None, error) from error


def quoted(name: str) -> str:
    """Put a name into quotes, as SQL takes names of any kind."""
    return '"' + name.replace('"', '""') + '"'


def is_plain_table(db: sqlite3.Connection, name: str) -> bool:
    """Whether a name is that of a table of plain columns.

    A view, a virtual table or a column that is worked out as it is read runs code of the file's own.
    """
    found = db.execute(
        "SELECT type, sql FROM sqlite_master WHERE lower(name) = lower(?) AND type IN ('table', 'view')",
        (name,),
    ).fetchone()
    if found is None or found[0] != "table" or re.match(r"\s*create\s+virtual", found[1], re.IGNORECASE):
        return False
    # The last column of table_xinfo is 2 for a generated column that is not stored (sqlite.org/pragma.html).
    return all(column[-1] != _WORKED_OUT for column in db.execute(f"PRAGMA table_xinfo({quoted(name)})"))


def refuse_odd_tables(db: sqlite3.Connection, path: Path) -> None:
    """Refuse a file in which a table of the standard, which every reader reads, is none.

    Raises
    ------
    DataError
        Such a table is a view or a virtual table, or has columns that are worked out.
    """
    names = db.execute(
        "SELECT name FROM sqlite_master WHERE type IN ('table', 'view') AND lower(name) LIKE 'gpkg^_%' ESCAPE '^'"
    ).fetchall()
    odd = [str(name) for (name,) in names if not is_plain_table(db, str(name))]
    if odd:
        raise DataError(
            f"{path} cannot be read as a GeoPackage: {', '.join(odd[:5])} should be a plain table. Restore it from a "
            "copy."
        )


def require_table(path: Path, name: str) -> int:
    """Refuse to read a layer that is no table of its own.

    Returns
    -------
    How many rows the table has: counted, not as some other table says.

    Raises
    ------
    DataError
        It is a view, a virtual table or has columns worked out on reading, which may run any query without end, or is
        not there; so is a table of the standard; or it holds a geometry
        that takes more memory than one should.
    """
    try:
        with contextlib.closing(open_read_only(path)) as db:
            refuse_odd_tables(db, path)
            plain = is_plain_table(db, name)
            size, rows = _size(db, name) if plain else (0, 0)
    except (sqlite3.Error, UnicodeDecodeError) as error:
        raise trouble(path, name, error) from error
    if not plain:
        raise DataError(
            f"{path}:{name} is a view or has no table, or columns that are worked out as they are read; only a layer "
            "with a plain table of its own is read. Save it as a layer first."
        )
    if size > MOST_GEOMETRY_BYTES:
        raise DataError(
            f"{path}:{name} has a geometry of {size / 1e6:,.0f} MB; at most {MOST_GEOMETRY_BYTES / 1e6:.0f} MB, some "
            "million corners, are read. Cut it into parts, or simplify it."
        )
    return rows


def _size(db: sqlite3.Connection, name: str) -> tuple[int, int]:
    """Bytes of the largest geometry of a layer, told without reading it, 0 where it has none; and its rows."""
    try:
        (column,) = db.execute(
            "SELECT column_name FROM gpkg_geometry_columns WHERE lower(table_name) = lower(?)", (name,)
        ).fetchone() or (None,)
        if column is not None:
            size, rows = db.execute(
                f"SELECT max(length({quoted(str(column))})), count(*) FROM {quoted(name)}"
            ).fetchone()
            return int(size or 0), int(rows)
    except sqlite3.OperationalError as error:  # whoever reads the layer says what is wrong with it
        if error.sqlite_errorcode != sqlite3.SQLITE_ERROR:
            raise
    return 0, int(db.execute(f"SELECT count(*) FROM {quoted(name)}").fetchone()[0])


def contents(path: Path) -> dict[str, str]:
    """List a GeoPackage's layers: name -> ``features``, ``coverage`` or another data type of the standard.

    Raises
    ------
    DataError
        It cannot be read.
    """
    try:
        with contextlib.closing(open_read_only(path)) as db:
            if not is_plain_table(db, "gpkg_contents"):
                raise DataError(
                    f"{path} cannot be read as a GeoPackage: it has no table gpkg_contents. Restore it from a copy."
                )
            rows = db.execute("SELECT table_name, data_type FROM gpkg_contents ORDER BY rowid").fetchall()
    except (sqlite3.Error, UnicodeDecodeError) as error:
        raise trouble(path, None, error) from error
    return {str(n): "coverage" if "coverage" in str(t) or t == "tiles" else str(t) for n, t in rows}


def refuse_unsure_numbers(path: Path, name: str) -> None:
    """Refuse a coverage whose scale, offset or precision would change its depths as it is read.

    Decimal numbers with a scale or an offset: the standard has these for whole numbers only, and readers differ (OGC
    17-066r2, requirement 9). Whole numbers with a scale finer than the stated precision: the driver rounds to that, and
    a shoal of 0.3 would lie at 0 or at 1.

    Raises
    ------
    DataError
        It is one, or cannot be read.
    """
    try:
        with contextlib.closing(open_read_only(path)) as db:
            refuse_odd_tables(db, path)
            found = db.execute(
                "SELECT datatype, scale, offset, precision FROM gpkg_2d_gridded_coverage_ancillary "
                "WHERE lower(tile_matrix_set_name) = lower(?)",
                (name,),
            ).fetchone()
    except sqlite3.OperationalError as error:
        if error.sqlite_errorcode != sqlite3.SQLITE_ERROR:  # it has no such table: no coverage of numbers
            raise trouble(path, name, error) from error
        return
    except (sqlite3.Error, UnicodeDecodeError) as error:
        raise trouble(path, name, error) from error
    if not found:
        return
    try:
        scale, offset, precision = (
            default if v is None else float(v) for v, default in zip(found[1:], (1.0, 0.0, 1.0), strict=True)
        )
    except (TypeError, ValueError) as error:
        raise DataError(
            f"{path}:{name} has a scale, offset or precision that is no number ({error}); save it again."
        ) from error
    if str(found[0]) == "float" and (scale, offset) != (1.0, 0.0):
        raise DataError(
            f"{path}:{name} holds decimal numbers with a scale of {scale:g} and an offset of {offset:g}; the standard "
            "has these for whole numbers only. Save it again with its depths in metres."
        )
    if str(found[0]) != "float" and scale != 1.0 and precision > abs(scale) * (1 + 1e-9):
        raise DataError(
            f"{path}:{name} has numbers in steps of {abs(scale):g} but states a precision of {precision:g}, to which "
            f"they would be rounded. Set precision to {abs(scale):g}, or save it again with its depths in metres."
        )


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


def mark_no_data(path: Path, name: str) -> None:
    """State which number in a coverage means that nothing is known (the raster driver leaves it out)."""
    with contextlib.closing(sqlite3.connect(path)) as db, db:
        db.execute(
            "UPDATE gpkg_2d_gridded_coverage_ancillary SET data_null = ? WHERE tile_matrix_set_name = ?",
            (NO_DEPTH, name),
        )


def write_lineage(path: Path, names: Sequence[str], lineage: str) -> None:
    """Keep a lineage text with layers, in the metadata tables of the GeoPackage standard."""
    with contextlib.closing(sqlite3.connect(path)) as db, db:
        db.executescript("BEGIN;" + _METADATA_TABLES)  # one transaction, so one sync, with what follows
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
        with contextlib.closing(open_read_only(path)) as db:
            row = db.execute(
                "SELECT metadata FROM gpkg_metadata JOIN gpkg_metadata_reference ON md_file_id = id "
                "WHERE table_name = ? AND md_standard_uri = ? ORDER BY id DESC",
                (name, LINEAGE_URI),
            ).fetchone()
    except sqlite3.Error:
        return None
    return None if row is None else str(row[0])
