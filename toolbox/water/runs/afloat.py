"""Everything a boat has before its first leg: safe water, where ramps take to it, and ways between all stops."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from ...arrays import Geometries
from ...cache.store import open_store
from ...compiled import side_by_side
from ...errors import UsageError
from ..ways.alongside import edges_to_keep_from
from ..ways.kept_water import kept_mesh, kept_safe_waters
from ..ways.passages import passages
from ..ways.safe_water import LakeToday
from .launches import LaunchGround, charted_things, launch_from, launch_ground
from .run import LegSurroundings, slow_zones

if TYPE_CHECKING:
    import geopandas as gpd

    from ...depth import DepthSurface
    from ..ways.navigation import SafeWater
    from ..ways.passages import Passages
    from .run import SlowZones


@dataclass(frozen=True)
class Handling:
    """How a boat is handled: what it keeps clear, idling and running, its speeds, its longest launch.

    ``float_depth_m`` is the charted depth, today, at which it floats whatever the errors; 0 asks for water alone.
    """

    clearance_m: float
    run_clearance_m: float
    run_speed_mps: float
    idle_speed_mps: float
    launch_m: float
    float_depth_m: float = 0.0

    @classmethod
    def of_boat(
        cls,
        *,
        beam_m: float,
        fix_error_m: float,
        clearance_m: float,
        idle_clearance_m: float,
        run_speed_mps: float,
        idle_speed_mps: float,
        launch_m: float,
        float_depth_m: float = 0.0,
    ) -> Handling:
        """Work out what a boat keeps clear: half its beam, the position error, and what is wanted beyond both.

        Raises
        ------
        UsageError
            A speed is not above 0.
        """
        if run_speed_mps <= 0.0 or idle_speed_mps <= 0.0:
            raise UsageError("run-speed and idle-speed must be above 0.")
        keep = beam_m / 2.0 + fix_error_m
        return cls(
            keep + idle_clearance_m,
            keep + clearance_m,
            run_speed_mps,
            idle_speed_mps,
            launch_m,
            float_depth_m,
        )


@dataclass(frozen=True, eq=False)
class Afloat:
    """Water safe to run and to idle on, and where a boat from each ramp has the water it needs (None: nowhere)."""

    lake: LakeToday
    handling: Handling
    ramps: list[Any]
    running: Any
    idling: Any
    entries: list[Any | None]
    lanes: list[Any | None]
    slow: SlowZones

    def ways(self, holds: Geometries) -> Passages:
        """Find ways between all places: the ramps that have one, in order, then the holds.

        Parameters
        ----------
        holds
            Points (n,).

        Returns
        -------
        Its first stop is the first ramp with an entry; reasons refer to it.
        """
        stops = [entry for entry in self.entries if entry is not None]
        return passages(
            np.concatenate([shapely.get_coordinates(stops), shapely.get_coordinates(holds)]),
            *_meshes(self.running, self.idling),
            run_speed_mps=self.handling.run_speed_mps,
            idle_speed_mps=self.handling.idle_speed_mps,
            # For the order all slow zones count at the speed of the slowest; times of legs take each at its own.
            slow=shapely.union_all([area for _, area in self.slow]) if self.slow else None,
            slow_speed_mps=self.slow[0][0] if self.slow else None,
            lake=self.lake,
        )

    def surroundings(
        self, depth: DepthSurface | None, level_m: float, confidence: DepthSurface | None = None
    ) -> LegSurroundings:
        """Gather what the pieces of a run are measured against: all to keep clear of, slow zones, depths."""
        lake = self.lake
        run, idle = (
            edges_to_keep_from(lake.water, lake.hazards, lake.zones, running=running)
            for running in (True, False)
        )
        launch = edges_to_keep_from(
            lake.water.iloc[:0], charted_things(lake.hazards), lake.zones, running=False
        )
        return LegSurroundings(run, idle, self.slow, depth, level_m, launch, confidence)

    def launches(self) -> dict[int, Any]:
        """Lines from ramps to the water the boat can use, by the ramp's number, where the two lie apart."""
        return {number: line for number, line in enumerate(self.lanes) if line is not None}


def _meshes(running: Any, idling: Any) -> tuple[SafeWater, SafeWater]:
    """Make both waters ready for shortest ways; one mesh does where they are the same."""
    if running == idling:
        both = kept_mesh(idling)
        return both, both
    one, other = side_by_side(lambda: kept_mesh(running), lambda: kept_mesh(idling))
    return one, other


def set_afloat(
    ramps: list[Any],
    holds: Geometries,
    water: gpd.GeoDataFrame,
    hazards: gpd.GeoDataFrame | None,
    zones: gpd.GeoDataFrame | None,
    today: DepthSurface | None,
    handling: Handling,
) -> Afloat:
    """Find the safe water of a boat, and where it takes to it from each ramp.

    Parameters
    ----------
    ramps, holds
        Points; of several waters near a ramp the one with most holds is taken.
    water, hazards, zones
        Layers ``water``, ``shallow_hazards`` and ``zones``, the latter two or None.
    today
        Today's depths, for reasons; or None.
    handling
        Clearances and speeds.
    """
    running, idling = kept_safe_waters(
        water, hazards, zones, clearance_m=handling.clearance_m, run_clearance_m=handling.run_clearance_m
    )
    lake = LakeToday(water, hazards, zones, handling.clearance_m, today)
    afloat, closed = lake.area(), lake.closed()
    entries, lanes = [], []
    for ramp in ramps:
        # What a launch is held to is drawn only where one is asked for.
        def ground(ramp: Any = ramp) -> LaunchGround:
            return launch_ground(
                ramp, lake, afloat, closed, float_m=handling.float_depth_m, reach_m=handling.launch_m
            )

        entry, line = launch_from(ramp, idling, ground, holds=holds, reach_m=handling.launch_m)
        entries.append(entry)
        lanes.append(line)
    slow = slow_zones(zones, unstated_mps=handling.idle_speed_mps)
    return Afloat(lake, handling, ramps, running, idling, entries, lanes, slow)


def keep_ready(
    water: gpd.GeoDataFrame,
    hazards: gpd.GeoDataFrame | None,
    zones: gpd.GeoDataFrame | None,
    handling: Handling,
) -> None:
    """Put the safe water of a boat and its meshes into the open store, if there is one, for whoever sets it afloat.

    Parameters
    ----------
    water, hazards, zones, handling
        As for `set_afloat`.
    """
    if open_store() is None:
        return
    running, idling = kept_safe_waters(
        water, hazards, zones, clearance_m=handling.clearance_m, run_clearance_m=handling.run_clearance_m
    )
    _meshes(running, idling)
