"""A page measured in inches: blank paper, which metres lie where in the map's window, the finished picture."""

from __future__ import annotations

import io
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import matplotlib as mpl
import numpy as np
import shapely
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from ...arrays import Floats
from ...errors import CrsError, DataError
from ..formats import palette
from ..words.cautions import CAUTIONS
from ..words.features import check_layers
from ..words.names import role_of
from .draughting import Pen

if TYPE_CHECKING:
    import geopandas as gpd
    import pyproj
    from matplotlib.axes import Axes

FOOT_SIZE: Final = 6.3
FOOT_LINE_IN: Final = 0.118
PAPERS: Final[dict[str, tuple[float, float]]] = {"letter": (8.5, 11.0), "a4": (8.27, 11.69)}
"""Width and height of a page in inches: ANSI Letter, and A4 of ISO 216 (210 by 297 mm); all pages stand."""
CARD_SIZE: Final = 9.0
TABLE_SIZE: Final = 8.0
MAP_SIZE: Final = 7.0
CAUTION_SIZE: Final = 7.0
CAUTION_LINE_IN: Final = 0.125
"""Least size of letters on paper, in points: on cards, in tables, on maps, of the cautions."""


def paper_of(word: str | None, units: str) -> tuple[float, float]:
    """Give the page asked for; without a word Letter where US units come first, else A4."""
    return PAPERS[word or ("letter" if units == "US" else "a4")]


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
        figure.savefig(
            picture,
            format="png",
            dpi=figure.dpi,
            facecolor=palette.PAPER,
            metadata=dict(told),
            pil_kwargs={"compress_level": 3},  # half the time for a tenth more bytes
        )
    return picture.getvalue()


Bounds = tuple[float, float, float, float]

_LEAST_M: Final = 300.0  # a window is never narrower than this
_MARGIN: Final = 0.035
_FRAMING: Final = (
    ("water", "shoreline", "dry_ground", "depth_bands"),
    ("legs", "stops", "holds", "spots", "ramps"),
)


@dataclass(frozen=True)
class Rect:
    """A rectangle on the page in inches, from its lower left corner."""

    left: float
    bottom: float
    width: float
    height: float

    @property
    def right(self) -> float:
        """Right edge."""
        return self.left + self.width

    @property
    def top(self) -> float:
        """Upper edge."""
        return self.bottom + self.height


@dataclass(frozen=True)
class View:
    """A window of the lake on a rectangle of the page."""

    rect: Rect  # where on the page
    # which part of the lake, and how large
    west_m: float
    south_m: float
    metres_per_inch: float

    @property
    def limits(self) -> tuple[float, float, float, float]:
        """West, east, south and north in metres."""
        return (
            self.west_m,
            self.west_m + self.rect.width * self.metres_per_inch,
            self.south_m,
            self.south_m + self.rect.height * self.metres_per_inch,
        )

    def on_page(self, points_m: Floats) -> Floats:
        """Inches on the page of places in metres, (n, 2)."""
        corner = np.array([self.rect.left, self.rect.bottom])
        from_corner = np.asarray(points_m) - [self.west_m, self.south_m]
        placed: Floats = from_corner / self.metres_per_inch + corner
        return placed


def fit(bounds_m: Bounds, rect: Rect) -> View:
    """Fit bounds (west, south, east, north) into a rectangle, centred, with a margin."""
    west, south, east, north = bounds_m
    wide = max(east - west, _LEAST_M) * (1.0 + 2.0 * _MARGIN)
    high = max(north - south, _LEAST_M) * (1.0 + 2.0 * _MARGIN)
    scale = max(wide / rect.width, high / rect.height)
    return View(
        rect,
        (west + east) / 2.0 - scale * rect.width / 2.0,
        (south + north) / 2.0 - scale * rect.height / 2.0,
        scale,
    )


def _metric(crs: pyproj.CRS) -> bool:
    return bool(crs.is_projected) and all(axis.unit_name == "metre" for axis in crs.axis_info[:2])


def by_role(layers: Mapping[str, Any]) -> dict[str, gpd.GeoDataFrame]:
    """Layers by the part of the plan they are, all in one reference system in metres, rows without geometry dropped.

    Raises
    ------
    CrsError
        A layer has no reference system.
    DataError
        Something is not a layer, or no layer has a geometry.
    """
    found: dict[str, gpd.GeoDataFrame] = {}
    checked = check_layers(layers)
    target = next((f.crs for f in checked.values() if f.crs is not None and _metric(f.crs) and len(f)), None)
    for name, frame in checked.items():
        if frame.crs is None:
            raise CrsError(
                f"layer '{name}' has no reference system, so it cannot be drawn; set it (set_crs) and try again."
            )
        bounds = shapely.bounds(frame.geometry.to_numpy())
        kept = frame[np.isfinite(bounds).all(axis=1)]
        if target is None and len(kept):
            target = kept.estimate_utm_crs()
        if len(kept) and kept.crs != target:
            kept = kept.to_crs(target)
            kept = kept[np.isfinite(shapely.bounds(kept.geometry.to_numpy())).all(axis=1)]
        role = role_of(name, frame)
        if role not in found or not len(found[role]):
            found[role] = kept.reset_index(drop=True)
    if "structure" in found and "spots" not in found:
        found["spots"] = found.pop("structure")  # structure found is marked like the spots of a list
    if not any(len(frame) for frame in found.values()):
        raise DataError(
            "There is nothing to draw: no layer has a row with a geometry. Give at least water or stops."
        )
    return found


def bounds_of(frames: Mapping[str, gpd.GeoDataFrame]) -> Bounds:
    """Find what the map must show: the water, or the run where no water is given, or else everything."""
    for roles in (*_FRAMING, tuple(frames)):
        boxes = [frames[role].total_bounds for role in roles if role in frames and len(frames[role])]
        if boxes:
            box = np.array(boxes)
            low, high = box[:, :2].min(axis=0), box[:, 2:].max(axis=0)
            return float(low[0]), float(low[1]), float(high[0]), float(high[1])
    raise DataError(
        "There is nothing to draw: no layer has a row with a geometry. Give at least water or stops."
    )
