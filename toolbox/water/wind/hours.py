"""The hours of a forecast: texts with a zone to instants, the stretch each speaks for, and back to intervals."""

from __future__ import annotations

import datetime as dt
import itertools
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from ...errors import DataError

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

LONGEST = dt.timedelta(hours=6)
"""No figure of a forecast speaks for longer than this."""

_HOUR = dt.timedelta(hours=1)
_SHOWN = 5


@dataclass(frozen=True)
class Hours:
    """Hours in order of time.

    Attributes
    ----------
    start, end
        The stretch each speaks for, with the zone in which it is told.
    """

    start: tuple[dt.datetime, ...]
    end: tuple[dt.datetime, ...]

    def __len__(self) -> int:
        return len(self.start)

    @property
    def texts(self) -> list[str]:
        """The start of each, ISO 8601 with its zone."""
        return [one.isoformat() for one in self.start]


def _instant(text: str) -> dt.datetime:
    try:
        found = dt.datetime.fromisoformat(text.strip())
    except ValueError:
        raise DataError(
            f"time is '{text}'; it must be date, time and zone in ISO 8601, such as 2026-05-16T06:00-05:00."
        ) from None
    if found.utcoffset() is None:
        raise DataError(
            f"time is '{text}', without a zone; write it as 2026-05-16T06:00-05:00 (or with Z for UTC)."
        )
    return found


def read_hours(times: Sequence[str], zone: dt.tzinfo | None = None) -> tuple[Hours, NDArray[np.intp]]:
    """Read times with their zones.

    Parameters
    ----------
    times
        ISO 8601 texts in any order, any number of each.
    zone
        Zone in which to tell them; None: each in its own.

    Returns
    -------
    Hours
        Every instant once, in order. Each speaks for the time until the next, but no longer than the usual step of
        the table and six hours: a gap in a forecast is no forecast.
    NDArray
        The hour of each text.

    Raises
    ------
    DataError
        A text is no time, or has no zone.
    """
    distinct, back = np.unique(np.asarray(times, dtype=object).astype(str), return_inverse=True)
    moments = [_instant(str(text)) for text in distinct]
    utc = [one.astimezone(dt.UTC) for one in moments]
    order = sorted(set(utc))
    told = {
        one: first if zone is None else first.astimezone(zone)
        for one, first in zip(utc, moments, strict=True)
    }
    gaps = [later - one for one, later in itertools.pairwise(order)]
    usual = min(sorted(gaps)[len(gaps) // 2], LONGEST) if gaps else _HOUR
    lengths = [*(min(gap, usual) for gap in gaps), usual]
    place = {one: at for at, one in enumerate(order)}
    of_distinct = np.array([place[one] for one in utc], dtype=np.intp)
    start = tuple(told[one] for one in order)
    end = tuple(
        (told[one].astimezone(dt.UTC) + length).astimezone(told[one].tzinfo)
        for one, length in zip(order, lengths[: len(order)], strict=True)
    )
    return Hours(start, end), of_distinct[back] if len(distinct) else np.empty(0, dtype=np.intp)


def intervals(hours: Hours, good: Sequence[bool] | NDArray[np.bool_]) -> str:
    """Write out the hours that are good as intervals.

    Parameters
    ----------
    hours
        Hours in order.
    good
        Whether each is good.

    Returns
    -------
    str
        Such as ``06:00-10:00, 15:00-18:00``, by the clock of the hours; with the date before each when the hours
        lie on more than one day. Empty where none is good.
    """
    runs: list[list[dt.datetime]] = []
    for at in np.flatnonzero(np.asarray(good, dtype=bool)):
        start, end = hours.start[at], hours.end[at]
        # by instant: within one zone Python compares the clock, which runs through one hour twice in autumn
        if runs and runs[-1][1].astimezone(dt.UTC) == start.astimezone(dt.UTC):
            runs[-1][1] = end
        else:
            runs.append([start, end])
    several = len({one.date() for one in hours.start}) > 1
    texts = []
    for start, end in runs:
        date = f"{start:%Y-%m-%d} " if several else ""
        last = f"{end:%H:%M}"
        if last == "00:00" and end.date() - start.date() == dt.timedelta(days=1):
            last = "24:00"
        elif several and end.date() != start.date():
            last = f"{end:%Y-%m-%d} {last}"
        texts.append(f"{date}{start:%H:%M}-{last}")
    return ", ".join(texts)
