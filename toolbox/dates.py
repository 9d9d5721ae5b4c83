"""Dates as people write them, as ISO text; what is not said is not made up."""

from __future__ import annotations

import re
from datetime import date
from typing import Final

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
