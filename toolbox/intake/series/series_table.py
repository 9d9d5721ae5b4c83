"""Tables of values over time: comments, a header, rows of text with their lines. What is no table is refused."""

from __future__ import annotations

import csv
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from ...errors import DataError
from ...sources.file_text import decode

MOST_ROWS: Final = 500_000
_MOST_COLUMNS: Final = 400
_DELIMITERS: Final = (",", "\t", ";", "|")


@dataclass(frozen=True)
class SeriesTable:
    """A table of values over time as it stands in its file."""

    name: str  # what the file is called
    columns: tuple[str, ...]  # column names, in order
    rows: tuple[Mapping[str, str], ...]  # one mapping a row, column -> text
    lines: tuple[int, ...]  # line (or place in a list) of each row, from 1
    comments: tuple[str, ...] = ()  # comment lines, without their mark
    said: tuple[str, ...] = ()  # what was noticed on reading

    def texts(self, column: str) -> list[str]:
        """Give one column, as text without blanks around it."""
        return [row.get(column, "").strip() for row in self.rows]


def _is_format_line(cells: list[str]) -> bool:
    """Tell the line of column widths below the header of a water service's table: ``5s 15s 20d 14n``."""
    filled = [cell.strip() for cell in cells if cell.strip()]
    return bool(filled) and all(cell[-1] in "sdn" and cell[:-1].isdigit() for cell in filled)


def parse_delimited(data: bytes, name: str) -> SeriesTable:
    """Read a delimited table: comma, tab, semicolon or bar; lines that begin with # are comments.

    Raises
    ------
    DataError
        No text, no header, a row with more cells than the header, or too much of it.
    """
    text, said = decode(data, name)
    comments: list[str] = []
    kept: list[tuple[int, str]] = []
    for number, line in enumerate(text.splitlines(), start=1):
        if line.lstrip().startswith("#"):
            comments.append(line.lstrip().lstrip("#").strip())
        elif line.strip():
            kept.append((number, line))
    if not kept:
        raise DataError(f"{name} has no rows; the first line that is no comment must name the columns.")
    if len(kept) > MOST_ROWS:
        raise DataError(f"{name} has more than {MOST_ROWS:,} rows; cut it down to the days that matter.")
    delimiter = max(_DELIMITERS, key=kept[0][1].count)
    try:
        cells = list(csv.reader((line for _, line in kept), delimiter=delimiter, strict=True))
    except csv.Error as fault:
        raise DataError(f"{name} cannot be read as a table ({fault}); check its quotes.") from fault
    if len(cells) != len(kept):
        raise DataError(f"{name} has a quote that runs over several lines; a table over time needs none.")
    columns = tuple(" ".join(cell.split()) for cell in cells[0])
    if len(columns) < 2 or len(columns) > _MOST_COLUMNS:
        raise DataError(
            f"{name} has {len(columns)} columns in its first row '{kept[0][1][:60]}'; give a time and a value at "
            "least, with a comma or tab between them."
        )
    doubled = sorted({c for c in columns if c and columns.count(c) > 1})
    if doubled:
        raise DataError(f"{name} has several columns called {', '.join(doubled)}; rename all but one.")
    start = 2 if len(cells) > 1 and _is_format_line(cells[1]) else 1
    rows, lines = [], []
    for (number, _), row in zip(kept[start:], cells[start:], strict=True):
        if any(cell.strip() for cell in row[len(columns) :]):
            raise DataError(
                f"{name} line {number} has {len(row)} cells where the header has {len(columns)}; check the "
                "delimiter, and commas in numbers."
            )
        rows.append(dict(zip(columns, row, strict=False)))
        lines.append(number)
    if not rows:
        raise DataError(f"{name} has a header and no rows.")
    return SeriesTable(name, columns, tuple(rows), tuple(lines), tuple(comments), tuple(said))
