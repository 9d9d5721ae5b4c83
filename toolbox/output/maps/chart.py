"""Draw the map of a plan: the lake at today's level, the run on it, and what one needs to read it.

Drawn on matplotlib's raster canvas directly, without its global state. The page is laid out in inches: the map, a panel
beside it (or below it where the lake is wide), and the cautions along the foot. The look is documented in ``palette``.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from ...errors import UsageError
from ...report import note
from ...text import how_many, shortened
from ..formats import palette
from ..words.cautions import caution_text, level_text
from .chart_ground import draw_ground
from .chart_key import KEY_LINE_IN, draw_key, draw_north, draw_scale, draw_wind, key_lines, wind_of
from .chart_page import (
    FOOT_LINE_IN,
    Rect,
    blank_page,
    bounds_of,
    by_role,
    caution_lines,
    fit,
    map_axes,
    png_of,
    write_cautions,
)
from .chart_run import draw_run
from .chart_table import ROW_IN, Table, draw_table, left_out_table, stop_table
from .plan_facts import totals_in_words

if TYPE_CHECKING:
    import geopandas as gpd
    from matplotlib.figure import Figure

    from .chart_page import Bounds

UNITS: Final = ("US", "metric")
_WIDTH_IN: Final = 13.0
_EDGE: Final = 0.22
_INNER_IN: Final = _WIDTH_IN - 2.0 * _EDGE
_PANEL_IN: Final = 4.75
_GAP_IN: Final = 0.2
_HEAD_IN: Final = 0.62
_TOOLS_IN: Final = 0.95
_KEY_COLUMNS: Final = 2
_WIDE: Final = 1.5  # a lake this much wider than high has its panel below
_MOST_HIGH_IN: Final = 17.0
_LEAST_LEFT_OUT: Final = 6  # rows kept for the spots left out, where there are that many


@dataclass(frozen=True)
class _Page:
    """Height of the page, and where the map, the tools with the key, and the tables go."""

    height: float
    map: Rect
    panel: Rect
    tables: Rect


def _lay_out(bounds: Bounds, stops: Table, left_out: Table, lines: int, foot: float) -> _Page:
    aspect = max(bounds[2] - bounds[0], 300.0) / max(bounds[3] - bounds[1], 300.0)
    key = KEY_LINE_IN * -(-lines // _KEY_COLUMNS) + 0.1
    spare = min(left_out.height, ROW_IN * (_LEAST_LEFT_OUT + 2))
    tables = stops.height + spare + 0.15
    if aspect > _WIDE:
        high = min(max(_INNER_IN / aspect, 4.2), 8.0)
        below = min(max(_TOOLS_IN + key, tables), _MOST_HIGH_IN - _EDGE - _HEAD_IN - high - 0.15 - foot)
        left = _EDGE + _PANEL_IN + 2.0 * _GAP_IN
        return _Page(
            _EDGE + _HEAD_IN + high + 0.15 + below + foot,
            Rect(_EDGE, foot + below + 0.15, _INNER_IN, high),
            Rect(_EDGE, foot, _PANEL_IN, below),
            Rect(left, foot, _WIDTH_IN - _EDGE - left, below),
        )
    wide = _INNER_IN - _PANEL_IN - _GAP_IN
    high = min(max(wide / aspect, 6.0, _TOOLS_IN + key + tables), _MOST_HIGH_IN - _EDGE - _HEAD_IN - foot)
    left = _EDGE + wide + _GAP_IN
    return _Page(
        _EDGE + _HEAD_IN + high + foot,
        Rect(_EDGE, foot, wide, high),
        Rect(left, foot, _PANEL_IN, high),
        Rect(left, foot, _PANEL_IN, high - _TOOLS_IN - key),
    )


def compose(
    layers: Mapping[str, gpd.GeoDataFrame],
    *,
    title: str,
    level_m: float | None,
    date: str | None = None,
    units: str = "US",
    width_px: int = 2400,
) -> Figure:
    """Lay out the map as a figure; `draw_map` tells what the parameters mean."""
    if units not in UNITS:
        raise UsageError(f"units is '{units}'; choose one of: {', '.join(UNITS)}.")
    if not 600 <= width_px <= 12000:
        raise UsageError(f"width_px is {width_px}; give a width between 600 and 12000 pixels.")
    metric_first = units == "metric"
    frames = by_role(layers)
    bounds = bounds_of(frames)
    figure, pen = blank_page(_WIDTH_IN, width_px)
    warning = caution_lines(pen, _INNER_IN)
    foot = _EDGE + FOOT_LINE_IN * len(warning) + 0.14
    stops, left_out = (
        stop_table(frames, metric_first=metric_first),
        left_out_table(frames, metric_first=metric_first),
    )
    page = _lay_out(bounds, stops, left_out, key_lines(frames), foot)
    figure.set_size_inches(_WIDTH_IN, page.height)

    top = page.height - _EDGE
    heading = pen.fitted(title or "Plan", 15.0, _INNER_IN, bold=True)
    pen.write(_EDGE, top - 0.22, heading, 15.0, palette.INK, bold=True, gid="title")
    level = level_text(level_m, date, metric_first=metric_first)
    pen.write(_EDGE, top - 0.46, pen.fitted(level, 8.5, _INNER_IN), 8.5, palette.INK, gid="level")
    pairs = totals_in_words(frames, metric=metric_first) if "stops" in frames and "legs" in frames else []
    totals = " · ".join(f"{what} {value}" for what, value in pairs)
    if pen.width(level, 8.5) + 0.3 + pen.width(totals, 8.5) <= _INNER_IN:
        pen.write(_EDGE + _INNER_IN, top - 0.46, totals, 8.5, palette.INK, ha="right", gid="totals")
    view = fit(bounds, page.map)
    axes = map_axes(figure, view)
    draw_ground(axes, frames, view)
    if unplaced := draw_run(axes, frames, view, pen):
        note(
            f"{how_many(unplaced, 'label')} found no free place on the map; the table and the other files name every "
            "stop.",
            stacklevel=3,
        )
    panel = page.panel
    draw_north(pen, panel.left + 0.18, panel.top - 0.62)
    draw_scale(pen, view, Rect(panel.left + 0.5, panel.top - 0.54, 1.15, 0.3))
    draw_wind(pen, wind_of(frames), panel.left + 2.6, panel.top - 0.6, metric_first=metric_first)
    key = Rect(panel.left, panel.bottom, panel.width, panel.height - _TOOLS_IN + 0.1)
    draw_key(pen, frames, key, columns=_KEY_COLUMNS, metric_first=metric_first)
    tables = page.tables
    draw_table(pen, stops, tables, bold_first=True)
    used = stops.height + 0.1 if stops.rows else 0.0
    draw_table(pen, left_out, Rect(tables.left, tables.bottom, tables.width, tables.height - used))
    write_cautions(pen, warning, _EDGE, _EDGE)
    return figure


def draw_map(
    layers: Mapping[str, gpd.GeoDataFrame],
    *,
    title: str,
    level_m: float | None,
    date: str | None = None,
    units: str = "US",
    width_px: int = 2400,
) -> bytes:
    """Draw a plan as a PNG picture.

    Parameters
    ----------
    layers
        Layers by name: ``water``, ``depth_bands``, ``dry_ground``, ``shallow_hazards``, ``known_hazards``, ``zones``,
        ``legs``, ``stops``, ``holds``, ``cast_lines``, ``spots``, ``left_out``, ``ramps``, ``shoreline``; whatever is
        there is drawn. Wind is read from the columns ``wind_mps`` and ``wind_from_deg`` of stops, holds or spots.
    title
        Heading of the map.
    level_m
        Today's surface minus chart datum in metres, signed; None where it is not known.
    date
        Day of that level, as text.
    units
        Which unit system comes first: ``US`` or ``metric``; both are shown.
    width_px
        Width of the picture in pixels.

    Returns
    -------
    A PNG file with title and cautions in its text fields. North is the grid's.

    Raises
    ------
    UsageError
        An unknown word for ``units``, or a width out of limits.
    CrsError
        A layer has no reference system.
    DataError
        Nothing has a geometry, or something is not a layer.
    """
    figure = compose(layers, title=title, level_m=level_m, date=date, units=units, width_px=width_px)
    told = {
        "Title": shortened(title or "Plan", 200),
        "Description": caution_text(level_m, date),
        "Software": "castshed",
    }
    return png_of(figure, told)
