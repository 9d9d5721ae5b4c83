"""The hours of the page: when the boat is planned to be where, and what each hour brings at each stop."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

import pandas as pd

from ...text import bearing_text, both_speeds, both_waves, number, one_line, units_in_order
from ..maps.chart_table import records
from .page_map import in_order, told

if TYPE_CHECKING:
    import geopandas as gpd

    from ..maps.plan_facts import StopFacts


def _moment(value: Any) -> pd.Timestamp | None:
    try:
        at = pd.Timestamp(one_line(value)) if one_line(value) else None
    except ValueError:
        return None
    return None if at is None or pd.isna(at) or at.tzinfo is None else at


def _weather(row: Mapping[str, Any], *, metric: bool) -> str:
    wind, come, wave = (number(row.get(name)) for name in ("wind_mps", "wind_from_deg", "wave_high_m"))
    wave = wave if math.isfinite(wave) else number(row.get("wave_m"))
    said = []
    if math.isfinite(wind):
        told = f"wind {both_speeds(wind, metric_first=metric)}"
        said.append(told + (f" from {bearing_text(come)}" if math.isfinite(come) else ""))
    if math.isfinite(wave):
        said.append(f"waves to {both_waves(wave, metric_first=metric)}")
    return ", ".join(said)


def _of_spots(table: gpd.GeoDataFrame | None, spots: set[str]) -> gpd.GeoDataFrame | None:
    """Keep the rows of the stops: a table by the hour holds every spot of the lake."""
    if table is None or "spot_id" not in table:
        return None
    return table[[one_line(one) in spots for one in table["spot_id"]]]


def hours_of_page(
    stops: gpd.GeoDataFrame,
    facts: Sequence[StopFacts],
    tables: Mapping[str, gpd.GeoDataFrame],
    *,
    metric: bool,
) -> dict[str, Any]:
    """Tell when each stop is reached and left, and wind, waves and verdict by the hour where they are known.

    Parameters
    ----------
    stops
        Stops with ``arrive`` and ``leave``.
    facts
        What is said of them, in order.
    tables
        ``verdicts`` and ``exposure`` by the hour, where there are any.
    metric
        Whether metres come first.

    Returns
    -------
    dict
        ``times``: minutes from midnight of the first day to each arrival and leaving, None where not known; ``begin``
        and ``end``: whole hours round them; ``hours``: the minute at which each hour begins and, by the place of a
        stop in the order, whether it can be fished and in which weather. Empty where no stop has a time.
    """
    moments = [
        (_moment(arrive), _moment(leave)) for arrive, leave, _ in told(in_order(stops), "arrive", "leave")
    ]
    known = [at for pair in moments for at in pair if at is not None]
    if len(known) < 2:
        return {}
    first = min(known)
    midnight = first.normalize()

    def minute(at: pd.Timestamp | None) -> float | None:
        return None if at is None else round((at - midnight).total_seconds() / 60.0, 2)

    end = max(known)
    places: dict[str, list[str]] = {}
    for k, stop in enumerate(facts):
        places.setdefault(stop.spot_id, []).append(str(k))
    hours: dict[float, dict[str, dict[str, Any]]] = {}
    for name in ("exposure", "verdicts"):
        for row in records(_of_spots(tables.get(name), set(places))):
            at, own = _moment(row.get("time")), places.get(one_line(row.get("spot_id")), [])
            if at is None or not own:
                continue
            at_hour = hours.setdefault(round((at - midnight).total_seconds() / 60.0, 2), {})
            for place in own:
                here = at_hour.setdefault(place, {})
                if name == "exposure":
                    here.setdefault("weather", _weather(row, metric=metric))
                else:
                    here["fish"] = number(row.get("fishable")) == 1.0
                    here["why"] = units_in_order(one_line(row.get("reason")), metric_first=metric)
    return {
        "date": f"{first:%Y-%m-%d}",
        "offset": (first.utcoffset() or pd.Timedelta(0)).total_seconds() / 60.0,
        "begin": 60.0 * math.floor((minute(first) or 0.0) / 60.0),
        "end": 60.0 * math.ceil((minute(end) or 0.0) / 60.0),
        "times": [[minute(arrive), minute(leave)] for arrive, leave in moments],
        "hours": [[at, brings] for at, brings in sorted(hours.items())],
    }
