"""Today's level from a number, from two pool elevations, or from a table of them."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Any, Literal

from castshed.toolbox.algorithm import algorithm
from castshed.toolbox.parameters import (
    BeyondReadings,
    Columns,
    ElevationUnit,
    FolderContents,
    FolderSet,
    LevelItself,
    NormalDatum,
    NormalPool,
    ParameterCode,
    PoolDatum,
    PoolElevation,
    PoolLevels,
    ReadOffTime,
    WordList,
    ZoneOfTimes,
)

if TYPE_CHECKING:
    from castshed.toolbox.water.level.pool_level import LevelFound

Beyond = Literal["refuse", "hold", "trend"]
CAUTION = (
    "A level is a figure of one gauge at one time: wind, releases and rain change it, and stumps, timber and "
    "structures come nearer the surface as water falls. Check the operator's own reading before you launch."
)


def _both(value_m: float) -> str:
    from castshed.toolbox.units import FOOT_M

    return f"{value_m:.3f} m ({value_m / FOOT_M:.2f} ft)"


def _said(found: LevelFound) -> tuple[str, ...]:
    """Say the level to people, what it rests on, and how to pass it on."""
    where = "at" if abs(found.level_m) < 5e-4 else ("below" if found.level_m < 0 else "above")
    by = "" if where == "at" else f"{_both(abs(found.level_m))} "
    lines = [
        f"Level {_both(found.level_m)}: the surface stands {by}{where} the level that charted depths refer to.",
        f"From: {found.how}.",
    ]
    if found.carried_m:
        lines.append(f"Of this, {_both(found.carried_m)} is carried on beyond the last reading.")
    lines += [f"Note: {note}." for note in found.notes]
    return (*lines, f"Other commands take it as --level {found.level_m:.3f}m. {CAUTION}")


def _find(
    table: PoolLevels | None,
    today_m: float | None,
    pool_m: float | None,
    normal_pool_m: float | None,
    *,
    datum: str,
    normal_datum: str,
    time: str,
    zone: str,
    beyond: str,
    columns: WordList,
    unit: str,
    parameter: str,
) -> LevelFound:
    from castshed.toolbox.errors import UsageError
    from castshed.toolbox.intake.series.level_table import to_levels
    from castshed.toolbox.intake.series.level_words import datum_name
    from castshed.toolbox.intake.series.series_table import SeriesTable
    from castshed.toolbox.intake.series.series_times import read_time
    from castshed.toolbox.water.level.pool_level import LevelFound, level_from_pools, level_from_series

    ways = [n for n, v in (("today", today_m), ("pool", pool_m), ("table", table)) if v is not None]
    if len(ways) != 1:
        raise UsageError(
            f"The level is given {'by ' + ' and '.join(ways) if ways else 'by nothing'}; give one of: today (the level "
            "itself), pool with normal-pool (two elevations), or table with normal-pool (elevations over time)."
        )
    if table is None and (time or columns or unit or parameter or beyond != "refuse"):
        raise UsageError(
            "time, beyond, columns, unit and parameter belong to a table; give one, or leave them."
        )
    if today_m is not None:
        if normal_pool_m is not None or datum or normal_datum:
            raise UsageError(
                "today is the level itself; leave normal-pool and the datums, or give pool instead."
            )
        return LevelFound(float(today_m), "as given")
    if normal_pool_m is None:
        raise UsageError(
            "normal-pool is missing: the elevation of the surface that the charted depths refer to, such as 712ft; the "
            "lake's operator publishes it."
        )
    if pool_m is not None:
        return level_from_pools(pool_m, normal_pool_m, datum_name(datum), datum_name(normal_datum))
    series = table
    if isinstance(series, SeriesTable):
        series = to_levels(
            series,
            columns=columns,
            unit=unit,
            zone=zone,
            parameter=parameter,
            wanted_datum=normal_datum,
            datum=datum_name(datum),
        )
    moment = read_time(time, zone) if time else None
    assert series is not None
    return level_from_series(series, normal_pool_m, datum_name(normal_datum), moment, beyond)


@algorithm(
    step="water",
    example="castshed level my_level --table demo_layers/pool_levels.csv --zone America/Chicago "
    "--normal-pool 712ft --normal-datum NGVD29 --time 2026-05-16T06:00-05:00",
)
def level(
    *,
    today_m: LevelItself | None = None,
    pool_m: PoolElevation | None = None,
    normal_pool_m: NormalPool | None = None,
    table: PoolLevels | None = None,
    datum: PoolDatum = "",
    normal_datum: NormalDatum = "",
    time: ReadOffTime = "",
    zone: ZoneOfTimes = "",
    beyond: BeyondReadings = "refuse",
    columns: Columns = (),
    unit: ElevationUnit = "",
    parameter: ParameterCode = "",
) -> Annotated[FolderContents, FolderSet(("level.json",))]:
    """Work out today's level: the surface against the level that charted depths refer to.

    From a number; from the elevations of pool and normal pool on one vertical datum; or from a table of pool
    elevations over time, read off at a moment. Tables are CSV, with date and time in one column or two and lines above
    the heads; the tab-separated and JSON forms of a national water service, known by parameter code: 62614 (feet,
    NGVD29), 62615 (feet, NAVD88), 62616 (metres, NGVD29); WaterML 2.0; and other agencies' features and lists in JSON
    that name what was observed. Dates such as 5/6/2026 are read as their neighbours tell; where nothing tells,
    `--columns dates=month-first` or `dates=day-first` does. A gage height is no elevation. Elevations on two datums are
    refused: their difference is no level.

    Between two readings the straight line counts. Beyond the last one nothing is made up unless asked for: `hold`
    keeps the last reading, `trend` carries on the rise of the last three days, at most seven days, and both are said
    to be not measured. A foot is the international foot; `ftUS` is the US survey foot (0.6 mm apart at 1,000 ft).

    The folder gets level.json. Day files take the same keys under [level].

    Parameters
    ----------
    table
        Pool elevations over time; `--columns` takes time, date, zone, elevation and datum.

    Returns
    -------
    FolderContents
        `level.json` with `level_m`, `level_ft`, the elevations, the datum, how it was found, whether it was measured,
        notes and a caution.

    Raises
    ------
    NoSolution
        The time is outside the table, and carrying on was not asked for or is too far.
    """
    import json

    from castshed.toolbox.report import note, plain
    from castshed.toolbox.units import FOOT_M

    found = _find(
        table,
        today_m,
        pool_m,
        normal_pool_m,
        datum=datum,
        normal_datum=normal_datum,
        time=time,
        zone=zone,
        beyond=beyond,
        columns=columns,
        unit=unit,
        parameter=parameter,
    )
    if not found.measured:
        note(f"The level is not measured: {found.how}.", stacklevel=2)
    figures: dict[str, Any] = {
        "level_m": round(found.level_m, 4),
        "level_ft": round(found.level_m / FOOT_M, 3),
        "measured": found.measured,
        "carried_m": round(found.carried_m, 4),
        "pool_m": found.pool_m,
        "normal_pool_m": found.normal_pool_m,
        "datum": found.datum,
        "how": found.how,
        "notes": list(found.notes),
    }
    text = json.dumps(plain({**figures, "caution": CAUTION}), ensure_ascii=False, indent=1) + "\n"
    shown = {
        key: figures[key] for key in ("level_m", "level_ft", "measured", "carried_m", "datum", "how", "notes")
    }
    return FolderContents(files={"level.json": text.encode()}, figures=shown, said=_said(found))
