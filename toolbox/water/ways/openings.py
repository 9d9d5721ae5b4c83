"""What would open a way to a stop that cannot be reached: a smaller clearance, or more water."""

from __future__ import annotations

import math
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from ...arrays import Floats
from ...units import in_words
from .bottleneck_depth import sills
from .connected import ConnectedWaters
from .safe_water import shrink

if TYPE_CHECKING:
    from collections.abc import Callable
    from typing import Any

    from .bottleneck_depth import Sill
    from .safe_water_inputs import LakeToday

    Thinnest = Callable[[], list[Sill | None]]


# Clearances tried, as shares of half a strait's width, the widest first. An offset takes away up to a tenth and twice
# the tolerance more than asked, at corners of a cut mitre more.
_SHARES = (0.95, 0.8, 0.65, 0.5)
_MOST_TRIED = 12  # narrowings of the whole lake; beyond them nothing is promised


class Openings:
    """Finds out what opens a way from the start to each of some stops, by their rows; clearances by trial.

    Parameters
    ----------
    lake
        What the safe water was made from.
    deep
        Its water that is neither too thin to idle nor closed.
    start, stops
        Points (2,) and (n, 2).
    thinnest
        Gives the thinnest places of the deepest ways to the stops, where somebody works them already.
    """

    def __init__(
        self, lake: LakeToday, deep: Any, start: Floats, stops: Floats, thinnest: Thinnest | None = None
    ) -> None:
        self.lake = lake
        self.deep = deep
        self.start = start
        self.stops = stops
        self._thinnest = thinnest
        self._tried: dict[float, ConnectedWaters] = {}

    def _opens(self, stop: Floats, clearance_m: float) -> bool:
        if clearance_m not in self._tried:
            if len(self._tried) >= _MOST_TRIED:
                return False
            self._tried[clearance_m] = ConnectedWaters(shrink(self.deep, clearance_m))
        one, other = self._tried[clearance_m].locate(np.stack([self.start, stop]))
        return bool(one >= 0 and one == other)

    def by_clearance(self, row: int, width_m: float) -> str:
        """Say what smaller clearance opens the way to a stop past a place so wide; empty where none was found."""
        for share in _SHARES:
            clearance = math.floor(10.0 * share * width_m / 2.0) / 10.0
            if 0.0 < clearance < self.lake.clearance_m and self._opens(self.stops[row], clearance):
                return f"; keeping {in_words(clearance, 'length')} clear would open it"
        return ""

    @cached_property
    def _sills(self) -> list[Sill | None]:
        if self._thinnest is not None:
            return self._thinnest()
        assert self.lake.today is not None  # asked only then
        return sills(self.lake.today, self.start, self.stops)

    def by_water(self, row: int) -> str:
        """Say how much more water could open the way to a stop."""
        if self.lake.today is None:
            return "; higher water may open a way"
        sill, needed = self._sills[row], self.lake.needed_m()
        if sill is None:
            return "; higher water may open a way"
        if needed <= sill.depth_m:
            return "; deep enough by the depths alone, so marked hazards or want of width bar the way"
        rise = in_words(needed - sill.depth_m, "length")
        stands = "stands dry" if sill.depth_m < 0.0 else "is thinnest"
        return f"; it takes at least {rise} more water, where the deepest way {stands} at ({sill.x:.0f}, {sill.y:.0f})"
