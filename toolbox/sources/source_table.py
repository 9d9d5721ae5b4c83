"""A spot list as it was found: text in columns, with the line of each row; and rows of cells made into one."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, Final

from ..errors import DataError
from ..text import how_many
from .columns import known_headers
from .own_rows import why_no_own_spot

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    import pandas as pd
    from geopandas import GeoDataFrame

    from ..arrays import Geometries, Ints
    from .columns import Rules


def cell_text(value: Any) -> str:
    """Write a cell of a typed table as text: empty for a gap, whole floats without their ``.0``, times in ISO.

    Examples
    --------
    >>> cell_text(17.0), cell_text(None), cell_text(0.1)
    ('17', '', '0.1')
    """
    import pandas as pd

    if isinstance(value, (bytes, bytearray)):
        return value.hex()
    if value is None or (pd.api.types.is_scalar(value) and pd.isna(value)):
        return ""
    if isinstance(value, float) and value.is_integer() and abs(value) < 1e15:
        return str(int(value))
    if hasattr(value, "isoformat"):
        return str(value.isoformat())
    return str(value)


@dataclass(frozen=True, eq=False)
class SourceTable:
    """Rows of one source."""

    name: str  # what the source is called in the book: file name, with the layer where there is one
    kind: str  # ``csv``, ``sheet``, ``gpx``, ``kml``, ``geojson``, ``shapefile``, ``layer`` or ``rules``
    rows: pd.DataFrame  # the cells, all text; an empty text is a gap
    line: Ints  # where each row stands in its source, in units of ``counted``
    counted: str  # what ``line`` counts: ``line`` of a text file, ``row`` of a sheet, ``feature`` of a layer
    text: tuple[str, ...]  # each row as it was written, for people to find it again
    problem: tuple[str, ...]  # why a row could not be read; empty where it could
    # a geometry for each row (x = longitude where ``crs`` is in degrees), None where a row has none; None
    # for a source without geometry
    geometry: Geometries | None = None
    crs: Any = None  # reference system of the geometry, as `pyproj.CRS.from_user_input` takes it
    said: tuple[str, ...] = ()  # what the reader noticed about the file as a whole
    # how to read the other sources, in a table without rows that came from a .toml file
    rules: Rules | None = None

    def __len__(self) -> int:
        return len(self.rows)

    @classmethod
    def make(
        cls,
        name: str,
        kind: str,
        rows: Sequence[dict[str, str]],
        *,
        line: Iterable[int],
        counted: str,
        text: Iterable[str],
        problem: Iterable[str],
        columns: Iterable[str] = (),
        geometry: Sequence[Any] | None = None,
        crs: Any = None,
        said: Iterable[str] = (),
    ) -> SourceTable:
        """Build a table from rows that need not all have the same cells."""
        import numpy as np
        import pandas as pd

        problem = [why or why_no_own_spot(row) for why, row in zip(problem, rows, strict=True)]
        names = list(dict.fromkeys((*columns, *(key for row in rows for key in row))))
        frame = pd.DataFrame(
            {key: pd.Series([row.get(key, "") for row in rows], dtype=object) for key in names}
        )
        shapes = None
        if geometry is not None:
            shapes = np.empty(len(rows), dtype=object)
            shapes[:] = list(geometry)
        return cls(
            name,
            kind,
            frame if names else pd.DataFrame(index=range(len(rows))),
            np.asarray(list(line), dtype=np.int64),
            counted,
            tuple(text),
            tuple(problem),
            shapes,
            crs,
            tuple(said),
        )

    @classmethod
    def of_rules(cls, rules: Rules, name: str) -> SourceTable:
        """Take what a .toml file says about other sources along with them: no rows, only rules."""
        made = cls.make(name, "rules", [], line=[], counted="line", text=[], problem=[])
        return replace(made, rules=rules)

    @classmethod
    def from_frame(cls, frame: GeoDataFrame, name: str) -> SourceTable:
        """Take a layer that is already in memory as a source; its rows count from 1.

        Parameters
        ----------
        frame
            Any layer; the geometry may be of any type, and missing in some rows.
        name
            What the source is called in the book.
        """
        columns = [str(c) for c in frame.columns if c != frame.geometry.name]
        cells = [[cell_text(v) for v in frame[c].tolist()] for c in columns]
        rows = [dict(zip(columns, values, strict=True)) for values in zip(*cells, strict=True)]
        rows = rows if columns else [{} for _ in range(len(frame))]
        return cls.make(
            name,
            "layer",
            rows,
            line=range(1, len(frame) + 1),
            counted="feature",
            text=["; ".join(f"{k}={v}" for k, v in row.items() if v) for row in rows],
            problem=[""] * len(frame),
            columns=columns,
            geometry=frame.geometry.to_numpy(),
            crs=frame.crs,
        )


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
