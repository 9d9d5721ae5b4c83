"""Tables of values over time: comments, a header, rows of text with their lines. What is no table is refused."""

from __future__ import annotations

import csv
import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from ...errors import DataError
from ...sources.file_text import decode
from ...text import how_many

MOST_ROWS: Final = 500_000
_MOST_COLUMNS: Final = 400
_DELIMITERS: Final = (",", "\t", ";", "|")
_PREAMBLE: Final = 60
_UNIT: Final = re.compile(
    r"mph|km/?h|kph|m/s|mps|kn|kts?|knots?|ft/s|ft|feet|m|met(?:er|re)s?|deg(?:ree)?s?|°|%|°?[CF]|in(?:ches)?|mm|h?Pa|mb|"
    r"cfs|kcfs|ac-?ft|iso ?8601|utc|local|hh:mm|yyyy-mm-dd|mm/dd/yyyy",
    re.IGNORECASE,
)


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


def _is_value(cell: str) -> bool:
    return bool(re.match(r"[+-]?[.\d]", cell.strip()))


def _header_at(kept: list[tuple[int, str]]) -> tuple[int, str]:
    """Find the line of heads and what stands between its cells: the first that names a time among other words.

    Downloads often begin with lines about the station, the period and the terms. Where no line names a time, the first
    is the header, as in tables whose columns their user names.
    """
    from .time_columns import says_when

    for place, (_, line) in enumerate(kept[:_PREAMBLE]):
        delimiter = max(_DELIMITERS, key=line.count)
        try:
            cells = next(csv.reader([line], delimiter=delimiter), [])
        except csv.Error:
            continue
        filled = [cell for cell in cells if cell.strip()]
        if len(filled) > 1 and not any(map(_is_value, filled)) and any(map(says_when, filled)):
            return place, delimiter
    return 0, max(_DELIMITERS, key=kept[0][1].count)


def _units_below(columns: list[str], cells: list[str]) -> list[str] | None:
    """Take a line of units below the heads into them; None where the line is none."""
    words = [cell.strip().strip("()[]") for cell in cells]
    if len(words) > len(columns) or not any(words) or any(map(_is_value, filter(None, words))):
        return None
    known = [word for word in words if _UNIT.fullmatch(word)]
    if not known or len(known) < len([w for w in words if w]) / 2:
        return None
    words += [""] * (len(columns) - len(words))
    return [f"{c} ({w})" if _UNIT.fullmatch(w) else c for c, w in zip(columns, words, strict=True)]


def _is_remark(cells: list[str]) -> bool:
    """Tell a line of words behind the rows: one cell, which begins with no figure."""
    filled = [cell for cell in cells if cell.strip()]
    return len(filled) == 1 and bool(cells[0].strip()) and not _is_value(cells[0])


def parse_delimited(data: bytes, name: str) -> SeriesTable:
    """Read a delimited table: comma, tab, semicolon or bar; lines that begin with # are comments.

    So are lines above the heads, and words below the last row. A line of units below the heads goes into them.

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
    top, delimiter = _header_at(kept)
    comments += [line.strip().strip(delimiter).strip() for _, line in kept[:top]]
    kept = kept[top:]
    if top:
        said = [*said, f"{how_many(top, 'line')} above the heads of {name} are no rows and are passed over"]
    try:
        cells = list(csv.reader((line for _, line in kept), delimiter=delimiter, strict=True))
    except csv.Error as fault:
        raise DataError(f"{name} cannot be read as a table ({fault}); check its quotes.") from fault
    if len(cells) != len(kept):
        raise DataError(f"{name} has a quote that runs over several lines; a table over time needs none.")
    heads = [" ".join(cell.split()) for cell in cells[0]]
    while (
        len(heads) > 2
        and not heads[-1]
        and not any(c.strip() for row in cells for c in row[len(heads) - 1 :])
    ):
        heads.pop()  # a delimiter at the end of every line
    below = _units_below(heads, cells[1]) if len(cells) > 1 else None
    columns = tuple(below or heads)
    if len(columns) < 2 or len(columns) > _MOST_COLUMNS:
        raise DataError(
            f"{name} has {len(columns)} columns in its first row '{kept[0][1][:60]}'; give a time and a value at "
            "least, with a comma or tab between them."
        )
    doubled = sorted({c for c in columns if c and columns.count(c) > 1})
    if doubled:
        raise DataError(f"{name} has several columns called {', '.join(doubled)}; rename all but one.")
    start = 2 if below or (len(cells) > 1 and _is_format_line(cells[1])) else 1
    while len(cells) > start + 1 and _is_remark(cells[-1]):
        comments.append(cells.pop()[0].strip())
        kept.pop()
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
