"""Colours of wind and waves: one warm ramp, each step darker than the last, so that lightness alone tells the order.

Even the weakest step is sand, not green or blue: a small figure is shown as small, never as good.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from typing import Final

import numpy as np

from ..formats import palette

_RAMPS: Final[dict[int, tuple[str, ...]]] = {
    5: ("#f8eed8", palette.DRY, "#d0823a", palette.HAZARD, "#4a0d05"),
    6: ("#f8eed8", palette.DRY, "#e2a965", "#d0823a", palette.HAZARD, "#4a0d05"),
}
"""By number of classes. No colour lies half way between ink and paper, where neither could be read on it."""

WIND_LIMITS: Final[dict[str, tuple[float, ...]]] = {
    "US": (5.0, 10.0, 15.0, 20.0),
    "metric": (2.0, 4.0, 6.0, 9.0),
}
"""Classes of wind speed, mph or m/s (the steps in which forecasts are told; common practice)."""

WAVE_LIMITS: Final[dict[str, tuple[float, ...]]] = {
    "US": (0.5, 1.0, 1.5, 2.0, 3.0),
    "metric": (0.15, 0.3, 0.45, 0.6, 0.9),
}
"""Classes of wave height, ft or m."""


def ramp(count: int) -> list[str]:
    """Colours of five or six classes, weak to strong."""
    return list(_RAMPS[count])


def words_on(colour: str) -> str:
    """Ink or paper, whichever reads better on a colour."""
    return max(palette.INK, palette.PAPER, key=lambda words: palette.contrast(words, colour))


def class_of(value: float, limits: Sequence[float]) -> int:
    """Which class a value falls into; one at a limit is in the class above it."""
    return int(np.searchsorted(np.asarray(limits), value, side="right"))


def class_words(limits: Sequence[float], unit: str) -> list[str]:
    """Name the classes.

    Examples
    --------
    >>> class_words((5.0, 10.0), "mph")
    ['under 5 mph', '5 to 10 mph', '10 mph and more']
    """
    between = [f"{low:g} to {high:g} {unit}" for low, high in itertools.pairwise(limits)]
    return [f"under {limits[0]:g} {unit}", *between, f"{limits[-1]:g} {unit} and more"]
