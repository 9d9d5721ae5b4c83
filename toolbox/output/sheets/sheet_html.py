"""The sheet as one HTML file: it loads nothing, and is whole without scripts, by keyboard, in light and dark, on paper.

The scripts beside this file make a map of it that answers a hand. The page's own policy lets no other script run, and
nothing be loaded, by the digest of what stands in it.
"""

from __future__ import annotations

import base64
import hashlib
import json
import math
import re
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import shapely
from jinja2 import Environment, FileSystemLoader, StrictUndefined
from markupsafe import Markup, escape

from ...lon_lat import north_of
from ...text import number, one_line, units_in_order
from ...units import FOOT_M
from ..maps.plan_facts import LegFacts, StopFacts
from ..words.cautions import CAUTIONS
from .page_hours import hours_of_page
from .page_looks import MARKS, depth_limits, looks
from .page_map import Ground, by_spot, casts_of, ground_of, in_order, page_data, told
from .page_pictures import (
    Frame,
    frame_of,
    ground_paths,
    hold_picture,
    leg_frame,
    leg_picture,
    still_map,
)
from .sheet_pages import isobaths_near
from .sheet_tables import table_of_answers, table_of_left_out, table_of_legs, table_of_stops

if TYPE_CHECKING:
    import geopandas as gpd

    from ...depth import DepthSurface

    Frames = Mapping[str, gpd.GeoDataFrame]

_UNIT: Final = re.compile(r"(?<=\d) (?=(?:ft|mi|m|km|mph|m/s|min)(?!\w))|(?<=°) (?=\d)")
"""Between a number and its unit, or a bearing and its distance: no end of a line."""

_FEW: Final = 4  # columns that a phone holds side by side
_SCRIPTS: Final = (
    "page_places.js",
    "page_marks.js",
    "page_map.js",
    "page_hand.js",
    "page_hours.js",
    "page.js",
)
_STILL_PX: Final = 1000.0
_HOLD_PX: Final = (380.0, 270.0)
_HOLD_HALF_M: Final = 45.0
_ISOBATH_REACH_M: Final = 120.0


def _unbroken(text: str) -> Markup:
    return Markup(_UNIT.sub("&nbsp;", escape(one_line(text))))  # noqa: S704  # escaped before


def _digest(text: str) -> str:
    return "'sha256-" + base64.b64encode(hashlib.sha256(text.encode("utf-8")).digest()).decode("ascii") + "'"


def _json(data: Any) -> str:
    """Write JSON that ends no element of the page, whatever a name says."""
    text = json.dumps(data, ensure_ascii=False, allow_nan=False, separators=(",", ":"))
    for sign in "<>&\u2028\u2029":
        text = text.replace(sign, f"\\u{ord(sign):04x}")
    return text


def _clean(data: Any) -> Any:
    """Make every text of the data one line without signs no page can hold, and what is no number none."""
    if isinstance(data, str):
        return one_line(data)
    if isinstance(data, Mapping):
        return {key: _clean(value) for key, value in data.items()}
    if isinstance(data, (list, tuple)):
        return [_clean(value) for value in data]
    if isinstance(data, float):
        return data if math.isfinite(data) else None
    return data


def _holds(
    frames: Frames,
    ground: Ground,
    care: Sequence[str],
    stops: Sequence[StopFacts],
    today: DepthSurface | None,
    *,
    metric: bool,
) -> dict[int, str]:
    """Draw the hold of each stop, by its place in the order."""
    casts = casts_of(frames)
    sides: dict[str, tuple[float, float]] = {}
    for spot, status, deep, wind, _ in told(
        frames["holds"], "spot_id", "status", "deep_bearing_deg", "wind_from_deg"
    ):
        if one_line(status) != "none":
            sides.setdefault(one_line(spot), (number(deep), number(wind)))
    marks = by_spot(frames["spots"])
    fished = [(k, stop) for k, stop in enumerate(stops) if stop.spot_id in casts and not stop.ramp]
    lines = None
    if today is not None and fished:
        at = np.array([shapely.get_coordinates(casts[stop.spot_id])[0] for _, stop in fished])
        lines = isobaths_near(today, at, _ISOBATH_REACH_M, 1.0 if metric else 2.0 * FOOT_M)
    drawn: dict[int, str] = {}
    for k, stop in fished:
        cast, (deep_deg, wind_deg) = casts[stop.spot_id], sides[stop.spot_id]
        ends = shapely.get_coordinates(cast)[[0, -1]]
        middle = ends.mean(axis=0)
        half = max(_HOLD_HALF_M, 0.8 * float(np.ptp(ends, axis=0).max()))
        frame = Frame(*_HOLD_PX, (float(middle[0]), float(middle[1])), _HOLD_PX[1] / 2.0 / half)
        near = lines
        if lines is None and ground.bands:
            import geopandas as gpd

            rims = shapely.boundary(ground.deeper)
            near = gpd.GeoDataFrame(
                {"depth_m": [low for low, _, _ in ground.bands]}, geometry=rims, crs=frames["holds"].crs
            )
        said = f"Hold at stop {stop.number}, north up: " + "; ".join(
            text for text in (stop.hold and f"boat in {stop.hold}", stop.cast and f"cast {stop.cast}") if text
        )
        drawn[k] = hold_picture(
            ground_paths(ground, frames.get("zones"), care, frame), frame, hold=shapely.Point(ends[0]),
            spot=marks[stop.spot_id], cast=cast, isobaths=near, deep_deg=deep_deg,
            wind_from_deg=wind_deg, north_deg=north_of(frames["stops"]), metric=metric, said=said,
        )  # fmt: skip
    return drawn


