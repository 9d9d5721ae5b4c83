"""Rows of cells, from text or a workbook, made into a source: titles left out, header found, cells under its names."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from ..errors import DataError
from ..text import how_many
from .columns import known_headers
from .source_table import SourceTable

if TYPE_CHECKING:
    from collections.abc import Sequence

_KEPT_AS_TEXT: Final = re.compile(r"'+\s*[=+\-@＝＋－＠]")
TITLE_LINES: Final = 20
MOST_COLUMNS: Final = 400
MOST_CELLS: Final = 5_000_000


@dataclass(frozen=True, slots=True)
class GridRow:
    """One row: its cells, the line it starts at (from 1), why it could not be read, and its text where it has one."""

    cells: list[str]
    line: int
    problem: str = ""
    text: str | None = None


def plain_cell(text: str) -> str:
    """Take off the apostrophe that keeps a text from being a formula in a spreadsheet; trim."""
    tidy = text.strip()
    return tidy[1:].strip() if _KEPT_AS_TEXT.match(tidy) else tidy


def find_header(rows: Sequence[GridRow]) -> int:
    """Choose the first of the top rows that names most known columns; the top row when none names any."""
    counts = [known_headers(row.cells) for row in rows[:TITLE_LINES]]
    return counts.index(max(counts)) if counts else 0


def _names(cells: list[str]) -> list[str]:
    names: list[str] = []
    for place, cell in enumerate(cells, start=1):
        name = " ".join(cell.split()) or f"column {place}"
        number = 2
        while name in names:
            name = f"{' '.join(cell.split()) or f'column {place}'} ({number})"
            number += 1
        names.append(name)
    return names


def make_table(
    rows: Sequence[GridRow],
    name: str,
    *,
    kind: str,
    counted: str,
    said: Sequence[str] = (),
    between: str = ",",
) -> SourceTable:
    """Make a source of rows that are not blank.

    Parameters
    ----------
    rows
        In order; title lines above the header may be among them.
    name
        What the source is called.
    kind, counted, said
        See `SourceTable`.
    between
        What stands between cells, named where a row has too many of them.

    Raises
    ------
    DataError
        No rows, or too many columns.
    """
    if not rows:
        raise DataError(f"{name} has no rows; a list of spots has at least a line of column names.")
    noticed = list(said)
    top = find_header(rows)
    if top:
        noticed.append(f"{how_many(top, 'title line')} above the header left out")
    names = _names(rows[top].cells)
    if len(names) > MOST_COLUMNS:
        raise DataError(f"{name} has {len(names):,} columns, more than {MOST_COLUMNS}: check its delimiter.")
    below = rows[top + 1 :]
    problems: list[str] = []
    cells_by_row: list[dict[str, str]] = []
    for row in below:
        surplus = any(cell.strip() for cell in row.cells[len(names) :])
        many = f"{len(row.cells)} cells where the header has {len(names)}: a '{between}' too many or a quote missing"
        problems.append(row.problem or (many if surplus else ""))
        cells_by_row.append({key: plain_cell(cell) for key, cell in zip(names, row.cells, strict=False)})
    return SourceTable.make(
        name,
        kind,
        cells_by_row,
        line=[row.line for row in below],
        counted=counted,
        text=[
            "; ".join(f"{k}={v}" for k, v in cells.items() if v) if row.text is None else row.text
            for row, cells in zip(below, cells_by_row, strict=True)
        ],
        problem=problems,
        columns=names,
        said=noticed,
    )
