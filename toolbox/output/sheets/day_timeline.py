"""The day as bars over the hours: stops, the ways between them, when each spot is open, wind and light."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import pandas as pd

from ...text import number, one_line
from ..formats import palette
from ..maps.chart_page import Rect, blank_page, caution_lines, write_cautions
from ..maps.chart_table import records
from .wind_hours import UNIT_MPS, UNIT_WORDS, draw_arrow

if TYPE_CHECKING:
    import geopandas as gpd
    from matplotlib.figure import Figure

    from ..maps.draughting import Pen

_WIDTH_IN: Final = 11.0
_EDGE: Final = 0.35
_NAME_IN: Final = 2.1
_ROW_IN: Final = 0.27
_HEAD_IN: Final = 0.55
_WIND_IN: Final = 0.55
_KEY_IN: Final = 0.3
_FOOT_SIZE: Final = 6.0
_FOOT_LINE_IN: Final = 0.11
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
        pen.write(x, top + 0.05, f"{at:%H:%M}", 6.6, palette.INK, ha="center", gid="hour")
        at += each


def _wind(pen: Pen, clock: _Clock, base: float, hours: list[dict[str, Any]], units: str) -> None:
    by_hour: dict[pd.Timestamp, list[tuple[float, float]]] = {}
    for row in hours:
        at = _moment(row.get("time"))
        if at is not None:
            by_hour.setdefault(at, []).append((number(row.get("wind_mps")), number(row.get("wind_from_deg"))))
    pen.write(clock.rect.left - 0.1, base + 0.13, f"Wind, {UNIT_WORDS[units]}", 6.6, palette.INK, ha="right")
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
                6.6,
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
        pen.write(x + 0.38, rect.bottom + 0.02, words, 6.8, palette.INK, gid="key")
        x += 0.38 + pen.width(words, 6.8) + 0.3


def draw_timeline(
    frames: Mapping[str, gpd.GeoDataFrame],
    *,
    title: str,
    units: str = "US",
    light: tuple[dt.datetime, dt.datetime] | None = None,
    width_px: int = 1800,
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
    figure, pen = blank_page(_WIDTH_IN, width_px)
    foot = caution_lines(pen, _WIDTH_IN - 2 * _EDGE, _FOOT_SIZE)
    below = _EDGE + _FOOT_LINE_IN * len(foot) + _KEY_IN + (_WIND_IN if hours else 0.0)
    height = below + _ROW_IN * len(rows) + _HEAD_IN + _EDGE
    figure.set_size_inches(_WIDTH_IN, height)
    pen.write(_EDGE, height - _EDGE - 0.12, pen.fitted(title, 12.0, _WIDTH_IN - 2 * _EDGE, bold=True), 12.0,
              palette.INK, bold=True, gid="title")  # fmt: skip
    rect = Rect(_EDGE + _NAME_IN, below, _WIDTH_IN - 2 * _EDGE - _NAME_IN, _ROW_IN * len(rows))
    clock = _Clock(rect, begin, end)
    spans = None if light is None else (pd.Timestamp(light[0]), pd.Timestamp(light[1]))
    _ground(pen, clock, rect.bottom, rect.top, spans)
    before: pd.Timestamp | None = None
    for order, (row, (arrive, leave)) in enumerate(zip(rows, times, strict=True)):
        base = rect.top - _ROW_IN * (order + 1)
        pen.line([_EDGE, rect.right], [base, base], color=palette.BAND, linewidth=0.8, zorder=0.3)
        name = (
            f"{number(row.get('stop_no')):.0f}  {one_line(row.get('name')) or one_line(row.get('spot_id'))}"
        )
        pen.write(_EDGE, base + 0.09, pen.fitted(name, 7.4, _NAME_IN - 0.15), 7.4, palette.INK, gid="name")
        for span in _spells(frames, one_line(row.get("spot_id"))):
            _bar(pen, clock, span, base + 0.04, _ROW_IN - 0.08, facecolor=OPEN, linewidth=0.0, zorder=0.6)
        if before is not None and arrive is not None:
            y = base + _ROW_IN / 2.0
            pen.line([clock.x(before), clock.x(arrive)], [y, y], color=palette.RUN, linewidth=1.8, zorder=1.0)
        if arrive is not None and leave is not None:
            _bar(pen, clock, (arrive, leave), base + 0.06, _ROW_IN - 0.12, facecolor=palette.HOLD,
                 edgecolor=palette.INK, linewidth=0.7, zorder=1.2)  # fmt: skip
            words = f"{arrive:%H:%M} to {leave:%H:%M}"
            wide = pen.width(words, 6.2)
            after = clock.x(leave) + 0.05
            at = after if after + wide <= rect.right else clock.x(before or arrive) - 0.05 - wide
            ground = Rect(at - 0.02, base + 0.06, wide + 0.04, _ROW_IN - 0.12)
            pen.box(ground, facecolor=palette.PAPER, alpha=0.8, linewidth=0.0, zorder=1.3)
            pen.write(at, base + 0.09, words, 6.2, palette.INK, zorder=1.4, gid="time")
        before = leave
    if hours:
        _wind(pen, clock, rect.bottom - _WIND_IN + 0.12, hours, units)
    place = Rect(_EDGE, _EDGE + _FOOT_LINE_IN * len(foot) + 0.05, _WIDTH_IN - 2 * _EDGE, 0.16)
    dark = spans is not None and (spans[0] > begin or spans[1] < end)
    _key(pen, place, night=dark, opened="verdicts" in frames)
    write_cautions(pen, foot, _EDGE, _EDGE - 0.12, size=_FOOT_SIZE, line_in=_FOOT_LINE_IN)
    return figure
