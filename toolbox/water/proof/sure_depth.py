"""How much less than the charted depth may be counted on at a place, as the last check reads it.

Shares nothing with how hazards and holds are made from the same errors: it must not make their mistakes.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from ...arrays import Floats
    from ...depth import DepthSurface
    from .last_check import Limits


def counted_everywhere_m(depth: DepthSurface | None, confidence: DepthSurface | None) -> float:
    """Depth error that limits are to hold where none is stated: the coverage's, or the least local one if less.

    What is more at a place, `DepthDoubt` takes off there.
    """
    if depth is None:
        return 0.0
    known = np.empty(0) if confidence is None else confidence.depth_m[np.isfinite(confidence.depth_m)]
    return float(min(depth.error_m, known.min())) if known.size else depth.error_m


@dataclass(frozen=True, eq=False)
class DepthDoubt:
    """What is taken off the depth at a place, beyond the errors that the limits count everywhere.

    Attributes
    ----------
    local
        Half-width within which the true depth lies at each place.
    unknown_m
        What stands for it where it is not known: the coverage's own error.
    depth_error_m, level_error_m
        The errors in the limits.
    """

    local: DepthSurface
    unknown_m: float
    depth_error_m: float
    level_error_m: float

    @classmethod
    def of(cls, depth: DepthSurface | None, local: DepthSurface | None, limits: Limits) -> DepthDoubt | None:
        """Take it from the layers and the limits; None where no local error is given, or no depth."""
        if depth is None or local is None:
            return None
        return cls(local, depth.error_m, limits.depth_error_m, limits.level_error_m)

    def more_m(self, x: Floats, y: Floats) -> Floats:
        """Tell how much is taken off at points: both errors put together there, less what the limits hold."""
        here = self.local.at(x, y)
        here = np.fmax(np.where(np.isnan(here), self.unknown_m, here), self.depth_error_m)
        counted = np.hypot(self.depth_error_m, self.level_error_m)
        return np.asarray(np.hypot(here, self.level_error_m) - counted, dtype=np.float64)
