"""Hours of a day on the water: when it begins, goes on and is over, when it is light, and when each spot is open."""

from __future__ import annotations

import datetime as dt
import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import pandas as pd

from ...clock_times import in_zone, zone_named
from ...errors import NothingFishable, UsageError
from ..light.sun import light_spans
from ..runs.run_frames import clock_of

if TYPE_CHECKING:
    from .day_offers import Spans

EVER: Final[Spans] = [(-math.inf, math.inf)]
_DAY_S: Final = 86_400.0


@dataclass(frozen=True)
class DayHours:
    """Earliest start of the day, the moment it is planned from, and when the boat has to be back; with their zones."""

    begin: pd.Timestamp
    now: pd.Timestamp
    over: pd.Timestamp

    def after(self, seconds: float) -> pd.Timestamp:
        """Tell the moment so many whole seconds after the beginning."""
        return self.begin + pd.Timedelta(seconds=int(seconds))

    def seconds_to(self, moment: pd.Timestamp) -> float:
        """Seconds from the beginning to a moment."""
        return float((moment - self.begin).total_seconds())


def moment_of(text: str, start: pd.Timestamp, what: str, zone: str = "") -> pd.Timestamp:
    """Read a time of the day's own, such as 14:30, or one written out in full.

    Parameters
    ----------
    text
        The time.
    start
        A moment of the day; its date and zone are those of a bare clock time.
    what
        Name of the option, for the message.
    zone
        Zone of the IANA database whose clock it is; empty: the offset of the moment.

    Raises
    ------
    UsageError
        It is no time, or empty, or the clocks skip it.
    """
    try:
        clock = dt.time.fromisoformat(text.strip())
    except ValueError:
        at = clock_of(text, what)
        if at is None:
            raise UsageError(f"{what} is empty; write a time such as 14:30.") from None
        return at.tz_convert(start.tzinfo) if zone else at
    if zone:
        named = zone_named(zone)
        moment = in_zone(dt.datetime.combine(start.date(), clock), named, what)
        return pd.Timestamp(moment).tz_convert(named)
    return pd.Timestamp(dt.datetime.combine(start.date(), clock, start.tzinfo))


def hours_of(depart: str, back_by: str, at: str, zone: str = "") -> DayHours:
    """Read the hours of a day.

    Parameters
    ----------
    depart
        Date, time and zone.
    back_by, at
        Times of that day; without ``at`` the day is planned from its beginning.
    zone
        Zone of the IANA database by whose clock they are read and told; empty: the offset of ``depart``.

    Raises
    ------
    UsageError
        A time cannot be read.
    NothingFishable
        The day is over before it begins.
    """
    begin = clock_of(depart)
    if begin is None:
        raise UsageError("depart is empty; write date, time and zone, such as 2026-05-16T06:00-05:00.")
    begin = begin.tz_convert(zone_named(zone)) if zone else begin
    over = moment_of(back_by, begin, "back-by", zone)
    now = moment_of(at, begin, "at", zone) if at else begin
    if over <= now:
        raise NothingFishable(
            f"What must be does not fit together: start at {now:%H:%M}; back by {over:%H:%M}. Give a later end."
        )
    return DayHours(begin, now, over)


def daylight(start: pd.Timestamp, days: int, latitude_deg: float, longitude_deg: float) -> Spans:
    """List the stretches that are light by the sun's height, from the day before on, in seconds after the start.

    Parameters
    ----------
    start
        The moment seconds are counted from, with its zone.
    days
        How many days from that of the start on; the one after them is told too.
    latitude_deg, longitude_deg
        Place, north and east positive.
    """
    first = (start - pd.Timedelta(days=1)).to_pydatetime()
    last = (start + pd.Timedelta(days=days + 1)).to_pydatetime()
    found = light_spans(first, last, latitude_deg, longitude_deg)
    return [(begin - _DAY_S, end - _DAY_S) for begin, end in found]
