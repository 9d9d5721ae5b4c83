"""The look of castshed's maps, in one place: colours, line widths and marks, designed here.

How the colours were chosen
---------------------------
* Water goes from pale celadon (thin) to petrol (deep): lightness alone tells the order, so it survives grey print
  and every kind of colour blindness. The deepest band stays light enough for dark marks to stand out.
* Land is a warm grey, told from pale water by its drawn edge too; ground fallen dry is ochre, and dotted.
* What to keep out of is told by pattern first (hatching, line style) and by colour second.
* Words are always ink on paper, or paper on ink: the contrast does not depend on what is below.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

if TYPE_CHECKING:
    from ...arrays import Floats

PAPER: Final = "#fbfaf6"
INK: Final = "#1d2326"
QUIET: Final = "#4c5558"  # second-rank words on paper
LAND: Final = "#d9d3c7"
LAND_EDGE: Final = "#6e685c"
DRY: Final = "#e9c98f"
DRY_DOTS: Final = "#7a5413"
HAZARD: Final = "#a3240f"
HAZARD_GROUND: Final = "#fae3d6"  # under the hatching, so that it shows on deep water too
KNOWN: Final = "#5c1005"
ZONE: Final = "#5b2a86"
RUN: Final = "#14110f"
CASING: Final = "#fffef8"
CAST: Final = "#7a1f4f"
HOLD: Final = "#f6b73c"
SPOT: Final = "#fffef8"
LEFT_OUT: Final = "#5c6468"
RAMP: Final = "#0d5c3f"

BAND: Final = "#efece3"  # every second row of a table

THIN: Final = "#f0f6e4"
MIDDLE: Final = "#9ccabf"
DEEP: Final = "#4d87a0"
_ANCHORS: Final = (THIN, "#cfe6d0", MIDDLE, "#6ea9b4", DEEP)

HATCH_WIDTH: Final = {"run": 0.5, "idle": 0.8}
"""Width of hatch lines by care, in points."""

ZONE_WIDTH: Final = {"slow": 1.5, "no_entry": 2.0, "no_motor": 2.0}

IDLE_DASHES: Final = (0.0, (2.2, 1.8))
"""Line of a leg at idle: offset, then line on, off in points."""

ZONE_DASHES: Final[dict[str, tuple[float, ...]]] = {
    "no_entry": (8.0, 2.0, 1.5, 2.0),
    "no_motor": (1.5, 2.0),
    "slow": (6.0, 3.0),
}
"""Outline of each kind of zone: line on, off, ... in points."""


def rgb(colour: str) -> Floats:
    """Red, green and blue between 0 and 1 of ``#rrggbb``."""
    return np.array([int(colour[at : at + 2], 16) / 255.0 for at in (1, 3, 5)])


def linear(colour: Floats) -> Floats:
    """Linear light of sRGB values (IEC 61966-2-1)."""
    return np.where(colour <= 0.04045, colour / 12.92, ((colour + 0.055) / 1.055) ** 2.4)


def luminance(colour: str) -> float:
    """Relative luminance, 0 black to 1 white (WCAG 2.1, W3C)."""
    return float(linear(rgb(colour)) @ np.array([0.2126, 0.7152, 0.0722]))


def contrast(one: str, other: str) -> float:
    """Contrast ratio of two colours, 1 to 21 (WCAG 2.1, W3C)."""
    light, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def depth_colours(count: int) -> list[str]:
    """Colours of ``count`` depth bands, shallow to deep: each darker than the one before.

    Parameters
    ----------
    count
        How many bands; one band gets the middle colour.
    """
    if count == 1:
        return [MIDDLE]
    anchors = np.array([rgb(anchor) for anchor in _ANCHORS])
    along = np.linspace(0.0, len(_ANCHORS) - 1.0, count)
    mixed = np.column_stack(
        [np.interp(along, np.arange(len(_ANCHORS)), anchors[:, channel]) for channel in range(3)]
    )
    return ["#" + "".join(f"{round(float(value) * 255):02x}" for value in colour) for colour in mixed]
