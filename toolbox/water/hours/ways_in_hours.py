"""Ways between places by the hour: when wind, gusts and seas allow each, there and back, and what forbids the rest."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
import shapely

from ..day.day_hours import DayHours
from ..verdicts.leg_hours import LegHours, open_when
from ..ways.unions import union_of
from ..wind.hours import read_hours
from ..wind.lake_winds import winds_of_hours
from .hour_words import hours_in_words

if TYPE_CHECKING:
    from collections.abc import Sequence

    from geopandas import GeoDataFrame

    from ...depth import DepthSurface
    from ..verdicts.leg_hours import LegLimits


def ways_in_hours(
    lines: Sequence[Any],
    exposure: GeoDataFrame,
    limits: LegLimits,
    water: GeoDataFrame,
    surface: DepthSurface | None,
    level_m: float,
) -> dict[str, Any]:
    """Judge ways by the hours of a forecast.

    Parameters
    ----------
    lines
        The ways, each drawn from its first place to the other.
    exposure
        Wind by place and hour.
    limits
        What is held to.
    water, surface, level_m
        Today's water, and the depths that waves feel.

    Returns
    -------
    dict
        Columns: hours ``open_out_h`` and ``open_back_h`` of those told, and in words what forbids the others,
        ``against_out`` and ``against_back``.
    """
    told, _ = read_hours(exposure["time"].astype(str).tolist())
    start = pd.Timestamp(min(told.start))
    winds = winds_of_hours(exposure, start)
    judged = LegHours(winds, limits, union_of(water.geometry.to_numpy()), surface, level_m)
    end = max((over for _, over in winds.spans), default=0.0)
    hours = DayHours(start, start, start + pd.Timedelta(seconds=end))
    everywhere = judged.over_all()
    ways = {"out": list(lines), "back": [shapely.reverse(line) for line in lines]}
    found: dict[str, Any] = {}
    for name, own in ways.items():
        against = judged.seas_against(own)
        spans = [open_when([*everywhere, *one], winds.known) for one in against]
        found[f"open_{name}_h"] = np.array([sum(b - a for a, b in one) / 3600.0 for one in spans])
        words = [hours_in_words([*everywhere, *one], hours, 0.0, end) for one in against]
        found[f"against_{name}"] = np.array(words, dtype=object)
    return found
