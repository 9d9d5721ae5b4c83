"""Dates and clock times as tables write them, brought to ISO text: 5/16/2026 6:00 AM, 16May2026 2400, 20260516 0600."""

from __future__ import annotations

import datetime as dt
import itertools
import re
from typing import TYPE_CHECKING, Final

from ...errors import DataError, UsageError

if TYPE_CHECKING:
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
