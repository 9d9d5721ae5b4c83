"""Hours in words: which hours forbid a stop, a leg or the whole lake, and by what."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np
import pandas as pd

from ..day.day_hours import DayHours
from ..day.day_offers import both
from ..day.kept_hours import shut
from ..verdicts.leg_hours import Against
from ..wind.lake_winds import joined, stretches

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from geopandas import GeoDataFrame

    from ..day.day_offers import Spans
    from ..day.kept_hours import KeptHours

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
