"""The look of castshed's maps, in one place: colours, line widths and marks, designed here.

Lines and areas of each part of a plan in formats that carry a style: colours of the palette, widths, opacity.

How the colours were chosen
---------------------------
* Water goes from pale celadon (thin) to petrol (deep): lightness alone tells the order, so it survives grey print
  and every kind of colour blindness. The deepest band stays light enough for dark marks to stand out.
* Land is a warm grey, told from pale water by its drawn edge too; ground fallen dry is ochre, and dotted.
* What to keep out of is told by pattern first (hatching, line style) and by colour second.
* Words are always ink on paper, or paper on ink: the contrast does not depend on what is below.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from ...text import number

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


@dataclass(frozen=True)
class Look:
    """How a part is drawn: line colour and width in pixels, area colour (None: outline only) and its opacity."""

    line: str
    width: float
    area: str | None = None
    opacity: float = 0.0
    dashes: tuple[float, ...] = ()


LOOKS: Final[dict[str, Look]] = {
    "water": Look(LAND_EDGE, 1.5),
    "shoreline": Look(LAND_EDGE, 1.0),
    "dry_ground": Look(DRY_DOTS, 1.0, DRY, 0.55),
    "shallow_run": Look(HAZARD, 1.0, HAZARD, 0.2),
    "shallow_idle": Look(HAZARD, 2.0, HAZARD, 0.45),
    "known_hazards": Look(KNOWN, 2.0, KNOWN, 0.4),
    "zones": Look(ZONE, 2.5),
    "cast_reach": Look(CAST, 1.0, CAST, 0.15),
    "cast_lines": Look(CAST, 2.0),
    "hold_lines": Look(HOLD, 3.0),
    "line_ups": Look(QUIET, 1.0, dashes=(6.0, 4.0)),
    "fixes": Look(QUIET, 1.0),
    "landmarks": Look(INK, 1.0),
    "ways": Look(QUIET, 1.5),
    "safe_water": Look(MIDDLE, 1.0, MIDDLE, 0.3),
    "leg_run": Look(RUN, 3.5),
    "leg_idle": Look(LEFT_OUT, 3.5, dashes=(8.0, 6.0)),
    "holds": Look(HOLD, 1.0),
    "stops": Look(RUN, 1.0),
    "ramps": Look(RAMP, 1.0),
    "spots": Look(CASING, 1.0),
    "structure": Look(CASING, 1.5),
    "left_out": Look(LEFT_OUT, 1.0),
    "plain": Look(QUIET, 1.5),
}
"""Name of each look; the parts of a plan that have one of their own name are drawn by it."""

_BAND: Final = Look(LAND_EDGE, 0.5, opacity=0.8)


def band_names(rows: Iterable[Mapping[str, Any]]) -> dict[float, str]:
    """Name the look of each depth band, shallow to deep, by where it begins."""
    starts = {start for row in rows if math.isfinite(start := number(row.get("from_m")))}
    return {start: f"band_{place}" for place, start in enumerate(sorted(starts), start=1)}


def band_looks(bands: Mapping[float, str]) -> dict[str, Look]:
    """Give each depth band its look, each darker than the one before."""
    colours = depth_colours(len(bands)) if bands else []
    return {
        name: Look(_BAND.line, _BAND.width, colour, _BAND.opacity)
        for name, colour in zip(bands.values(), colours, strict=True)
    }


def look_of(role: str, row: Mapping[str, Any], bands: Mapping[float, str]) -> str:
    """Name of the look of a row, by its part and by what it says."""
    if role == "shallow_hazards":
        return "shallow_idle" if row.get("care") == "idle" else "shallow_run"
    if role == "legs":
        return "leg_run" if row.get("part") == "run" else "leg_idle"
    if role == "depth_bands":
        return bands.get(number(row.get("from_m")), "plain")
    if role in {"spots", "verdicts"} and number(row.get("fishable")) == 0.0:
        return "left_out"
    if role in {"holds", "fixes"} and row.get("status") == "none":
        return "left_out"
    return role if role in LOOKS else "plain"
