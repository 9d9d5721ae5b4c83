"""Where the boat sits: for each structure the best place within a cast, on its deep side.

Places on the rays round a structure are ranked by the soft rules, then tried against the hard rules in that order.
The first that breaks none is turned to the top of its ranking between the rays and tried again.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from .hold_rules import ABOVE, THIN, broken_rules
from .rays import between
from .soft_rules import Lie, soft_score, wind_angles_deg
from .visible_ring import VisibleRing, look_round

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from .hold_rules import Setting

    Floats = NDArray[np.float64]
    Ints = NDArray[np.intp]
    Bits = NDArray[np.uint8]
    Flags = NDArray[np.bool_]
    Geometries = NDArray[np.object_]

_CHUNK: Final = 1500  # structures at a time, so that memory stays flat
_BITS: Final = 8


@dataclass(frozen=True, eq=False)
class Found:
    """Holds of n structures; numbers are NaN where there is none.

    Attributes
    ----------
    found
        Whether there is a hold.
    x, y, aim_x, aim_y
        Hold, and the point of the structure it casts to.
    depth_m, cast_m
        Today's depth at the hold, length of the cast.
    cast_bearing_deg, deep_bearing_deg, wind_angle_deg
        Boat to structure; structure to deep water, NaN where no side is clearly deeper; angle between cast
        and the direction the wind comes from, NaN without a wind.
    fall_m
        How much deeper the plane through the visible water is one cast off on the deep side.
    aim_depth_m
        Today's depth at the deepest part of the structure's edge, with or without a hold; NaN where none is known.
    seen_depth_m
        Deepest water within a cast that is seen from the structure, with or without a hold; NaN where none is.
    broken, alone
        How many places broke each rule, and how many that one only, by bit of `hold_rules.RULES`, (n, 8). Complete
        for structures without a hold.
    """

    found: Flags
    x: Floats
    y: Floats
    aim_x: Floats
    aim_y: Floats
    depth_m: Floats
    cast_m: Floats
    cast_bearing_deg: Floats
    deep_bearing_deg: Floats
    wind_angle_deg: Floats
    fall_m: Floats
    aim_depth_m: Floats
    seen_depth_m: Floats
    broken: Ints
    alone: Ints


def _first_good(
    ring: VisibleRing, ray: Ints, radius: Ints, rows: Ints, setting: Setting
) -> tuple[Ints, Bits]:
    """Try candidates, best first within each structure; give the chosen one of each (-1: none) and what all broke.

    The number tried at once grows fourfold a round, so that most structures cost one trial and none costs many
    rounds.
    """
    rays = ring.rays
    structure = rays.structure[ray]
    count = np.bincount(structure, minlength=len(rows))
    first = np.cumsum(count) - count
    chosen = np.full(len(rows), -1, dtype=np.intp)
    broken = np.zeros(len(ray), dtype=np.uint8)
    tried, batch = 0, 1
    waiting = np.flatnonzero(count > 0)
    while waiting.size:
        number = np.minimum(count[waiting] - tried, batch)
        start = np.repeat(first[waiting] + tried - (np.cumsum(number) - number), number)
        candidate = start + np.arange(len(start))
        one = ray[candidate]
        broken[candidate] = broken_rules(
            Lie(rays.x[one], rays.y[one], rays.east[one], rays.north[one]),
            ring.radii_m[radius[candidate]],
            fished=rows[rays.structure[one]],
            top_m=ring.top_m[one],
            setting=setting,
        )
        good = candidate[broken[candidate] == 0]
        winner, at = np.unique(structure[good], return_index=True)
        chosen[winner] = good[at]
        tried += batch
        batch *= 4
        waiting = waiting[(chosen[waiting] < 0) & (count[waiting] > tried)]
    return chosen, broken


def _turned(ring: VisibleRing, ray: Ints, radius_m: Floats, setting: Setting) -> tuple[Lie, Flags]:
    """Turn rays to the top of the parabola through their own score and their neighbours'; tell which gain."""
    rays = ring.rays

    def score(index: Ints) -> Floats:
        lie = Lie(rays.x[index], rays.y[index], rays.east[index], rays.north[index])
        return soft_score(rays, index, lie, radius_m, deep=ring.deep, rules=setting.rules)

    left, here, right = score(rays.before[ray]), score(ray), score(rays.after[ray])
    bend = left - 2 * here + right
    with np.errstate(divide="ignore", invalid="ignore"):
        turn = np.where(bend < 0, 0.5 * (left - right) / bend, 0.0).clip(-0.5, 0.5)
    turn = np.where(np.isfinite(turn), turn, 0.0)
    lie = Lie(*between(rays, ray, turn))
    gained = soft_score(rays, ray, lie, radius_m, deep=ring.deep, rules=setting.rules) >= here
    return lie, gained & (turn != 0)


def _most(structure: Ints, values: Floats, rows: int) -> Floats:
    known = ~np.isnan(values)
    most = np.full(rows, -np.inf)
    np.maximum.at(most, structure[known], values[known])
    return np.where(np.isfinite(most), most, np.nan)