def _legs(
    frames: Frames, ground: Ground, care: Sequence[str], legs: Sequence[LegFacts], *, metric: bool
) -> dict[int, str]:
    """Draw each leg, by its number."""
    drawn = {}
    for leg in legs:
        if leg.line is not None:
            frame = leg_frame(leg.line, leg.course_deg)
            around = ground_paths(ground, frames.get("zones"), care, frame)
            said = f"Leg {leg.number}, {leg.start} to {leg.goal}, course up"
            turns = [(turn.number, turn.x, turn.y) for turn in leg.turns if turn.number]
            north = north_of(frames["stops"])
            drawn[leg.number] = leg_picture(
                around, frame, leg.pieces, turns, north_deg=north, metric=metric, said=said
            )
    return drawn


def _degrees(frames: Frames) -> list[str]:
    """Latitude and longitude of each stop in WGS84, in decimal degrees, in order."""
    points = in_order(frames["stops"]).geometry.representative_point().to_crs("EPSG:4326")
    return [f"{y:.6f},{x:.6f}" for x, y in zip(points.x, points.y, strict=True)]


def _verdicts(frames: Frames, *, metric: bool) -> dict[str, str]:
    rows = told(frames.get("spots"), "spot_id", "reason")
    return {one_line(spot): units_in_order(one_line(reason), metric_first=metric) for spot, reason, _ in rows}


def to_html(
    frames: Frames,
    *,
    title: str,
    level: str,
    north: str,
    totals: Sequence[tuple[str, str]],
    stops: Sequence[StopFacts],
    legs: Sequence[LegFacts],
    left_out: Sequence[tuple[Sequence[str], str]],
    questions: Sequence[tuple[str, str]],
    hours: Frames,
    level_m: float | None,
    metric: bool,
    today: DepthSurface | None = None,
) -> str:
    """Write the sheet.

    Parameters
    ----------
    frames
        Layers of the plan by role, in one system in metres.
    title, level, north
        Heading, what level and day the depths stand for, and which north bearings are counted from.
    totals, questions
        Pairs of words.
    stops, legs
        Facts of the plan.
    left_out
        Names of spots the plan leaves out, with the reason they share.
    hours
        ``verdicts`` and ``exposure`` by the hour, where there are any.
    level_m
        Today's level.
    metric
        Whether metres come first.
    today
        Today's depths, for isobaths round the holds; without it the depth bands are drawn.

    Returns
    -------
    A whole HTML file in UTF-8 that loads nothing.
    """
    ground = ground_of(frames)
    care = [one_line(kind) for kind, _ in told(frames.get("shallow_hazards"), "care")]
    clock = hours_of_page(frames["stops"], stops, hours, metric=metric)
    data = page_data(frames, ground, stops, legs, clock, level_m=level_m, metric=metric)
    frame = frame_of(ground, _STILL_PX)
    places = in_order(frames["stops"]).geometry
    still = still_map(
        ground,
        ground_paths(ground, frames.get("zones"), care, frame),
        [piece for leg in legs for piece in leg.pieces],
        [(stop.number, point) for stop, point in zip(stops, places, strict=True)],
        frame,
        metric=metric,
    )
    tables = [("Stops", table_of_stops(stops)), ("Legs", table_of_legs(legs))]
    tables += [("Asked of the plan", table_of_answers(questions))] if questions else []
    tables += [("Left out", table_of_left_out(left_out))] if left_out else []
    home = Path(__file__).parent
    pages = Environment(
        loader=FileSystemLoader(home),
        autoescape=True,
        finalize=lambda value: value if isinstance(value, Markup) else one_line(value),
        undefined=StrictUndefined,
        keep_trailing_newline=True,
    )
    pages.filters["unbroken"] = _unbroken
    script = "\n'use strict';\n" + "".join((home / name).read_text(encoding="utf-8") for name in _SCRIPTS)
    style = "\n" + looks(len(ground.bands)) + (home / "page.css").read_text(encoding="utf-8")
    policy = (
        f"default-src 'none'; script-src {_digest(script)}; style-src {_digest(style)}; "
        "base-uri 'none'; form-action 'none'"
    )
    by_leg = {leg.number: leg for leg in legs}
    return pages.get_template("sheet.html.jinja").render(
        title=title, level=level, north=north, totals=totals, first_caution=CAUTIONS[0], cautions=CAUTIONS, few=_FEW,
        policy=policy, style=Markup(style), script=Markup(script), data=Markup(_json(_clean(data))),  # noqa: S704
        still=Markup(still), stops=stops, legs=by_leg, tables=tables,  # noqa: S704  # drawn here, every word escaped
        holds={no: Markup(svg) for no, svg in _holds(frames, ground, care, stops, today, metric=metric).items()},  # noqa: S704
        ways={no: Markup(svg) for no, svg in _legs(frames, ground, care, legs, metric=metric).items()},  # noqa: S704
        degrees=_degrees(frames), verdicts=_verdicts(frames, metric=metric),
        limits=depth_limits(ground, metric=metric), marks=[(Markup(look), words) for look, words in MARKS],  # noqa: S704
        bands=[text for band in data["bands"] for text in band["words"][:1]], off=f"{ground.off_m:.1f}",
        timed=bool(clock),
    )  # fmt: skip
