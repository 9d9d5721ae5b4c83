"""Numbers in a raster that are no depths: marks for 'nothing known' that nobody declared, and depths no lake has."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from ...errors import DataError
from ...units import FATHOM_M, FOOT_M, in_words

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from ...depth import DepthSurface

DEEPEST_LAKE_M: Final = 1642.0
"""Lake Baikal (common knowledge of geography); nothing deeper is a lake."""
_HIGHEST_M: Final = 9000.0  # no ground on Earth stands higher
_USUAL: Final = (999.0, 9999.0, 99999.0, 999999.0, 32767.0, 32768.0, 65535.0, 65536.0)
"""Numbers in use as marks for 'nothing known', of either sign (common practice)."""
_UNITS: Final = (1.0, FOOT_M, 1200.0 / 3937.0, FATHOM_M)  # a mark is converted with the depths around it
_OFTEN: Final = 5
_ABOVE: Final = 900.0 * FOOT_M  # the least of the marks, in feet
_REMEDY: Final = (
    "Say which number stands for that: depth-surface --no-data, or the raster's own no-data value."
)


def _next_to(values: NDArray[np.float32], value: float) -> float:
    """Distance from an extreme value to the nearest other one; infinite where there is none."""
    others = values[values != np.float32(value)]
    if not others.size:
        return float("inf")
    nearest = float(others.max()) if value > 0 else float(others.min())
    return abs(value - nearest)


def _is_mark(value: float, alone_by: float) -> bool:
    """Whether a number is one of the usual marks, converted or not, with nothing near it."""
    if abs(value) > 1.0e5:
        return True
    usual = any(abs(abs(value) - mark * unit) <= 1e-4 * mark * unit for mark in _USUAL for unit in _UNITS)
    return usual and alone_by > max(30.0, 0.02 * abs(value))


def _told_by_place(values: NDArray[np.float32], value: float, alone_by: float) -> bool:
    """Whether a number is given again and again where nothing else lies, far beyond how far all others reach."""
    count = int((values == np.float32(value)).sum())
    others = values[values != np.float32(value)]
    if count < _OFTEN or not others.size:
        return False
    reach = float(others.max()) - float(others.min())
    return alone_by > 100.0 and alone_by > 3.0 * reach


def refuse_marks(surface: DepthSurface, name: str = "The raster") -> None:
    """Refuse numbers that mean 'nothing known' and were not declared to.

    Parameters
    ----------
    surface
        A raster as read, in whatever unit.
    name
        What it is called in the message.

    Raises
    ------
    DataError
        One of the usual marks lies apart from all else; or a positive number is repeated far beyond all others. Of
        numbers below 0 only the usual marks count: land may be walled with any.
    """
    values = surface.depth_m[np.isfinite(surface.depth_m)]
    if not values.size:
        return
    for value in (float(values.max()), float(values.min())):
        if abs(value) < 50.0:
            continue
        alone = _next_to(values, value)
        if (abs(value) > _ABOVE and _is_mark(value, alone)) or (
            value > 0 and _told_by_place(values, value, alone)
        ):
            count = int((values == np.float32(value)).sum())
            raise DataError(
                f"{name} holds the number {value:.7g} in {count:,} of {values.size:,} cells, where nothing else lies "
                f"near it: it looks like a mark for 'nothing known' that was not declared. {_REMEDY}"
            )


def refuse_beyond_lakes(surface: DepthSurface, name: str = "The depth coverage") -> None:
    """Refuse depths in metres that no lake has, and heights that no land has.

    Raises
    ------
    DataError
        A depth is beyond that of the deepest lake, or land is higher than any on Earth.
    """
    deepest, highest = float(np.nanmax(surface.depth_m)), float(np.nanmin(surface.depth_m))
    if deepest > DEEPEST_LAKE_M:
        count = int((surface.depth_m > np.float32(DEEPEST_LAKE_M)).sum())
        raise DataError(
            f"{name} is {in_words(deepest, 'length')} deep, and more than {DEEPEST_LAKE_M:.0f} m, the deepest of all "
            f"lakes, in {count:,} cells. It may hold elevations (depth-surface --raster-holds elevation "
            f"--chart-datum), another unit (--raster-unit), or a mark for 'nothing known' (--no-data)."
        )
    if highest < -_HIGHEST_M:
        raise DataError(
            f"{name} has land {in_words(-highest, 'length')} above chart datum, higher than any on Earth; a mark for "
            f"'nothing known' was not declared. {_REMEDY}"
        )
