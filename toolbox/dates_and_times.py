"""Dates as people write them, and what a clock shows made a moment: zones by name, nights of change.

An hour that the clocks skip is no time at all and is refused with the two times beside it. An hour that comes twice is
two moments: the one that goes on from what was read before, else the first of them, and that is said.
"""

from __future__ import annotations

import datetime as dt
import re
import zoneinfo
from datetime import date
from typing import Final

from .errors import CastshedError, UsageError
from .report import note

_MONTHS: Final = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")
_ISO: Final = re.compile(r"(\d{4})[-/.](\d{1,2})(?:[-/.](\d{1,2}))?(?:[T ].*)?")
_SLASHES: Final = re.compile(r"(\d{1,2})[-/.](\d{1,2})[-/.](\d{4})(?: .*)?")
_NAMED: Final = re.compile(
    r"(?:(?P<d1>\d{1,2})(?:st|nd|rd|th)?[\s.-]*)?(?P<month>[a-z]{3,9})\.?[\s.,-]*(?:(?P<d2>\d{1,2})(?:st|nd|rd|th)?[\s,]+)?"
    r"(?P<year>\d{4})",
    re.IGNORECASE,
)
_YEAR: Final = re.compile(r"(?:c(?:a|irca)?\.?\s*)?(\d{4})")


def _iso(year: int, month: int | None = None, day: int | None = None) -> str:
    """Write a date as far as it is known; empty when there is no such day."""
    if not 1800 <= year <= 2200:
        return ""
    if month is None:
        return f"{year:04d}"
    if not 1 <= month <= 12:
        return ""
    if day is None:
        return f"{year:04d}-{month:02d}"
    try:
        return date(year, month, day).isoformat()
    except ValueError:
        return ""


def _day_first(texts: list[str]) -> bool | None:
    """Tell the order of ``a/b/year`` from a column: True day first, False month first, None when it does not show."""
    pairs = [(int(m[1]), int(m[2])) for t in texts if (m := _SLASHES.fullmatch(t))]
    first, second = any(a > 12 for a, _ in pairs), any(b > 12 for _, b in pairs)
    return None if first == second else first


def _one(text: str, day_first: bool | None) -> tuple[str, str]:
    if found := _ISO.fullmatch(text):
        iso = _iso(int(found[1]), int(found[2]), int(found[3]) if found[3] else None)
        return iso, "" if iso else f"date '{text[:40]}' is not in the calendar"
    if found := _SLASHES.fullmatch(text):
        a, b, year = int(found[1]), int(found[2]), int(found[3])
        order = a > 12 if (a > 12) != (b > 12) else day_first
        if a == b:
            order = True
        if order is None:
            return _iso(year), f"date '{text[:40]}': day and month cannot be told apart, the year is kept"
        iso = _iso(year, b, a) if order else _iso(year, a, b)
        return iso, "" if iso else f"date '{text[:40]}' is not in the calendar"
    if found := _NAMED.fullmatch(text):
        month = found["month"].lower()[:3]
        if month in _MONTHS and not (found["d1"] and found["d2"]):
            day = found["d1"] or found["d2"]
            iso = _iso(int(found["year"]), _MONTHS.index(month) + 1, int(day) if day else None)
            return iso, "" if iso else f"date '{text[:40]}' is not in the calendar"
    if found := _YEAR.fullmatch(text):
        return _iso(int(found[1])), ""
    return "", f"date '{text[:40]}' could not be read"


def read_dates(texts: list[str]) -> list[tuple[str, str]]:
    """Read a column of dates.

    Parameters
    ----------
    texts
        As written. The order of day and month in ``5/3/2021`` is told from the rest of the column where one of its
        dates shows it; else only the year is kept.

    Returns
    -------
    The date may be a year, or a year and month; empty where nothing could be read.

    Examples
    --------
    >>> read_dates(["3/25/2021", "3 May 2019", "2017"])
    [('2021-03-25', ''), ('2019-05-03', ''), ('2017', '')]
    """
    tidy = [text.strip() for text in texts]
    day_first = _day_first(tidy)
    known: dict[str, tuple[str, str]] = {"": ("", "")}
    for text in tidy:
        if text not in known:
            known[text] = _one(text, day_first) if len(text) <= 40 else ("", "date text too long to read")
    return [known[text] for text in tidy]


