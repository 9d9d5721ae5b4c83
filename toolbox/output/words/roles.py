"""Which part of a plan a layer is: by its name, or by its columns where it is called something else."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    import geopandas as gpd

ROLES: Final[dict[str, frozenset[str]]] = {
    "structure": frozenset({"spot_id", "kind", "rank", "confidence"}),
    "hold_lines": frozenset({"spot_id", "line_no", "headings"}),
    "line_ups": frozenset({"spot_id", "range_no", "landmark_id"}),
    "fixes": frozenset({"spot_id", "hold_no", "ranges", "error_m"}),
    "verdicts": frozenset({"spot_id", "time", "fishable", "margin_m"}),
    "exposure": frozenset({"spot_id", "time", "fetch_m", "wave_m"}),
    "answers": frozenset({"question", "answer"}),
    "gathered_from": frozenset({"source", "rows", "kept", "noticed"}),
    "holds": frozenset({"spot_id", "hold_no", "deep_bearing_deg"}),
    "cast_lines": frozenset({"spot_id", "hold_no", "cast_m"}),
    "stops": frozenset({"stop_no", "spot_id", "arrive"}),
    "legs": frozenset({"leg_no", "part", "from_id", "to_id"}),
    "ways": frozenset({"from_id", "to_id", "distance_m", "idle_m"}),
    "shallow_hazards": frozenset({"care", "least_depth_m"}),
    "safe_water": frozenset({"care", "area_m2"}),
    "cast_reach": frozenset({"spot_id", "status", "area_m2"}),
    "depth_bands": frozenset({"from_m", "to_m"}),
    "zones": frozenset({"zone"}),
    "ramps": frozenset({"ramp_id"}),
    "landmarks": frozenset({"landmark_id"}),
    "spots": frozenset({"spot_id", "kind"}),
    "known_hazards": frozenset({"kind", "top_depth_m"}),
    "contradictions": frozenset({"difference_m", "charted_m", "sounded_m"}),
    "left_out": frozenset({"spot_id", "name", "reason"}),
    "water": frozenset({"water_id"}),
    "dry_ground": frozenset(),
    "shoreline": frozenset(),
    "contours": frozenset({"depth_m"}),
    "soundings": frozenset({"depth_m", "time"}),
}
"""Columns that give a part away, asked in this order; those without columns go by name only."""

BY_THE_HOUR: Final = frozenset({"verdicts", "exposure"})
"""Parts with a row for each place and hour: tables to be looked up, not places to be steered to."""

TABLES: Final = BY_THE_HOUR | {"answers", "gathered_from"}
"""Parts that belong in the plan's GeoPackage only: nothing to steer to and nothing to draw."""

_BY_NAME_ONLY: Final = frozenset({"contours", "soundings"})


def role_of(name: str, frame: gpd.GeoDataFrame) -> str:
    """Part of a plan that a layer is, or ``other``.

    Parameters
    ----------
    name
        What the layer is called.
    frame
        The layer. A layer called ``holds`` without the columns of holds is not taken for holds.
    """
    columns = set(frame.columns)
    if name in ROLES and ROLES[name] <= columns:
        return name
    for role, telling in ROLES.items():
        if telling and role not in _BY_NAME_ONLY and telling <= columns:
            return role
    return "other"
