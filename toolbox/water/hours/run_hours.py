"""What the hours allow, put together from the layers that algorithms are given; and a run set into its hours."""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
import shapely

from ...clock_times import in_zone, zone_named
from ...errors import UsageError
from ..day.day_hours import EVER
from ..day.day_offers import both, verdict_windows
from ..day.kept_hours import KeptHours
from ..verdicts.hour_table import strongest_wind
from ..verdicts.leg_hours import LegHours, LegLimits, open_when
from ..verdicts.slowed_legs import SlowedLegs
from ..verdicts.way_seas import SeaLimits
from ..ways.unions import union_of
from ..wind.lake_winds import ALWAYS, one_wind, winds_of_hours

if TYPE_CHECKING:
    from collections.abc import Sequence

    from geopandas import GeoDataFrame

    from ...depth import DepthSurface
    from ..day.day_offers import Spans
    from ..verdicts.wave_speeds import WaveSpeeds
    from ..ways.passages import Passages
    from ..wind.lake_winds import LakeWinds


def clock_in(text: str, zone: str, what: str = "depart") -> str:
    """Put a time into the lake's zone, so that later ones keep its clock through a change of it.

    Parameters
    ----------
    text
        Date and time; without an offset it is the clock of the zone.
    zone
        A zone of the IANA database; empty for none.
    what
        Name of the option, for messages.

    Raises
    ------
    UsageError
        It is no time, its zone is not known, or the clocks skip it.
    """
    if not zone or not text.strip():
        return text
    named = zone_named(zone)
    try:
        at = pd.Timestamp(text.strip())
    except ValueError:
        return text  # refused by whoever reads it, with its own words
    if pd.isna(at) or at.tzinfo is not None:
        return text
    return in_zone(at.to_pydatetime(), named, what).isoformat()


def in_lake_zone(at: pd.Timestamp, zone: str) -> pd.Timestamp:
    """Tell a moment by the clock of a zone, where one is given."""
    return at.tz_convert(zone_named(zone)) if zone else at


def leg_limits(
    wind_mps: float, gust_mps: float, head_m: float, beam_m: float, following_m: float
) -> LegLimits:
    """Gather the limits of a leg.

    Raises
    ------
    UsageError
        One is negative.
    """
    for name, one in (
        ("wind-limit", wind_mps),
        ("gust-limit", gust_mps),
        ("head-limit", head_m),
        ("beam-limit", beam_m),
        ("following-limit", following_m),
    ):
        if not one >= 0.0:
            raise UsageError(f"{name} is {one:g}; it must be 0 or more.")
    return LegLimits(wind_mps, gust_mps, SeaLimits(head_m, beam_m, following_m))


def winds_told(exposure: GeoDataFrame | None, holds: GeoDataFrame, start: pd.Timestamp) -> LakeWinds | None:
    """Take the wind over the lake from the hourly layer, else the one wind that the holds carry; None for neither."""
    if exposure is not None and len(exposure):
        return winds_of_hours(exposure, start)
    if "worst_time" in holds.columns:  # the worst of a day's hours is not the wind of any
        return None
    bearing, wind = strongest_wind(holds)
    if np.isnan(wind[0]):
        return None
    return one_wind(float(wind[0]), float("nan"), float(bearing[0]))


def kept_of(
    *,
    found: Passages,
    first_hold: int,
    spots: Sequence[str],
    light: Spans,
    winds: LakeWinds | None,
    verdicts: GeoDataFrame | None,
    limits: LegLimits,
    water: GeoDataFrame,
    surface: DepthSurface | None,
    level_m: float,
    start: pd.Timestamp,
    speeds_mps: tuple[float, float],
    wave_speeds: WaveSpeeds | None = None,
    until_s: float = 86400.0,
) -> KeptHours:
    """Put together what the hours allow.

    Parameters
    ----------
    found
        Ways between all places.
    first_hold
        Number of the first hold among the ways; `spots` are the ids of the holds from there on.
    light
        When it is light, or ever where night was asked for.
    winds, verdicts
        Wind over the lake and verdicts by hour; None: they play no part.
    limits
        What legs are held to.
    water, surface, level_m
        Today's water and the depths the waves feel.
    start
        The moment seconds are counted from.
    speeds_mps
        On plane and at idle.
    wave_speeds, until_s
        What waves leave of the speed on plane (None: all of it), and the last moment a leg may be left at.
    """
    known: Spans = list(ALWAYS)
    told: dict[str, Spans] = {}
    if verdicts is not None and len(verdicts):
        told = verdict_windows(verdicts, start)
    if winds is not None:
        known = winds.known
    elif verdicts is not None and told:  # an hour with any verdict
        (known,) = verdict_windows(verdicts.assign(fishable=1, spot_id="all"), start).values()
    legs = None
    if winds is not None:
        legs = LegHours(winds, limits, union_of(water.geometry.to_numpy()), surface, level_m)
    afloat = open_when([] if legs is None else legs.over_all(), both(light, known))
    lies = {first_hold + row: both(afloat, told.get(spot, EVER)) for row, spot in enumerate(spots)}

    def line_of(one: int, other: int) -> Any:
        if not np.isfinite(found.time_s[one, other]):
            return None
        pieces = [xy for _, xy in found.legs(one, other)]
        if not pieces:
            return None
        xy = np.concatenate([pieces[0][:1], *(own[1:] for own in pieces)])
        return shapely.linestrings(xy)

    leads = np.isfinite(found.distance_m)
    run_m = np.subtract(found.distance_m, found.idle_m, out=np.zeros_like(found.distance_m), where=leads)
    fastest = np.where(
        leads, run_m / speeds_mps[0] + np.where(leads, found.idle_m, 0.0) / speeds_mps[1], np.inf
    )
    slowed = None
    if legs is not None and wave_speeds is not None:
        parts = partial(_parts_of, found)
        slowed = SlowedLegs(legs, wave_speeds, *speeds_mps, parts, 0.0, until_s)
    return KeptHours(light, known, legs, np.arange(len(found.time_s)), line_of, lies, fastest, slowed)


def _parts_of(found: Passages, one: int, other: int) -> Sequence[tuple[str, Any]]:
    return found.legs(one, other) if np.isfinite(found.time_s[one, other]) else ()


def launch_times(travel_s: Any, launches: dict[int, Any], idle_mps: float, end: int) -> Any:
    """Add the launch at the first ramp and the one at the last (row `end`) to times between places."""
    made = np.array(travel_s, dtype=float)
    if 0 in launches:
        made[0, :] += launches[0].length / idle_mps
    if end in launches:
        made[:, end] += launches[end].length / idle_mps
    np.fill_diagonal(made, np.diag(travel_s))
    return made
