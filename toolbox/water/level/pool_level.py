"""Today's level: from two elevations of the surface, or from a table of them; never across two vertical datums."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final, NamedTuple

from ...errors import UsageError
from .level_arithmetic import level_of
from .level_series import pool_at

if TYPE_CHECKING:
    import datetime as dt

    from .level_series import LevelSeries

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
        See `castshed.toolbox.water.level.level_series.pool_at`.

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
