"""Winds over hours: what each hour speaks for, and what makes a stated wind the one that waves are worked from.

Growth formulas want the wind 10 m above the water, averaged about as long as the waves need to grow. A forecast or a
gauge may state another height or another time of averaging; then the wind is brought to theirs.
"""

from __future__ import annotations

import datetime as dt
import itertools
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

import numpy as np

from ...errors import DataError, UsageError

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import ArrayLike, NDArray

    Floats = NDArray[np.float64]

HOUR_S: Final = 3600.0
LEAST_HEIGHT_M: Final = 2.0
MOST_HEIGHT_M: Final = 20.0
MOST_HOURS: Final = 1000
_SHORTEST_S: Final = 1.0
_LONGEST_S: Final = 36_000.0


@dataclass(frozen=True, eq=False)
class Forecast:
    """Winds over hours, 10 m above the water.

    Attributes
    ----------
    time
        When each holds; with zone, one later than the other.
    wind_mps, gust_mps, wind_from_deg
        Sustained wind, gusts (NaN where not stated) and the bearing the wind comes from (NaN where it varies).
    averaged_s
        Over how long the sustained wind is averaged; None where nobody says.
    said
        What was noticed or corrected.
    """

    time: tuple[dt.datetime, ...]
    wind_mps: Floats
    gust_mps: Floats
    wind_from_deg: Floats
    averaged_s: float | None = None
    said: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        """Hold the values to their limits, however they were made.

        Raises
        ------
        DataError
            Times without zone or out of order, lengths that differ, winds that cannot be.
        """
        count = len(self.time)
        if not 0 < count <= MOST_HOURS:
            raise DataError(f"The forecast has {count} hours; between 1 and {MOST_HOURS} can be worked.")
        if any(t.tzinfo is None or t.utcoffset() is None for t in self.time):
            raise DataError("The forecast has a time without a zone; give each its offset.")
        for name in ("wind_mps", "gust_mps", "wind_from_deg"):
            values = np.asarray(getattr(self, name), dtype=np.float64)
            if values.shape != (count,):
                raise DataError(
                    f"The forecast has {count} times and {values.shape} values of {name}; give one an hour."
                )
            object.__setattr__(self, name, values)
        for late, early in zip(self.time[1:], self.time, strict=False):
            if late <= early:
                raise DataError(
                    f"The forecast has {late.isoformat()} after {early.isoformat()}; put the hours in order, each once."
                )
        if not (np.isfinite(self.wind_mps) & (self.wind_mps >= 0.0) & (self.wind_mps <= 100.0)).all():
            raise DataError(
                "The forecast has a wind that is no number from 0 to 100 m/s; check values and units."
            )
        if not (np.isnan(self.gust_mps) | ((self.gust_mps >= 0.0) & (self.gust_mps <= 150.0))).all():
            raise DataError("The forecast has gusts outside 0 to 150 m/s; check values and units.")
        if not (np.isnan(self.wind_from_deg) | (np.abs(self.wind_from_deg) <= 360.0)).all():
            raise DataError("The forecast has a direction that is no bearing from 0 to 360 degrees.")

    def between(self, first: dt.datetime | None, last: dt.datetime | None) -> Forecast:
        """Keep the hours from first to last, both included.

        Raises
        ------
        UsageError
            None is left.
        """
        keep = [(first is None or t >= first) and (last is None or t <= last) for t in self.time]
        if not any(keep):
            raise UsageError(
                f"No hour of the forecast lies between {first or 'its start'} and {last or 'its end'}; it runs from "
                f"{self.time[0].isoformat()} to {self.time[-1].isoformat()}."
            )
        rows = np.asarray(keep)
        return replace(
            self,
            time=tuple(t for t, kept in zip(self.time, keep, strict=True) if kept),
            wind_mps=self.wind_mps[rows],
            gust_mps=self.gust_mps[rows],
            wind_from_deg=self.wind_from_deg[rows],
        )


def wind_at_10_m(wind_mps: ArrayLike, height_m: float) -> Floats:
    """Bring a wind from the height it is stated for to 10 m: ``U10 = Uz (10 / z)^(1/7)``.

    Raises
    ------
    UsageError
        The height is outside 2 to 20 m.

    Notes
    -----
    SPM 1984 (from memory) and EM 1110-2-1100 Part II-2, eq. II-2-9 (read), which gives it for winds stated near 10 m
    (about 8 to 12 m) in air that is neither stable nor unstable. Far from 10 m it is rough.
    """
    if not LEAST_HEIGHT_M <= height_m <= MOST_HEIGHT_M:
        raise UsageError(
            f"The wind is stated {height_m:g} m above the water; between {LEAST_HEIGHT_M:g} and {MOST_HEIGHT_M:g} m "
            "it can be brought to 10 m. Use a forecast for 10 m."
        )
    return np.asarray(np.asarray(wind_mps, dtype=np.float64) * (10.0 / height_m) ** (1.0 / 7.0))


OVER_WATER: Final = 1.2


def over_water(forecast: Forecast) -> Forecast:
    """Bring winds over land to winds over water: 1.2 times as strong; gusts stay as they are told.

    Notes
    -----
    Water is smoother than land. For fetches below 16 km the Shore Protection Manual (US Army CERC 1984, ch. 3) and
    ACES (1992) take a ratio of 1.2 (both from memory); over longer ones it depends on the wind, above 1.2 for light
    winds and below for strong ones.
    """
    told = (
        f"winds over land are brought to winds over water by {OVER_WATER:g} (SPM 1984, fetches below 16 km)"
    )
    return replace(forecast, wind_mps=forecast.wind_mps * OVER_WATER, said=(*forecast.said, told))


def averaging_ratio(averaged_s: ArrayLike) -> Floats:
    """Tell how much stronger the strongest wind of so many seconds is than the mean of its hour.

    Parameters
    ----------
    averaged_s
        Time of averaging; below a second and above ten hours it is taken at those ends.

    Notes
    -----
    EM 1110-2-1100 Part II-2, figure II-2-1: up to an hour ``1.277 + 0.296 tanh(0.9 log10(45 / t))``, beyond
    ``1.5334 - 0.15 log10 t``. The two pieces miss each other by 0.1 % at the hour; there it is 1 by definition.

    Examples
    --------
    >>> round(float(averaging_ratio(300.0)), 2)
    1.09
    """
    time = np.clip(np.asarray(averaged_s, dtype=np.float64), _SHORTEST_S, _LONGEST_S)
    short = 1.277 + 0.296 * np.tanh(0.9 * np.log10(45.0 / time))
    ratio = np.where(time <= HOUR_S, short, 1.5334 - 0.15 * np.log10(time))
    return np.asarray(np.where(time == HOUR_S, 1.0, ratio))


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
