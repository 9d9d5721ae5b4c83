"""Places round structures: ranked by the soft rules, tried against the hard rules, turned to the top of the ranking."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from .hold_rules import ABOVE, THIN, broken_rules, longest_cast_m
from .next_structure import NextStructures
from .rays import between
from .soft_rules import soft_score
from .stance import Lie
from .visible_ring import VisibleRing, look_round

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
