"""A GeoPackage's layers exchanged: the file held against others, copied, changed and put in place whole.

A write goes to a copy in the same folder, made through SQLite's own backup while the original is held against other
writers; the copy takes the original's place in one step. So a crash at any moment leaves the old file or the new one,
and other layers are carried over untouched. Loads no GIS library.

Temporary files beside their final place: named after who makes them, cleared when that command runs no more.
"""

from __future__ import annotations

import contextlib
import os
import re
import sqlite3
import tempfile
import time
import zlib
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import Final

from ..errors import DataError, OutputExists, OutputFailed, UsageError
from ..real_files import output_file, require_utf8
from .file_triggers import few_steps, put_back, refuse_acting_triggers, set_aside
from .geopackage import (
    LOCK_WAIT_S,
    contents,
    is_geopackage,
    not_opened,
    open_read_only,
    quoted,
    refuse_odd_tables,
    refuse_unfinished,
)

TEMPORARY: Final = ".castshed-"


def _this_machine() -> str:
    """Tell machines, and containers of one machine, from each other where they share a folder."""
    name, space = os.uname().nodename if os.name == "posix" else "", ""
    with contextlib.suppress(OSError):
        space = str(Path("/proc/self/ns/pid").readlink())
    return f"{zlib.crc32(f'{name} {space}'.encode()):08x}"


def _runs(process: int) -> bool:
    try:
        os.kill(process, 0)
    except ProcessLookupError:
        return False
    except (OSError, OverflowError):
        pass
    return True


def temporary_prefix() -> str:
    """Begin the name of a temporary file; it tells who makes it, so that what a killed command left can be cleared."""
    return f"{TEMPORARY}{_this_machine()}-{os.getpid()}-"


def clear_abandoned(folder: Path) -> None:
    """Remove temporary files of commands of this machine that run no more; those of others are let be."""
    if os.name != "posix":  # elsewhere to ask whether a process runs would end it
        return
    ours = re.compile(re.escape(f"{TEMPORARY}{_this_machine()}-") + r"(\d+)-")
    with contextlib.suppress(OSError):
        for left in folder.iterdir():
            found = ours.match(left.name)
            if found and not _runs(int(found.group(1))):
                with contextlib.suppress(OSError):
                    left.unlink()


_LOGS: Final = ("-journal", "-wal")
_LAYER_NAME: Final = re.compile(r"[^\W\d][\w\- ]{0,62}")


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
    path = output_file(path)
    require_utf8(path)
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
        refuse_unfinished(path)
        before = os.stat(path)
        try:
            db = sqlite3.connect(
                path.resolve().as_uri() + "?mode=rw", uri=True, timeout=1.0, isolation_level=None
            )
        except sqlite3.OperationalError as error:
            raise OutputFailed(f"{path} cannot be opened for writing ({error}).") from error
        hold = contextlib.ExitStack()
        try:
            hold.enter_context(not_opened(path))
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
            hold.close()
    yield None


def _drop(db: sqlite3.Connection, name: str) -> None:
    """Remove a layer and all that refers to it (GeoPackage 1.4, tables with table_name or tpudt_name columns)."""
    tables = [row[0] for row in db.execute("SELECT name FROM sqlite_master WHERE type = 'table'")]
    system = [t for t in tables if t.lower().startswith("gpkg_")]
    for table in system:
        columns = [str(row[1]) for row in db.execute(f"PRAGMA table_info({quoted(table)})")]
        for column in ("table_name", "tile_matrix_set_name", "tpudt_name"):
            if column in columns and table != "gpkg_contents":
                db.execute(f'DELETE FROM {quoted(table)} WHERE lower("{column}") = lower(?)', (name,))
    db.execute("DELETE FROM gpkg_contents WHERE lower(table_name) = lower(?)", (name,))
    for index in [
        t for t in tables if t.lower().startswith(f"rtree_{name.lower()}_") and t.lower().count("_") >= 2
    ]:
        if not re.search(r"_(node|rowid|parent)$", index):
            db.execute(f"DROP TABLE IF EXISTS {quoted(index)}")
    db.execute(f"DROP TABLE IF EXISTS {quoted(name)}")


def _free_name(folder: Path) -> Path:
    """Name a temporary GeoPackage that is not there; its suffix must be .gpkg for the drivers."""
    clear_abandoned(folder)
    handle, made = tempfile.mkstemp(prefix=temporary_prefix(), suffix=".gpkg.part", dir=folder)
    os.close(handle)
    os.unlink(made)
    return Path(made.removesuffix(".part"))


def _copy_without(path: Path, part: Path, names: Sequence[str]) -> list[str]:
    """Copy a file without some layers, and without the triggers that writing others would set off; gives those."""
    with (
        contextlib.closing(open_read_only(path)) as source,
        contextlib.closing(sqlite3.connect(part)) as copy,
    ):
        source.backup(copy)
        refuse_odd_tables(copy, path)
        refuse_acting_triggers(copy, path)
        with copy, few_steps(copy, path):
            for name in names:
                _drop(copy, name)
        with copy:
            triggers = set_aside(copy)
        copy.execute("PRAGMA journal_mode = DELETE")
    return triggers


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
    named = path
    for _ in range(5):
        check_output(named, names, replace=replace)
        path = output_file(named)  # a link stays, and the file it leads to is exchanged in its own folder
        with _held(path) as original:
            part = _free_name(path.resolve().parent)
            try:
                triggers: list[str] = []
                if original is not None:
                    check_output(named, names, replace=replace)
                    triggers = _copy_without(path, part, names)
                fill(part)
                put_back(part, path, triggers, names)
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
