"""What a file name leads to: through links to the file itself, and only to an ordinary file.

A pipe, a device or a socket can be opened and then never answers, or acts; so each is refused by what it is, before it
is opened. A link is followed once, and what is written takes the place of the file it leads to, in that file's folder.
"""

from __future__ import annotations

import contextlib
import errno
import os
import stat
from collections.abc import Iterator
from pathlib import Path
from typing import Final

from .errors import DataError, FileMissing, OutputFailed

# File systems take 255 bytes a name (POSIX NAME_MAX on all in common use); SQLite puts an ending of its own behind it.
MOST_NAME_BYTES: Final = 240

_KINDS: Final = (
    (stat.S_ISDIR, "a folder"),
    (stat.S_ISFIFO, "a named pipe"),
    (stat.S_ISSOCK, "a socket"),
    (stat.S_ISCHR, "a device"),
    (stat.S_ISBLK, "a device"),
)


def shown(path: Path | str) -> str:
    r"""Write a name so that any terminal, file and database takes it: a byte that is no UTF-8 as ``\xe9``.

    Examples
    --------
    >>> shown(os.fsdecode(b"caf\xe9"))
    'caf\\xe9'
    """
    return os.fsencode(path).decode("utf-8", "backslashreplace")


def is_there(path: Path) -> bool:
    """Whether a path exists; a name that no file can have is not there."""
    try:
        return path.exists()
    except (OSError, ValueError):
        return False


def is_folder(path: Path) -> bool:
    """Whether a folder stands there; a name that none can have is none."""
    try:
        return path.is_dir()
    except (OSError, ValueError):
        return False


def special_kind(path: Path) -> str:
    """Say what stands under a name that is no ordinary file; nothing for such a file, or where nothing is.

    Raises
    ------
    OSError
        It cannot be asked: a name too long, a ring of links, a folder that may not be entered.
    """
    try:
        mode = path.stat().st_mode
    except (FileNotFoundError, NotADirectoryError):
        return ""
    return "" if stat.S_ISREG(mode) else next((words for is_so, words in _KINDS if is_so(mode)), "no file")


def require_ordinary(path: Path, what: str, remedy: str = "check the name and the folder") -> None:
    """Refuse to read what is no ordinary file, without opening it.

    Parameters
    ----------
    path
        As it was named.
    what
        What it should be, such as ``the day file``.
    remedy
        What to do where nothing is there.

    Raises
    ------
    FileMissing, DataError
        Nothing is there, or no ordinary file.
    """
    try:
        kind = special_kind(path)
        there = bool(kind) or path.exists()
    except (OSError, ValueError) as error:
        raise DataError(f"{shown(path)} cannot be looked at ({_why(error)}); check the name.") from error
    if not there:
        raise FileMissing(f"{shown(path)} is not there; {remedy}.")
    if kind:
        raise DataError(f"{shown(path)} is {kind}, not a file; give {what}.")


def _why(error: OSError | ValueError) -> str:
    if isinstance(error, OSError) and error.errno == errno.ELOOP:
        return "its links lead round in a ring"
    return str(getattr(error, "strerror", None) or error)


@contextlib.contextmanager
def _followed(path: Path) -> Iterator[None]:
    """Say why the place of an output cannot be looked at or its link followed."""
    try:
        yield
    except FileNotFoundError as error:
        raise OutputFailed(
            f"{shown(path)} is a link to {shown(path.readlink())}, which is not there; make that, or take the link "
            "away."
        ) from error
    except (OSError, RuntimeError, ValueError) as error:
        why = _why(error) if isinstance(error, (OSError, ValueError)) else "its links lead round in a ring"
        raise OutputFailed(f"{shown(path)} cannot be written: {why}. Choose another name.") from error


def output_file(path: Path) -> Path:
    """Find the file that an output is written to: through links, and an ordinary file or none yet.

    Raises
    ------
    OutputFailed
        A link that leads nowhere or in a ring, a name no file can have, a pipe, a device, a socket or a folder.
    """
    with _followed(path):
        linked = path.is_symlink()
        real = path.resolve(strict=True) if linked else path
        kind = special_kind(real)
    length = len(os.fsencode(real.name))
    if length > MOST_NAME_BYTES:
        raise OutputFailed(
            f"{shown(path)[:80]}... has a name of {length} bytes; at most {MOST_NAME_BYTES} can be written. Choose a "
            "shorter one."
        )
    if kind:
        raise OutputFailed(f"{shown(path)} is {kind}, and only a file is written; choose another name.")
    return real


def output_folder(folder: Path) -> Path:
    """Find the folder that outputs are written to: through links, there or not yet.

    Raises
    ------
    OutputFailed
        A link that leads nowhere or in a ring, or a name no folder can have.
    """
    with _followed(folder):
        if folder.is_symlink():
            return folder.resolve(strict=True)
        folder.exists()
    return folder


def require_utf8(path: Path) -> None:
    """Refuse a place for layers whose full name is not UTF-8: the libraries that write them take no other.

    Raises
    ------
    OutputFailed
        A file or folder of the name has bytes that are no UTF-8.
    """
    try:
        str(path.absolute()).encode()
    except UnicodeEncodeError:
        raise OutputFailed(
            f"{shown(path.absolute())} has a name that is not UTF-8, in which no layer can be written; write into "
            "another folder, or rename this one."
        ) from None
