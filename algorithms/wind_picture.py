"""Pictures of a day's wind: a rose with its hours, and a strip of spots by hours."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Annotated, Any, Final

from castshed.toolbox.algorithm import algorithm
from castshed.toolbox.parameters import (
    Count,
    Exposure,
    FileSet,
    HourVerdicts,
    LakeZone,
    Spots,
    Title,
    UnitSystem,
)

if TYPE_CHECKING:
    from geopandas import GeoDataFrame

FILES: Final = ("wind_rose.png", "exposure_strip.png")
MOST_HOURS: Final = 48


def _places(exposure: GeoDataFrame) -> list[tuple[str, str]]:
    """Key and label of each place in the order of the layer: spots, or holds where a spot has several."""
    if "hold_no" not in exposure.columns:
        return [(one, one) for one in dict.fromkeys(exposure["spot_id"].astype(str))]
    pairs = dict.fromkeys(zip(exposure["spot_id"].astype(str), exposure["hold_no"].astype(str), strict=True))
    several: dict[str, int] = {}
    for spot, _ in pairs:
        several[spot] = several.get(spot, 0) + 1
    return [
        (f"{spot}\n{hold}", f"{spot} hold {hold.removesuffix('.0')}" if several[spot] > 1 else spot)
        for spot, hold in pairs
    ]


def _verdict_grids(
    verdicts: GeoDataFrame, spots: list[str], instants: dict[Any, int], count: int
) -> tuple[Any, Any]:
    """Fishable and marginal by place and hour, of the spot each place belongs to."""
    import datetime as dt

    import numpy as np

    from castshed.toolbox.errors import DataError
    from castshed.toolbox.water.wind.forecast import read_hours

    hours, column = read_hours(verdicts["time"].tolist())
    at = [instants.get(one.astimezone(dt.UTC), -1) for one in hours.start]
    if -1 in at or len(at) < count:
        raise DataError(
            "verdicts and exposure have different hours; run fishable with --exposure on the same layer."
        )
    of_spot: dict[str, list[int]] = {}
    for row, spot in enumerate(spots):
        of_spot.setdefault(spot, []).append(row)
    good, unsure = (np.zeros((len(spots), count), dtype=bool) for _ in range(2))
    told = zip(
        verdicts["spot_id"].astype(str), column, verdicts["fishable"], verdicts["marginal"], strict=True
    )
    for spot, hour, fishable, marginal in told:
        for row in of_spot.get(spot, ()):
            good[row, at[hour]], unsure[row, at[hour]] = bool(fishable), bool(marginal)
    return good, unsure


@algorithm(
    step="wind",
    example="castshed wind-picture my.gpkg:exposure --spots demo_layers/reservoir.gpkg:spots "
    "--time-zone America/Chicago --out my_files",
)
def wind_picture(
    exposure: Exposure,
    *,
    verdicts: HourVerdicts | None = None,
    spots: Spots | None = None,
    time_zone: LakeZone = "",
    most_rows: Count = 60,
    title: Title = "",
    units: UnitSystem = "US",
) -> Annotated[Mapping[str, bytes], FileSet(FILES)]:
    """Draw the wind of a day: a rose, its hours, and a strip of spots by hours.

    The rose shows from where the wind blows and for how many hours, by speed; below it stand wind and gusts of every
    hour. The strip shows for each spot and hour how high the waves may be (the upper end of the band), and with the
    verdicts of fishable the hours in which the spot is fishable. Dark hours are marked on both.

    The figures are estimates. A pale cell says that a small figure came out, not that a boat can go there: the
    official forecast and what you see on the water come first.

    Parameters
    ----------
    exposure
        Wind and waves by place and hour, from wind-exposure with a forecast.
    verdicts
        Verdicts by spot and hour, from fishable with the same exposure.
    spots
        Spots, for their names.
    most_rows
        Greatest number of rows in the strip; the others are counted below it.

    Returns
    -------
    Mapping
        File name to content: wind_rose.png, exposure_strip.png.

    Raises
    ------
    DataError
        No hours, more than 48 of them, or verdicts of other hours.
    """
    import datetime as dt

    import numpy as np

    from castshed.toolbox.errors import DataError
    from castshed.toolbox.output.sheets.exposure_strip import Strip, draw_strip
    from castshed.toolbox.output.sheets.wind_day import draw_wind_day
    from castshed.toolbox.output.sheets.wind_hours import WindDay
    from castshed.toolbox.water.light.sun import darkness, middle_of, zone_of
    from castshed.toolbox.water.verdicts.hour_verdicts import hour_table
    from castshed.toolbox.water.wind.forecast import intervals

    if exposure.empty:
        raise DataError("The exposure layer has no rows; run wind-exposure with a forecast.")
    zone = zone_of(time_zone) if time_zone else None
    places = _places(exposure)
    keyed = exposure.assign(
        spot_id=exposure["spot_id"].astype(str)
        if "hold_no" not in exposure.columns
        else exposure["spot_id"].astype(str) + "\n" + exposure["hold_no"].astype(str)
    )
    blank = exposure["spot_id"].astype(str).str.strip() == ""
    keyed.loc[blank, "spot_id"] = ""
    table = hour_table(keyed, [key for key, _ in places], zone=zone)
    hours = table.hours
    if len(hours) > MOST_HOURS:
        raise DataError(
            f"The exposure layer has {len(hours)} hours; {MOST_HOURS} can be drawn. Run wind-exposure with "
            "--first-time and --last-time for the day that matters."
        )
    middle = middle_of(exposure.total_bounds, exposure.crs)
    day = WindDay(
        hours.start,
        table.lake_wind_mps,
        np.array([_most(column) for column in table.gust_mps.T]),
        table.lake_wind_from_deg,
        np.array(
            [
                bool(darkness(start, end, zone or start.tzinfo or dt.UTC, *middle))
                for start, end in zip(hours.start, hours.end, strict=True)
            ],
            dtype=bool,
        ),
    )
    ids = [key.partition("\n")[0] for key, _ in places]
    names = (
        {}
        if spots is None
        else dict(zip(spots["spot_id"].astype(str), spots["name"].astype(str), strict=True))
    )
    labels = [
        f"{names[spot]}{label.removeprefix(spot)}" if names.get(spot) else label
        for spot, (_, label) in zip(ids, places, strict=True)
    ]
    shown = min(len(places), most_rows) if most_rows else len(places)
    good = unsure = None
    told: list[str] = []
    if verdicts is not None:
        instants = {one.astimezone(dt.UTC): at for at, one in enumerate(hours.start)}
        good, unsure = _verdict_grids(verdicts, ids[:shown], instants, len(hours))
        told = [intervals(hours, row) for row in good]
    strip = Strip(labels[:shown], table.wave_high_m[:shown], good, unsure, told, len(places) - shown)
    return {
        "wind_rose.png": draw_wind_day(day, title=title or "Wind of the day", units=units),
        "exposure_strip.png": draw_strip(strip, day, title=title or "Exposure by the hour", units=units),
    }


def _most(values: Any) -> float:
    """Greatest known value, NaN where none is."""
    import numpy as np

    known = values[np.isfinite(values)]
    return float(known.max()) if known.size else float("nan")
