"""Tables of values over time: comments, a header, rows of text with their lines, and the columns that say when."""

from __future__ import annotations

import csv
import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, NamedTuple

from ...errors import DataError, UsageError
from ...sources.delimited import decode
from ...text import how_many
from .series_times import ABBREVIATIONS, is_zone, joined, read_times

if TYPE_CHECKING:
    import datetime as dt

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


TOLD: Final = ("time", "date", "zone", "dates")
"""Roles of the option ``columns`` that say when: two columns, one of zones, and month-first or day-first."""

_MOMENTS: Final = frozenset((
    "datetime", "date time", "date and time", "timestamp", "time stamp", "valid time", "valid", "start time", "start",
    "starttime", "validtime", "datetime local", "phenomenon time", "phenomenontime", "result time", "resulttime",
    "observed at", "observation time", "valid from", "time from", "forecast time", "sample time",
))  # fmt: skip
_CLOCKS: Final = frozenset((
    "time", "hour", "clock", "clock time", "time of day", "reading time", "hours", "hr", "obs time",
))  # fmt: skip
_DATES: Final = frozenset((
    "date", "day", "reading date", "obs date", "observation date", "forecast date", "valid date",
))  # fmt: skip
_ZONES: Final = frozenset(("tz", "time zone", "timezone", "tz cd", "zone of time"))
_LOCAL: Final = frozenset(
    ("local", "lst", "ldt", "hh", "mm", "yyyy", "dd", "hhmm", "in", "beginning", "ending", "iso")
)
_ZONE: Final = r"\(?([A-Za-z_]+/[\w/+-]+|[A-Z]{1,4}\b|[+-]\d{2}:?\d{2})"
_STATED: Final = (
    re.compile(r"[Tt]ime ?[Zz]one\s*(?:of \w+\s*)?(?:is|are|=|:|,)?\s*" + _ZONE),
    re.compile(r"\b[Tt]imes?\b[^.;]{0,30}?\b(?:in|are|is|as)\b\s+(?:[Ll]ocal\s+)?" + _ZONE),
)


class WhenColumns(NamedTuple):
    """The columns that say when, and the zone named in their heads; empty where there is none."""

    time: str
    date: str = ""
    zone: str = ""
    mark: str = ""


def _words(header: str) -> tuple[str, str]:
    """Reduce a header to its words, and the zone it names."""
    spaced = re.sub(r"(?<=[a-z])(?=[A-Z])", " ", header)
    words = re.findall(r"[A-Za-z]+", spaced)
    marks = [w.upper() for w in words if w.upper() in ABBREVIATIONS and len(w) > 1]
    kept = [w.lower() for w in words if w.upper() not in marks and w.lower() not in _LOCAL]
    return " ".join(kept or [w.lower() for w in words]), marks[-1] if marks else ""


def says_when(header: str) -> bool:
    """Tell whether a header is one of a time or date."""
    return _words(header)[0] in _MOMENTS | _CLOCKS | _DATES


def _named(table: SeriesTable, role: str, told: Mapping[str, str]) -> str:
    same = [c for c in table.columns if c.casefold() == told[role].casefold()]
    if not same:
        raise UsageError(
            f"columns: {table.name} has no column '{told[role]}' for {role}; it has {', '.join(table.columns)}."
        )
    return same[0]


def _holds_moments(table: SeriesTable, column: str) -> bool:
    """Tell whether the cells of a column called time hold their date as well."""
    cells = [text for text in table.texts(column) if text][:20]
    return bool(cells) and all(
        len(re.findall(r"\d+", c)) >= 3 and len(re.sub(r"\D", "", c)) >= 7 for c in cells
    )


def when_columns(table: SeriesTable, told: Mapping[str, str]) -> WhenColumns:
    """Find the columns that say when.

    Parameters
    ----------
    table
        The table as read.
    told
        Columns that the user named: ``time``, ``date``, ``zone``.

    Raises
    ------
    UsageError
        A named column is not there, several fit, or none does; the message lists the columns there are.
    """
    heads = {c: _words(c) for c in table.columns}
    taken = {v.casefold() for k, v in told.items() if k not in TOLD}
    free = {c: h for c, (h, _) in heads.items() if c.casefold() not in taken}
    zone = (
        _named(table, "zone", told)
        if "zone" in told
        else next((c for c, h in free.items() if h in _ZONES), "")
    )
    date = _named(table, "date", told) if "date" in told else ""
    if "time" in told:
        time = _named(table, "time", told)
        return WhenColumns(time, date, zone, heads[time][1])
    moments = [c for c, h in free.items() if h in _MOMENTS]
    clocks = [c for c, h in free.items() if h in _CLOCKS]
    dates = [date] if date else [c for c, h in free.items() if h in _DATES]
    if len(moments) == 1 and not clocks and not date:
        return WhenColumns(moments[0], "", zone, heads[moments[0]][1])
    if not moments and len(clocks) == 1 and len(dates) == 1 and not _holds_moments(table, clocks[0]):
        return WhenColumns(clocks[0], dates[0], zone, heads[clocks[0]][1] or heads[dates[0]][1])
    fits = [c for c in table.columns if c in {*moments, *clocks, *dates}]
    if len(clocks) == 1 and not moments and _holds_moments(table, clocks[0]):
        fits = clocks
    if len(fits) > 1:
        raise UsageError(
            f"{table.name} has several columns that may be time: {', '.join(fits)}. Choose with columns, such as "
            f"time={fits[0]}, or date= and time= where they stand apart."
        )
    if not fits:
        raise UsageError(
            f"{table.name} has no column that is known as time; it has {', '.join(table.columns)}. Name it with "
            "columns, such as time=Header."
        )
    return WhenColumns(fits[0], "", zone, heads[fits[0]][1])


def stated_zone(table: SeriesTable) -> str:
    """Give the zone that the lines above the table name for all its times; empty for none."""
    for line in table.comments:
        for form in _STATED:
            found = form.search(line)
            if found and (found[1].upper() in ABBREVIATIONS or is_zone(found[1])):
                return found[1]
    return ""


def read_when(
    table: SeriesTable,
    told: Mapping[str, str],
    *,
    zone: str = "",
    marks: list[str] | None = None,
    noon_for_dates: bool = False,
) -> tuple[list[dt.datetime], bool, str]:
    """Read when each row is of.

    Returns
    -------
    Times with zone, whether some were dates alone, and a word on the zone where the table names one.

    Raises
    ------
    DataError, UsageError
        As `read_times` and `when_columns`.

    Notes
    -----
    What a table says of its own times goes before the zone that is named for tables that say nothing.
    """
    columns = when_columns(table, told)
    texts = table.texts(columns.time)
    if columns.date:
        texts = joined(table.texts(columns.date), texts, table.lines, table.name)
    said = ""
    if marks is None and columns.zone:
        marks = table.texts(columns.zone)
    if marks is None:
        own = columns.mark or stated_zone(table)
        if own.upper() in ABBREVIATIONS or own[:1] in ("+", "-"):
            marks = [own] * len(texts)
        elif own:
            zone = own
        said = f"times of {table.name} are taken in {own}, as it says itself" if own else ""
    order = told.get("dates", "")
    times, dates = read_times(
        texts, table.lines, table.name, zone=zone, marks=marks, noon_for_dates=noon_for_dates, order=order
    )
    return times, dates, said
