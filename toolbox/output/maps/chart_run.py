"""The run on the map: legs, casts, marks, and labels that keep clear of each other."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import shapely
from matplotlib.collections import LineCollection
from matplotlib.patches import FancyBboxPatch

from ...arrays import Floats
from ...text import number, one_line
from ..formats import palette
from .chart_marks import MARKS, along, draw_arrows, draw_legs, draw_marks, lines_of
from .chart_page import View
from .draughting import Pen, drawable, points_between
from .labels import Place, Wish, leader_end, place_labels

if TYPE_CHECKING:
    import geopandas as gpd
    from matplotlib.axes import Axes

_STOP_SIZE: Final = 7.2
_LEG_SIZE: Final = 7.0
_SMALL_SIZE: Final = 7.0
_PAD_IN: Final = 0.035
_NAME_ROOM_IN: Final = 1.5
_MOST_SMALL: Final = 40  # labels of the last rank; more would fill the water
_SAYS: Final = {"slow": "slow", "no_entry": "no entry", "no_motor": "no motors"}
_SHARES: Final = (0.5, 0.45, 0.4, 0.55, 0.35, 0.3, 0.75, 0.25, 0.8, 0.2)  # where on its leg a number may sit


@dataclass(frozen=True)
class Label:
    """Text of a label in falling order of liking, how it looks, and where it wants to be (inches on the page)."""

    kind: str
    x: float
    y: float
    forms: tuple[str, ...]
    size: float
    bold: bool
    ink: str
    ground: str
    near: float
    far: float
    spots: tuple[tuple[float, float], ...] = ()

    def wish(self, pen: Pen) -> Wish:
        """Sizes of its forms, for the search of a place."""
        high = self.size / 72.0 + 1.6 * _PAD_IN
        wide = [pen.width(form, self.size, bold=self.bold) + 2.0 * _PAD_IN for form in self.forms]
        return Wish(
            self.x, self.y, tuple((max(w, high), high) for w in wide), self.near, self.far, self.spots
        )


def places_of(view: View, frame: gpd.GeoDataFrame | None) -> Floats:
    """Find a point on the page for each row: the point itself, or one inside the area or on the line."""
    if frame is None or not len(frame):
        return np.empty((0, 2))
    return view.on_page(shapely.get_coordinates(shapely.point_on_surface(frame.geometry.to_numpy())))


def _names(frame: gpd.GeoDataFrame, *others: str) -> list[str]:
    column = next((name for name in ("name", *others) if name in frame), None)
    return [""] * len(frame) if column is None else [one_line(name) for name in frame[column]]


def _stops(view: View, stops: gpd.GeoDataFrame, pen: Pen) -> list[Label]:
    """Label each stop by number and name; a ramp at both ends of the run gets one label with both numbers."""
    ordered = stops.assign(_no=[number(no) for no in stops["stop_no"]]).sort_values("_no", kind="stable")
    at_place: dict[tuple[float, float], list[tuple[str, str]]] = {}
    table = zip(
        places_of(view, ordered).round(4).tolist(), ordered["_no"], _names(ordered, "spot_id"), strict=True
    )
    for place, no, name in table:
        at_place.setdefault((place[0], place[1]), []).append((f"{no:.0f}" if math.isfinite(no) else "", name))
    found = []
    for (x, y), made in at_place.items():
        numbers = "·".join(shown for shown, _ in made if shown)
        full = pen.fitted(f"{numbers} {made[0][1]}".strip(), _STOP_SIZE, _NAME_ROOM_IN, bold=True)
        forms = tuple(dict.fromkeys((full, drawable(numbers) or full)))
        found.append(Label("stop", x, y, forms, _STOP_SIZE, True, palette.INK, palette.PAPER, 0.08, 2.6))
    return found


def _points(view: View, frame: gpd.GeoDataFrame, pen: Pen) -> list[Label]:
    """Names of holds or spots, for a map without stops."""
    table = zip(places_of(view, frame).tolist(), _names(frame, "spot_id"), strict=True)
    return [
        Label(
            "spot",
            x,
            y,
            (pen.fitted(name, _SMALL_SIZE, 1.1),),
            _SMALL_SIZE,
            False,
            palette.INK,
            palette.PAPER,
            0.08,
            0.9,
        )
        for (x, y), name in list(table)[:_MOST_SMALL]
    ]


def _ramps(view: View, ramps: gpd.GeoDataFrame, pen: Pen, taken: Floats) -> list[Label]:
    found = []
    for (x, y), name in zip(places_of(view, ramps).tolist(), _names(ramps, "ramp_id"), strict=True):
        if len(taken) and np.hypot(*(taken - [x, y]).T).min() < 0.02:
            continue  # labelled as a stop already
        forms = tuple(dict.fromkeys((pen.fitted(name or "ramp", _SMALL_SIZE, 1.2), "ramp")))
        found.append(Label("ramp", x, y, forms, _SMALL_SIZE, False, palette.RAMP, palette.PAPER, 0.11, 1.2))
    return found


def _legs(by_leg: Mapping[str, list[Floats]]) -> list[Label]:
    found = []
    for name, lines in by_leg.items():
        spots = tuple(
            (float(at[0][0]), float(at[0][1])) for share in _SHARES if (at := along(lines, share)) is not None
        )
        if spots:
            x, y = spots[0]
            ink, ground = palette.CASING, palette.RUN
            found.append(
                Label("leg", x, y, (drawable(name),), _LEG_SIZE, True, ink, ground, 0.06, 0.9, spots)
            )
    return found


def _zones(view: View, zones: gpd.GeoDataFrame) -> list[Label]:
    found = []
    for (x, y), zone in zip(places_of(view, zones).tolist(), zones["zone"].tolist(), strict=True):
        text = drawable(_SAYS.get(str(zone), one_line(zone)))[:24]
        ink, ground = palette.ZONE, palette.PAPER
        found.append(Label("zone", x, y, (text,), _SMALL_SIZE, False, ink, ground, 0.05, 0.9, ((x, y),)))
    return found[:_MOST_SMALL]


def labels_of(
    view: View, frames: Mapping[str, gpd.GeoDataFrame], by_leg: Mapping[str, list[Floats]], pen: Pen
) -> list[Label]:
    """All labels inside the map, the most important first."""
    there = {role: frame for role, frame in frames.items() if len(frame)}
    labels: list[Label] = []
    if "stops" in there:
        labels += _stops(view, there["stops"], pen)
    elif "holds" in there or "spots" in there:
        labels += _points(view, there["holds"] if "holds" in there else there["spots"], pen)
    taken = np.array([(label.x, label.y) for label in labels]).reshape(-1, 2)
    if "ramps" in there:
        labels += _ramps(view, there["ramps"], pen, taken)
    labels += _legs(by_leg)
    if "zones" in there:
        labels += _zones(view, there["zones"])
    rect = view.rect
    return [
        label
        for label in labels
        if label.forms[0] and rect.left <= label.x <= rect.right and rect.bottom <= label.y <= rect.top
    ]


def draw_label(axes: Axes, label: Label, place: Place, pen: Pen) -> None:
    """Draw a label in its place, with a leader to its mark where it had to go far."""
    on_page = pen.figure.dpi_scale_trans
    west, south, east, north = place.box
    if place.leader:
        run = [(label.x, label.y), leader_end(label.x, label.y, place.box)]
        for width, colour, order in ((2.0, palette.CASING, 5.0), (0.7, palette.INK, 5.1)):
            line = LineCollection([run], colors=colour, linewidths=width, transform=on_page, zorder=order)
            axes.add_collection(line, autolim=False)
    ground = FancyBboxPatch(
        (west, south),
        east - west,
        north - south,
        boxstyle="round,pad=0,rounding_size=0.03",
        facecolor=label.ground,
        edgecolor=label.ink,
        linewidth=0.5,
        transform=on_page,
        zorder=6.0,
        gid=f"label:{label.kind}",
    )
    pen.figure.add_artist(ground)
    middle = ((west + east) / 2.0, (south + north) / 2.0)
    look: dict[str, Any] = {
        "bold": label.bold,
        "ha": "center",
        "va": "center_baseline",
        "zorder": 6.1,
        "gid": f"text:{label.kind}",
    }
    pen.write(*middle, label.forms[place.form], label.size, label.ink, **look)


_KEEP_OFF: Final = ("hold", "ramp")  # marks no label may cover
_INSIDE_IN: Final = 0.03
_SAMPLE_IN: Final = 0.06


def _mark_places(view: View, frames: Mapping[str, gpd.GeoDataFrame]) -> dict[str, Floats]:
    """Where each kind of mark goes, those drawn first first."""
    spots, holds = frames.get("spots"), frames.get("holds")
    out = np.zeros(0 if spots is None else len(spots), dtype=bool)
    if spots is not None and "fishable" in spots:
        out = np.array([number(value) == 0.0 for value in spots["fishable"]], dtype=bool)
    if holds is not None and "status" in holds:
        holds = holds[holds["status"].astype(str) != "none"]
    # with verdicts known, a crossed spot is one that cannot be fished; else one the run leaves out
    told = spots is not None and "fishable" in spots
    return {
        "left_out": places_of(view, spots[out] if spots is not None and told else frames.get("left_out")),
        "spot": places_of(view, None if spots is None else spots[~out]),
        "hold": places_of(view, holds),
        "ramp": places_of(view, frames.get("ramps")),
    }


def draw_run(axes: Axes, frames: Mapping[str, gpd.GeoDataFrame], view: View, pen: Pen) -> int:
    """Draw everything of the run.

    Returns
    -------
    How many labels found no place.
    """
    on_page = pen.figure.dpi_scale_trans
    legs = frames.get("legs")
    by_leg = draw_legs(axes, legs, view, pen) if legs is not None and len(legs) else {}
    arrows = draw_arrows(axes, by_leg, pen)
    if "cast_lines" in frames:
        casts = [line for lines in lines_of(view, frames["cast_lines"]) for line in lines]
        strokes = LineCollection(
            casts, colors=palette.CAST, linewidths=1.1, transform=on_page, clip_path=axes.patch, zorder=4.4
        )
        axes.add_collection(strokes, autolim=False)
    marked = _mark_places(view, frames)
    for order, (name, points) in enumerate(marked.items()):
        if len(points):
            mark = draw_marks(name, points, on_page, 4.5 + order / 10.0)
            mark.set_clip_path(axes.patch)
            axes.add_collection(mark, autolim=False)
    labels = labels_of(view, frames, by_leg, pen)
    kept_off = [
        np.hstack([marked[n] - MARKS[n].size / 2.0, marked[n] + MARKS[n].size / 2.0]) for n in _KEEP_OFF
    ]
    way = points_between([line for lines in by_leg.values() for line in lines], _SAMPLE_IN)
    rect = view.rect
    places = place_labels(
        [label.wish(pen) for label in labels],
        frame=(
            rect.left + _INSIDE_IN,
            rect.bottom + _INSIDE_IN,
            rect.right - _INSIDE_IN,
            rect.top - _INSIDE_IN,
        ),
        hard=np.vstack([*kept_off, arrows]),
        soft=np.vstack([way, marked["spot"], marked["left_out"]]),
    )
    for label, place in zip(labels, places, strict=True):
        if place is not None:
            draw_label(axes, label, place, pen)
    return sum(place is None for place in places)
