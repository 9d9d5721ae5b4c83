"""Times of a table, each with its zone: what has none is refused or placed in the zone that is named for all."""

from __future__ import annotations

import datetime as dt
import re
from typing import TYPE_CHECKING, Final

from ...clock_times import in_zone, zone_named
from ...errors import DataError, UsageError
from .series_dates import iso_texts

if TYPE_CHECKING:
    import zoneinfo
    from collections.abc import Sequence

# Hours from UTC of the abbreviations that water services of North America write beside their times.
ABBREVIATIONS: Final[dict[str, float]] = {
    "UTC": 0, "GMT": 0, "Z": 0, "NST": -3.5, "NDT": -2.5, "AST": -4, "ADT": -3, "EST": -5, "EDT": -4, "CST": -6,
    "CDT": -5, "MST": -7, "MDT": -6, "PST": -8, "PDT": -7, "AKST": -9, "AKDT": -8, "HST": -10, "SST": -11,
}  # fmt: skip
_EARLIEST, _LATEST = 1900, 2200
_OFFSET: Final = re.compile(r"[+-]\d{2}:?\d{2}")
_DATE: Final = re.compile(r"\d{4}-\d{2}-\d{2}")
_REMEDY: Final = (
    "write times as 2026-05-16T06:00-05:00, or name the zone of all with zone, such as America/Chicago"
)


def zone_of(name: str) -> zoneinfo.ZoneInfo | None:
    """Find a zone of the IANA database; None for an empty name.

    Raises
    ------
    UsageError
        There is no such zone.
    """
    if not name:
        return None
    return zone_named(name)


def is_zone(name: str) -> bool:
    """Tell whether a name is one of the IANA database, or an offset such as -05:00."""
    if _OFFSET.fullmatch(name):
        return True
    try:
        zone_named(name)
    except UsageError:
        return False
    return True


def _parse(text: str) -> dt.datetime | None:
    words, mark = text, None
    head, _, tail = text.rpartition(" ")
    if head and tail.upper() in ABBREVIATIONS:
        words, mark = head, tail.upper()
    try:
        moment = dt.datetime.fromisoformat(words)
    except ValueError:
        return None
    if not _EARLIEST <= moment.year <= _LATEST:
        return None
    if mark is not None and moment.tzinfo is None:
        moment = moment.replace(tzinfo=dt.timezone(dt.timedelta(hours=ABBREVIATIONS[mark])))
    return moment


def read_time(text: str, zone: str = "", *, name: str = "time") -> dt.datetime:
    """Read one time with its zone.

    Parameters
    ----------
    text
        ISO text, such as ``2026-05-16T06:00-05:00``.
    zone
        IANA zone of a time that names none.
    name
        What the time is called in messages.

    Raises
    ------
    UsageError
        It cannot be read or has no zone.
    """
    moment = _parse(text.strip())
    if moment is None:
        raise UsageError(f"{name} is '{text}'; write it as 2026-05-16T06:00-05:00.")
    if moment.tzinfo is not None:
        return moment
    place = zone_of(zone)
    if place is None:
        raise UsageError(f"{name} is '{text}' and names no zone; {_REMEDY}.")
    return in_zone(moment, place, name)


def read_times(
    texts: Sequence[str],
    lines: Sequence[int],
    source: str,
    *,
    zone: str = "",
    marks: Sequence[str] | None = None,
    noon_for_dates: bool = False,
    order: str = "",
) -> tuple[list[dt.datetime], bool]:
    """Read a column of times.

    Parameters
    ----------
    texts, lines
        The cells and their lines.
    source
        Name of the file, for messages.
    zone
        IANA zone of times that name none.
    marks
        Zone beside each time, an abbreviation or offset (``CDT``, ``-05:00``), where the table has such a column.
    noon_for_dates
        Whether a date alone stands for the noon of that day.
    order
        Which stands first in dates such as 5/6/2026, ``month-first`` or ``day-first``; empty: as the dates tell.

    Returns
    -------
    Times with zone, and whether some were dates alone.

    Raises
    ------
    DataError
        A time cannot be read, names no zone, or is skipped by the clocks; the message names the line.
    UsageError
        The zone is not known.
    """
    place = zone_of(zone)
    times: list[dt.datetime] = []
    dates = False
    plain = iso_texts(texts, source, order)
    for row, (text, line) in enumerate(zip(plain, lines, strict=True)):
        where = f"{source} line {line}"
        given = text
        if _DATE.fullmatch(text) and noon_for_dates:
            dates, given = True, f"{text}T12:00"
        elif _DATE.fullmatch(text):
            raise DataError(f"{where}: time is '{text}', a date alone; {_REMEDY}.")
        if marks is not None and _OFFSET.fullmatch(marks[row]):
            moment = _parse(given)
            given = f"{given}{marks[row]}" if moment is not None and moment.tzinfo is None else given
        elif marks is not None and marks[row]:
            if marks[row].upper() not in ABBREVIATIONS:
                raise DataError(
                    f"{where}: the zone '{marks[row][:20]}' is not known; known are {', '.join(ABBREVIATIONS)}."
                )
            given = f"{given} {marks[row]}"
        moment = _parse(given)
        if moment is None:
            raise DataError(f"{where}: time is '{texts[row][:40]}', which cannot be read; {_REMEDY}.")
        if moment.tzinfo is None:
            if place is None:
                raise DataError(f"{where}: time is '{text}' and names no zone; {_REMEDY}.")
            moment = in_zone(
                moment, place, f"{where}: time", after=times[-1] if times else None, fault=DataError
            )
        times.append(moment)
    return times, dates
