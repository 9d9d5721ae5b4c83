"""What a GeoPackage's own triggers would do as a layer is written into it, as SQLite itself tells.

SQLite compiles each statement of our writing on a copy, with every trigger and foreign key that it would set off, and
names each table that is read or changed (sqlite.org/c3ref/set_authorizer.html); nothing is run, and no word of the
file's is read by us. Triggers that change nothing are kept from running in the hands of the writing library, which has
no limit of steps: they are set aside meanwhile, and asked with such a limit afterwards. Loads no GIS library.
"""

from __future__ import annotations

import contextlib
import sqlite3
from collections import Counter
from pathlib import Path
from typing import TYPE_CHECKING, Final

from ..errors import DataError
from .geopackage import quoted

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

_HARMLESS: Final = {sqlite3.SQLITE_READ, sqlite3.SQLITE_SELECT, sqlite3.SQLITE_FUNCTION}
_FUNCTIONS_REFUSED: Final = {"load_extension", "readfile", "writefile", "edit", "fts3_tokenizer"}
_MOST_QUESTIONS: Final = 1_000_000  # of the authoriser; a file of the standard asks some thousand
_MOST_STEPS: Final = 50_000_000  # of SQLite's machine, some seconds
_STEPS_AT_ONCE: Final = 10_000
_MOST_BYTES: Final = 100_000_000  # of one text or blob


def _refused(path: Path, names: Sequence[str]) -> DataError:
    return DataError(
        f"{path} has triggers that would change its layers as another is written ({', '.join(names[:5])}); "
        "copy the layers that are wanted into a new file."
    )


def _endless(path: Path) -> DataError:
    return DataError(
        f"{path} has triggers that run without end, or beyond any measure; copy the layers that are wanted into a new "
        "file."
    )


@contextlib.contextmanager
def few_steps(db: sqlite3.Connection, path: Path) -> Iterator[None]:
    """Let a connection take a limited number of steps in the block, and make no huge value.

    Raises
    ------
    DataError
        It would have taken more.
    """
    left = _MOST_STEPS // _STEPS_AT_ONCE

    def too_many() -> int:
        nonlocal left
        left -= 1
        return left < 0

    most = db.setlimit(sqlite3.SQLITE_LIMIT_LENGTH, _MOST_BYTES)
    db.set_progress_handler(too_many, _STEPS_AT_ONCE)
    try:
        yield
    except (sqlite3.OperationalError, sqlite3.DataError) as error:
        if left < 0 or "too big" in str(error):
            raise _endless(path) from error
        raise
    finally:
        db.set_progress_handler(None, 0)
        db.setlimit(sqlite3.SQLITE_LIMIT_LENGTH, most)


def _system_tables(db: sqlite3.Connection) -> list[str]:
    rows = db.execute(
        "SELECT name FROM sqlite_master WHERE type = 'table' AND lower(name) LIKE 'gpkg^_%' ESCAPE '^'"
    )
    return [str(name) for (name,) in rows.fetchall()]


def _statements(db: sqlite3.Connection, table: str) -> Iterator[tuple[str, Counter[tuple[int, str]]]]:
    """Give what is written into a table of the standard, each with the changes that are its own."""
    name = quoted(table)
    columns = [str(row[1]) for row in db.execute(f"PRAGMA table_info({name})")]
    one = table.lower()
    yield f"INSERT INTO {name} DEFAULT VALUES", Counter({(sqlite3.SQLITE_INSERT, one): 1})
    yield f"DELETE FROM {name}", Counter({(sqlite3.SQLITE_DELETE, one): 1})
    told = ", ".join(f"{quoted(column)} = {quoted(column)}" for column in columns)
    yield f"UPDATE {name} SET {told}", Counter({(sqlite3.SQLITE_UPDATE, one): len(columns)})


