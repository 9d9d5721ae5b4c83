"""Tables in text: bytes bounded and decoded, cells apart by comma, semicolon, tab or bar, own rows known."""

from __future__ import annotations

import codecs
import csv
import re
from typing import TYPE_CHECKING, Final

from ..errors import DataError
from ..real_files import require_ordinary
from .columns import known_headers
from .source_table import MOST_CELLS, TITLE_LINES, GridRow, make_table

if TYPE_CHECKING:
    from pathlib import Path

    from .source_table import SourceTable

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


_DELIMITERS: Final = (",", ";", "\t", "|")
_SAMPLE: Final = 60
LONGEST_LINE: Final = 1024 * 1024
_MOST_LINES_A_ROW: Final = 60


def _row_at(lines: list[str], at: int, delimiter: str) -> tuple[list[str], int, str]:
    """Read the row that starts at a line: cells, lines used, problem.

    A quote that opens and does not close would swallow the rest of the file; such a line is a row of its own, unread.
    """
    problem = "a quote opens in this line and is not closed"
    for strict in (True, False):
        reader = csv.reader(lines[at : at + _MOST_LINES_A_ROW], delimiter=delimiter, strict=strict)
        try:
            cells = next(reader)
        except StopIteration:
            return [], 1, ""
        except csv.Error as fault:
            if "field limit" in str(fault):
                problem = "a cell is too long"
            continue
        if reader.line_num > 1 and not strict:
            break
        return cells, reader.line_num, ""
    return [], 1, problem


def _choose_delimiter(lines: list[str]) -> str:
    """Take the delimiter that gives most lines the same number of cells, two at least; a comma when none does."""
    sample = [line for line in lines[:_SAMPLE] if line.strip()]
    scores: list[tuple[float, int, str]] = []
    for delimiter in _DELIMITERS:
        widths = [len(_row_at(sample, i, delimiter)[0]) for i in range(len(sample))]
        wide = [w for w in widths if w > 1]
        if wide:
            usual = max(set(wide), key=lambda w: (wide.count(w), w))
            headers = max(
                known_headers(_row_at(sample, i, delimiter)[0]) for i in range(min(len(sample), TITLE_LINES))
            )
            scores.append((headers + wide.count(usual) / len(sample), usual, delimiter))
    return max(scores)[2] if scores else ","


def read_delimited(data: bytes, name: str) -> SourceTable:
    """Read a delimited text table.

    Parameters
    ----------
    data
        The file's bytes.
    name
        What the source is called.

    Returns
    -------
    Every line that is not blank and stands below the header is a row; one that cannot be cut into the header's
    cells has a ``problem``. Cells are text as they stand: ``=1+1`` is four characters.

    Raises
    ------
    DataError
        No text, no header, or too many rows or columns.
    """
    text, said = decode(data, name)
    lines = re.split(r"(?<=\n)|(?<=\r)(?!\n)", text)
    if (longest := max(map(len, lines))) > LONGEST_LINE:
        raise DataError(
            f"{name} has a line of {longest:,} characters, more than {LONGEST_LINE:,}: it is no table of spots; "
            "check that it has line ends."
        )
    delimiter = _choose_delimiter(lines)
    rows: list[GridRow] = []
    at = count = 0
    while at < len(lines):
        cells, used, problem = _row_at(lines, at, delimiter)
        if problem or any(cell.strip() for cell in cells):
            rows.append(GridRow(cells, at + 1, problem, "".join(lines[at : at + used]).rstrip("\r\n")))
        at += used
        count += len(cells)
        if len(rows) > MOST_ROWS or count > MOST_CELLS:
            limit = f"{MOST_ROWS:,} rows" if len(rows) > MOST_ROWS else f"{MOST_CELLS:,} cells"
            raise DataError(f"{name} has more than {limit}, too many for a list of spots; split it.")
    return make_table(rows, name, kind="csv", counted="line", said=said, between=delimiter)
