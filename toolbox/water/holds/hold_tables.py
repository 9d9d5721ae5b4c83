"""Tables of holds: what is told of each, and of structures that have none."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

import numpy as np

from ..level.least_depth import least_depth_inside
from .hold_rules import RULES
from .stance import Lie
from .wind_cast import wind_angles_deg

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from ...arrays import Flags, Floats, Indices
    from .places import Outlook

    Bits = NDArray[np.uint16]


_BITS: Final = len(RULES)


@dataclass(frozen=True, eq=False)
class Found:
    """Holds of n structures; numbers are NaN where there is none."""

    found: Flags  # whether there is a hold
    # hold, and the point of the structure it casts to
    x: Floats
    y: Floats
    aim_x: Floats
    aim_y: Floats
    # today's depth at the hold, spare water at the shallowest of the drift circle beyond what is needed,
    # length of the cast
    depth_m: Floats
    margin_m: Floats
    cast_m: Floats
    # boat to structure; structure to deep water, NaN where no side is clearly deeper; angle between cast
    # and the direction the wind comes from, NaN without a wind
    cast_bearing_deg: Floats
    deep_bearing_deg: Floats
    wind_angle_deg: Floats
    directionality: Floats  # how clear the deep side is, 0 to 1 (`deep_side.DeepSide`)
    # of the water seen: the share of directions in which it deepens, and its range of depths (`visible_ring`)
    falling_share: Floats
    relief_m: Floats
    fall_m: Floats  # how much deeper the plane through the visible water is one cast off on the deep side
    # today's depth at the deepest part of the structure's edge, with or without a hold; NaN where none is
    # known
    aim_depth_m: Floats
    # deepest water within a cast that is seen from the structure, with or without a hold; NaN where none is
    seen_depth_m: Floats
    # how many places broke each rule, and how many that one only, by bit of `hold_rules.RULES`, (n, 9).
    # Complete for structures without a hold.
    broken: Indices
    alone: Indices


def bearings_deg(east: Floats, north: Floats) -> Floats:
    """Bearings of directions, 0 to below 360."""
    return np.asarray(np.degrees(np.arctan2(east, north)) % 360.0)


def apart_deg(one: Floats, other: Floats) -> Floats:
    """Angles between bearings, 0 to 180."""
    return np.asarray(np.abs((one - other + 180.0) % 360.0 - 180.0))


def _most(structure: Indices, values: Floats, rows: int) -> Floats:
    known = ~np.isnan(values)
    most = np.full(rows, -np.inf)
    np.maximum.at(most, structure[known], values[known])
    return np.where(np.isfinite(most), most, np.nan)


def _tally(structure: Indices, bits: Bits, rows: int) -> tuple[Indices, Indices]:
    """Count by structure how many places broke each rule, and how many that one only."""
    broken, alone = (np.zeros((rows, _BITS), dtype=np.intp) for _ in range(2))
    for number in range(_BITS):
        broken[:, number] = np.bincount(structure[(bits >> number) & 1 == 1], minlength=rows)
        alone[:, number] = np.bincount(structure[bits == 1 << number], minlength=rows)
    return broken, alone


def tell(look: Outlook, chosen: Indices, lie: Lie, cast_m: Floats, bits: Bits) -> Found:
    """Put the holds of one number into a table with a row for each structure."""
    ring, setting, n = look.ring, look.setting, len(look.rows)
    rays, surface, rules = ring.rays, setting.surface, setting.rules
    found = chosen >= 0
    x, y = lie.x + cast_m * lie.east, lie.y + cast_m * lie.north
    group = rays.group[look.ray[chosen[found]]]
    least_m = least_depth_inside(setting.least, x, y, rules.drift_m, level_m=setting.level_m)

    def spread(values: Floats) -> Floats:
        full = np.full(n, np.nan)
        full[found] = values
        return full

    broken, alone = _tally(np.repeat(rays.structure, look.within.sum(axis=1)), bits[look.within], n)
    seen_depth_m = np.where(look.within, ring.depth_m, -np.inf).max(axis=1)
    return Found(
        found=found,
        x=spread(x),
        y=spread(y),
        aim_x=spread(lie.x),
        aim_y=spread(lie.y),
        depth_m=spread(surface.at(x, y) + setting.level_m),
        margin_m=spread(least_m - setting.need_m),
        cast_m=spread(cast_m),
        cast_bearing_deg=spread(bearings_deg(-lie.east, -lie.north)),
        deep_bearing_deg=spread(ring.deep.bearing_deg[group]),
        wind_angle_deg=spread(wind_angles_deg(lie.east, lie.north, rules.wind_from_deg)),
        directionality=spread(ring.deep.directionality[group]),
        falling_share=spread(ring.falling_share[group]),
        relief_m=spread(ring.relief_m[group]),
        fall_m=spread(ring.deep.fall_m[group]),
        aim_depth_m=_most(rays.structure, ring.aim_depth_m, n),
        seen_depth_m=_most(rays.structure, seen_depth_m, n),
        broken=broken,
        alone=alone,
    )


def emptied(table: Found) -> Found:
    """Give a table of the same structures without a hold."""
    numbers = {
        name: np.full_like(values, np.nan) for name, values in vars(table).items() if values.dtype.kind == "f"
    }
    return replace(table, **{**numbers, "found": np.zeros_like(table.found)})


def joined(tables: list[Found]) -> Found:
    """Put tables of different structures one below the other."""
    return Found(**{name: np.concatenate([vars(one)[name] for one in tables]) for name in vars(tables[0])})
