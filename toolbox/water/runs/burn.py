"""What an engine burns on the ways of a day."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from ...arrays import Floats
from ...units import GALLON_L

if TYPE_CHECKING:
    from ..ways.passages import Passages

_CRUISE_SHARE: Final = (
    0.45  # of full throttle, which burns a tenth of the rated horsepower in gallons an hour: common practice
)
_IDLE_LPH_A_HP: Final = 0.015


@dataclass(frozen=True)
class Burn:
    """Litres an hour burnt running and idling."""

    run_lph: float
    idle_lph: float

    @classmethod
    def of_engine(cls, engine_hp: float, run_lph: float | None = None, idle_lph: float | None = None) -> Burn:
        """Take what is told, and for the rest a rule of thumb from rated horsepower (common practice)."""
        return cls(
            engine_hp / 10.0 * GALLON_L * _CRUISE_SHARE if run_lph is None else run_lph,
            engine_hp * _IDLE_LPH_A_HP if idle_lph is None else idle_lph,
        )

    def of_ways(self, ways: Passages, idle_speed_mps: float) -> Floats:
        """Litres burnt on the way between each pair of stops (n, n); inf where no way leads."""
        leads = np.isfinite(ways.time_s)
        idle_s = np.where(leads, ways.idle_m, 0.0) / idle_speed_mps
        run_s = np.maximum(np.where(leads, ways.time_s, 0.0) - idle_s, 0.0)
        return np.where(leads, (run_s * self.run_lph + idle_s * self.idle_lph) / 3600.0, np.inf)
