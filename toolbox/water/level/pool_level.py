"""Today's level: from two elevations or from a table of them over time, and what a charted depth is at it.

Chart datum is the normal pool the depths refer to. The level is today's surface minus chart datum: four feet down is
-1.2192 m. Depths are positive down. All functions take numbers or arrays.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, NamedTuple

import numpy as np

from ...errors import DataError, NoSolution, UsageError

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

    from ...arrays import Floats


def level_of(pool_today_m: ArrayLike, pool_normal_m: ArrayLike) -> Floats:
    """Find the level from two elevations of the surface on the same vertical datum."""
    return np.subtract(np.asarray(pool_today_m, np.float64), np.asarray(pool_normal_m, np.float64))


def depth_today(charted_m: ArrayLike, level_m: ArrayLike) -> Floats:
    """Find today's depth of a charted depth; negative is dry, by that much.

    Notes
    -----
    The rule of the trade: with the lake down five feet, five feet come off every charted depth (common practice).
    """
    return np.add(np.asarray(charted_m, np.float64), np.asarray(level_m, np.float64))


def top_depth(bottom_m: ArrayLike, height_m: ArrayLike) -> Floats:
    """Find the depth of the top of a thing that stands off the bottom; negative is bare, by that much."""
    return np.subtract(np.asarray(bottom_m, np.float64), np.asarray(height_m, np.float64))


BEYOND: Final = ("refuse", "hold", "trend")
TREND_S: Final = 3 * 86_400.0
FARTHEST_S: Final = 7 * 86_400.0
LONG_GAP_S: Final = 2 * 86_400.0


class PoolAt(NamedTuple):
    """The pool at a moment."""

    elevation_m: float  # elevation of the surface
    how: str  # how it was found, in words
    # how much of it is not measured but carried on beyond the last reading; 0 between readings
    carried_m: float


@dataclass(frozen=True, eq=False)
class LevelSeries:
    """Pool elevations over time, on one vertical datum."""

    time: tuple[dt.datetime, ...]  # with zone, one later than the other
    elevation_m: Floats  # elevation of the surface
    datum: str = ""  # name of the vertical datum; empty where nobody says
    name: str = "table"  # where they come from
    said: tuple[str, ...] = ()  # what was noticed

    def __post_init__(self) -> None:
        """Hold the readings to their limits.

        Raises
        ------
        DataError
            None, without zone, out of order, or no number.
        """
        values = np.asarray(self.elevation_m, dtype=np.float64)
        object.__setattr__(self, "elevation_m", values)
        if not self.time or values.shape != (len(self.time),):
            raise DataError(
                f"{self.name} has {len(self.time)} times and {values.shape} levels; give one a time."
            )
        if any(t.tzinfo is None for t in self.time):
            raise DataError(f"{self.name} has a time without a zone; give each its offset.")
        if not np.isfinite(values).all() or (np.abs(values) > 9000.0).any():
            raise DataError(
                f"{self.name} has a level that is no elevation of a lake; check values and units."
            )
        for late, early in zip(self.time[1:], self.time, strict=False):
            if late <= early:
                raise DataError(
                    f"{self.name} has {late.isoformat()} after {early.isoformat()}; put it in order, each time once."
                )


def _seconds(series: LevelSeries) -> Floats:
    return np.array([(t - series.time[-1]).total_seconds() for t in series.time])


def trend_mps(series: LevelSeries) -> float:
    """Fit the rise of the last three days, metres a second (least squares).

    Raises
    ------
    NoSolution
        Fewer than three readings in them, or less than half a day between first and last.
    """
    seconds = _seconds(series)
    late = seconds >= -TREND_S
    if late.sum() < 3 or np.ptp(seconds[late]) < 43_200.0:
        raise NoSolution(
            f"{series.name} has {int(late.sum())} readings in its last three days; a trend needs three, over half a "
            "day at least. Use a longer table, or hold the last reading."
        )
    # The moments are brought to days, so that the fit is well conditioned.
    return float(np.polyfit(seconds[late] / 86_400.0, series.elevation_m[late], 1)[0] / 86_400.0)


def pool_at(series: LevelSeries, moment: dt.datetime, beyond: str = "refuse") -> PoolAt:
    """Read the pool off at a moment.

    Parameters
    ----------
    series
        The readings.
    moment
        When; with zone.
    beyond
        What to do after the last reading: ``refuse``, ``hold`` the last one, or carry the ``trend`` of the last three
        days on from it, at most seven days.

    Returns
    -------
    Between two readings the straight line between them.

    Raises
    ------
    NoSolution
        The moment is outside the readings, and carrying them on was not asked for or is too far.
    UsageError
        Unknown word, or a moment without a zone.
    """
    if beyond not in BEYOND:
        raise UsageError(f"beyond is '{beyond}'; choose one of: {', '.join(BEYOND)}.")
    if moment.tzinfo is None:
        raise UsageError(f"time {moment.isoformat()} names no zone; write 2026-05-16T06:00-05:00.")
    first, last = series.time[0], series.time[-1]
    if moment < first:
        raise NoSolution(
            f"{series.name} begins at {first.isoformat()}, after the time asked ({moment.isoformat()}); use a table "
            "that covers it."
        )
    at = (moment - last).total_seconds()
    seconds = _seconds(series)
    if at <= 0.0:
        value = float(np.interp(at, seconds, series.elevation_m))
        later = int(np.searchsorted(seconds, at))
        if seconds[later] == at:
            return PoolAt(value, f"read at {series.time[later].isoformat()}", 0.0)
        gap = seconds[later] - seconds[later - 1]
        long = (
            f", {gap / 86_400.0:.1f} days apart: a flood between them would not show"
            if gap > LONG_GAP_S
            else ""
        )
        how = f"between the readings of {series.time[later - 1].isoformat()} and {series.time[later].isoformat()}{long}"
        return PoolAt(value, how, 0.0)
    hours = at / 3600.0
    if beyond == "refuse":
        raise NoSolution(
            f"{series.name} ends at {last.isoformat()}, {hours:.1f} h before the time asked. Use a newer table, or say "
            "what to do beyond its end: hold the last reading, or carry on the trend of its last three days."
        )
    if at > FARTHEST_S:
        raise NoSolution(
            f"{series.name} ends at {last.isoformat()}, {at / 86_400.0:.1f} days before the time asked; more than "
            f"{FARTHEST_S / 86_400.0:.0f} days cannot be carried on. Use a newer table."
        )
    newest = float(series.elevation_m[-1])
    if beyond == "hold":
        return PoolAt(newest, f"NOT MEASURED: the reading of {last.isoformat()} held for {hours:.1f} h", 0.0)
    slope = trend_mps(series)
    carried = slope * at
    how = (
        f"NOT MEASURED: carried on for {hours:.1f} h from the reading of {last.isoformat()} at "
        f"{slope * 86_400.0 * 100.0:+.1f} cm a day, the trend of its last three days; rain and releases change it"
    )
    return PoolAt(newest + carried, how, carried)


MOST_LEVEL_M: Final = 200.0
_UNLIKELY_M: Final = 30.0


class LevelFound(NamedTuple):
    """Today's level and where it comes from."""

    level_m: float  # today's surface minus normal pool
    how: str  # how it was found, in words
    # the two elevations; NaN where the level was given as such
    pool_m: float = float("nan")
    normal_pool_m: float = float("nan")
    datum: str = ""  # vertical datum of both; empty where nobody says
    carried_m: float = 0.0  # how much is not measured but carried on beyond the last reading
    measured: bool = True  # false where the level is held or carried on beyond the last reading
    notes: tuple[str, ...] = ()  # what a person should know before relying on it


