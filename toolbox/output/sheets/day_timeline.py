"""The day as bars over the hours: stops, the ways between them, when each spot is open, wind and light."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import pandas as pd

from ...text import number, one_line
from ..formats import palette
from ..maps.chart_page import (
    CAUTION_LINE_IN,
    CAUTION_SIZE,
    PAPERS,
    TABLE_SIZE,
    Rect,
    blank_page,
    caution_lines,
    write_cautions,
)
from ..maps.chart_table import records
from .wind_hours import UNIT_MPS, UNIT_WORDS, draw_arrow

if TYPE_CHECKING:
    import geopandas as gpd
    from matplotlib.figure import Figure

    from ..maps.draughting import Pen

_EDGE: Final = 0.4
_NAME_IN: Final = 1.95
_MOST_ROW_IN: Final = 0.55
_BAR_IN: Final = 0.24  # a bar is no higher, however much room a row has
_HEAD_IN: Final = 0.55
_WIND_IN: Final = 0.55
_KEY_IN: Final = 0.3
OPEN: Final = "#cfe6d0"  # hours a spot can be fished in: light, so that the bars stand on it
NIGHT: Final = "#d5d2cb"


def _moment(text: Any) -> pd.Timestamp | None:
    try:
        at = pd.Timestamp(one_line(text)) if one_line(text) else None
    except ValueError:
        return None
    return None if at is None or pd.isna(at) or at.tzinfo is None else at


def _of_spots(table: gpd.GeoDataFrame | None, spots: set[str]) -> list[dict[str, Any]]:
    """List the rows of a table by the hour that belong to some of its spots."""
    if table is None or "spot_id" not in table.columns:
        return []
    named = [one for one in table["spot_id"].unique() if one_line(one) in spots]
    return records(table[table["spot_id"].isin(named)])


def _spells(frames: Mapping[str, gpd.GeoDataFrame], spot_id: str) -> list[tuple[pd.Timestamp, pd.Timestamp]]:
    """Stretches in which a spot can be fished, from verdicts by the hour."""
    from ...water.day.day_offers import spans_of_hours

    own = _of_spots(frames.get("verdicts"), {spot_id})
    times = [_moment(row.get("time")) for row in own]
    told = [
        (at, number(row.get("fishable")) == 1.0) for at, row in zip(times, own, strict=True) if at is not None
    ]
    if not told:
        return []
    zero = told[0][0]
    spans = spans_of_hours([at for at, _ in told], [good for _, good in told], zero)
    return [(zero + pd.Timedelta(seconds=a), zero + pd.Timedelta(seconds=b)) for a, b in spans]


class _Clock:
    """Where a moment lies on the page."""

    def __init__(self, rect: Rect, begin: pd.Timestamp, end: pd.Timestamp) -> None:
        self.rect, self.begin, self.end = rect, begin, end

    def x(self, at: pd.Timestamp) -> float:
        share = (at - self.begin) / (self.end - self.begin)
        return self.rect.left + self.rect.width * float(min(max(share, 0.0), 1.0))


def _bar(
    pen: Pen, clock: _Clock, span: tuple[pd.Timestamp, pd.Timestamp], base: float, high: float, **look: Any
) -> None:
    left, right = clock.x(span[0]), clock.x(span[1])
    if right > left:
        pen.box(Rect(left, base, right - left, high), **look)


def _ground(pen: Pen, clock: _Clock, bottom: float, top: float, light: tuple[Any, Any] | None) -> None:
    if light is not None:
        for span in ((clock.begin, light[0]), (light[1], clock.end)):
            _bar(pen, clock, span, bottom, top - bottom, facecolor=NIGHT, linewidth=0.0, zorder=0.2)
    at = clock.begin.ceil("h")
    each = pd.Timedelta(hours=1)
    while at <= clock.end:
        x = clock.x(at)
        pen.line([x, x], [bottom, top], color=palette.LAND_EDGE, linewidth=0.4, zorder=0.4)
        pen.write(x, top + 0.05, f"{at:%H:%M}", TABLE_SIZE, palette.INK, ha="center", gid="hour")
        at += each


def _wind(pen: Pen, clock: _Clock, base: float, hours: list[dict[str, Any]], units: str) -> None:
    by_hour: dict[pd.Timestamp, list[tuple[float, float]]] = {}
    for row in hours:
        at = _moment(row.get("time"))
        if at is not None:
            by_hour.setdefault(at, []).append((number(row.get("wind_mps")), number(row.get("wind_from_deg"))))
    pen.write(
        clock.rect.left - 0.1, base + 0.13, f"Wind, {UNIT_WORDS[units]}", TABLE_SIZE, palette.INK, ha="right"
    )
    for at, told in sorted(by_hour.items()):
        if not clock.begin <= at < clock.end:
            continue
        middle = min(at + pd.Timedelta(minutes=30), clock.end)
        wind = (
            float(np.nanmax([one for one, _ in told]))
            if np.isfinite([one for one, _ in told]).any()
            else np.nan
        )
        come = next((bearing for _, bearing in told if np.isfinite(bearing)), np.nan)
        if np.isfinite(wind):
            pen.write(
                clock.x(middle),
                base,
                f"{wind / UNIT_MPS[units]:.0f}",
                TABLE_SIZE,
                palette.INK,
                ha="center",
                gid="wind",
            )
            if np.isfinite(come):
                draw_arrow(pen, clock.x(middle), base + 0.26, come, 0.2, palette.INK)


def _key(pen: Pen, rect: Rect, *, night: bool, opened: bool) -> None:
    x = rect.left
    marks = [(palette.HOLD, "fishing"), (palette.RUN, "under way")]
    marks += [(OPEN, "spot can be fished")] if opened else []
    marks += [(NIGHT, "before civil dawn, after civil dusk")] if night else []
    for colour, words in marks:
        thin = colour == palette.RUN
        pen.box(
            Rect(x, rect.bottom + (0.05 if thin else 0.0), 0.3, 0.03 if thin else 0.13),
            facecolor=colour, edgecolor=palette.INK, linewidth=0.5,
        )  # fmt: skip
        pen.write(x + 0.38, rect.bottom + 0.02, words, TABLE_SIZE, palette.INK, gid="key")
        x += 0.38 + pen.width(words, TABLE_SIZE) + 0.3


def draw_timeline(
    frames: Mapping[str, gpd.GeoDataFrame],
    *,
    title: str,
    units: str = "US",
    light: tuple[dt.datetime, dt.datetime] | None = None,
    paper: tuple[float, float] = PAPERS["letter"],
    width_px: int = 1500,
) -> Figure | None:
    """Draw the day over its hours.

    Parameters
    ----------
    frames
        ``stops`` with times; ``verdicts`` and ``exposure`` by the hour where there are any.
    title
        Heading.
    units
        ``US`` or ``metric``: of the wind.
    light
        Civil dawn and dusk, where known.
    paper
        Width and height of the page in inches.
    width_px
        Width of the picture.

    Returns
    -------
    None where the stops have no times.
    """
    rows = sorted(
        records(frames.get("stops")), key=lambda row: (number(row.get("day")), number(row.get("stop_no")))
    )
    times = [(_moment(row.get("arrive")), _moment(row.get("leave"))) for row in rows]
    known = [at for pair in times for at in pair if at is not None]
    if len(known) < 2 or len(rows) < 2:
        return None
    begin, end = min(known).floor("h"), max(known).ceil("h")
    chosen = {one_line(row.get("spot_id")) for row in rows}
    hours = _of_spots(frames.get("exposure"), chosen)
    wide, high = paper
    inner = wide - 2 * _EDGE
    figure, pen = blank_page(wide, width_px)
    figure.set_size_inches(*paper)
    foot = caution_lines(pen, inner, CAUTION_SIZE)
    least = 0.15 + CAUTION_LINE_IN * len(foot) + 0.15 + _KEY_IN + (_WIND_IN if hours else 0.0)
    row_in = min(_MOST_ROW_IN, (high - _EDGE - _HEAD_IN - least) / len(rows))
    below = high - _EDGE - _HEAD_IN - row_in * len(rows)
    pen.write(_EDGE, high - _EDGE - 0.12, pen.fitted(f"{title}: the day by the hour", 12.0, inner, bold=True), 12.0,
              palette.INK, bold=True, gid="title")  # fmt: skip
    rect = Rect(_EDGE + _NAME_IN, below, inner - _NAME_IN, row_in * len(rows))
    bar_in = min(_BAR_IN, row_in - 0.06)
    clock = _Clock(rect, begin, end)
    spans = None if light is None else (pd.Timestamp(light[0]), pd.Timestamp(light[1]))
    _ground(pen, clock, rect.bottom, rect.top, spans)
    before: pd.Timestamp | None = None
    for order, (row, (arrive, leave)) in enumerate(zip(rows, times, strict=True)):
        base = rect.top - row_in * (order + 1)
        middle = base + row_in / 2.0
        pen.line([_EDGE, rect.right], [base, base], color=palette.BAND, linewidth=0.8, zorder=0.3)
        name = (
            f"{number(row.get('stop_no')):.0f}  {one_line(row.get('name')) or one_line(row.get('spot_id'))}"
        )
        pen.write(_EDGE, middle - 0.04, pen.fitted(name, TABLE_SIZE, _NAME_IN - 0.15), TABLE_SIZE, palette.INK,
                  gid="name")  # fmt: skip
        for span in _spells(frames, one_line(row.get("spot_id"))):
            _bar(pen, clock, span, base + 0.03, row_in - 0.06, facecolor=OPEN, linewidth=0.0, zorder=0.6)
        if before is not None and arrive is not None:
            pen.line(
                [clock.x(before), clock.x(arrive)],
                [middle, middle],
                color=palette.RUN,
                linewidth=1.8,
                zorder=1.0,
            )
        if arrive is not None and leave is not None:
            _bar(pen, clock, (arrive, leave), middle - bar_in / 2.0, bar_in, facecolor=palette.HOLD,
                 edgecolor=palette.INK, linewidth=0.7, zorder=1.2)  # fmt: skip
            words = f"{arrive:%H:%M} to {leave:%H:%M}"
            long = pen.width(words, TABLE_SIZE)
            after = clock.x(leave) + 0.05
            at = after if after + long <= rect.right else clock.x(before or arrive) - 0.05 - long
            ground = Rect(at - 0.02, middle - bar_in / 2.0, long + 0.04, bar_in)
            pen.box(ground, facecolor=palette.PAPER, alpha=0.8, linewidth=0.0, zorder=1.3)
            pen.write(at, middle - 0.04, words, TABLE_SIZE, palette.INK, zorder=1.4, gid="time")
        before = leave
    if hours:
        _wind(pen, clock, rect.bottom - _WIND_IN + 0.12, hours, units)
    place = Rect(_EDGE, rect.bottom - (_WIND_IN if hours else 0.0) - 0.28, inner, 0.16)
    dark = spans is not None and (spans[0] > begin or spans[1] < end)
    _key(pen, place, night=dark, opened="verdicts" in frames)
    write_cautions(pen, foot, _EDGE, 0.15, size=CAUTION_SIZE, line_in=CAUTION_LINE_IN)
    return figure
