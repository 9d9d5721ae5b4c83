"""Make soundings of a sounder's log: corrected to chart datum, spikes flagged, thinned by cell."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Any, NamedTuple

from castshed.toolbox.algorithm import algorithm
from castshed.toolbox.parameters import (
    POINT,
    BoxMargin,
    Choice,
    Column,
    Columns,
    DayOf,
    DepthUnit,
    Layer,
    Length,
    NormalDatum,
    NormalPool,
    PoolLevels,
    Shoreline,
    SounderLogs,
    Speed,
    TodaysLevel,
    YesNo,
    ZoneOfTimes,
    defaults,
)
from castshed.toolbox.text import how_many

if TYPE_CHECKING:
    from collections.abc import Callable

    from geopandas import GeoDataFrame

    from castshed.toolbox.intake.logs.sounder_log import SounderLog
else:  # at run time the plain type plays no part
    GeoDataFrame = object

Kept = Annotated[str, Choice(("least", "middle"))]
NewSoundings = Annotated[
    GeoDataFrame,
    Layer(
        "soundings",
        POINT,
        needs=(
            Column("depth_m"),
            Column("time", "text", gaps=True),
            Column("surveyed", "text", gaps=True),
            Column("source", "text"),
            Column("readings"),
            Column("depth_least_m"),
            Column("depth_most_m"),
        ),
    ),
]
Readings = Annotated[
    GeoDataFrame,
    Layer(
        "readings",
        POINT,
        needs=(
            Column("source", "text"),
            Column("line"),
            Column("time", "text", gaps=True),
            Column("measured_m", gaps=True),
            Column("depth_m", gaps=True),
            Column("used"),
            Column("reason", "text", gaps=True),
        ),
        may_lack_place=True,
    ),
]


class Sounded(NamedTuple):
    """Soundings to use, and every reading they were chosen from."""

    soundings: NewSoundings
    readings: Readings


def _day(date: str) -> float:
    from datetime import UTC, datetime

    from castshed.toolbox.errors import UsageError

    if not date.strip():
        return float("nan")
    try:
        return datetime.fromisoformat(date.strip()).replace(tzinfo=UTC).timestamp()
    except ValueError as fault:
        raise UsageError(
            f"date is '{date}'; write the day of the log as year-month-day, such as 2026-05-16."
        ) from fault


def _columns(entries: tuple[str, ...]) -> dict[str, str]:
    from castshed.toolbox.errors import UsageError

    found: dict[str, str] = {}
    for entry in entries:
        role, equals, header = (part.strip() for part in entry.partition("="))
        if not equals or role not in ("latitude", "longitude", "depth", "time") or not header:
            raise UsageError(
                f"columns: '{entry}' cannot be used; write role=Header with one of latitude, longitude, depth, time."
            )
        found[role] = header
    return found


def _tell(log: SounderLog, judged: Any, *, given: bool) -> None:

    import numpy as np

    from castshed.toolbox.report import note

    told = [*log.said]
    told += [f"{number:,} {words}" for words, number in log.counted.items()]
    for words, number in judged["reason"][judged["reason"] != ""].value_counts().items():
        told.append(f"{how_many(number, 'reading')} not used: {words}")
    if len(log) and not given and (np.isnan(log.transducer_m) & ~log.below_surface).any():
        told.append(
            "depths are below the transducer and its depth is not known, so all are too shallow by it: give transducer"
        )
    if len(log) and np.isnan(log.time_s).all():
        told.append("no date: give date so that newer soundings go before older ones")
    if told:
        note(f"{log.name}: {'; '.join(told)}.", stacklevel=4)


def _levels(
    level_m: float | None, levels: Any, normal_pool_m: float | None, normal_datum: str, zone: str
) -> Callable[[Any], Any]:
    """Make the level at moments (seconds since 1970): one for all, or read off the table; NaN outside its readings."""
    import numpy as np

    from castshed.toolbox.errors import UsageError
    from castshed.toolbox.intake.series.level_table import to_levels
    from castshed.toolbox.intake.series.level_words import datum_name
    from castshed.toolbox.intake.series.series_table import SeriesTable
    from castshed.toolbox.water.level.pool_level import level_from_series

    if (level_m is None) == (levels is None):
        raise UsageError(
            "Give the level of the day of the log, or levels (pool elevations over time): one of them."
        )
    if level_m is not None:
        if normal_pool_m is not None:
            raise UsageError("normal-pool belongs to levels; the level itself needs none.")
        return lambda time_s: np.full(len(time_s), level_m)
    if normal_pool_m is None:
        raise UsageError(
            "normal-pool is missing: the elevation of the surface that the charted depths refer to, such as 712ft."
        )
    series = levels
    if isinstance(series, SeriesTable):
        series = to_levels(series, zone=zone, wanted_datum=normal_datum)
    # One reading goes through the checks of units and datums; the others lie as far from it as their elevations do.
    last = level_from_series(series, normal_pool_m, datum_name(normal_datum)).level_m - series.elevation_m[-1]
    seconds = np.array([moment.timestamp() for moment in series.time])
    return lambda time_s: np.interp(time_s, seconds, series.elevation_m + last, left=np.nan, right=np.nan)


@algorithm(
    step="gather",
    example=(
        "castshed read-log demo_layers/sounder_log.nmea --shoreline demo_layers/reservoir.gpkg:shoreline --level -4ft "
        "--transducer 1ft --out my_log.gpkg"
    ),
)
def read_log(
    logs: SounderLogs,
    *,
    shoreline: Shoreline,
    level_m: TodaysLevel | None = None,
    levels: PoolLevels | None = None,
    normal_pool_m: NormalPool | None = None,
    normal_datum: NormalDatum = "",
    zone: ZoneOfTimes = "",
    transducer_m: Length | None = None,
    thinning_m: Length = 5.0,
    keep: Kept = "least",
    depth_unit: DepthUnit | None = None,
    columns: Columns = (),
    date: DayOf = "",
    unchecked: YesNo = False,
    most_speed_mps: Speed = 40.0,
    outside_m: BoxMargin = defaults.OUTSIDE_M,
) -> Sounded:
    """Make soundings of a sounder's log: corrected to chart datum, spikes flagged, thinned by cell.

    Logs are NMEA 0183 text (fixes from RMC and GGA, depths from DPT, else DBT, else DBS), CSV tables, or crowd-sourced
    bathymetry as CSV or GeoJSON (IHO publication B-12). Checksums are verified; sentences that are wrong are counted,
    not used. To each depth below the transducer the depth of the transducer is added, and that day's level is taken
    off, so that depth_m is below chart datum. Spikes are found by the median and the median absolute deviation of 11
    readings along the track. Nothing is deleted: readings holds every reading with its line, and why it is not used.
    The soundings go into depth-surface beside contours; their day of survey decides how much they weigh there.

    The level is that of the day of the log, and --date its day where its sentences carry none; with levels in place
    of it the normal pool is needed too. The columns of a CSV have the roles latitude, longitude, depth and time.

    Parameters
    ----------
    logs
        One log or several; with level, all of days with that level.
    shoreline
        The lake's water edge: its reference system is that of the soundings, its box is where they may lie.
    levels
        Instead of level, pool elevations over time, as for level: each reading gets the level of its moment.
    transducer_m
        Depth of the transducer below the water line; without it what the log says (a positive offset in DPT, the draft
        of the platform) is used.
    thinning_m
        Side of the cells of which each keeps one sounding.
    keep
        Which one: the least depth, the safe side and the habit of hydrographic surveys, or the middle one.
    unchecked
        Also use sentences that carry no checksum.
    most_speed_mps
        A position that would take a higher speed from the track and back to it is not used.

    Returns
    -------
    Sounded
        ``soundings`` and ``readings``.

    Raises
    ------
    UsageError
        A date, a column or a unit cannot be understood, or the level is given twice or not at all.
    DataError
        A log is in another format.

    Notes
    -----
    Rule for spikes: identifier of Hampel, see `castshed.toolbox.water.bottom.readings.spikes`. What makes the result
    wrong: a level of another day; the speed of sound in warm or cold water against the sounder's setting (about one
    part in a hundred for 5 degrees Celsius, common practice); weed that reads as bottom; a tree under one reading,
    which is flagged as a spike above its neighbours. A sounding is no promise of depth: look before you run there.

    Examples
    --------
    >>> from castshed.toolbox.intake.logs.log_table import LogFile
    >>> soundings, readings = read_log([LogFile(path)], shoreline=lake, level_m=-1.2)  # doctest: +SKIP
    """
    import geopandas
    import numpy as np
    import pandas as pd

    from castshed.toolbox.errors import UsageError
    from castshed.toolbox.intake.book.placing import LakeExtent
    from castshed.toolbox.intake.logs.sounder_log import SounderLog, judge_log
    from castshed.toolbox.water.bottom.readings import thin

    if thinning_m <= 0.0:
        raise UsageError("thinning has to be more than nothing, such as 5m.")
    lake = LakeExtent.of(shoreline, outside_m)
    level = _levels(level_m, levels, normal_pool_m, normal_datum, zone)
    day_s, named = _day(date), _columns(tuple(columns))
    parts = []
    for one in logs:
        log = (
            one
            if isinstance(one, SounderLog)
            else one.read(day_s=day_s, unchecked=unchecked, depth_unit=depth_unit, columns=named)
        )
        parts.append(judge_log(log, lake, level, transducer_m, most_speed_mps))
        _tell(log, parts[-1], given=transducer_m is not None)
    table = pd.concat(parts, ignore_index=True)
    used = np.flatnonzero(table["used"].to_numpy() == 1)
    chosen = table.iloc[used]
    pick, count, least, most = thin(
        chosen["x"].to_numpy(),
        chosen["y"].to_numpy(),
        chosen["depth_m"].to_numpy(),
        thinning_m,
        least=keep == "least",
    )
    kept = chosen.iloc[pick].reset_index(drop=True)
    soundings = pd.DataFrame(
        {
            "depth_m": kept["depth_m"], "time": kept["time"], "surveyed": kept["time"].str.slice(0, 10),
            "source": kept["source"], "readings": count, "depth_least_m": least, "depth_most_m": most,
        }
    )  # fmt: skip
    readings = table.drop(columns=["x", "y", "shape"])
    return Sounded(
        geopandas.GeoDataFrame(soundings, geometry=kept["shape"].to_numpy(), crs=shoreline.crs),
        geopandas.GeoDataFrame(readings, geometry=table["shape"].to_numpy(), crs=shoreline.crs),
    )
