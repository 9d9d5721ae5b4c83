"""The GeoPackage file as a database: held against others, copied, changed and put in place whole.

A write goes to a copy in the same folder, made through SQLite's own backup while the original is held against other
writers; the copy takes the original's place in one step. So a crash at any moment leaves the old file or the new one,
and other layers are carried over untouched. Loads no GIS library.
"""

from __future__ import annotations

import contextlib
import os
import re
import sqlite3
import tempfile
import time
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import Final

from .errors import DataError, OutputExists, OutputFailed, UsageError
from .temporaries import clear_abandoned, temporary_prefix

LOCK_WAIT_S: Final = 20.0
_LOGS: Final = ("-journal", "-wal")
NO_DEPTH: Final = -32768.0
LINEAGE_URI: Final = "urn:castshed:lineage"
_LAYER_NAME: Final = re.compile(r"[^\W\d][\w\- ]{0,62}")


def is_geopackage(path: Path) -> bool:
    """Whether a file name says GeoPackage."""
    return path.suffix.lower() == ".gpkg"


def _open_read_only(path: Path) -> sqlite3.Connection:
    return sqlite3.connect(f"{path.resolve().as_uri()}?mode=ro", uri=True, timeout=LOCK_WAIT_S)


def _quoted(name: str) -> str:
    return '"' + name.replace('"', '""') + '"'


def _is_plain_table(db: sqlite3.Connection, name: str) -> bool:
    """Whether a name is that of a table; a view or a virtual table runs code of the file's own when it is read."""
    found = db.execute(
        "SELECT type, sql FROM sqlite_master WHERE lower(name) = lower(?) AND type IN ('table', 'view')",
        (name,),
    ).fetchone()
    return (
        found is not None
        and found[0] == "table"
        and not re.match(r"\s*create\s+virtual", found[1], re.IGNORECASE)
    )


def require_table(path: Path, name: str) -> None:
    """Refuse to read a layer that is no table of its own.

    Raises
    ------
    DataError
        It is a view or a virtual table, which may run any query without end, or is not there.
    """
    try:
        with contextlib.closing(_open_read_only(path)) as db:
            plain = _is_plain_table(db, name)
    except (sqlite3.Error, UnicodeDecodeError) as error:
        raise DataError(f"{path}:{name} cannot be read ({error}); restore it from a copy.") from error
    if not plain:
        raise DataError(
            f"{path}:{name} is a view or has no table; only a layer with a table of its own is read. "
            "Save it as a layer first."
        )


def _refuse_acting_triggers(db: sqlite3.Connection, path: Path) -> None:
    """Refuse to write where triggers on the tables of the standard would change other layers as we write."""
    acting = []
    for name, table, sql in db.execute(
        "SELECT name, tbl_name, sql FROM sqlite_master WHERE type = 'trigger'"
    ):
        said = re.sub(r"'(?:[^']|'')*'|--[^\n]*|/\*.*?\*/", " ", str(sql), flags=re.DOTALL)
        body = re.split(r"\bbegin\b", said, maxsplit=1, flags=re.IGNORECASE)[-1]
        if str(table).lower().startswith("gpkg_") and re.search(
            r"\b(insert|update|delete|replace)\b", body, flags=re.IGNORECASE
        ):
            acting.append(str(name))
    if acting:
        raise DataError(
            f"{path} has triggers that would change its layers as another is written ({', '.join(acting[:5])}); "
            "copy the layers that are wanted into a new file."
        )


def contents(path: Path) -> dict[str, str]:
    """List a GeoPackage's layers: name -> ``features``, ``coverage`` or another data type of the standard.

    Raises
    ------
    DataError
        It cannot be read.
    """
    try:
        with contextlib.closing(_open_read_only(path)) as db:
            if not _is_plain_table(db, "gpkg_contents"):
                raise DataError(
                    f"{path} cannot be read as a GeoPackage: it has no table gpkg_contents. Restore it from a copy."
                )
            rows = db.execute("SELECT table_name, data_type FROM gpkg_contents ORDER BY rowid").fetchall()
    except (sqlite3.Error, UnicodeDecodeError) as error:
        raise DataError(
            f"{path} cannot be read as a GeoPackage ({error}); restore it from a copy."
        ) from error
    return {str(n): "coverage" if "coverage" in str(t) or t == "tiles" else str(t) for n, t in rows}


def _refuse_orphans(path: Path) -> None:
    """Refuse a new file beside the log of an old one: SQLite would take the log for its own and spoil it."""
    for ending in _LOGS:
        log = path.with_name(path.name + ending)
        if log.exists() and log.stat().st_size:
            raise OutputFailed(
                f"{log} lies there without its {path.name}; bring that file back, or move the log away."
            )