def _one_datum(pool_datum: str, normal_datum: str) -> tuple[str, tuple[str, ...]]:
    """Name the datum of both elevations.

    Raises
    ------
    UsageError
        They stand on two.
    """
    if pool_datum and normal_datum and pool_datum != normal_datum:
        raise UsageError(
            f"The pool stands on {pool_datum} and the normal pool on {normal_datum}. Two vertical datums differ by a "
            "metre and more, another amount at every place, so their difference is no level. Look the normal pool "
            f"up on {pool_datum} (the lake's operator publishes it), or convert it at the dam with the national "
            "survey's own tool, and give both on one."
        )
    if pool_datum and normal_datum:
        return pool_datum, ()
    known = pool_datum or normal_datum
    if known:
        other = "normal pool" if pool_datum else "pool"
        return known, (f"the datum of the {other} is not named; it is taken to be {known} too",)
    return "", ("no vertical datum is named; both elevations are taken to stand on the same one",)


def level_from_pools(
    pool_m: float, normal_pool_m: float, pool_datum: str = "", normal_datum: str = ""
) -> LevelFound:
    """Find the level from the elevations of the pool and of the normal pool.

    Parameters
    ----------
    pool_m, normal_pool_m
        Elevations of the surface, metres.
    pool_datum, normal_datum
        Names of their vertical datums; empty where nobody says.

    Raises
    ------
    UsageError
        Two datums, or elevations so far apart that one of them is wrong.
    """
    datum, notes = _one_datum(pool_datum, normal_datum)
    level = float(level_of(pool_m, normal_pool_m))
    if not abs(level) <= MOST_LEVEL_M:
        raise UsageError(
            f"The pool is {pool_m:.2f} m and the normal pool {normal_pool_m:.2f} m, {abs(level):.0f} m apart; check "
            "their units (feet and metres) and that both belong to this lake."
        )
    if abs(level) > _UNLIKELY_M:
        notes = (*notes, f"the two elevations are {abs(level):.0f} m apart; check their units")
    return LevelFound(
        level, "pool minus normal pool", float(pool_m), float(normal_pool_m), datum, notes=notes
    )


def level_from_series(
    series: LevelSeries,
    normal_pool_m: float,
    normal_datum: str = "",
    moment: dt.datetime | None = None,
    beyond: str = "refuse",
) -> LevelFound:
    """Find the level at a moment from pool elevations over time.

    Parameters
    ----------
    series
        The readings.
    normal_pool_m, normal_datum
        Elevation of the normal pool, and its vertical datum.
    moment
        When; None: at the newest reading.
    beyond
        See `castshed.toolbox.water.level.pool_level.pool_at`.

    Raises
    ------
    NoSolution
        The moment is outside the readings, and carrying them on was not asked for or is too far.
    UsageError
        As for `level_from_pools`.
    """
    pool = pool_at(series, moment or series.time[-1], beyond)
    found = level_from_pools(pool.elevation_m, normal_pool_m, series.datum, normal_datum)
    last = moment is None
    return found._replace(
        how=f"{series.name}: {'newest reading, ' if last else ''}{pool.how}",
        carried_m=pool.carried_m,
        measured=moment is None or moment <= series.time[-1],
        notes=(*series.said, *found.notes),
    )
