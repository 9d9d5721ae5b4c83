"""Tables in text: comma, semicolon, tab or bar between cells, with or without title lines above the header."""

from __future__ import annotations

import csv
import re
from typing import TYPE_CHECKING, Final

from ..errors import DataError
from .columns import known_headers
from .file_text import MOST_ROWS, decode
from .rows_of_cells import MOST_CELLS, TITLE_LINES, GridRow, make_table

if TYPE_CHECKING:
    from .source_table import SourceTable

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
