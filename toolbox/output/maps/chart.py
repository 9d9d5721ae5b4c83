"""Draw the map of a plan: the lake at today's level, the run on it, and what one needs to read it.

Drawn on matplotlib's raster canvas directly, without its global state. The page is laid out in inches: the map, a panel
beside it (or below it where the lake is wide), and the cautions along the foot. The look is documented in ``palette``.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

from ...errors import UsageError
from ...lon_lat import north_of
from ...report import note
from ...text import how_many, shortened
from ..formats import palette
from ..words.cautions import caution_text, level_text
from .chart_ground import draw_ground
from .chart_key import KEY_LINE_IN, draw_key, draw_north, draw_scale, draw_wind, key_lines, wind_of
from .chart_page import (
    CAUTION_LINE_IN,
    CAUTION_SIZE,
    FOOT_LINE_IN,
    FOOT_SIZE,
    TABLE_SIZE,
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
_PAPER_COLUMNS: Final = 3
_PAPER_HEAD_IN: Final = 0.76
_PAPER_TOOLS_IN: Final = 1.3
_PAPER_ASIDE_IN: Final = 2.25  # width of what stands right of the key
_PAPER_ROWS: Final = 1.38  # rows of a table on paper are so much higher
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


def _on_paper(
    paper: tuple[float, float], bounds: Bounds, stops: Table, lines: int, foot: float, *, tables: bool
) -> _Page:
    """Lay a standing page out: the map over the whole width, tools with the key below, then stops where they fit."""
    wide, high = paper
    inner = wide - 2.0 * _EDGE
    aspect = max(bounds[2] - bounds[0], 300.0) / max(bounds[3] - bounds[1], 300.0)
    panel = max(KEY_LINE_IN * -(-lines // _PAPER_COLUMNS) + 0.1, _PAPER_TOOLS_IN)
    listed = stops.height * _PAPER_ROWS if tables else 0.0
    room = high - _EDGE - _PAPER_HEAD_IN - foot - panel - 0.15
    map_high = min(inner / aspect, room - min(listed, 0.45 * room))
    bottom = high - _EDGE - _PAPER_HEAD_IN - map_high
    below = bottom - 0.15 - panel
    return _Page(
        high,
        Rect(_EDGE, bottom, inner, map_high),
        Rect(_EDGE, below, inner, panel),
        Rect(_EDGE, foot, inner, max(below - 0.1 - foot, 0.0)),
    )


def compose(
    layers: Mapping[str, gpd.GeoDataFrame],
    *,
    title: str,
    level_m: float | None,
    date: str | None = None,
    units: str = "US",
    width_px: int = 2400,
    paper: tuple[float, float] | None = None,
    tables: bool = True,
) -> Figure:
    """Lay out the map as a figure; `draw_map` tells what the parameters mean.

    On paper the tables are those that fit below the map; without them the map takes the room, and they stand elsewhere.
    """
    if units not in UNITS:
        raise UsageError(f"units is '{units}'; choose one of: {', '.join(UNITS)}.")
    if not 600 <= width_px <= 12000:
        raise UsageError(f"width_px is {width_px}; give a width between 600 and 12000 pixels.")
    metric_first = units == "metric"
    frames = by_role(layers)
    bounds = bounds_of(frames)
    width_in = _WIDTH_IN if paper is None else paper[0]
    inner = width_in - 2.0 * _EDGE
    figure, pen = blank_page(width_in, width_px)
    small, small_in = (FOOT_SIZE, FOOT_LINE_IN) if paper is None else (CAUTION_SIZE, CAUTION_LINE_IN)
    warning = caution_lines(pen, inner, small)
    foot = _EDGE + small_in * len(warning) + 0.14
    stops, left_out = (
        stop_table(frames, metric_first=metric_first),
        left_out_table(frames, metric_first=metric_first),
    )
    if paper is None:
        page = _lay_out(bounds, stops, left_out, key_lines(frames), foot)
    else:
        page = _on_paper(paper, bounds, stops, key_lines(frames), foot, tables=tables)
    figure.set_size_inches(width_in, page.height)

    top = page.height - _EDGE
    heading = pen.fitted(title or "Plan", 15.0, inner, bold=True)
    pen.write(_EDGE, top - 0.22, heading, 15.0, palette.INK, bold=True, gid="title")
    level = level_text(level_m, date, metric_first=metric_first)
    pen.write(_EDGE, top - 0.46, pen.fitted(level, 8.5, inner), 8.5, palette.INK, gid="level")
    pairs = totals_in_words(frames, metric=metric_first) if "stops" in frames and "legs" in frames else []
    totals = " · ".join(f"{what} {value}" for what, value in pairs)
    if paper is not None:
        pen.write(_EDGE, top - 0.64, pen.fitted(totals, 8.5, inner), 8.5, palette.INK, gid="totals")
    elif pen.width(level, 8.5) + 0.3 + pen.width(totals, 8.5) <= inner:
        pen.write(_EDGE + inner, top - 0.46, totals, 8.5, palette.INK, ha="right", gid="totals")
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
    north = north_of(next(frame for frame in frames.values() if len(frame)))
    aside = panel.left if paper is None else panel.right - _PAPER_ASIDE_IN
    draw_north(pen, aside + 0.18, panel.top - 0.62, north)
    draw_scale(pen, view, Rect(aside + 0.5, panel.top - 0.54, 1.15, 0.3))
    wind = wind_of(frames)
    blows = (aside + 2.6, panel.top - 0.6) if paper is None else (aside + 0.25, panel.top - 1.25)
    draw_wind(pen, wind, *blows, metric_first=metric_first, grid_north_deg=north)
    key = Rect(panel.left, panel.bottom, panel.width, panel.height - _TOOLS_IN + 0.1)
    if paper is not None:
        key = Rect(panel.left, panel.bottom, panel.width - _PAPER_ASIDE_IN - 0.1, panel.height)
    columns = _KEY_COLUMNS if paper is None else _PAPER_COLUMNS
    draw_key(pen, frames, key, columns=columns, metric_first=metric_first)
    below = page.tables
    look: dict[str, Any] = {} if paper is None else {"size": TABLE_SIZE, "head": TABLE_SIZE}
    if tables:
        draw_table(pen, stops, below, bold_first=True, **look)
        used = (stops.height * (1.0 if paper is None else _PAPER_ROWS) + 0.1) if stops.rows else 0.0
        draw_table(pen, left_out, Rect(below.left, below.bottom, below.width, below.height - used), **look)
    write_cautions(pen, warning, _EDGE, _EDGE, size=small, line_in=small_in)
    return figure


def draw_map(
    layers: Mapping[str, gpd.GeoDataFrame],
    *,
    title: str,
    level_m: float | None,
    date: str | None = None,
    units: str = "US",
    width_px: int = 2400,
    paper: tuple[float, float] | None = None,
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
    paper
        Width and height of the page in inches; by default one as the lake is shaped.

    Returns
    -------
    A PNG file with title and cautions in its text fields. Up is north of the grid, the arrow points to true north.

    Raises
    ------
    UsageError
        An unknown word for ``units``, or a width out of limits.
    CrsError
        A layer has no reference system.
    DataError
        Nothing has a geometry, or something is not a layer.
    """
    figure = compose(
        layers, title=title, level_m=level_m, date=date, units=units, width_px=width_px, paper=paper
    )
    told = {
        "Title": shortened(title or "Plan", 200),
        "Description": caution_text(level_m, date),
        "Software": "castshed",
    }
    return png_of(figure, told)
