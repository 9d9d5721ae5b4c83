"""Which columns of a table say when: one moment, or date and clock apart; and which zone the table names itself."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Final, NamedTuple

from ...errors import UsageError
from .series_dates import joined
from .series_times import ABBREVIATIONS, is_zone, read_times

if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Mapping

    from .series_table import SeriesTable

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
