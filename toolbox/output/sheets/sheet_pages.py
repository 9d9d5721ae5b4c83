"""The pages of a sheet: the map, then leg cards, then hold cards; as PDF, PNG and SVG."""

from __future__ import annotations

import io
from collections.abc import Mapping
from dataclasses import dataclass
from itertools import accumulate
from typing import TYPE_CHECKING, Any, Final

import geopandas as gpd
import matplotlib as mpl
import numpy as np
import shapely
from matplotlib.backends.backend_pdf import PdfPages

from ...text import number
from ...units import FOOT_M
from ...water.level.isobaths import isobath_lines
from ..formats import palette
from ..maps.chart import compose
from ..maps.chart_ground import BandColours, band_colours
from ..maps.chart_page import (
    CAUTION_LINE_IN,
    CAUTION_SIZE,
    MAP_SIZE,
    PAPERS,
    TABLE_SIZE,
    Rect,
    blank_page,
    by_role,
    caution_lines,
    write_cautions,
)
from ..words.cautions import level_text
from ..words.names import TABLES
from .course_up import IN_PIECES, in_pieces, north_text
from .sheet_cards import HoldCard, draw_hold_card, draw_leg_card
from .sheet_summary import draw_summary

if TYPE_CHECKING:
    from collections.abc import Sequence

    from matplotlib.figure import Figure

    from ...depth import DepthSurface
    from ...magnetic import Declination
    from ..maps.draughting import Pen
    from ..maps.plan_facts import LegFacts, StopFacts

_GROUND: Final = (
    "water",
    "depth_bands",
    "dry_ground",
    "shallow_hazards",
    "zones",
    "known_hazards",
    "isobaths",
)
_EDGE: Final = 0.35
_GAP: Final = 0.25
_ON_PAGE: Final = (2, 2)  # columns and rows of cards
_KEY_STEP_IN: Final = 0.3
_FAR_M: Final = 1500.0  # on the card of a leg this long a line is wider than what is left out of outlines
_COARSE_M: Final = 3.0
_TOLD_SIZE: Final = TABLE_SIZE


@dataclass(frozen=True)
class Pages:
    """Figures of a sheet: the summary, the map, pages of leg cards, pages of hold cards."""

    summary: Figure
    map: Figure
    legs: list[Figure]
    holds: list[Figure]


def _depth_key(pen: Pen, right: float, top: float, colours: BandColours, *, metric: bool) -> float:
    """Draw the depth bands as a strip with their limits below; tells its left edge."""
    unit, word = (1.0, "m") if metric else (FOOT_M, "ft")
    left = right - _KEY_STEP_IN * len(colours) - 0.2
    for k, (low, _, colour) in enumerate(colours):
        x = left + _KEY_STEP_IN * k
        pen.box(
            Rect(x, top - 0.13, _KEY_STEP_IN, 0.11),
            facecolor=colour,
            edgecolor=palette.LAND_EDGE,
            linewidth=0.5,
        )
        limit = f"{round(low / unit, 1) + 0.0:g}"
        pen.write(x, top - 0.25, limit, MAP_SIZE, palette.INK, ha="center", gid="key")
    if colours:
        end = left + _KEY_STEP_IN * len(colours) + 0.03
        pen.write(end, top - 0.12, word, MAP_SIZE, palette.INK, gid="key")
    return left


def _page(
    paper: tuple[float, float],
    title: str,
    told: str,
    width_px: int,
    colours: BandColours,
    *,
    metric: bool,
    note: str = "",
) -> tuple[Figure, Pen, Rect]:
    """Make a page with its heading and cautions; tells the room between them."""
    wide, high = paper
    inner = wide - 2.0 * _EDGE
    figure, pen = blank_page(wide, width_px)
    figure.set_size_inches(*paper)
    top = high - _EDGE
    left = _depth_key(pen, wide - _EDGE, top, colours, metric=metric)
    if note:
        left -= pen.width(note, MAP_SIZE) + 0.15
        pen.write(left, top - 0.12, note, MAP_SIZE, palette.INK, gid="key")
    heading = pen.fitted(title, 12.0, left - 0.2 - _EDGE, bold=True)
    pen.write(_EDGE, top - 0.16, heading, 12.0, palette.INK, bold=True)
    y = top - 0.27
    for line in pen.wrapped(told, _TOLD_SIZE, inner):
        y -= 0.15
        pen.write(_EDGE, y, line, _TOLD_SIZE, palette.INK)
    lines = caution_lines(pen, inner, CAUTION_SIZE)
    write_cautions(pen, lines, _EDGE, 0.15, size=CAUTION_SIZE, line_in=CAUTION_LINE_IN)
    bottom = 0.15 + CAUTION_LINE_IN * len(lines) + 0.1
    return figure, pen, Rect(_EDGE, bottom, inner, y - 0.14 - bottom)


