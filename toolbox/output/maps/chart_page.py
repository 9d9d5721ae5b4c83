"""A page measured in inches: blank paper, the window of a map on it, and the finished picture."""

from __future__ import annotations

import io
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Final

import matplotlib as mpl
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from ..formats import palette
from ..words.cautions import CAUTIONS
from .draughting import Pen

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from .map_window import View


FOOT_SIZE: Final = 6.3
FOOT_LINE_IN: Final = 0.118


def blank_page(width_in: float, width_px: int) -> tuple[Figure, Pen]:
    """Make a page, square until its height is set, and the pen to write on it."""
    figure = Figure(figsize=(width_in, width_in), dpi=width_px / width_in, facecolor=palette.PAPER)
    FigureCanvasAgg(figure)
    return figure, Pen(figure)


def map_axes(figure: Figure, view: View) -> Axes:
    """Put axes for the map where the view has its rectangle; the page has its final height by then."""
    rect = view.rect
    width, height = figure.get_size_inches()
    axes = figure.add_axes(
        (rect.left / width, rect.bottom / height, rect.width / width, rect.height / height)
    )
    axes.set_facecolor(palette.LAND)
    axes.set_xticks([])
    axes.set_yticks([])
    west, east, south, north = view.limits
    axes.set(xlim=(west, east), ylim=(south, north), autoscale_on=False)
    for spine in axes.spines.values():
        spine.set(color=palette.INK, linewidth=0.9)
    return axes


def caution_lines(pen: Pen, room_in: float, size: float = FOOT_SIZE) -> list[str]:
    """Set the cautions in lines no wider than the room."""
    return pen.wrapped(" ".join(CAUTIONS), size, room_in)


def write_cautions(
    pen: Pen,
    lines: Sequence[str],
    left: float,
    bottom: float,
    *,
    size: float = FOOT_SIZE,
    line_in: float = FOOT_LINE_IN,
) -> None:
    """Write lines of the cautions along the foot of a page, the last one at the bottom."""
    for order, line in enumerate(lines):
        y = bottom + line_in * (len(lines) - order - 0.85)
        pen.write(left, y, line, size, palette.INK, gid="caution")


def png_of(figure: Figure, told: Mapping[str, str]) -> bytes:
    """Draw the page as a PNG file with these text fields."""
    picture = io.BytesIO()
    with mpl.rc_context({"text.hinting": "none"}):  # letters as wide as they were measured
        figure.savefig(picture, format="png", dpi=figure.dpi, facecolor=palette.PAPER, metadata=dict(told))
    return picture.getvalue()