def check_output(path: Path, names: Sequence[str], *, replace: bool) -> None:
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
    if not is_geopackage(path):
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
    if not path.exists():
        _refuse_orphans(path)
    else:
        there = {name.lower() for name in contents(path)}
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
            db = sqlite3.connect(
                path.resolve().as_uri() + "?mode=rw", uri=True, timeout=1.0, isolation_level=None
            )
        except sqlite3.OperationalError as error:
            raise OutputFailed(f"{path} cannot be opened for writing ({error}).") from error
        try:
            # A write-ahead log lies beside the file and would be taken for that of the one put in its place.
            if db.execute("PRAGMA journal_mode").fetchone()[0] == "wal":
                db.execute("PRAGMA journal_mode = DELETE")
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
            raise DataError(
                f"{path} cannot be read as a GeoPackage ({error}); restore it from a copy."
            ) from error
        finally:
            db.close()
    yield None


def _drop(db: sqlite3.Connection, name: str) -> None:
    """Remove a layer and all that refers to it (GeoPackage 1.4, tables with table_name or tpudt_name columns)."""
    tables = [row[0] for row in db.execute("SELECT name FROM sqlite_master WHERE type = 'table'")]
    system = [t for t in tables if t.lower().startswith("gpkg_")]
    for table in system:
        columns = [str(row[1]) for row in db.execute(f"PRAGMA table_info({_quoted(table)})")]
        for column in ("table_name", "tile_matrix_set_name", "tpudt_name"):
            if column in columns and table != "gpkg_contents":
                db.execute(f'DELETE FROM {_quoted(table)} WHERE lower("{column}") = lower(?)', (name,))
    db.execute("DELETE FROM gpkg_contents WHERE lower(table_name) = lower(?)", (name,))
    for index in [
        t for t in tables if t.lower().startswith(f"rtree_{name.lower()}_") and t.lower().count("_") >= 2
    ]:
        if not re.search(r"_(node|rowid|parent)$", index):
            db.execute(f"DROP TABLE IF EXISTS {_quoted(index)}")
    db.execute(f"DROP TABLE IF EXISTS {_quoted(name)}")


def _free_name(folder: Path) -> Path:
    """Name a temporary GeoPackage that is not there; its suffix must be .gpkg for the drivers."""
    clear_abandoned(folder)
    handle, made = tempfile.mkstemp(prefix=temporary_prefix(), suffix=".gpkg.part", dir=folder)
    os.close(handle)
    os.unlink(made)
    return Path(made.removesuffix(".part"))


def _copy_without(path: Path, part: Path, names: Sequence[str]) -> None:
    with (
        contextlib.closing(_open_read_only(path)) as source,
        contextlib.closing(sqlite3.connect(part)) as copy,
    ):
        source.backup(copy)
        _refuse_acting_triggers(copy, path)
        with copy:
            for name in names:
                _drop(copy, name)
        copy.execute("PRAGMA journal_mode = DELETE")


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
        with contextlib.closing(_open_read_only(path)) as db:
            row = db.execute(
                "SELECT metadata FROM gpkg_metadata JOIN gpkg_metadata_reference ON md_file_id = id "
                "WHERE table_name = ? AND md_standard_uri = ? ORDER BY id DESC",
                (name, LINEAGE_URI),
            ).fetchone()
    except sqlite3.Error:
        return None
    return None if row is None else str(row[0])


def change(path: Path, names: Sequence[str], fill: Callable[[Path], None], *, replace: bool = False) -> None:
    """Give a GeoPackage new layers, all of them or none.

    Parameters
    ----------
    path
        The GeoPackage; made when it is not there.
    names
        The layers that are to be written.
    fill
        Called with a copy of the file from which those layers are already gone (or with the name of a file that
        is not there yet); writes them.
    replace
        Whether layers of those names may be replaced.

    Raises
    ------
    OutputExists, OutputFailed, UsageError
        See `check_output`; also a locked file or a full disk. The old file is then as it was.
    """
    for _ in range(5):
        check_output(path, names, replace=replace)
        with _held(path) as original:
            part = _free_name(path.resolve().parent)
            try:
                if original is not None:
                    check_output(path, names, replace=replace)
                    _copy_without(path, part, names)
                fill(part)
                _sync(part)
                mask = os.umask(0)
                os.umask(mask)
                os.chmod(part, 0o666 & ~mask if original is None else os.stat(path).st_mode & 0o7777)
                if _place(part, path, fresh=original is None):
                    return
            except (DataError, OutputExists, OutputFailed):
                raise
            except (OSError, sqlite3.Error) as error:
                raise OutputFailed(f"{path} could not be written ({error}); nothing was changed.") from error
            finally:
                for ending in ("", "-journal", "-wal", "-shm", ".aux.xml"):
                    with contextlib.suppress(FileNotFoundError):
                        part.with_name(part.name + ending).unlink()
    raise OutputFailed(f"{path} keeps being changed by another program; try again.")
