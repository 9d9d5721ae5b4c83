"""Whether a path is an ordinary file. A pipe, a device or a socket would be waited for without end, or have effects."""

from __future__ import annotations

import stat
from pathlib import Path

from .errors import DataError, FileMissing

_OTHERS = (
    (stat.S_ISFIFO, "a named pipe"),
    (stat.S_ISCHR, "a device"),
    (stat.S_ISBLK, "a device"),
    (stat.S_ISSOCK, "a socket"),
)


def what_else(path: Path) -> str:
    """Say what a path is that is there and neither a file nor a folder; empty for those and where nothing is."""
    try:
        mode = path.stat().st_mode
    except (OSError, ValueError):
        return ""
    return next((words for test, words in _OTHERS if test(mode)), "")


def is_there(path: Path) -> bool:
    """Whether a path exists; a name that no file can have is not there."""
    try:
        return path.exists()
    except (OSError, ValueError):
        return False


def require_file(path: Path) -> None:
    """Refuse whatever is no ordinary file, without opening it.

    Raises
    ------
    FileMissing
        Nothing is there under that name.
    DataError
        It is a folder, or a pipe, a device or a socket.
    """
    if not is_there(path):
        shown = str(path) if len(str(path)) < 300 else f"{str(path)[:300]}..."
        raise FileMissing(f"{shown} is not there; check the name and the folder.")
    if path.is_dir():
        raise DataError(f"{path} is a folder; give a file.")
    if other := what_else(path):
        raise DataError(
            f"{path} is {other}; only ordinary files are read. Save what it gives to a file first."
        )
