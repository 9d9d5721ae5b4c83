"""Where the boat sits: for each structure the best places within a cast, the first on its deep side.

Places on the rays round a structure are ranked by the soft rules, then tried against the hard rules in that order.
The first that breaks none is turned to the top of its ranking between the rays and tried again.

Places round structures: ranked by the soft rules, tried against the hard rules, turned to the top of the ranking.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

import numpy as np
import shapely

from .deep_side import VisibleRing, look_round
from .hold_rules import ABOVE, THIN, Lie, broken_rules, longest_cast_m, soft_score
from .hold_tables import Found, apart_deg, bearings_deg, emptied, joined, tell
from .rays import between
from .surroundings import NextStructures

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from ...arrays import Flags, Floats, Geometries, Indices
    from .hold_rules import Setting

    Bits = NDArray[np.uint16]


@dataclass(frozen=True, eq=False)
class Outlook:
    """What is seen round some structures, and the places that the cheap rules leave, best first by structure."""

    rows: Indices
    ring: VisibleRing
    within: Flags
    others: NextStructures
    setting: Setting
    bottom_m: Floats
    height_m: Floats
    bits: Bits
    ray: Indices
    radius: Indices

    def lie(self, ray: Indices) -> Lie:
        """Aims and directions of rays."""
        rays = self.ring.rays
        return Lie(rays.x[ray], rays.y[ray], rays.east[ray], rays.north[ray])

    def score(self, ray: Indices, lie: Lie, cast_m: Floats) -> Floats:
        """Rate places by the soft rules."""
        return soft_score(
            self.ring.rays,
            ray,
            lie,
            cast_m,
            deep=self.ring.deep,
            rules=self.setting.rules,
            others=self.others,
        )


def look_and_rank(
    rows: Indices, structures: Geometries, bottom_m: Floats, height_m: Floats, setting: Setting
) -> Outlook:
    """Look round structures and rank the places that are open."""
    surface, rules = setting.surface, setting.rules
    ring = look_round(
        structures,
        bottom_m=bottom_m,
        height_m=height_m,
        surface=surface,
        level_m=setting.level_m,
        rules=rules,
    )
    rays, every = ring.rays, setting.surroundings.structures
    if rules.next_weight == 0:
        every = every[:0]
    others = NextStructures.build(structures, rows, every, 2 * rules.most_cast_m)
    # What a cast against the wind falls short of is not within a cast; and the rules that cost nothing go first.
    within = ring.seen & (ring.radii_m <= longest_cast_m(rays.east, rays.north, rules)[:, None] + 1e-9)
    bits = np.where(ring.depth_m < setting.need_m, THIN, 0).astype(np.uint16)
    bits[ring.depth_m < ring.top_m[:, None] - surface.error_m] |= ABOVE
    ray, radius = np.nonzero(within & (bits == 0))
    look = Outlook(rows, ring, within, others, setting, bottom_m, height_m, bits, ray, radius)
    score = look.score(ray, look.lie(ray), ring.radii_m[radius])
    # Scores equal but for the last digits count as equal: then the first ray decides, on every machine alike.
    order = np.lexsort((-np.round(score, 9), rays.structure[ray]))
    return replace(look, ray=ray[order], radius=radius[order])


def first_good(look: Outlook, candidates: Indices, broken: Bits) -> Indices:
    """Try candidates, best first within each structure; give the chosen one of each, -1 where there is none.

    What each breaks is written to ``broken``. The number tried at once grows fourfold a round, so that most
    structures cost one trial and none costs many rounds.
    """
    rays, rows = look.ring.rays, look.rows
    structure = rays.structure[look.ray[candidates]]
    count = np.bincount(structure, minlength=len(rows))
    first = np.cumsum(count) - count
    chosen = np.full(len(rows), -1, dtype=np.intp)
    tried, batch = 0, 1
    waiting = np.flatnonzero(count > 0)
    while waiting.size:
        number = np.minimum(count[waiting] - tried, batch)
        start = np.repeat(first[waiting] + tried - (np.cumsum(number) - number), number)
        some = candidates[start + np.arange(len(start))]
        one = look.ray[some]
        broken[some] = broken_rules(
            look.lie(one),
            look.ring.radii_m[look.radius[some]],
            fished=rows[rays.structure[one]],
            top_m=look.ring.top_m[one],
            setting=look.setting,
        )
        good = some[broken[some] == 0]
        winner, at = np.unique(rays.structure[look.ray[good]], return_index=True)
        chosen[winner] = good[at]
        tried += batch
        batch *= 4
        waiting = waiting[(chosen[waiting] < 0) & (count[waiting] > tried)]
    return chosen


def turned(look: Outlook, ray: Indices, cast_m: Floats) -> tuple[Lie, Flags]:
    """Turn rays to the top of the parabola through their own score and their neighbours'; tell which gain."""
    rays = look.ring.rays
    before, after = rays.before[ray], rays.after[ray]
    left = look.score(before, look.lie(before), cast_m)
    here = look.score(ray, look.lie(ray), cast_m)
    right = look.score(after, look.lie(after), cast_m)
    bend = left - 2 * here + right
    with np.errstate(divide="ignore", invalid="ignore"):
        turn = np.where(bend < 0, 0.5 * (left - right) / bend, 0.0).clip(-0.5, 0.5)
    turn = np.where(np.isfinite(turn), turn, 0.0)
    lie = Lie(*between(rays, ray, turn))
    return lie, (look.score(ray, lie, cast_m) >= here) & (turn != 0)


_CHUNK: Final = 300  # structures at a time: memory stays flat, and what is worked on stays near the processor


