"""Hours of a day on the water: when it begins, goes on and is over, when it is light, and when each spot is open."""

from __future__ import annotations

import datetime as dt
import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import pandas as pd

from ...errors import NothingFishable, UsageError
from ..runs.run_frames import clock_of
from .day_offers import both, verdict_windows
from .sun import sun_times

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from geopandas import GeoDataFrame

    from .day_offers import Spans

EVER: Final[Spans] = [(-math.inf, math.inf)]


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


def moment_of(text: str, start: pd.Timestamp, what: str) -> pd.Timestamp:
    """Read a time of the day's own, such as 14:30, or one written out in full.

    Parameters
    ----------
    text
        The time.
    start
        A moment of the day; its date and zone are those of a bare clock time.
    what
        Name of the option, for the message.

    Raises
    ------
    UsageError
        It is no time, or empty.
    """
    try:
        clock = dt.time.fromisoformat(text.strip())
    except ValueError:
        at = clock_of(text, what)
        if at is None:
            raise UsageError(f"{what} is empty; write a time such as 14:30.") from None
        return at
    return pd.Timestamp(dt.datetime.combine(start.date(), clock, start.tzinfo))


def hours_of(depart: str, back_by: str, at: str) -> DayHours:
    """Read the hours of a day.

    Parameters
    ----------
    depart
        Date, time and zone.
    back_by, at
        Times of that day; without ``at`` the day is planned from its beginning.

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
    over = moment_of(back_by, begin, "back-by")
    now = moment_of(at, begin, "at") if at else begin
    if over <= now:
        raise NothingFishable(
            f"What must be does not fit together: start at {now:%H:%M}; back by {over:%H:%M}. Give a later end."
        )
    return DayHours(begin, now, over)


def daylight(start: pd.Timestamp, days: int, latitude_deg: float, longitude_deg: float) -> Spans:
    """List the stretches between civil dawn and dusk, from the day before on, in seconds after the start.

    Parameters
    ----------
    start
        The moment seconds are counted from, with its zone.
    days
        How many days from that of the start on; the one after them is told too.
    latitude_deg, longitude_deg
        Place, north and east positive.
    """
    zone = start.tzinfo
    assert zone is not None  # clock_of refuses times without
    spans: Spans = []
    for shift in range(-1, days + 1):
        sun = sun_times(start.date() + dt.timedelta(days=shift), zone, latitude_deg, longitude_deg)
        if sun.dawn is not None and sun.dusk is not None:
            spans.append(((sun.dawn - start).total_seconds(), (sun.dusk - start).total_seconds()))
    return spans


def open_spans(
    spots: Iterable[str],
    light: Spans,
    verdicts: GeoDataFrame | None,
    wishes: Mapping[str, Spans],
    start: pd.Timestamp,
) -> list[Spans]:
    """Tell when each spot is open: it is light, its verdicts by hour allow it, and it is wished so.

    Parameters
    ----------
    spots
        Ids.
    light
        Stretches that are light.
    verdicts
        Layer ``verdicts``; a spot without any is open all day.
    wishes
        Stretches wished for, by spot.
    start
        The moment seconds are counted from.
    """
    told = {} if verdicts is None else verdict_windows(verdicts, start)
    return [both(both(light, told.get(spot, EVER)), wishes.get(spot, EVER)) for spot in spots]
