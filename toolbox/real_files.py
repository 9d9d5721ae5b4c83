"""What a file name leads to, only ever an ordinary file; and how large what comes out of it may be.

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

from .errors import DataError, FileMissing, OutputFailed, UsageError

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


ONE_PIECE_CELLS: Final = 12_000_000
"""Up to here minimum curvature works on the whole grid at once, above in blocks."""

MOST_CELLS: Final = 60_000_000
"""In one piece, where blocks do not serve."""

MOST_BLOCK_CELLS: Final = 400_000_000
"""In blocks: the coarse grid is then eight times as wide and still of the size of a block."""

MOST_CORNERS: Final = 2_000_000
"""Of one geometry: overlaying one of a million corners takes 2 GB and 23 s of processor time (measured)."""

MOST_LAYER_CORNERS: Final = 20_000_000
"""Of a layer: 320 MB of coordinates, and as much again for each copy."""

BYTES_A_CELL: Final = 75
"""Measured: 62 bytes a cell at their most, all arrays of a surface and its errors together, and a fifth to spare."""

BLOCK_BYTES_A_CELL: Final = 24
"""Depths and errors, and as much again and half while a coverage takes its copy and is written."""

BLOCK_BYTES: Final = 700_000_000
"""One block or the coarse grid at its most, the data it takes for itself, and what stays of the coarse grid."""

_OWN_BYTES: Final = 350_000_000  # the program and its libraries


def free_bytes() -> float:
    """Memory that can be had without swapping; infinite where the system does not say."""
    try:
        for line in Path("/proc/meminfo").read_text(encoding="ascii").splitlines():
            if line.startswith("MemAvailable:"):
                return 1024.0 * float(line.split()[1])
    except (OSError, ValueError, IndexError):
        pass
    try:
        return float(os.sysconf("SC_PHYS_PAGES")) * float(os.sysconf("SC_PAGE_SIZE"))
    except (AttributeError, OSError, ValueError):
        return float("inf")


def check_room(
    bounds: tuple[float, float, float, float], cell_m: float, *, in_blocks: bool = False, otherwise: str = ""
) -> None:
    """Refuse a grid that is too large for the work or for this machine's memory, and say which cells would do.

    Parameters
    ----------
    bounds
        West, south, east and north.
    cell_m
        Size of a cell.
    in_blocks
        Whether more than `ONE_PIECE_CELLS` are made in blocks.
    otherwise
        What else would help, said last.

    Raises
    ------
    UsageError
        More than `MOST_CELLS` cells, in blocks `MOST_BLOCK_CELLS`, or more than the free memory holds.
    """
    west, south, east, north = bounds
    area = (east - west) * (north - south)
    cells = area / cell_m**2
    free = free_bytes()
    fixed, each, limit = _OWN_BYTES, BYTES_A_CELL, MOST_CELLS
    most = (free - fixed) / each
    if in_blocks:
        most = min(most, float(ONE_PIECE_CELLS))
        limit = MOST_BLOCK_CELLS
        by_block = (free - _OWN_BYTES - BLOCK_BYTES) / BLOCK_BYTES_A_CELL
        most = by_block if by_block > ONE_PIECE_CELLS else most
        if cells > ONE_PIECE_CELLS:
            fixed, each = _OWN_BYTES + BLOCK_BYTES, BLOCK_BYTES_A_CELL
    most = min(float(limit), max(most, 1.0))
    if cells <= most:
        return
    least = (area / most) ** 0.5
    if most == limit:
        why = f"at most {limit // 1_000_000} million are made"
    else:
        why = f"they need about {(cells * each + fixed) / 1e9:.1f} GB of memory and {free / 1e9:.1f} GB are free"
    raise UsageError(
        f"Cells of {cell_m:g} m would be {cells / 1e6:.3g} million; {why}. Give cells of {least + 0.05:.1f} m or more, "
        f"or a smaller lake{otherwise}."
    )
