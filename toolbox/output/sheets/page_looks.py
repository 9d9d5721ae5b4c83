"""The looks of the page: the house's colours by day, their kin by night, and what the key shows."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from ...units import FOOT_M
from ..formats import palette

if TYPE_CHECKING:
    from .page_map import Ground

_LIGHT: Final = {
    "paper": palette.PAPER, "ink": palette.INK, "quiet": palette.QUIET, "band": palette.BAND,
    "rim": palette.LAND_EDGE, "mark": palette.CAST, "warn": "#7d1c0c", "land": palette.LAND,
    "landedge": palette.LAND_EDGE, "plain": palette.MIDDLE, "iso": palette.QUIET,
    "dry": palette.DRY, "drydots": palette.DRY_DOTS, "thin": palette.HAZARD, "thinground": palette.HAZARD_GROUND,
    "known": palette.KNOWN, "zone": palette.ZONE, "run": palette.RUN, "casing": palette.CASING, "cast": palette.CAST,
    "hold": palette.HOLD, "holdedge": palette.INK, "spot": palette.SPOT,
    "leftout": palette.LEFT_OUT, "ramp": palette.RAMP,
}  # fmt: skip
_DARK: Final = {
    "paper": "#14191b", "ink": "#f1efe8", "quiet": "#b9c1c2", "band": "#20282b", "rim": "#8d9698", "mark": "#f0a9cb",
    "warn": "#ffb3a1", "land": "#2f2a23", "landedge": "#a89c89", "plain": "#35626d", "iso": "#c5d3d3", "dry": "#6b5227",
    "drydots": "#e8c27a", "thin": "#ff9d84", "thinground": "#4a1d14", "known": "#ffc2b3", "zone": "#d3b3f5",
    "run": "#fffef8", "casing": "#0d1113", "cast": "#ffb6d8", "hold": "#f6b73c", "holdedge": "#0d1113",
    "spot": "#14191b", "leftout": "#c9d0d1", "ramp": "#6fd6a8",
}  # fmt: skip
_DARK_WATER: Final = ("#6d9a92", "#173341")  # thin and deep: deeper is darker by night too


def looks(count: int) -> str:
    """Write the colours as properties of the style sheet, those of the depth bands among them, for light and dark."""
    thin, deep = (palette.rgb(colour) for colour in _DARK_WATER)
    mixed = [thin + (deep - thin) * k / max(count - 1, 1) for k in range(count)]
    dark = ["#" + "".join(f"{round(float(part) * 255):02x}" for part in colour) for colour in mixed]
    light = palette.depth_colours(count) if count else []
    by_day = _LIGHT | {f"w{k}": colour for k, colour in enumerate(light or [_LIGHT["plain"]])}
    by_night = _DARK | {f"w{k}": colour for k, colour in enumerate(dark or [_DARK["plain"]])}
    bright, dim = (
        "".join(f"--{name}:{colour};" for name, colour in one.items()) for one in (by_day, by_night)
    )
    fills = "".join(f".w{k}{{fill:var(--w{k})}}" for k in range(max(count, 1)))
    return (
        f":root{{color-scheme:light;{bright}}}\n"
        f"@media screen and (prefers-color-scheme:dark){{:root:not([data-look=light]){{color-scheme:dark;{dim}}}}}\n"
        f"@media screen{{:root[data-look=dark]{{color-scheme:dark;{dim}}}}}\n{fills}\n"
    )


_CAST: Final = (
    '<path class="castcase" d="M14 50L80 16"/><path class="cast" d="M14 50L80 16"/>'
    '<circle class="spot" cx="80" cy="16" r="12"/>'
)
MARKS: Final = (
    ('<polygon class="hold" points="48,4 68,28 68,60 28,60 28,28"/>', "hold at a stop"),
    (_CAST, "cast, and what it is aimed at"),
    ('<path class="case" d="M4 32H92"/><path class="leg" d="M4 32H92"/>', "leg, running"),
    ('<path class="case" d="M4 32H92"/><path class="leg slowly" d="M4 32H92"/>', "leg at idle"),
    ('<rect class="hazard thin-run" width="96" height="64"/>', "too thin to run"),
    ('<rect class="hazard thin-idle" width="96" height="64"/>', "too thin even at idle"),
    (
        '<path class="cross case" d="M30 14L66 50M30 50L66 14"/><path class="cross" d="M30 14L66 50M30 50L66 14"/>',
        "known hazard",
    ),
    ('<rect class="dry" width="96" height="64"/>', "dry ground"),
    ('<path class="zone" d="M4 32H92"/>', "edge of a zone"),
    ('<polygon class="ramp" points="18,56 78,56 78,8"/>', "ramp"),
    ('<circle class="planned" cx="48" cy="32" r="22"/>', "planned place at the hour"),
)
"""What the key shows, each drawn in a box of 96 by 64, and its words."""


def depth_limits(ground: Ground, *, metric: bool) -> list[tuple[str, str]]:
    """Upper limits of the depth bands in both units, the first with its unit."""
    units = ((1.0, "m"), (FOOT_M, "ft")) if metric else ((FOOT_M, "ft"), (1.0, "m"))
    told = [[f"{round(low / unit, 1) + 0.0:g}" for low, _, _ in ground.bands] for unit, _ in units]
    return [
        (f"{one} {units[0][1]}" if k == 0 else one, f"{other} {units[1][1]}" if k == 0 else other)
        for k, (one, other) in enumerate(zip(*told, strict=True))
    ]
