"""The day of `whole` held against the verifier, outside the time that is measured."""

from __future__ import annotations

import math

import geopandas as gpd
import numpy as np
import shapely

import verifier
from castshed.toolbox.layers import read_layer


class _Near:
    """Distances from many points to areas of many corners, over a tree of their edges."""

    def __init__(self) -> None:
        self._trees = {}

    def __call__(self, xy, areas):
        if not len(areas):
            return float("inf")
        key = tuple(shapely.to_wkb(area) for area in areas)
        if key not in self._trees:
            corners, ring = shapely.get_coordinates(
                shapely.get_rings(shapely.get_parts(areas)), return_index=True
            )
            along = np.flatnonzero(ring[1:] == ring[:-1])
            edges = shapely.linestrings(np.stack([corners[along], corners[along + 1]], axis=1))
            self._trees[key] = shapely.STRtree(edges), shapely.STRtree(shapely.get_parts(areas))
        edges, whole = self._trees[key]
        points = shapely.points(xy)
        if len(whole.query(points, predicate="intersects")[0]):
            return 0.0
        return float(edges.query_nearest(points, return_distance=True, all_matches=False)[1].min())


def wrong_with(plan, day, surface):
    """List all that the verifier finds wrong with a written plan.

    Parameters
    ----------
    plan
        The file.
    day
        What was asked, as `read_day` gives it.
    surface
        The depths it was planned on.
    """
    boat, level = day.boat, day.level
    error, keep = math.hypot(surface.error_m, level.error_m), boat.beam_m / 2 + boat.fix_error_m
    rules = verifier.Rules(
        boat.running_depth_m + boat.margin_m + error,
        boat.draft_m + boat.margin_m + error,
        boat.draft_m + boat.margin_m + surface.error_m,
        keep + boat.clearance_m,
        keep,
        150.0,
        boat.run_speed_mps,
        boat.idle_speed_mps,
    )
    crs = surface.crs
    nothing = {"geometry": [], "crs": crs}
    zones = gpd.GeoDataFrame({"zone": [], "speed_mps": []}, **nothing)
    known = gpd.GeoDataFrame({"top_depth_m": [], "radius_m": []}, **nothing)
    stops, legs, holds, hazards = (
        read_layer(f"{plan}:{n}") for n in ("stops", "legs", "holds", "shallow_hazards")
    )
    slow, verifier._gap = verifier._gap, _Near()
    try:
        return verifier.verify(
            stops, legs, holds, surface=surface, level_m=day.level_m, shoreline=day.layers.shoreline, zones=zones,
            known_hazards=known, hazards=hazards, rules=rules, position_error_m=boat.fix_error_m,
        )  # fmt: skip
    finally:
        verifier._gap = slow
