"""Fetch, waves and lee at spots or holds for one wind or the hours of a forecast."""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal, NamedTuple

from castshed.toolbox.algorithm import algorithm
from castshed.toolbox.parameters import (
    Columns,
    Depth,
    Duration,
    Exposure,
    HourlyExposure,
    Length,
    Places,
    SpeedUnits,
    TodaysLevel,
    Water,
    WindForecast,
    WindFrom,
    WindOver,
    WindSpeed,
    WordList,
    Words,
    ZoneOfTimes,
    defaults,
)
from castshed.toolbox.text import how_many

if TYPE_CHECKING:
    from geopandas import GeoDataFrame

    from castshed.toolbox.intake.series.series_table import SeriesTable
    from castshed.toolbox.water.wind.forecast import Forecast

Method = Literal["spm-1984", "young-verhagen-1996", "hurdle-stive-1989", "cem-2002", "aces-1992"]
Fetch = Literal["by-width", "straight", "effective", "restricted"]


class WindExposure(NamedTuple):
    """The places with the wind's figures, and for a forecast a row for each place and hour."""

    places: Exposure
    exposure: HourlyExposure | None


def _named(rows: GeoDataFrame) -> str:
    """Name the first few rows by their id, where they have one."""
    from castshed.toolbox.water.wind.exposure_hours import place_ids

    names = place_ids(rows)
    return ", ".join(names[:5]) + (f" and {len(names) - 5} more" if len(names) > 5 else "")


def _winds(
    wind_from_deg: float | None,
    wind_mps: float | None,
    forecast: SeriesTable | Forecast | None,
    *,
    columns: WordList,
    units: WordList,
    zone: str,
    first_time: str,
    last_time: str,
    wind_height_m: float | None,
    averaged_s: float | None,
) -> Forecast:
    """Bring one wind, or a forecast in whatever form, to winds at 10 m over hours; one wind is one hour of no date."""
    import datetime as dt

    import numpy as np

    from castshed.toolbox.errors import UsageError
    from castshed.toolbox.intake.series.forecast_table import to_forecast
    from castshed.toolbox.intake.series.series_table import SeriesTable
    from castshed.toolbox.intake.series.series_times import read_time
    from castshed.toolbox.water.wind.forecast import Forecast, wind_at_10_m

    if forecast is None:
        if wind_from_deg is None or wind_mps is None:
            raise UsageError("Give one wind with wind-from and wind-speed, or hourly winds with forecast.")
        if columns or units or zone or first_time or last_time:
            raise UsageError(
                "columns, speed-units, zone, first-time and last-time belong to a forecast; give one, or leave them."
            )
        speed = np.array([float(wind_mps)])
        if wind_height_m is not None:
            speed = wind_at_10_m(speed, wind_height_m)
        moment = dt.datetime(1970, 1, 1, tzinfo=dt.UTC)
        return Forecast((moment,), speed, np.array([np.nan]), np.array([float(wind_from_deg)]), averaged_s)
    if wind_from_deg is not None or wind_mps is not None:
        raise UsageError("A forecast and a single wind are given; give one of them.")
    if isinstance(forecast, SeriesTable):
        forecast = to_forecast(
            forecast,
            columns=columns,
            in_units=units,
            zone=zone,
            height_m=wind_height_m,
            averaged_s=averaged_s,
        )
    elif not isinstance(forecast, Forecast):
        raise UsageError(f"forecast is a {type(forecast).__name__}; give a table of winds over hours.")
    elif columns or units or wind_height_m is not None or averaged_s is not None:
        raise UsageError(
            "columns, units, wind-height and averaged are for a table; a Forecast states its own."
        )
    return forecast.between(
        read_time(first_time, zone, name="first-time") if first_time else None,
        read_time(last_time, zone, name="last-time") if last_time else None,
    )