def _settled(look: Outlook, picked: Indices, middle: Floats, earlier: list[Floats]) -> tuple[Lie, Floats]:
    """Turn the picked places where that gains and breaks nothing; give where they lie and their casts."""
    ray, radius = look.ray[picked], look.radius[picked]
    at = look.ring.rays.structure[ray]
    cast_m, old = look.ring.radii_m[radius], look.lie(ray)
    lie, gained = turned(look, ray, cast_m)
    setting = look.setting
    own_m = setting.surface.at(lie.x, lie.y) + setting.level_m - look.height_m[at]
    top_m = np.where(np.isnan(look.bottom_m[at]), own_m, look.ring.top_m[ray])
    gained &= broken_rules(lie, cast_m, fished=look.rows[at], top_m=top_m, setting=setting) == 0
    side = bearings_deg(lie.x + cast_m * lie.east - middle[at, 0], lie.y + cast_m * lie.north - middle[at, 1])
    for one in earlier:
        gained &= apart_deg(side, one[at]) >= setting.rules.apart_deg
    return Lie(*(np.where(gained, new, was) for new, was in zip(lie, old, strict=True))), cast_m


def _chunk(look: Outlook, marks: Geometries) -> list[Found]:
    """Find the holds of some structures, one table for the first of each, one for the second, and so on."""
    ray, cast_m, rules = look.ray, look.ring.radii_m[look.radius], look.setting.rules
    structure = look.ring.rays.structure[ray]
    middle = shapely.get_coordinates(shapely.centroid(marks)).reshape(-1, 2)
    lie = look.lie(ray)
    side = bearings_deg(
        lie.x + cast_m * lie.east - middle[structure, 0], lie.y + cast_m * lie.north - middle[structure, 1]
    )
    broken, bits = np.zeros(len(ray), dtype=np.uint16), look.bits.copy()
    candidates = np.arange(len(ray))
    tables: list[Found] = []
    earlier: list[Floats] = []
    while True:
        chosen = first_good(look, candidates, broken)
        bits[ray, look.radius] = broken
        picked = chosen[chosen >= 0]
        lies, casts_m = _settled(look, picked, middle, earlier)
        tables.append(tell(look, chosen, lies, casts_m, bits))
        if len(tables) == rules.most_holds or not picked.size:
            return tables
        held = tables[-1]
        earlier.append(bearings_deg(held.x - middle[:, 0], held.y - middle[:, 1]))
        # A structure without a hold has no bearing, and none of its places stays.
        free = (broken == 0) & held.found[structure]
        for one in earlier:
            free &= apart_deg(side, one[structure]) >= rules.apart_deg
        candidates = np.flatnonzero(free)


def find_holds_apart(
    structures: Geometries,
    setting: Setting,
    *,
    rows: Indices | None = None,
    bottom_m: Floats | None = None,
    height_m: Floats | None = None,
    marks: Geometries | None = None,
) -> list[Found]:
    """Find the holds of each structure, the best first, the others apart from it and from each other.

    Parameters
    ----------
    structures
        Valid, non-empty points, lines and polygons, single or multi, in the surface's reference system.
    setting
        The lake on the day, the rules, and what to keep off. Its rules tell how many holds a structure gets at most,
        and how far apart they lie.
    rows
        Row of each structure among the surroundings; by default 0, 1, 2 and so on.
    bottom_m, height_m
        Charted depth of the bottom under each structure (NaN: the surface's own) and how far it stands off
        the bottom (NaN: 0).

    marks
        What the angle between holds is seen from, the middle of each; by default the structures.

    Returns
    -------
    A table with a row for each structure for the first holds, one for the second, and so on; at least one.

    Notes
    -----
    Places: 72 rays round a point, or rays 3 m apart round a line or polygon, by five lengths of cast, in wind six.
    Deep side: `deep_side`, over all visible places; a line has one for each stretch of two casts, and is held beside
    its middle, or beside its best part where the middle has no hold or no deep side. Hard rules: `hold_rules`; soft
    rules: `hold_rules`. Bearings, of the wind too, are those of the grid. How far apart holds lie is the angle between
    them seen from the centroid of the mark.

    The holds are wrong where the surface is; nothing finer than a few metres should be read into them.
    """
    n = len(structures)
    marks = structures if marks is None else marks
    rows = np.arange(n, dtype=np.intp) if rows is None else rows
    bottom_m = np.full(n, np.nan) if bottom_m is None else bottom_m
    height_m = np.zeros(n) if height_m is None else np.where(np.isnan(height_m), 0.0, height_m)
    chunks = [slice(start, start + _CHUNK) for start in range(0, max(n, 1), _CHUNK)]
    parts = [
        _chunk(look_and_rank(rows[at], structures[at], bottom_m[at], height_m[at], setting), marks[at])
        for at in chunks
    ]
    numbers = max(map(len, parts))
    padded = [[*part, *[emptied(part[-1])] * (numbers - len(part))] for part in parts]
    return [joined(list(tables)) for tables in zip(*padded, strict=True)]


def find_holds(
    structures: Geometries,
    setting: Setting,
    *,
    rows: Indices | None = None,
    bottom_m: Floats | None = None,
    height_m: Floats | None = None,
) -> Found:
    """Find the best hold of each structure; see `find_holds_apart`.

    Returns
    -------
    One entry a structure.
    """
    one = replace(setting, rules=replace(setting.rules, most_holds=1))
    return find_holds_apart(structures, one, rows=rows, bottom_m=bottom_m, height_m=height_m)[0]