def _tally(structure: Ints, bits: Bits, rows: int) -> tuple[Ints, Ints]:
    """Count by structure how many places broke each rule, and how many that one only."""
    broken, alone = (np.zeros((rows, _BITS), dtype=np.intp) for _ in range(2))
    for number in range(_BITS):
        broken[:, number] = np.bincount(structure[(bits >> number) & 1 == 1], minlength=rows)
        alone[:, number] = np.bincount(structure[bits == 1 << number], minlength=rows)
    return broken, alone


def _chunk(rows: Ints, structures: Geometries, bottom_m: Floats, height_m: Floats, setting: Setting) -> Found:
    surface, rules = setting.surface, setting.rules
    ring = look_round(
        structures,
        bottom_m=bottom_m,
        height_m=height_m,
        surface=surface,
        level_m=setting.level_m,
        rules=rules,
    )
    rays, n = ring.rays, len(rows)
    every = Lie(rays.x, rays.y, rays.east, rays.north)
    score = np.column_stack(
        [
            soft_score(
                rays, np.arange(len(rays)), every, np.full(len(rays), radius), deep=ring.deep, rules=rules
            )
            for radius in ring.radii_m
        ]
    )
    # The two rules that cost nothing go first.
    bits = np.where(ring.depth_m < setting.need_m, THIN, 0).astype(np.uint8)
    bits[ring.depth_m < ring.top_m[:, None] - surface.error_m] |= ABOVE
    ray, radius = np.nonzero(ring.seen & (bits == 0))
    # Scores equal but for the last digits count as equal: then the first ray decides, on every machine alike.
    order = np.lexsort((-np.round(score[ray, radius], 9), rays.structure[ray]))
    ray, radius = ray[order], radius[order]
    chosen, bits[ray, radius] = _first_good(ring, ray, radius, rows, setting)

    found = chosen >= 0
    picked = ray[chosen[found]]
    cast_m = ring.radii_m[radius[chosen[found]]]
    lie, gained = _turned(ring, picked, cast_m, setting)
    top_m = surface.at(lie.x, lie.y) + setting.level_m - height_m[found]
    top_m = np.where(np.isnan(bottom_m[found]), top_m, ring.top_m[picked])
    keeps = broken_rules(lie, cast_m, fished=rows[found], top_m=top_m, setting=setting) == 0
    lie = Lie(*(np.where(gained & keeps, new, old[picked]) for new, old in zip(lie, every, strict=True)))
    x, y = lie.x + cast_m * lie.east, lie.y + cast_m * lie.north
    group = rays.group[picked]

    def spread(values: Floats) -> Floats:
        full = np.full(n, np.nan)
        full[found] = values
        return full

    broken, alone = _tally(np.repeat(rays.structure, ring.seen.sum(axis=1)), bits[ring.seen], n)
    seen_depth_m = np.where(ring.seen, ring.depth_m, -np.inf).max(axis=1)
    return Found(
        found=found,
        x=spread(x),
        y=spread(y),
        aim_x=spread(lie.x),
        aim_y=spread(lie.y),
        depth_m=spread(surface.at(x, y) + setting.level_m),
        cast_m=spread(cast_m),
        cast_bearing_deg=spread(np.degrees(np.arctan2(-lie.east, -lie.north)) % 360.0),
        deep_bearing_deg=spread(ring.deep.bearing_deg[group]),
        wind_angle_deg=spread(wind_angles_deg(lie.east, lie.north, rules.wind_from_deg)),
        fall_m=spread(ring.deep.fall_m[group]),
        aim_depth_m=_most(rays.structure, ring.aim_depth_m, n),
        seen_depth_m=_most(rays.structure, seen_depth_m, n),
        broken=broken,
        alone=alone,
    )


def find_holds(
    structures: Geometries,
    setting: Setting,
    *,
    rows: Ints | None = None,
    bottom_m: Floats | None = None,
    height_m: Floats | None = None,
) -> Found:
    """Find the best hold of each structure.

    Parameters
    ----------
    structures
        Valid, non-empty points, lines and polygons, single or multi, in the surface's reference system.
    setting
        The lake on the day, the rules, and what to keep off.
    rows
        Row of each structure among the surroundings; by default 0, 1, 2 and so on.
    bottom_m, height_m
        Charted depth of the bottom under each structure (NaN: the surface's own) and how far it stands off
        the bottom (NaN: 0).

    Returns
    -------
    Found
        One entry a structure.

    Notes
    -----
    Places: 72 rays round a point, or as many as keep that spacing round a line or polygon, by five lengths of
    cast. Deep side: `deep_side`, over all visible places; a line has one for each stretch of two casts, and is held
    beside its middle, or beside its best part where the middle has no hold or no deep side. Hard rules:
    `hold_rules`; soft rules: `soft_rules`. Bearings are those of the grid, taken as true.

    The holds are wrong where the surface is; nothing finer than a few metres should be read into them.
    """
    n = len(structures)
    rows = np.arange(n, dtype=np.intp) if rows is None else rows
    bottom_m = np.full(n, np.nan) if bottom_m is None else bottom_m
    height_m = np.zeros(n) if height_m is None else np.where(np.isnan(height_m), 0.0, height_m)
    chunks = [slice(start, start + _CHUNK) for start in range(0, max(n, 1), _CHUNK)]
    parts = [_chunk(rows[at], structures[at], bottom_m[at], height_m[at], setting) for at in chunks]
    return Found(**{name: np.concatenate([vars(part)[name] for part in parts]) for name in vars(parts[0])})
