"""Level arithmetic: what a charted depth is today, and how much water stands over a thing.

Chart datum is the normal pool the depths refer to. The level is today's surface minus chart datum: four feet down is
-1.2192 m. Depths are positive down. All functions take numbers or arrays.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

    from ...arrays import Floats


def level_of(pool_today_m: ArrayLike, pool_normal_m: ArrayLike) -> Floats:
    """Find the level from two elevations of the surface on the same vertical datum."""
    return np.subtract(np.asarray(pool_today_m, np.float64), np.asarray(pool_normal_m, np.float64))


def depth_today(charted_m: ArrayLike, level_m: ArrayLike) -> Floats:
    """Find today's depth of a charted depth; negative is dry, by that much.

    Notes
    -----
    The rule of the trade: with the lake down five feet, five feet come off every charted depth (common practice).
    """
    return np.add(np.asarray(charted_m, np.float64), np.asarray(level_m, np.float64))


def top_depth(bottom_m: ArrayLike, height_m: ArrayLike) -> Floats:
    """Find the depth of the top of a thing that stands off the bottom; negative is bare, by that much."""
    return np.subtract(np.asarray(bottom_m, np.float64), np.asarray(height_m, np.float64))
