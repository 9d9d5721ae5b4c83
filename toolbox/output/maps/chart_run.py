"""The run on the map: legs, casts, marks, and labels that keep clear of each other."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Final

import numpy as np
from matplotlib.collections import LineCollection

from ...text import number
from ..formats import palette
from .chart_labels import draw_label, labels_of, places_of
from .chart_legs import draw_arrows, draw_legs, lines_of
from .chart_marks import MARKS, draw_marks
from .draughting import points_between
from .labels import place_labels

if TYPE_CHECKING:
    import geopandas as gpd
    from matplotlib.axes import Axes

    from ...arrays import Floats
    from .draughting import Pen
    from .map_window import View

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
