"""The copy of a plan for a phone: the run in full, areas drawn coarser on their safe side, no place twice."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import shapely

if TYPE_CHECKING:
    from collections.abc import Mapping

    import geopandas as gpd

    from ..arrays import Geometries

_KEPT: Final = (
    "stops", "legs", "holds", "cast_lines", "spots", "ramps", "known_hazards", "shallow_hazards", "zones", "water",
    "left_out", "cast_reach",
)  # fmt: skip
_OF_RUN: Final = frozenset({"holds", "cast_lines", "cast_reach", "spots"})
_AREAS: Final = frozenset({"shallow_hazards", "water", "cast_reach"})
_MOST_POINTS: Final = 30_000  # some 700 kB of text
_TOLERANCES_M: Final = (1.0, 2.0, 3.0, 5.0)  # beyond the last the areas would say another thing


def _outward(areas: Geometries, by_m: float) -> Geometries:
    """Draw areas coarser so that nothing of them is lost: they may grow by twice the tolerance."""
    drawn = shapely.simplify(shapely.buffer(areas, by_m, join_style="mitre"), by_m)
    lost = shapely.difference(areas, drawn)  # slivers, where a sharp corner was cut
    some = ~shapely.is_empty(lost)
    drawn[some] = shapely.union(drawn[some], shapely.buffer(lost[some], 0.1 * by_m, quad_segs=1))
    return drawn


def _inward(areas: Geometries, by_m: float) -> Geometries:
    """Draw areas coarser so that nothing comes to them."""
    drawn = shapely.simplify(shapely.buffer(areas, -by_m, join_style="mitre"), by_m)
    drawn = shapely.intersection(drawn, areas)
    lost = shapely.is_empty(drawn)
    drawn[lost] = areas[lost]
    return drawn


def _coarser(role: str, frame: gpd.GeoDataFrame, by_m: float) -> gpd.GeoDataFrame:
    areas = frame.geometry.to_numpy()
    drawn = _outward(areas, by_m) if role == "shallow_hazards" else _inward(areas, by_m)
    return frame.set_geometry(drawn, crs=frame.crs)


def phone_copy(layers: Mapping[str, gpd.GeoDataFrame]) -> tuple[dict[str, gpd.GeoDataFrame], float]:
    """Make the copy of a plan that a phone opens at once.

    Parameters
    ----------
    layers
        Layers of a plan by name, in metres; ``stops`` among them.

    Returns
    -------
    Its layers, what is fished first: of holds, casts, rings and spots only those of the run (why others are
    left out stays in ``left_out``), no depth bands, no dry ground beside the water; and by how many metres areas are
    drawn coarser, because they have more points than a phone draws at once. Hazards only ever grow by it, by twice
    as much at most, and water only shrinks; stops, legs, holds, known hazards and zones stay as they are.
    """
    chosen = set(layers["stops"]["spot_id"])
    made = {
        name: layers[name][layers[name]["spot_id"].isin(chosen)] if name in _OF_RUN else layers[name]
        for name in _KEPT
        if name in layers
    }
    areas = {name: frame for name, frame in made.items() if name in _AREAS}
    drawn, by_m = areas, 0.0
    for step in _TOLERANCES_M:
        points = sum(
            int(shapely.get_num_coordinates(one.geometry.to_numpy()).sum()) for one in drawn.values()
        )
        if points <= _MOST_POINTS:
            break
        drawn, by_m = {name: _coarser(name, one, step) for name, one in areas.items()}, step
    return {name: drawn.get(name, frame) for name, frame in made.items()}, by_m
