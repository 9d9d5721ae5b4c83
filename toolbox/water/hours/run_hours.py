"""What the hours allow, put together from the layers given, and in words what they forbid, and by what."""

from __future__ import annotations

from dataclasses import replace
from functools import partial
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import pandas as pd
import shapely

from ...dates_and_times import in_zone, zone_named
from ...errors import UsageError
from ...lon_lat import north_of
from ..day.day_offers import both, verdict_windows
from ..day.day_task import EVER, DayHours
from ..day.kept_hours import KeptHours, shut
from ..verdicts.hour_verdicts import strongest_wind
from ..verdicts.leg_hours import Against, LegHours, LegLimits, open_when
from ..verdicts.verdict import waves_alone
from ..verdicts.wave_speeds import SlowedLegs
from ..verdicts.way_seas import SeaLimits
from ..ways.safe_water import union_of
from ..wind.lake_winds import ALWAYS, joined, one_wind, stretches, winds_of_hours

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from geopandas import GeoDataFrame

    from ...depth import DepthSurface
    from ..day.day_offers import Spans
    from ..verdicts.wave_speeds import WaveSpeeds
    from ..ways.passages import Passages
    from ..wind.lake_winds import LakeWinds


WIDER: Final = 0.25
"""Share of the wave limit that is tried on top of it, to tell what a wider one would buy."""


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
    return one_wind(float(wind[0]), float("nan"), float(bearing[0]) - north_of(holds))


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
    from_s: float = 0.0,
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
    wave_speeds, from_s, until_s
        What waves leave of the speed on plane (None: all of it), and the first and last moment a leg may be left at.
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
        slowed = SlowedLegs(legs, wave_speeds, *speeds_mps, parts, from_s, until_s)
    return KeptHours(light, known, legs, np.arange(len(found.time_s)), line_of, lies, fastest, slowed)


def with_wider_waves(
    kept: KeptHours, verdicts: GeoDataFrame | None, start: pd.Timestamp, rows: Mapping[str, int], share: float
) -> KeptHours | None:
    """Make the hours that a wave limit wider by a share of it would allow; None where it would open none.

    Parameters
    ----------
    kept
        The hours.
    verdicts, start
        Verdicts by hour, and the moment seconds are counted from.
    rows
        Number of each spot among the ways.
    share
        Of the limit, for stops and for legs.
    """
    if kept.legs is None:
        return None
    seas = kept.legs.limits.seas
    wider = SeaLimits(*(one * (1.0 + share) for one in (seas.head_m, seas.beam_m, seas.following_m)))
    lies, opens = dict(kept.lies), kept.seas_forbid
    if verdicts is not None and len(verdicts):
        good = pd.to_numeric(verdicts["fishable"], errors="coerce").fillna(0).to_numpy() == 1
        more = np.array([waves_alone(str(reason), share) for reason in verdicts["reason"]]) & ~good
        opens |= bool(more.any())
        if more.any():
            told = verdict_windows(verdicts.assign(fishable=(good | more).astype(int)), start)
            lies |= {rows[spot]: both(kept.afloat, own) for spot, own in told.items() if spot in rows}
    if not opens:
        return None
    legs = replace(kept.legs, limits=replace(kept.legs.limits, seas=wider))  # with the waves that are known
    return replace(kept, legs=legs, lies=lies, _open={}, _against={})


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


_MOST: Final = 5


def clock(hours: DayHours, seconds: float) -> str:
    """Tell a moment by the clock of the lake, with its date where that is another day than the start's."""
    moment = hours.after(seconds)
    return f"{moment:%H:%M}" if moment.date() == hours.begin.date() else f"{moment:%Y-%m-%d %H:%M}"


def against_by_hour(verdicts: GeoDataFrame, start: pd.Timestamp) -> dict[str, list[Against]]:
    """List what verdicts say against each spot, by stretches of time."""
    found: dict[str, list[Against]] = {}
    good = pd.to_numeric(verdicts["fishable"], errors="coerce").fillna(0).to_numpy() == 1
    at = np.array([(pd.Timestamp(text) - start).total_seconds() for text in verdicts["time"]], dtype=float)
    reasons = verdicts["reason"].astype(str).to_numpy()
    for spot, rows in verdicts.reset_index(drop=True).groupby("spot_id").groups.items():
        own = np.asarray(rows, dtype=int)
        own = own[np.unique(at[own], return_index=True)[1]]
        spans = stretches(at[own])
        found[str(spot)] = [
            Against(*span, reasons[row]) for row, span in zip(own, spans, strict=True) if not good[row]
        ]
    return found


