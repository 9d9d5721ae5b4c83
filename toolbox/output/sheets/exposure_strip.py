"""A strip of spots by hours: how high the waves may be at each, and when each is fishable."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from ...text import both_waves, shortened
from ...units import FOOT_M
from ..formats import palette
from ..maps.chart_page import FOOT_LINE_IN, Rect, blank_page, caution_lines, png_of, write_cautions
from ..words.cautions import caution_text
from .wind_hours import (
    UNIT_MPS,
    UNIT_WORDS,
    WAVE_LIMITS,
    WindDay,
    class_of,
    class_words,
    draw_arrow,
    ramp,
    words_on,
)

if TYPE_CHECKING:
    from collections.abc import Sequence

    from ...arrays import Flags, Floats
    from ..maps.draughting import Pen


_WIDTH_IN: Final = 12.0
_EDGE: Final = 0.24
_NAME_IN: Final = 2.15
_HOURS_IN: Final = 1.75
_ROW_IN: Final = 0.215
_HEAD_IN: Final = 1.0
_KEY_IN: Final = 0.62


@dataclass(frozen=True, eq=False)
class Strip:
    """Rows of the strip, n places by m hours."""

    names: Sequence[str]  # of the places
    wave_high_m: Floats  # upper end of the wave band; NaN where not known
    # the verdict of each hour; None where there is none
    fishable: Flags | None = None
    marginal: Flags | None = None
    hours: Sequence[str] = ()  # hours in which each place is fishable, in words
    more: int = 0  # how many places are not shown


def _head(pen: Pen, day: WindDay, left: float, each: float, base: float, units: str) -> None:
    """Hours, light, arrows and wind above the columns."""
    every = next(s for s in (1, 2, 3, 6, 12, 24) if s * each >= 0.24)
    unit = UNIT_MPS[units]
    label = left - 0.1
    for up, words in (
        (0.76, "hour"),
        (0.56, ""),
        (0.28, f"wind, {UNIT_WORDS[units]}"),
        (0.08, f"gusts, {UNIT_WORDS[units]}"),
    ):
        if words:
            pen.write(label, base + up, words, 7.0, palette.QUIET, ha="right")
    for at, moment in enumerate(day.start):
        x = left + (at + 0.5) * each
        if day.dark[at]:
            pen.box(
                Rect(left + at * each, base + 0.7, each, 0.22),
                facecolor=palette.QUIET,
                edgecolor="none",
                gid="dark",
            )
        if at % every:
            continue
        ink = palette.PAPER if day.dark[at] else palette.INK
        pen.write(x, base + 0.76, f"{moment:%H}", 7.6, ink, bold=True, ha="center", gid="hour")
        wind, gust, bearing = (float(one[at]) for one in (day.wind_mps, day.gust_mps, day.wind_from_deg))
        if math.isfinite(wind) and math.isfinite(bearing):
            draw_arrow(pen, x, base + 0.56, bearing, min(0.19, each * every * 0.7), palette.INK)
        pen.write(
            x,
            base + 0.28,
            f"{wind / unit:.0f}" if math.isfinite(wind) else "?",
            7.2,
            palette.INK,
            ha="center",
        )
        pen.write(
            x,
            base + 0.08,
            f"{gust / unit:.0f}" if math.isfinite(gust) else "–",
            7.2,
            palette.INK,
            ha="center",
        )


def _figure(value: float, digits: int) -> str:
    """Say a wave height; one that rounds to nought is told as small, not as none."""
    least = 10.0**-digits
    return f"<{least:.{digits}f}" if value < least / 2 else f"{value:.{digits}f}"


def _row(pen: Pen, strip: Strip, row: int, left: float, each: float, bottom: float, units: str) -> None:
    limits = WAVE_LIMITS[units]
    unit, digits = (FOOT_M, 1) if units == "US" else (1.0, 2)
    colours = ramp(len(limits) + 1)
    room = pen.width(_figure(0.0, digits), 6.6) + 0.02
    pen.write(
        left - 0.1,
        bottom + 0.07,
        pen.fitted(strip.names[row], 7.6, _NAME_IN - 0.15),
        7.6,
        palette.INK,
        ha="right",
        gid="name",
    )
    for at, wave in enumerate((strip.wave_high_m[row] / unit).tolist()):
        x = left + at * each
        cell = Rect(x, bottom, each, _ROW_IN)
        if not math.isfinite(wave):
            pen.box(cell, facecolor=palette.PAPER, edgecolor=palette.LAND, linewidth=0.5, gid="unknown")
            pen.write(x + each / 2, bottom + 0.07, "?", 6.6, palette.QUIET, ha="center")
            continue
        colour = colours[class_of(wave, limits)]
        pen.box(cell, facecolor=colour, edgecolor=palette.PAPER, linewidth=0.5, gid="cell")
        if room <= each:
            pen.write(
                x + each / 2,
                bottom + 0.085,
                _figure(wave, digits),
                6.6,
                words_on(colour),
                ha="center",
                gid="wave",
            )
    if strip.fishable is None:
        return
    for at in np.flatnonzero(strip.fishable[row]).tolist():
        sure = strip.marginal is None or not strip.marginal[row, at]
        _mark(pen, left + at * each, bottom, each, sure=sure)
    if row < len(strip.hours):
        words = strip.hours[row] or "no hour"
        pen.write(
            left + each * strip.wave_high_m.shape[1] + 0.1,
            bottom + 0.07,
            pen.fitted(words, 7.2, _HOURS_IN - 0.12),
            7.2,
            palette.INK if strip.hours[row] else palette.QUIET,
            gid="hours",
        )


def _mark(pen: Pen, x: float, bottom: float, each: float, *, sure: bool) -> None:
    """Underline an hour in which a place is fishable: whole, or in dots where it is marginal."""
    y = bottom + 0.035
    pen.line([x, x + each], [y, y], color=palette.CASING, linewidth=4.2, solid_capstyle="butt", zorder=3.0)
    if sure:
        pen.line(
            [x, x + each],
            [y, y],
            color=palette.INK,
            linewidth=2.6,
            solid_capstyle="butt",
            zorder=3.1,
            gid="fishable",
        )
    else:
        pen.line(
            [x, x + each],
            [y, y],
            color=palette.INK,
            linewidth=2.2,
            linestyle=(0.0, (1.0, 1.1)),
            zorder=3.1,
            dash_capstyle="butt",
            gid="marginal",
        )


def _key(pen: Pen, strip: Strip, bottom: float, units: str) -> None:
    limits = WAVE_LIMITS[units]
    words = class_words(limits, "ft" if units == "US" else "m")
    x, y = _EDGE, bottom + 0.34
    pen.write(x, y, "Waves up to", 7.6, palette.INK, bold=True, gid="key")
    x += pen.width("Waves up to", 7.6, bold=True) + 0.15
    for colour, text in zip(ramp(len(words)), words, strict=True):
        pen.box(Rect(x, y - 0.025, 0.26, 0.14), facecolor=colour, edgecolor=palette.INK, linewidth=0.5)
        pen.write(x + 0.32, y, text, 7.4, palette.INK, gid="key")
        x += 0.32 + pen.width(text, 7.4) + 0.2
    x, y = _EDGE, bottom + 0.1
    told = "significant height, upper end of all methods; single waves reach nearly twice that"
    if strip.fishable is not None:
        for sure, text in ((True, "fishable by your limits"), (False, "the same, but marginal in depth")):
            pen.box(Rect(x, y - 0.02, 0.3, 0.13), facecolor=palette.BAND, edgecolor="none")
            _mark(pen, x, y - 0.02, 0.3, sure=sure)
            pen.write(x + 0.38, y, text, 7.4, palette.INK, gid="key")
            x += 0.38 + pen.width(text, 7.4) + 0.25
    pen.box(Rect(x, y - 0.025, 0.26, 0.14), facecolor=palette.QUIET, edgecolor="none")
    pen.write(x + 0.34, y, "dark hour", 7.4, palette.INK, gid="key")
    x += 0.34 + pen.width("dark hour", 7.4) + 0.25
    pen.write(
        x,
        y,
        pen.fitted(f"? not known. Waves: {told}.", 7.4, _WIDTH_IN - _EDGE - x),
        7.4,
        palette.INK,
        gid="key",
    )


def draw_strip(strip: Strip, day: WindDay, *, title: str, units: str = "US", width_px: int = 2400) -> bytes:
    """Draw the strip as a PNG picture.

    Parameters
    ----------
    strip
        Places by hours.
    day
        Wind over the lake at the same hours.
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
    foot = _EDGE + FOOT_LINE_IN * len(warning) + 0.12
    rows = len(strip.names)
    more = 0.2 if strip.more else 0.0
    height = foot + _KEY_IN + more + rows * _ROW_IN + _HEAD_IN + 0.62 + _EDGE
    figure.set_size_inches(_WIDTH_IN, height)
    top = height - _EDGE
    heading = pen.fitted(title or "Exposure by the hour", 15.0, room, bold=True)
    pen.write(_EDGE, top - 0.22, heading, 15.0, palette.INK, bold=True, gid="title")
    unit = "ft" if units == "US" else "m"
    pen.write(
        _EDGE,
        top - 0.46,
        pen.fitted(f"{day.words}; waves up to, {unit}", 8.5, room),
        8.5,
        palette.INK,
        gid="day",
    )
    left = _EDGE + _NAME_IN
    wide = room - _NAME_IN - (_HOURS_IN if strip.fishable is not None else 0.0)
    each = wide / max(len(day.start), 1)
    base = foot + _KEY_IN + more + rows * _ROW_IN
    _head(pen, day, left, each, base, units)
    if strip.fishable is not None:
        pen.write(left + wide + 0.1, base + 0.08, "fishable hours", 7.0, palette.QUIET)
    for row in range(rows):
        _row(pen, strip, row, left, each, base - (row + 1) * _ROW_IN, units)
    if strip.more:
        pen.write(
            _EDGE,
            foot + _KEY_IN + 0.04,
            f"{strip.more} more places are in the layer.",
            7.4,
            palette.INK,
            gid="more",
        )
    _key(pen, strip, foot, units)
    write_cautions(pen, warning, _EDGE, _EDGE)
    highest = strip.wave_high_m[np.isfinite(strip.wave_high_m)]
    said = f" Highest waves of all up to {both_waves(float(highest.max()))}." if highest.size else ""
    told = {
        "Title": shortened(title or "Exposure by the hour", 200),
        "Description": f"{day.words}.{said} {caution_text()}",
        "Software": "castshed",
    }
    return png_of(figure, told)