@algorithm(
    step="wind",
    example="castshed wind-exposure demo_layers/reservoir.gpkg:spots "
    "my_day/plan.gpkg:water --forecast demo_layers/forecast.csv --first-time 2026-05-16T06:00-05:00 "
    "--depth demo_layers/reservoir.gpkg:depth --level -4ft --out my.gpkg:windy_spots",
)
def wind_exposure(
    places: Places,
    water: Water,
    *,
    wind_from_deg: WindFrom | None = None,
    wind_speed_mps: WindSpeed | None = None,
    forecast: WindForecast | None = None,
    columns: Columns = (),
    speed_units: SpeedUnits = (),
    zone: ZoneOfTimes = "",
    first_time: Words = "",
    last_time: Words = "",
    wind_height_m: Length | None = None,
    averaged_s: Duration | None = None,
    wind_over: WindOver = defaults.WIND_OVER,
    depth: Depth | None = None,
    level_m: TodaysLevel = 0.0,
    wave_method: Method = "spm-1984",
    fetch: Fetch = "by-width",
    duration_s: Duration | None = None,
    near_bank_m: Length = 100.0,
) -> WindExposure:
    """Measure fetch and estimate waves at spots or holds for a wind or an hourly forecast.

    Every row comes back with what the wind does there: fetch to the first shore upwind, significant wave height and
    peak period by a named published method, the least and greatest height of all methods, and the bank it lies under:
    `lee` (the bank the wind comes over is near), `windward` (the bank the wind blows onto is near) or `open`. Some
    want the lee and some the windward bank; the tool only tells. A point is judged where it lies, a line or polygon
    at one point of it on today's water. Rows off the water keep their place, without figures.

    Of a forecast every hour is worked; where the wind varies (`VRB`), each place has the worst of 24 bearings.
    The rows then carry the hour with the highest waves, the greatest wind and gusts, and the means over the hours; a
    second layer `exposure` has a row for each place and hour. Winds and waves are told by the true bearing they come
    from.

    The figures are estimates for a steady wind. They know no gusts, squalls, boat wakes or waves thrown back by a
    bluff, and single waves reach nearly twice the significant height: a small figure does not say that a boat can go
    there. The official forecast and what you see on the water come first.

    Parameters
    ----------
    places
        Spots, holds or any other layer.
    water
        Today's water, from water-today.
    forecast
        Winds over hours: a table with the columns time (or date and time), wind, gust (may be missing) and wind_from,
        units in the header (wind_mph) and zones in the times (2026-05-16T06:00-05:00); or the JSON of a public weather
        service. Of a range, "8 to 12 mph", the upper end counts; a wind from one bearing to another varies.
    first_time, last_time
        First and last hour that matters, both included; by default the whole forecast.
    wind_height_m
        Height above the water for which the wind is stated; by default as the forecast says, else 10 m.
    averaged_s
        Over how long the wind is averaged; by default as the forecast says, else it is taken as it is.
    depth
        Depth coverage, for the mean depth along the fetch and the breaking limit; without it the deep-water form.
    wave_method
        Published method of the estimate: SPM 1984, Young and Verhagen 1996, Hurdle and Stive 1989, CEM 2002 or
        ACES 1992.
    fetch
        By width (the straight line, and the restricted fetch where the water is narrow for the wind: its waves run off
        it, and higher); always the straight line; the effective fetch of fifteen radials, each weighted with the
        cosine of its angle; or always the restricted fetch of narrow water, whose waves run from where the fetch is
        long and not only from where the wind is (it has its own law of growth). The band of heights covers all of them
        whichever is chosen.
    duration_s
        How long the wind has blown so; without it long enough for the fetch to limit the waves.
    near_bank_m
        How near a bank has to be for lee or windward (common practice).

    Returns
    -------
    The rows of places with `fetch_m`, `fetch_depth_m`, `wave_m`, `wave_low_m`, `wave_high_m`, `period_s`,
    `wave_method`, `wave_from_deg`, `wind_mps`, `wind_from_deg`, `bank`; of a forecast also `gust_mps`, `worst_time`,
    `wave_mean_m`, `wind_mean_mps`. The second layer, or None for a single wind.

    Notes
    -----
    Methods, sources and limits: `castshed.toolbox.water.wind.waves.wave_height`. Fetch: straight lines against every
    vertex of the shoreline. The Coastal Engineering Manual asks for the straight line; with the effective fetch its
    share of the band is still worked from the straight one, and choosing it with the effective fetch is pointed out.
    Restricted fetch: Donelan 1980 in the form of ACES (US Army CERC 1992), `castshed.toolbox.water.wind.restricted`.
    Corrections for height and averaging: `castshed.toolbox.water.wind.forecast`. `wind_mps` is the wind at 10 m, as
    averaged in the forecast; the waves are worked from the mean over the time they need.
    """
    from dataclasses import replace

    import numpy as np

    from castshed.toolbox.lon_lat import north_of
    from castshed.toolbox.report import note
    from castshed.toolbox.water.ways.safe_water import union_of
    from castshed.toolbox.water.wind.exposure import place_points
    from castshed.toolbox.water.wind.exposure_hours import expose_hours, hourly_rows, worst_of_hours
    from castshed.toolbox.water.wind.forecast import over_water

    winds = _winds(
        wind_from_deg,
        wind_speed_mps,
        forecast,
        columns=columns,
        units=speed_units,
        zone=zone,
        first_time=first_time,
        last_time=last_time,
        wind_height_m=wind_height_m,
        averaged_s=averaged_s,
    )

    if wind_over == "land":
        winds = over_water(winds)

    def warn(text: str) -> None:
        note(text, stacklevel=3)

    for told in winds.said:
        warn(f"forecast: {told}.")
    if wave_method == "cem-2002" and fetch == "effective":
        warn(
            "wave-method cem-2002 with the effective fetch: the Coastal Engineering Manual asks for the straight line; "
            "its waves come out too low or too high. Use --fetch straight, or another method."
        )
    surface = union_of(water.geometry.to_numpy())
    points = place_points(places.geometry.to_numpy(), surface)
    north = north_of(water)
    found = expose_hours(
        points,
        surface,
        replace(winds, wind_from_deg=(winds.wind_from_deg - north) % 360.0),
        surface=depth,
        level_m=level_m,
        method=wave_method,
        effective=fetch == "effective",
        restricted=fetch == "restricted",
        by_width=fetch == "by-width",
        duration_s=duration_s,
        near_m=near_bank_m,
    )
    found = replace(found, wave_from_deg=(found.wave_from_deg + north) % 360.0)
    result: GeoDataFrame = worst_of_hours(places, found, winds)
    hourly: GeoDataFrame | None = None
    if forecast is None:
        result = result.drop(columns=["gust_mps", "worst_time", "wave_mean_m", "wind_mean_mps"])
    else:
        hourly = hourly_rows(places, found, winds)

    ashore = np.isnan(found.fetch_m).all(axis=1)
    if ashore.any():
        are = "is" if ashore.sum() == 1 else "are"
        warn(
            f"{int(ashore.sum())} of {how_many(len(result), 'place')} {are} not on today's water, without fetch or "
            "waves: "
            f"{_named(result[ashore])}."
        )
    if depth is not None:
        unknown = np.isnan(found.fetch_depth_m).any(axis=1) & ~ashore
        if unknown.any():
            warn(
                f"{how_many(int(unknown.sum()), 'place has', 'places have')} a depth on less than half of the fetch; "
                "the deep-water form is "
                f"used there: {_named(result[unknown])}."
            )
    return WindExposure(result, hourly)
