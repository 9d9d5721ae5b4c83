"""The wind of a day on one page: a rose of where it comes from, and columns of wind and gusts by the hour."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

import numpy as np
from matplotlib.patches import Circle, Wedge

from ...text import both_speeds, how_many, shortened
from ...units import COMPASS
from ..formats import palette
from ..maps.chart_page import FOOT_LINE_IN, Rect, blank_page, caution_lines, png_of, write_cautions
from ..words.cautions import caution_text
from .wind_hours import (
    TURNING_MPS,
    UNIT_MPS,
    UNIT_WORDS,
    WIND_LIMITS,
    WindDay,
    class_of,
    class_words,
    draw_columns,
    ramp,
)

if TYPE_CHECKING:
    from ...arrays import Indices
    from ..maps.draughting import Pen

_WIDTH_IN: Final = 9.2
_EDGE: Final = 0.24
_ROSE_IN: Final = 4.0
_COLUMNS_IN: Final = 1.85


def counts(day: WindDay, units: str) -> tuple[Indices, int]:
    """Hours by compass sector and class of speed, (16, classes); and hours without a bearing to speak of."""
    limits = WIND_LIMITS[units]
    table = np.zeros((len(COMPASS), len(limits) + 1), dtype=np.intp)
    turning = 0
    for wind, bearing in zip(day.wind_mps.tolist(), day.wind_from_deg.tolist(), strict=True):
        if not math.isfinite(wind):
            continue
        if wind < TURNING_MPS or not math.isfinite(bearing):
            turning += 1
            continue
        table[round(bearing / 22.5) % 16, class_of(wind / UNIT_MPS[units], limits)] += 1
    return table, turning


def _rose(pen: Pen, day: WindDay, centre: tuple[float, float], radius: float, units: str) -> None:
    table, turning = counts(day, units)
    most = max(int(table.sum(axis=1).max()), 1)
    step = next(s for s in (1, 2, 3, 4, 6, 12, 24, 48, 96) if most / s <= 4)
    rings = [step * k for k in range(1, math.ceil(most / step) + 1)]
    hub = 0.17 * radius
    per_hour = (radius - hub) / rings[-1]
    x, y = centre
    for ring in rings:
        pen.shape(
            Circle(
                centre,
                hub + ring * per_hour,
                facecolor="none",
                edgecolor=palette.LAND,
                linewidth=0.8,
                zorder=0.4,
            )
        )
    for sector, name in enumerate(COMPASS):
        turn = math.radians(sector * 22.5)
        east, north = math.sin(turn), math.cos(turn)
        if sector % 2 == 0:
            pen.line(
                [x + hub * east, x + radius * east],
                [y + hub * north, y + radius * north],
                color=palette.LAND,
                linewidth=0.6,
                zorder=0.4,
            )
            size = 10.0 if sector % 4 == 0 else 7.5
            pen.write(
                x + (radius + 0.17) * east,
                y + (radius + 0.17) * north,
                name,
                size,
                palette.INK,
                bold=sector % 4 == 0,
                ha="center",
                va="center",
                gid="compass",
            )
    colours = ramp(table.shape[1])
    for sector in range(len(COMPASS)):
        inner = hub
        middle = 90.0 - sector * 22.5  # matplotlib's angles run anticlockwise from east
        for colour, hours in zip(colours, table[sector].tolist(), strict=True):
            if not hours:
                continue
            outer = inner + hours * per_hour
            pen.shape(
                Wedge(
                    centre,
                    outer,
                    middle - 8.6,
                    middle + 8.6,
                    width=outer - inner,
                    facecolor=colour,
                    edgecolor=palette.INK,
                    linewidth=0.6,
                    gid="petal",
                )
            )
            inner = outer
    pen.shape(Circle(centre, hub, facecolor=palette.PAPER, edgecolor=palette.INK, linewidth=0.8))
    if turning:
        pen.write(x, y + 0.02, f"{turning} h", 8.0, palette.INK, bold=True, ha="center", gid="turning")
        pen.write(x, y - 0.1, "turning", 6.0, palette.QUIET, ha="center")
    free = min(
        range(1, 16, 2),
        key=lambda s: (int(table[(s - 1) % 16].sum() + table[s].sum() + table[(s + 1) % 16].sum()), s),
    )
    turn = math.radians(free * 22.5)
    for ring in rings:
        far = hub + ring * per_hour
        pen.write(
            x + far * math.sin(turn),
            y + far * math.cos(turn),
            f"{ring} h",
            6.2,
            palette.QUIET,
            ha="center",
            va="center",
            backgroundcolor=palette.PAPER,
            gid="ring",
        )


def _key(pen: Pen, rect: Rect, day: WindDay, units: str) -> None:
    limits = WIND_LIMITS[units]
    y = rect.top - 0.12
    pen.write(rect.left, y, "Where the wind comes from", 9.0, palette.INK, bold=True, gid="key")
    for line in pen.wrapped(
        "A petal points to where the wind comes from. Its length is how many hours it does, its parts by speed, the "
        "weakest inside. Grid north is taken as north.",
        7.2,
        rect.width,
    ):
        y -= 0.145
        pen.write(rect.left, y, line, 7.2, palette.INK, gid="key")
    y -= 0.3
    for colour, words in zip(ramp(len(limits) + 1), class_words(limits, UNIT_WORDS[units]), strict=True):
        pen.box(Rect(rect.left, y, 0.34, 0.14), facecolor=colour, edgecolor=palette.INK, linewidth=0.6)
        pen.write(rect.left + 0.44, y + 0.025, words, 7.6, palette.INK, gid="key")
        y -= 0.2
    y -= 0.06
    metric = units == "metric"
    known = np.isfinite(day.wind_mps)
    facts = []
    if known.any() and float(np.nanmax(day.wind_mps)) < TURNING_MPS:
        facts.append(f"No wind over {both_speeds(TURNING_MPS, metric_first=metric)} in the forecast")
    elif known.any():
        top = int(np.nanargmax(day.wind_mps))
        facts.append(
            f"Strongest wind {both_speeds(float(day.wind_mps[top]), metric_first=metric)} at {day.start[top]:%H:%M}"
        )
    if (day.gust_mps >= TURNING_MPS).any():
        top = int(np.nanargmax(day.gust_mps))
        facts.append(
            f"Strongest gust {both_speeds(float(day.gust_mps[top]), metric_first=metric)} at {day.start[top]:%H:%M}"
        )
    if not known.all():
        facts.append(f"{how_many(int((~known).sum()), 'hour')} without wind in the forecast")
    for fact in facts:
        pen.write(
            rect.left,
            y,
            pen.fitted(fact, 8.0, rect.width, bold=True),
            8.0,
            palette.INK,
            bold=True,
            gid="fact",
        )
        y -= 0.18


def draw_wind_day(day: WindDay, *, title: str, units: str = "US", width_px: int = 1840) -> bytes:
    """Draw the wind of a day as a PNG picture.

    Parameters
    ----------
    day
        Wind over the lake by the hour.
    title
        Heading.
    units
        Which unit system the picture is drawn in: ``US`` or ``metric``.
    width_px
        Width of the picture in pixels.
    """
    figure, pen = blank_page(_WIDTH_IN, width_px)
    room = _WIDTH_IN - 2.0 * _EDGE
    warning = caution_lines(pen, room)
    foot = _EDGE + FOOT_LINE_IN * len(warning) + 0.16
    height = foot + _COLUMNS_IN + 0.2 + _ROSE_IN + 0.6 + _EDGE
    figure.set_size_inches(_WIDTH_IN, height)
    top = height - _EDGE
    pen.write(
        _EDGE,
        top - 0.22,
        pen.fitted(title or "Wind", 15.0, room, bold=True),
        15.0,
        palette.INK,
        bold=True,
        gid="title",
    )
    pen.write(_EDGE, top - 0.46, pen.fitted(day.words, 8.5, room), 8.5, palette.INK, gid="day")
    base = foot + _COLUMNS_IN + 0.2
    radius = _ROSE_IN / 2.0 - 0.32
    _rose(pen, day, (_EDGE + _ROSE_IN / 2.0 + 0.3, base + _ROSE_IN / 2.0 + 0.06), radius, units)
    side = _EDGE + _ROSE_IN + 0.95
    _key(pen, Rect(side, base + 0.3, _WIDTH_IN - _EDGE - side, _ROSE_IN - 0.62), day, units)
    draw_columns(pen, Rect(_EDGE, foot, room, _COLUMNS_IN), day, units)
    pen.write(
        _EDGE + room,
        foot + _COLUMNS_IN - 0.1,
        "columns: wind, bars: gusts, arrows fly with the wind, shaded: dark",
        6.8,
        palette.QUIET,
        ha="right",
    )
    write_cautions(pen, warning, _EDGE, _EDGE)
    told = {
        "Title": shortened(title or "Wind", 200),
        "Description": f"{day.words}. {caution_text()}",
        "Software": "castshed",
    }
    return png_of(figure, told)