def _acts(db: sqlite3.Connection, statement: str, own: Counter[tuple[int, str]]) -> list[str]:
    """Name what else would be changed, or not end, if a statement were run; it is compiled only."""
    found: list[str] = []
    left, asked = own.copy(), 0

    def asks(action: int, one: str | None, two: str | None, _where: str | None, by: str | None) -> int:
        nonlocal asked
        asked += 1
        if asked > _MOST_QUESTIONS:
            return sqlite3.SQLITE_DENY
        if action in _HARMLESS:
            if action == sqlite3.SQLITE_FUNCTION and str(two).lower() in _FUNCTIONS_REFUSED:
                found.append(by or str(two))
            return sqlite3.SQLITE_OK
        change = (action, str(one).lower())
        if by is None and left[change] > 0:
            left[change] -= 1
        else:
            found.append(by or f"a rule on {one}")
        return sqlite3.SQLITE_OK

    db.set_authorizer(asks)
    try:
        db.execute(f"EXPLAIN {statement}").close()
    except sqlite3.Error:
        if not found:  # what is known to act need not be compiled to its end
            raise
    finally:
        db.set_authorizer(None)
    return found


def refuse_acting_triggers(db: sqlite3.Connection, path: Path) -> None:
    """Refuse to write where triggers or foreign keys would change anything of their own as we write.

    Parameters
    ----------
    db
        A copy of the file, in which nothing is changed.
    path
        The file, for the message.

    Raises
    ------
    DataError
        Some would change a table, may not end, or cannot be compiled.
    """
    acting: list[str] = []
    for keys in (False, True):
        db.execute(f"PRAGMA foreign_keys = {keys:d}")
        for table in _system_tables(db):
            for statement, own in _statements(db, table):
                try:
                    acting += _acts(db, statement, own)
                except sqlite3.Error as error:
                    if keys and "foreign key mismatch" in str(error):
                        continue  # a slip in the file, which sets off nothing
                    raise DataError(
                        f"{path} has triggers on {table} that SQLite cannot make sense of ({error}); copy the layers "
                        "that are wanted into a new file."
                    ) from error
    db.execute("PRAGMA foreign_keys = 0")
    if acting:
        raise _refused(path, list(dict.fromkeys(acting)))


def set_aside(db: sqlite3.Connection) -> list[str]:
    """Take the triggers on tables of the standard out of a copy; gives the statements that make them again."""
    rows = db.execute(
        "SELECT name, sql FROM sqlite_master "
        "WHERE type = 'trigger' AND lower(tbl_name) LIKE 'gpkg^_%' ESCAPE '^' ORDER BY rowid"
    ).fetchall()
    for name, _ in rows:
        db.execute(f"DROP TRIGGER {quoted(str(name))}")
    return [str(sql) for _, sql in rows]


def put_back(part: Path, path: Path, triggers: Sequence[str], names: Sequence[str]) -> None:
    """Put triggers back that were set aside, and ask them whether they take the rows that were written meanwhile.

    Parameters
    ----------
    part
        The copy, with its new layers.
    path
        The file, for messages.
    triggers
        What `set_aside` gave.
    names
        The new layers.

    Raises
    ------
    DataError
        One of them refuses a row, or runs without end.
    """
    if not triggers:
        return
    with contextlib.closing(sqlite3.connect(part, isolation_level=None)) as db:
        db.execute("BEGIN")
        rows = [(table, row) for table in _system_tables(db) for row in _rows(db, table, names)]
        for table, (rowid, *_) in rows:
            db.execute(f"DELETE FROM {quoted(table)} WHERE rowid = ?", (rowid,))
        for trigger in triggers:
            db.execute(trigger)
        try:
            with few_steps(db, path):
                for table, (_, *values) in rows:
                    held = ", ".join("?" * len(values))
                    db.execute(f"INSERT INTO {quoted(table)} VALUES ({held})", values)
        except sqlite3.IntegrityError as error:
            raise DataError(f"{path} has a trigger of its own that refuses the layer ({error}).") from error
        db.execute("ROLLBACK")
        db.execute("BEGIN")
        for trigger in triggers:
            db.execute(trigger)
        db.execute("COMMIT")


def _rows(db: sqlite3.Connection, table: str, names: Sequence[str]) -> list[tuple[object, ...]]:
    """Read the rows of a table of the standard that speak of layers, with their number first."""
    columns = {str(row[1]).lower() for row in db.execute(f"PRAGMA table_info({quoted(table)})")}
    if "table_name" not in columns:
        return []
    lower = [name.lower() for name in names]
    marks = ", ".join("?" * len(lower))
    asked = f"SELECT rowid, * FROM {quoted(table)} WHERE lower(table_name) IN ({marks})"
    return list(db.execute(asked, lower).fetchall())