# Names of the IANA database: letters first, parts between slashes ("Timezone identifiers" in theory.html of it).
_ZONE: Final = re.compile(r"[A-Za-z][A-Za-z0-9_+\-]{0,29}(/[A-Za-z0-9_+\-]{1,30}){0,2}")


def zone_named(name: str) -> zoneinfo.ZoneInfo:
    """Find a zone of the IANA database.

    Raises
    ------
    UsageError
        There is none of that name.

    Examples
    --------
    >>> zone_named("America/Chicago").key
    'America/Chicago'
    """
    try:
        if _ZONE.fullmatch(name):
            return zoneinfo.ZoneInfo(name)
    except (zoneinfo.ZoneInfoNotFoundError, ValueError, OSError):  # a part of names only is a folder there
        pass
    told = name if len(name) <= 60 else f"{name[:60]}..."
    raise UsageError(f"zone is {told!r}; write a zone of the IANA database, such as America/Chicago.")


def in_zone(
    clock: dt.datetime,
    zone: dt.tzinfo,
    what: str,
    *,
    after: dt.datetime | None = None,
    fault: type[CastshedError] = UsageError,
) -> dt.datetime:
    """Make a clock's time in a zone a moment with a fixed offset.

    Parameters
    ----------
    clock
        Day and time, without a zone.
    zone
        The zone.
    what
        What the time is, for messages.
    after
        The moment read before it; of an hour that comes twice the one that goes on from there is taken.
    fault
        The error to raise.

    Returns
    -------
    With a fixed offset: what is written into a file must not change meaning with a later table of zones.

    Raises
    ------
    CastshedError
        The clocks skip it that night.
    """
    first, second = clock.replace(tzinfo=zone, fold=0), clock.replace(tzinfo=zone, fold=1)
    place = getattr(zone, "key", str(zone))
    on, back = (one.astimezone(dt.UTC).astimezone(zone).replace(tzinfo=None) for one in (first, second))
    if clock not in (on, back):
        early, late = sorted((on, back))
        raise fault(
            f"{what} is {clock:%Y-%m-%d %H:%M}, which the clocks of {place} skip; write {early:%H:%M} or {late:%H:%M}, "
            "or the time with its offset."
        )
    taken = first
    if first.utcoffset() != second.utcoffset():
        if after is not None and first.astimezone(dt.UTC) <= after < second.astimezone(dt.UTC):
            taken = second
        elif after is None:
            note(
                f"{what} is {clock:%Y-%m-%d %H:%M}, which comes twice in {place} that night; the first is taken, "
                f"{_fixed(first).isoformat(timespec='minutes')}. Write the time with its offset for the other.",
                stacklevel=2,
            )
    return _fixed(taken)


def _fixed(moment: dt.datetime) -> dt.datetime:
    return moment.replace(fold=moment.fold).astimezone(dt.timezone(moment.utcoffset() or dt.timedelta(0)))


def on_day(date: dt.date, text: str, zone: str, what: str) -> str:
    """Make a clock time of a day, such as ``06:00``, an ISO text with its offset; a whole time stays as it is.

    Raises
    ------
    UsageError
        It is no time, or one that the clocks skip.
    """
    if not text.strip():
        return ""
    try:
        clock = dt.time.fromisoformat(text.strip())
    except ValueError:
        try:
            moment = dt.datetime.fromisoformat(text.strip())
        except ValueError:
            moment = None
        if moment is None or moment.tzinfo is None:
            raise UsageError(f"{what} is '{text[:60]}'; write the time as \"06:00\".") from None
        return text.strip()
    if clock.tzinfo is not None:
        return dt.datetime.combine(date, clock).isoformat()
    return in_zone(dt.datetime.combine(date, clock), zone_named(zone), what).isoformat()
