"""Times of a table: dates and clocks as people write them, each with a zone or refused."""

from __future__ import annotations

import datetime as dt
import itertools
import re
from typing import TYPE_CHECKING, Final

from ...dates_and_times import in_zone, zone_named
from ...errors import DataError, UsageError

if TYPE_CHECKING:
    import zoneinfo
    from collections.abc import Sequence

ORDERS: Final = ("month-first", "day-first")
_MONTHS: Final = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")
_REST: Final = r"(?:[\sT,]+(?P<clock>\S.*))?"
_PARTED: Final = re.compile(r"(?P<a>\d{1,2})(?P<by>[/.-])(?P<b>\d{1,2})(?P=by)(?P<year>\d{4}|\d{2})" + _REST)
_YEAR_FIRST: Final = re.compile(r"(?P<year>\d{4})(?P<by>[-/.])(?P<a>\d{1,2})(?P=by)(?P<b>\d{1,2})" + _REST)
_COMPACT: Final = re.compile(
    r"(?P<year>(?:19|20|21)\d{2})(?P<a>\d{2})(?P<b>\d{2})(?P<hour>\d{2}(?:\d{2})?)?" + _REST
)
_DAY_MONTH: Final = re.compile(
    r"(?:[a-z]{3,9},?\s+)?(?P<b>\d{1,2})[\s-]?(?P<month>[a-z]{3,9})\.?[\s,-]*(?P<year>\d{4})" + _REST,
    re.IGNORECASE,
)
_MONTH_DAY: Final = re.compile(
    r"(?:[a-z]{3,9},?\s+)?(?P<month>[a-z]{3,9})\.?\s+(?P<b>\d{1,2})(?:st|nd|rd|th)?,?\s+(?P<year>\d{4})"
    + _REST,
    re.IGNORECASE,
)
_EPOCH: Final = re.compile(r"1\d{9}(?:\d{3})?")  # seconds or milliseconds since 1970, of 2001 to 2033
_CLOCK: Final = re.compile(
    r"(?P<hour>\d{1,2})(?::?(?P<minute>\d{2})(?::(?P<second>\d{2})(?:\.\d+)?)?)?\s*(?P<half>[ap]\.?m\.?)?\s*(?P<rest>.*)",
    re.IGNORECASE,
)
_TAIL: Final = re.compile(r"\(?([A-Za-z]{1,4}|[+-]\d{2}:?\d{2})\)?")


def _clock(text: str) -> tuple[int, int, int, str] | None:
    """Read hours, minutes, seconds and what stands behind them; 24:00 is the end of the day."""
    plain = re.fullmatch(r"(\d{1,2})(\d{2})", text) if len(text) in (3, 4) else None
    found = _CLOCK.fullmatch(f"{plain[1]}:{plain[2]}" if plain else text)
    if found is None:
        return None
    hour, minute, second = int(found["hour"]), int(found["minute"] or 0), int(found["second"] or 0)
    if found["half"]:
        if not 1 <= hour <= 12:
            return None
        hour = hour % 12 + (12 if found["half"][0] in "pP" else 0)
    if hour > 24 or minute > 59 or second > 59 or (hour == 24 and (minute or second)):
        return None
    rest = found["rest"].strip()
    tail = _TAIL.fullmatch(rest)
    if rest and tail is None:
        return None
    return hour, minute, second, tail[1] if tail else ""


def _month(text: str) -> int:
    name = text.lower()[:3]
    return _MONTHS.index(name) + 1 if name in _MONTHS else 0


def _iso(year: int, month: int, day: int, clock: str) -> str | None:
    try:
        date = dt.date(year + 2000 if year < 100 else year, month, day)
    except ValueError:
        return None
    if not clock:
        return date.isoformat()
    read = _clock(clock)
    if read is None:
        return None
    hour, minute, second, tail = read
    if hour == 24:
        try:
            date, hour = date + dt.timedelta(days=1), 0
        except OverflowError:
            return None
    text = f"{date.isoformat()}T{hour:02d}:{minute:02d}:{second:02d}"
    if tail[:1] in ("+", "-"):
        return text + tail
    return f"{text} {tail.upper()}" if tail else text