def _places(count: int, room: Rect) -> list[Rect]:
    """Places of cards in the room of a page, row by row from the top."""
    columns, rows = _ON_PAGE
    wide = (room.width - _GAP * (columns - 1)) / columns
    high = (room.height - _GAP * (rows - 1)) / rows
    found = []
    for k in range(min(count, columns * rows)):
        row, column = divmod(k, columns)
        left = room.left + column * (wide + _GAP)
        found.append(Rect(left, room.top - (row + 1) * high - row * _GAP, wide, high))
    return found


def balanced(count: int, most: int = _ON_PAGE[0] * _ON_PAGE[1]) -> list[range]:
    """Share cards out over as few pages as hold them, none of which has one card where others could spare some.

    Examples
    --------
    >>> [len(one) for one in balanced(13, 4)], [len(one) for one in balanced(5, 4)]
    ([4, 3, 3, 3], [3, 2])
    """
    pages = -(-count // most)
    sizes = [count // pages + (page < count % pages) for page in range(pages)] if pages else []
    ends = list(accumulate(sizes))
    return [range(end - size, end) for end, size in zip(ends, sizes, strict=True)]


def _coarser(role: str, frame: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """Draw areas as coarse as a card of a long leg shows them."""
    if role not in IN_PIECES:
        return frame
    shapes = shapely.simplify(frame.geometry.to_numpy(), _COARSE_M, preserve_topology=False)
    return frame[~shapely.is_empty(shapes)].set_geometry(shapes[~shapely.is_empty(shapes)], crs=frame.crs)


def _span(what: str, first: str, last: str) -> str:
    return f"{what} {first}" if first == last else f"{what}s {first} to {last}"


def _cast_of(hold: Any, casts: gpd.GeoDataFrame | None, mark: Any) -> Any:
    """Find the cast of a hold in its layer; without that layer, the shortest line to the mark."""
    if casts is not None:
        number_of = casts["hold_no"].map(number)
        own = casts[(casts["spot_id"] == hold["spot_id"]) & (number_of == number(hold["hold_no"]))]
        if len(own):
            return own.geometry.iloc[0]
    return shapely.shortest_line(hold.geometry, mark)


def isobaths_near(
    surface: DepthSurface, points: np.ndarray[Any, Any], reach_m: float, step_m: float
) -> gpd.GeoDataFrame:
    """Draw isobaths of today's depth round some points.

    Parameters
    ----------
    surface
        Today's depth.
    points
        Places (n, 2).
    reach_m
        How far round each.
    step_m
        Depth from one to the next.
    """
    lines: list[Any] = []
    depths: list[float] = []
    for x, y in points:
        try:
            part = surface.window(x - reach_m, y - reach_m, x + reach_m, y + reach_m)
        except ValueError:
            continue
        if np.isfinite(part.depth_m).any():
            drawn, told = isobath_lines(part, np.arange(0.0, float(np.nanmax(part.depth_m)), step_m))
            lines += drawn.tolist()
            depths += told.tolist()
    return gpd.GeoDataFrame({"depth_m": depths}, geometry=lines, crs=surface.crs)


def draw_pages(
    layers: Mapping[str, gpd.GeoDataFrame],
    stops: Sequence[StopFacts],
    legs: Sequence[LegFacts],
    *,
    title: str,
    level_m: float | None,
    date: str | None,
    units: str,
    totals: Sequence[tuple[str, str]] = (),
    declination: Declination | None = None,
    paper: tuple[float, float] = PAPERS["letter"],
    today: DepthSurface | None = None,
    width_px: int = 2000,
) -> Pages:
    """Draw all pages of a sheet.

    Parameters
    ----------
    layers
        Layers of the plan by name.
    stops, legs
        Facts of the plan.
    title, level_m, date, units
        As for `chart.draw_map`.
    totals
        Pairs of words told on the summary.
    declination
        Where a compass points; None where bearings are told true alone.
    paper
        Width and height of every page in inches.
    today
        Today's depths, for isobaths on hold cards.
    width_px
        Width of the map's picture.
    """
    frames = by_role(layers)
    ground = {
        role: in_pieces(role, frame) for role, frame in frames.items() if role in _GROUND and len(frame)
    }
    coarse = {role: _coarser(role, frame) for role, frame in ground.items()}
    metric = units == "metric"
    colours = band_colours(ground.get("depth_bands"))
    level = level_text(level_m, date, metric_first=metric)
    told = f"{level} {north_text(declination)}"
    chosen = {stop.spot_id for stop in stops}
    shown = {
        name: frame[frame["spot_id"].isin(chosen)] if name in {"holds", "cast_lines"} else frame
        for name, frame in layers.items()
        if name not in TABLES | {"cast_reach", "set_aside"}
    }
    map_page = compose(
        shown,
        title=title,
        level_m=level_m,
        date=date,
        units=units,
        width_px=width_px,
        paper=paper,
        tables=False,
    )
    card_px = int(width_px * 0.65)
    summary = draw_summary(
        frames,
        coarse,
        colours,
        stops,
        legs,
        totals,
        title=title,
        level=level,
        metric=metric,
        paper=paper,
        width_px=card_px,
    )

    leg_pages: list[Figure] = []
    for on_page in balanced(len(legs)):
        some = [legs[k] for k in on_page]
        which = _span("leg", str(some[0].number), str(some[-1].number))
        figure, pen, room = _page(paper, f"{title}: {which}", told, card_px, colours, metric=metric)
        for leg, rect in zip(some, _places(len(some), room), strict=True):
            far = leg.line is not None and leg.line.length > _FAR_M
            draw_leg_card(pen, rect, leg, coarse if far else ground, colours)
        leg_pages.append(figure)

    holds, spots, casts = (frames.get(role) for role in ("holds", "spots", "cast_lines"))
    cards = []
    for stop in stops:
        if stop.ramp or holds is None or spots is None:
            continue
        own = holds[(holds["spot_id"] == stop.spot_id) & (holds["status"].astype(str) == "ok")]
        spot = spots[spots["spot_id"] == stop.spot_id]
        if len(own) and len(spot):
            hold = own.iloc[0]
            bearings = (number(hold.get(name)) for name in ("deep_bearing_deg", "wind_from_deg"))
            mark = spot.geometry.iloc[0]
            cards.append((stop, HoldCard(hold.geometry, mark, _cast_of(hold, casts, mark), *bearings)))
    near, note = dict(ground), ""
    if today is not None and cards:
        points = np.array([(card.hold.x, card.hold.y) for _, card in cards])
        step, told_step = (0.5, "0.5 m") if metric else (0.6096, "2 ft")
        near["isobaths"] = isobaths_near(today, points, 120.0, step)
        note = f"isobaths every {told_step}"
    hold_pages: list[Figure] = []
    for on_page in balanced(len(cards)):
        batch = [cards[k] for k in on_page]
        which = _span("hold", batch[0][0].number, batch[-1][0].number)
        figure, pen, room = _page(
            paper, f"{title}: {which}", told, card_px, colours, metric=metric, note=note
        )
        for (stop, card), rect in zip(batch, _places(len(batch), room), strict=True):
            draw_hold_card(pen, rect, stop, card, near, colours, metric=metric)
        hold_pages.append(figure)
    return Pages(summary, map_page, leg_pages, hold_pages)


def pdf_of(figures: Sequence[Figure], *, title: str, description: str) -> bytes:
    """Bind pages into a PDF; the same pages give the same bytes."""
    book = io.BytesIO()
    told = {
        "Title": title,
        "Subject": description,
        "Creator": "castshed",
        "CreationDate": None,
        "ModDate": None,
    }
    with mpl.rc_context({"pdf.compression": 3}), PdfPages(book, metadata=told) as pages:
        for figure in figures:
            pages.savefig(figure, facecolor=palette.PAPER)
    return book.getvalue()
