"""Bytes of a text file, bounded and decoded. What is no text, or too much of it, is refused."""

from __future__ import annotations

import codecs
import re
from typing import TYPE_CHECKING, Final

from ..errors import DataError
from ..real_files import require_ordinary

if TYPE_CHECKING:
    from pathlib import Path

LARGEST_BYTES: Final = 32 * 1024 * 1024
MOST_ROWS: Final = 200_000
MOST_LINES: Final = 1_000_000

_MARKS: Final = (
    (codecs.BOM_UTF8, "utf-8"),
    (codecs.BOM_UTF32_LE, "utf-32-le"),  # before UTF-16, whose mark it begins with
    (codecs.BOM_UTF32_BE, "utf-32-be"),
    (codecs.BOM_UTF16_LE, "utf-16-le"),
    (codecs.BOM_UTF16_BE, "utf-16-be"),
)
_CONTROL: Final = re.compile("[\x01-\x08\x0b\x0c\x0e-\x1f\x7f]")


def read_bytes(
    path: Path, what: str = "a list of spots", has: str = "at least a line of column names"
) -> bytes:
    """Read a whole file of bounded size.

    Parameters
    ----------
    path
        The file.
    what, has
        What it should be and what every such file has, for messages.

    Raises
    ------
    FileMissing
        There is no such file.
    DataError
        It is no ordinary file, cannot be opened, is empty or too large.
    """
    require_ordinary(path, what)
    try:
        with path.open("rb") as stream:
            data = stream.read(LARGEST_BYTES + 1)
    except OSError as fault:
        raise DataError(f"{path} cannot be opened: {fault.strerror or fault}.") from fault
    if len(data) > LARGEST_BYTES:
        raise DataError(
            f"{path} is larger than {LARGEST_BYTES // 1024**2} MB, too large for {what}; split it or take out what is "
            "not needed."
        )
    if not data.strip():
        raise DataError(f"{path} is empty; {what} has {has}.")
    return data


def _unmarked(data: bytes) -> str | None:
    """Tell UTF-16 without a mark by the NUL in every other byte of plain letters."""
    head = data[:4096]
    even, odd = head[0::2].count(0), head[1::2].count(0)
    most = len(head) // 2
    if most >= 4 and odd > 0.6 * most and even == 0:
        return "utf-16-le"
    return "utf-16-be" if most >= 4 and even > 0.6 * most and odd == 0 else None


def decode(data: bytes, name: str) -> tuple[str, list[str]]:
    """Decode a text file.

    Parameters
    ----------
    data
        The bytes. A byte order mark is believed; else UTF-16 is told by its NULs, UTF-8 is tried, then Windows-1252.
    name
        What the file is called in messages.

    Returns
    -------
    The text, and what was noticed.

    Raises
    ------
    DataError
        The bytes hold NUL characters or too many lines.
    """
    said: list[str] = []
    for mark, coding in _MARKS:
        if data.startswith(mark):
            try:
                text = data[len(mark) :].decode(coding)
            except UnicodeDecodeError as fault:
                raise DataError(f"{name} says it is {coding} but is not; save it as UTF-8.") from fault
            break
    else:
        coding = _unmarked(data) or "utf-8"
        try:
            text = data.decode(coding)
        except UnicodeDecodeError as fault:
            line = data.count(b"\n", 0, fault.start) + 1
            text = data.decode("cp1252", errors="replace")
            said.append(f"not UTF-8 (first at line {line}), read as Windows-1252: look at names with accents")
    if "\x00" in text:
        line = text.count("\n", 0, text.index("\x00")) + 1
        raise DataError(
            f"{name} holds NUL characters (first at line {line}): it is no text; save it as UTF-8 text."
        )
    if (lines := text.count("\n") + text.count("\r")) > 2 * MOST_LINES:
        raise DataError(
            f"{name} has some {lines:,} lines, more than {MOST_LINES:,}: too many for a list of spots."
        )
    text, controls = _CONTROL.subn(" ", text)
    if controls:
        said.append(f"{controls} control characters replaced by spaces")
    if "\ufffd" in text:
        said.append("some characters could not be read and stand as \ufffd")
    return text, said
