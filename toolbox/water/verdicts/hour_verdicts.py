"""Verdicts by spot and hour: what stands all day, and the wind, waves, way and light of each hour.

Wind and waves of spots by hours, taken from the layer of wind-exposure with one row a place and hour.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from ...errors import DataError
from ...numbers import numbers_of
from ...report import note
from ..wind.forecast import intervals, read_hours
from .verdict import Verdicts, band_words, blown_out, length_words, marginal_words, speed_words
from .way_seas import sea_words

if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Sequence

    import pandas as pd
    from numpy.typing import NDArray

    from ..wind.forecast import Hours
    from .verdict import FishingLimits, Standing
    from .way_seas import WaySeas

    Flags = NDArray[np.bool_]
    Floats = NDArray[np.float64]


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


_FIGURES = ("wave_low_m", "wave_high_m", "wind_mps", "gust_mps")


@dataclass(frozen=True, eq=False)
class HourTable:
    """Figures of n spots at m hours, each (n, m), NaN where not known; and the wind over the lake of each hour."""

    hours: Hours
    wave_low_m: Floats
    wave_high_m: Floats
    wind_mps: Floats
    gust_mps: Floats
    lake_wind_mps: Floats
    lake_wind_from_deg: Floats


def checked_numbers(frame: pd.DataFrame, column: str) -> Floats:
    """Read a column of numbers of 0 or more, NaN where it is empty or not there.

    Raises
    ------
    DataError
        A value is no number, infinite or negative.
    """
    if column not in frame.columns:
        return np.full(len(frame), np.nan)
    values = numbers_of(frame[column], column).to_numpy(dtype=float, na_value=np.nan)
    wrong = (frame[column].notna().to_numpy() & np.isnan(values)) | np.isinf(values) | (values < 0)
    if wrong.any():
        row = int(np.flatnonzero(wrong)[0])
        raise DataError(
            f"{column} is {frame[column].iloc[row]!r} in row {row}; it must be a number of 0 or more, or empty. "
            "Run wind-exposure again."
        )
    return np.asarray(values)


def _own_rows(exposure: pd.DataFrame, hold_no: dict[str, int]) -> pd.DataFrame:
    """Of a layer made for holds, keep the rows of the hold that each spot is fished from."""
    import pandas as pd

    if "hold_no" not in exposure.columns or not hold_no:
        return exposure
    wanted = exposure["spot_id"].map(hold_no)
    own = wanted.isna() | (pd.to_numeric(exposure["hold_no"], errors="coerce") == wanted)
    return exposure[own.to_numpy()]


def hour_table(
    exposure: pd.DataFrame,
    spot_ids: Sequence[str],
    *,
    zone: dt.tzinfo | None = None,
    hold_no: dict[str, int] | None = None,
) -> HourTable:
    """Lay the rows of an exposure layer out as spots by hours.

    Parameters
    ----------
    exposure
        Layer with ``spot_id``, ``time`` and the figures of wind-exposure; ``hold_no`` where it was made for holds.
    spot_ids
        Spots, in order.
    zone
        Zone in which hours are told; None: that of each time.
    hold_no
        The hold each spot is fished from.

    Returns
    -------
    HourTable
        Where a spot has several rows for an hour, the greatest figure of each kind counts, and that is pointed out.
        The wind over the lake is the strongest of any row of the hour.

    Raises
    ------
    DataError
        No row has a spot and a time, a time has no zone, or a figure makes no sense.
    """
    told = (exposure["spot_id"].astype(str).str.strip() != "") & (
        exposure["time"].astype(str).str.strip() != ""
    )
    if not told.all():
        raise DataError(
            f"exposure has no spot_id or no time in {int((~told).sum())} of {len(exposure)} rows. Run wind-exposure "
            "with a forecast on spots or holds; for a single wind give its result as the spots or holds themselves."
        )
    exposure = _own_rows(exposure, hold_no or {})
    figures = {name: checked_numbers(exposure, name) for name in _FIGURES}
    middle = checked_numbers(exposure, "wave_m")
    for name in ("wave_low_m", "wave_high_m"):
        figures[name] = np.where(np.isnan(figures[name]), middle, figures[name])
    hours, column = read_hours(exposure["time"].tolist(), zone)
    place = {str(one): row for row, one in enumerate(spot_ids)}
    row = np.array([place.get(str(one), -1) for one in exposure["spot_id"]], dtype=np.intp)
    here = row >= 0
    cells = row[here] * max(len(hours), 1) + column[here]
    if np.unique(cells).size < cells.size:
        note(
            "exposure has several rows for one spot and hour; the greatest figures count. For holds keep the column "
            "hold_no, and give the same holds.",
            stacklevel=4,
        )
    laid = {}
    for name, values in figures.items():
        grid = np.full(len(spot_ids) * len(hours), -np.inf)
        np.maximum.at(grid, cells, np.where(np.isnan(values[here]), -np.inf, values[here]))
        grid[~np.isfinite(grid)] = np.nan
        laid[name] = grid.reshape(len(spot_ids), len(hours))

    wind = np.where(np.isnan(figures["wind_mps"]), -1.0, figures["wind_mps"])
    bearing = checked_numbers(exposure, "wind_from_deg") % 360.0
    lake_wind, lake_from = (np.full(len(hours), np.nan) for _ in range(2))
    strongest = np.lexsort((wind, column))  # the last of each hour is its strongest
    last = (
        strongest[np.r_[np.flatnonzero(np.diff(column[strongest])), strongest.size - 1]]
        if wind.size
        else strongest
    )
    lake_wind[column[last]] = np.where(wind[last] < 0, np.nan, wind[last])
    lake_from[column[last]] = bearing[last]
    return HourTable(hours=hours, lake_wind_mps=lake_wind, lake_wind_from_deg=lake_from, **laid)


def single_weather(
    spots: pd.DataFrame, holds: pd.DataFrame | None, rows: NDArray[np.intp]
) -> tuple[Floats, Floats, Floats, Floats]:
    """Take the figures of one wind from the hold where it carries them, else from the spot.

    Parameters
    ----------
    spots, holds
        Layers with or without the columns of wind-exposure.
    rows
        The row of the hold each spot is fished from, -1 for none.

    Returns
    -------
    Wave band low and high, wind and gusts; NaN where neither knows.
    """
    taken = []
    for names in (("wave_low_m", "wave_m"), ("wave_high_m", "wave_m"), ("wind_mps",), ("gust_mps",)):
        values = np.full(len(spots), np.nan)
        for name in names:
            own = checked_numbers(spots, name)
            if holds is not None and len(holds):
                at_hold = checked_numbers(holds, name)[np.maximum(rows, 0)]
                own = np.where((rows >= 0) & np.isfinite(at_hold), at_hold, own)
            values = np.where(np.isnan(values), own, values)
        taken.append(values)
    return taken[0], taken[1], taken[2], taken[3]


def strongest_wind(*layers: pd.DataFrame | None) -> tuple[Floats, Floats]:
    """Find where the strongest wind comes from, and its speed, in the first layer that tells both; NaN for none."""
    for layer in layers:
        if layer is None or not {"wind_mps", "wind_from_deg"} <= set(layer.columns):
            continue
        wind, bearing = checked_numbers(layer, "wind_mps"), checked_numbers(layer, "wind_from_deg")
        known = np.flatnonzero(np.isfinite(wind) & np.isfinite(bearing))
        if known.size:
            row = known[int(np.argmax(wind[known]))]
            return bearing[row : row + 1] % 360.0, wind[row : row + 1]
    return np.array([np.nan]), np.array([np.nan])
