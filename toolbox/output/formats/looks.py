"""Lines and areas of each part of a plan in formats that carry a style: colours of the palette, widths, opacity."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any, Final

from ...text import number
from . import palette


@dataclass(frozen=True)
class Look:
    """How a part is drawn: line colour and width in pixels, area colour (None: outline only) and its opacity."""

    line: str
    width: float
    area: str | None = None
    opacity: float = 0.0
    dashes: tuple[float, ...] = ()


LOOKS: Final[dict[str, Look]] = {
    "water": Look(palette.LAND_EDGE, 1.5),
    "shoreline": Look(palette.LAND_EDGE, 1.0),
    "dry_ground": Look(palette.DRY_DOTS, 1.0, palette.DRY, 0.55),
    "shallow_run": Look(palette.HAZARD, 1.0, palette.HAZARD, 0.2),
    "shallow_idle": Look(palette.HAZARD, 2.0, palette.HAZARD, 0.45),
    "known_hazards": Look(palette.KNOWN, 2.0, palette.KNOWN, 0.4),
    "zones": Look(palette.ZONE, 2.5),
    "cast_reach": Look(palette.CAST, 1.0, palette.CAST, 0.15),
    "cast_lines": Look(palette.CAST, 2.0),
    "hold_lines": Look(palette.HOLD, 3.0),
    "line_ups": Look(palette.QUIET, 1.0, dashes=(6.0, 4.0)),
    "fixes": Look(palette.QUIET, 1.0),
    "landmarks": Look(palette.INK, 1.0),
    "ways": Look(palette.QUIET, 1.5),
    "safe_water": Look(palette.MIDDLE, 1.0, palette.MIDDLE, 0.3),
    "leg_run": Look(palette.RUN, 3.5),
    "leg_idle": Look(palette.LEFT_OUT, 3.5, dashes=(8.0, 6.0)),
    "holds": Look(palette.HOLD, 1.0),
    "stops": Look(palette.RUN, 1.0),
    "ramps": Look(palette.RAMP, 1.0),
    "spots": Look(palette.CASING, 1.0),
    "structure": Look(palette.CASING, 1.5),
    "left_out": Look(palette.LEFT_OUT, 1.0),
    "plain": Look(palette.QUIET, 1.5),
}
"""Name of each look; the parts of a plan that have one of their own name are drawn by it."""

_BAND: Final = Look(palette.LAND_EDGE, 0.5, opacity=0.8)


def band_names(rows: Iterable[Mapping[str, Any]]) -> dict[float, str]:
    """Name the look of each depth band, shallow to deep, by where it begins."""
    starts = {start for row in rows if math.isfinite(start := number(row.get("from_m")))}
    return {start: f"band_{place}" for place, start in enumerate(sorted(starts), start=1)}


def band_looks(bands: Mapping[float, str]) -> dict[str, Look]:
    """Give each depth band its look, each darker than the one before."""
    colours = palette.depth_colours(len(bands)) if bands else []
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