def _plain(text: str) -> str | None:
    """Read a time whose parts can be told apart; None for all others."""
    if _EPOCH.fullmatch(text):
        seconds = int(text) / (1000.0 if len(text) == 13 else 1.0)
        return dt.datetime.fromtimestamp(seconds, dt.UTC).isoformat()
    if found := (_YEAR_FIRST.fullmatch(text) or _COMPACT.fullmatch(text)):
        hours = found.groupdict().get("hour") or ""
        clock = " ".join(filter(None, (hours, found["clock"] or "")))
        return _iso(int(found["year"]), int(found["a"]), int(found["b"]), clock)
    if found := (_DAY_MONTH.fullmatch(text) or _MONTH_DAY.fullmatch(text)):
        return _iso(int(found["year"]), _month(found["month"]), int(found["b"]), found["clock"] or "")
    return None


def _read_as(found: re.Match[str], order: str) -> str | None:
    first, second = int(found["a"]), int(found["b"])
    month, day = (first, second) if order == "month-first" else (second, first)
    return _iso(int(found["year"]), month, day, found["clock"] or "")


def _greatest_gap_h(times: Sequence[str]) -> float:
    moments = sorted(dt.datetime.fromisoformat(t.partition(" ")[0][:19]) for t in set(times))
    gaps = [(b - a).total_seconds() / 3600.0 for a, b in itertools.pairwise(moments)]
    return max(gaps, default=0.0)


def _order_of(parted: Sequence[re.Match[str]], source: str) -> str:
    """Tell whether the month or the day stands first: by a number above 12, by dots, or by readings hours apart."""
    could = {order: [_read_as(found, order) for found in parted] for order in ORDERS}
    fits = [order for order in ORDERS if all(could[order])]
    if len(fits) == 1:
        return fits[0]
    if not fits:
        return ORDERS[0]  # the times that cannot be read are told one by one
    if all(found["by"] == "." for found in parted):
        return "day-first"
    if could["month-first"] == could["day-first"]:
        return ORDERS[0]
    gap = {order: _greatest_gap_h([t for t in could[order] if t]) for order in ORDERS}
    several = len({t for t in could["month-first"] if t and "T" in t})
    for order, other in (ORDERS, ORDERS[::-1]):
        # Readings of every hour or so, with holes of weeks between in the other reading. By the day it cannot be told.
        if several > 2 and gap[order] <= 12.0 and gap[other] > 10.0 * gap[order]:
            return order
    raise UsageError(
        f"{source} writes dates as '{parted[0].group()[:30]}', which may be the month first or the day first. Say "
        "which with columns: dates=month-first or dates=day-first."
    )


def iso_texts(texts: Sequence[str], source: str, order: str = "") -> list[str]:
    """Bring times as tables write them to ISO text; what is in no known form stays as it is.

    Parameters
    ----------
    texts
        The cells: date alone or with a clock time, and perhaps the zone behind it.
    source
        Name of the file, for messages.
    order
        ``month-first`` or ``day-first`` for dates such as 5/6/2026; empty: as the dates themselves tell.

    Raises
    ------
    UsageError
        Nothing tells which stands first, or the order is not known.
    """
    if order and order not in ORDERS:
        raise UsageError(
            f"columns: dates={order[:30]} cannot be used; write dates=month-first or dates=day-first."
        )
    parted = {k: found for k, text in enumerate(texts) if (found := _PARTED.fullmatch(text))}
    chosen = order or (_order_of(list(parted.values()), source) if parted else "")
    found_: list[str] = []
    for k, text in enumerate(texts):
        made = _read_as(parted[k], chosen) if k in parted else None if _is_iso(text) else _plain(text)
        found_.append(made or text)
    return found_


def _is_iso(text: str) -> bool:
    if _EPOCH.fullmatch(text) or _COMPACT.fullmatch(text) or text.isdigit():
        return False
    try:
        dt.datetime.fromisoformat(text)
    except ValueError:
        return False
    return True


def joined(dates: Sequence[str], clocks: Sequence[str], lines: Sequence[int], source: str) -> list[str]:
    """Put dates and clock times of two columns together.

    Raises
    ------
    DataError
        A row has one and not the other.
    """
    made = []
    for date, clock, line in zip(dates, clocks, lines, strict=True):
        if not date or not clock:
            raise DataError(
                f"{source} line {line} has {'no date' if not date else 'a date and no time'}; fill it in."
            )
        # A spreadsheet adds the midnight of the day to a date, and the first day of its calendar to a time.
        day = re.sub(r"[\sT]+(?:0{1,2}:00(?::00)?|12:00(?::00)?\s*AM)$", "", date, flags=re.IGNORECASE)
        made.append(f"{day} {re.sub(r'^(?:1899-12-3[01]|1900-01-0[01])[ T]', '', clock)}")
    return made


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
