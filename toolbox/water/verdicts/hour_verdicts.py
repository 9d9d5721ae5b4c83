"""Verdicts by spot and hour: what stands all day, and the wind, waves, way and light of each hour."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from ..wind.hours import intervals
from .margin_words import band_words, length_words, speed_words
from .verdict import Verdicts, blown_out, marginal_words
from .way_seas import sea_words

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from .hour_table import HourTable
    from .verdict import FishingLimits, Standing
    from .way_seas import WaySeas

    Flags = NDArray[np.bool_]


@dataclass(frozen=True, eq=False)
class HourVerdicts:
    """Verdicts of n spots at m hours.

    Attributes
    ----------
    day
        The verdict on each spot for the day: fishable when it is at any hour.
    hours
        The hours at which each is fishable, as intervals.
    fishable, marginal
        By spot and hour, (n, m).
    reason
        n lists of m texts: every reason against, or a statement that begins ``fishable:``.
    """

    day: Verdicts
    hours: list[str]
    fishable: Flags
    marginal: Flags
    reason: list[list[str]]


def _tally(
    hourly: dict[str, NDArray[np.object_]], row: int, over: dict[str, NDArray[np.float64]], speeds: set[str]
) -> list[str]:
    """Sum up what spoke against a spot over the hours: in how many, and by how little at the best of them."""
    told = []
    for name, texts in hourly.items():
        hit = np.array([bool(text) for text in texts[row]], dtype=bool)
        if not hit.any():
            continue
        count = f"in {int(hit.sum())} of {hit.size} hours"
        if name in over:
            least = float(np.nanmin(over[name][row][hit]))
            count += f", by {(speed_words if name in speeds else length_words)(least)} at least"
        told.append(f"{name} {count}")
    return told


def judge_hours(
    standing: Standing,
    table: HourTable,
    *,
    limits: FishingLimits,
    dark: Sequence[str],
    seas: WaySeas | None = None,
    start: str = "",
) -> HourVerdicts:
    """Judge spots at every hour, with every reason that speaks against each.

    Parameters
    ----------
    standing
        What holds of the spots all day.
    table
        Wind and waves of the spots by hours.
    limits
        What a spot must keep to.
    dark
        Why each hour is not wholly light; empty text where it is, or where night counts as well.
    seas
        The worst seas on the way to each spot; None: not judged.
    start
        Id of the ramp the ways begin at, for the words.

    Returns
    -------
    HourVerdicts
        In the order of the spots and hours. A spot whose wind and waves are not known at an hour does not pass it.
    """
    shape = table.wave_high_m.shape
    spots, hours = shape
    flat = [one.ravel() for one in (table.wave_high_m, table.wind_mps, table.gust_mps)]
    waves, winds, gusts = (
        np.array(texts, dtype=object).reshape(shape) for texts in blown_out(flat[0], flat[1], flat[2], limits)
    )
    unknown = np.full(shape, "", dtype=object)
    unknown[np.isnan(table.wave_high_m) | np.isnan(table.wind_mps)] = "wind and waves not known"
    night = np.broadcast_to(np.array(dark, dtype=object), shape)
    hourly: dict[str, NDArray[np.object_]] = {
        "dark": night,
        "wind and waves not known": unknown,
        "waves over the limit": waves,
        "wind over the limit": winds,
        "gusts over the limit": gusts,
        "seas on the way over the limit": np.full(shape, "", dtype=object)
        if seas is None
        else sea_words(seas, start),
    }
    over = {
        "waves over the limit": table.wave_high_m - limits.wave_m,
        "wind over the limit": table.wind_mps - limits.wind_mps,
        "gusts over the limit": table.gust_mps - limits.gust_mps,
    }
    if seas is not None:
        over["seas on the way over the limit"] = seas.over_m
    bad = np.zeros(shape, dtype=bool)
    for texts in hourly.values():
        bad |= texts != ""
    stands = np.array([not one for one in standing.against], dtype=bool)
    fishable = stands[:, None] & ~bad
    marginal = standing.unsure[:, None] & ~bad

    reasons: list[list[str]] = []
    day_reasons: list[str] = []
    listed = list(hourly.values())
    for row in range(spots):
        sure = marginal_words(float(standing.error_m[row]))
        low, high = table.wave_low_m[row], table.wave_high_m[row]
        told = []
        for hour in range(hours):
            if fishable[row, hour]:
                text = f"{standing.words[row]}; {band_words(float(low[hour]), float(high[hour]))}"
                told.append(text + (sure if marginal[row, hour] else ""))
            else:
                against = [texts[row, hour] for texts in listed if texts[row, hour]]
                told.append("; ".join([*standing.against[row], *against]))
        reasons.append(told)
        good = fishable[row]
        if good.any():
            band = band_words(float(low[good].min()), float(high[good].max()))
            text = f"{standing.words[row]}; {int(good.sum())} of {hours} hours; {band}"
            text += "" if seas is not None else "; way not judged"
            day_reasons.append(text + (sure if marginal[row][good].all() else ""))
        else:
            tally = _tally(hourly, row, over, {"wind over the limit", "gusts over the limit"})
            day_reasons.append("; ".join([*standing.against[row], *tally]))
    any_hour = np.asarray(fishable.any(axis=1), dtype=bool)
    # the day's verdict turns round when all its good hours may go, or when one of its bad hours may come
    turns = np.where(any_hour, (marginal | ~fishable).all(axis=1), marginal.any(axis=1))
    day = Verdicts(
        standing.depth_today_m, standing.top_today_m, any_hour, turns, day_reasons, standing.margin_m
    )
    return HourVerdicts(day, [intervals(table.hours, good) for good in fishable], fishable, marginal, reasons)
