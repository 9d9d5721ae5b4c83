"""What safe water is made from."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from .safe_water import areas_of, closed_zones, thin_water
from .unions import union_of

if TYPE_CHECKING:
    import geopandas as gpd

    from ...depth import DepthSurface


@dataclass(frozen=True, eq=False)
class LakeToday:
    """Layers ``water``, ``shallow_hazards`` and ``zones``, the clearance kept at idle, and today's depths if known."""

    water: gpd.GeoDataFrame
    hazards: gpd.GeoDataFrame | None
    zones: gpd.GeoDataFrame | None
    clearance_m: float
    today: DepthSurface | None = None

    def needed_m(self) -> float:
        """Depth this boat needs at idle, margin and errors counted; 0 where the hazards don't tell."""
        if self.hazards is None or "needed_depth_m" not in self.hazards.columns:
            return 0.0
        idle = self.hazards.loc[self.hazards["care"] != "run", "needed_depth_m"].to_numpy(dtype=float)
        return float(np.nanmax(idle)) if np.isfinite(idle).any() else 0.0

    def area(self) -> Any:
        """Today's water."""
        return union_of(areas_of(self.water))

    def thin(self) -> Any:
        """Water too thin even to idle."""
        return union_of(thin_water(self.hazards))

    def closed(self) -> Any:
        """Zones no motor boat may enter."""
        return union_of(closed_zones(self.zones))