def lake_against(kept: KeptHours, begin_s: float, over_s: float) -> list[Against]:
    """List what forbids the whole lake within a time: dark, no forecast, wind or gusts over the limit."""
    found = [Against(a, b, "dark") for a, b in shut(kept.light, begin_s, over_s)]
    last = max((end for _, end in kept.known), default=-np.inf)
    for a, b in shut(kept.known, begin_s, over_s):
        found.append(Against(a, b, "after the end of the forecast" if a >= last else "not in the forecast"))
    if kept.legs is not None:
        found += kept.legs.over_all()
    return found


def _kind(words: str) -> str:
    return words.split(" ", maxsplit=1)[0].rstrip(",;")


def hours_in_words(against: Iterable[Against], hours: DayHours, begin_s: float, over_s: float) -> str:
    """Say which hours of a time are forbidden and by what, such as ``06:00-08:00 dark; 08:00-13:00 wind ...``.

    Hours that follow each other with one kind of cause are told as one stretch, with the words of the first of them.
    """
    told: list[Against] = []
    seen = sorted({(max(one.begin_s, begin_s), min(one.end_s, over_s), one.words) for one in against})
    for begin, end, words in seen:
        if end <= begin:
            continue
        before = next((k for k in range(len(told) - 1, -1, -1) if _kind(told[k].words) == _kind(words)), None)
        if before is not None and begin <= told[before].end_s + 1.0:
            told[before] = told[before]._replace(end_s=max(told[before].end_s, end))
        else:
            told.append(Against(begin, end, words))
    texts = [f"{clock(hours, one.begin_s)}-{clock(hours, one.end_s)} {one.words}" for one in told]
    more = f"; and {len(texts) - _MOST} more" if len(texts) > _MOST else ""
    return "; ".join(texts[:_MOST]) + more


def gap_words(
    kept: KeptHours, hours: DayHours, over_s: float, planned: Sequence[tuple[str, float, float]]
) -> list[str]:
    """Say where the forecast says nothing within the day, and what would be planned inside.

    Parameters
    ----------
    kept
        The hours.
    hours
        The day's, for the words.
    over_s
        When the day is over.
    planned
        Name, begin and end of the stops of a plan that does not ask for the forecast.
    """
    told: list[str] = []
    begin_s = hours.seconds_to(hours.now)
    last = max((end for _, end in kept.known), default=-np.inf)
    for a, b in shut(kept.known, begin_s, over_s):
        if not both([(a, b)], kept.light):
            continue
        inside = [name for name, begin, end in planned if begin < b and end > a]
        where = (
            f"The forecast ends at {clock(hours, last)}"
            if a >= last and np.isfinite(last)
            else f"The forecast says nothing from {clock(hours, a)} to {clock(hours, b)}"
        )
        named = ", ".join(inside[:_MOST]) + (
            f" and {len(inside) - _MOST} more" if len(inside) > _MOST else ""
        )
        told.append(
            f"{where}; nothing is planned there."
            + (f" By the clock alone {named} would have been." if inside else "")
        )
    return told


def night_words(light: Spans, begin_s: float, over_s: float, hours: DayHours) -> str:
    """Warn of a run that was asked for in the dark; empty text where none of it is."""
    dark = joined(shut(light, begin_s, over_s))
    if not dark:
        return ""
    told = ", ".join(f"{clock(hours, a)}-{clock(hours, b)}" for a, b in dark)
    return (
        f"Part of this run lies in the dark ({told}), as asked for. Timber, banks and other boats are not seen: keep "
        "to a speed at which you can stop within what you see. Navigation lights are shown from sunset to sunrise "
        "(Inland Navigation Rules, rule 20); some waters are closed at night."
    )


def by_the_hour(verdicts: GeoDataFrame | None) -> str:
    """Say of the spot with the fewest reasons against it which hours forbid it and by what; no text without hours."""
    if verdicts is None or verdicts.empty:
        return ""
    lengths = verdicts.assign(many=verdicts["reason"].str.len()).groupby("spot_id")["many"].sum()
    spot = str(lengths.idxmin())
    own = verdicts[verdicts["spot_id"] == spot]
    begin = min(pd.Timestamp(text) for text in own["time"])
    told = against_by_hour(own, begin)[spot]
    over = max((one.end_s for one in told), default=0.0)
    hours = DayHours(begin, begin, begin + pd.Timedelta(seconds=over))
    words = hours_in_words(told, hours, 0.0, over)
    return f" By the hour, at {spot}: {words}." if words else ""
