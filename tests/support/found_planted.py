"""Findings held against what was planted: one truth, one finding, within a stated tolerance."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import shapely
from scipy.optimize import linear_sum_assignment

KINDS = ("hump", "saddle", "point", "pocket", "ledge", "bluff", "flat", "channel_bend")
# How far a finding may lie from its truth. Tops and cols: from the exact place. Points and pockets: from the planted
# crest or axis. Ledges and bluffs: this far from the planted line lie half of both lines. Flats: between the
# centres, and half of each area is common. Bends: from the sharpest place of the channel to the middle of the line.
TOLERANCE_M = {
    "hump": 15.0,
    "saddle": 15.0,
    "point": 20.0,
    "pocket": 20.0,
    "ledge": 12.0,
    "bluff": 15.0,
    "flat": 40.0,
    "channel_bend": 40.0,
}
_NO = 1e6


def _apart_m(kind, truth, found):
    """Position error of one finding against one truth of its kind; `_NO` where it is no match at all."""
    limit = TOLERANCE_M[kind]
    if kind in {"ledge", "bluff"}:
        if shapely.distance(truth, found) > limit:
            return _NO
        ways = []
        for one, other in ((truth, found), (found, truth)):
            along = shapely.line_interpolate_point(one, np.linspace(0.0, 1.0, 41), normalized=True)
            ways.append(shapely.distance(along, other))
        if min(np.mean(way <= limit) for way in ways) < 0.5:
            return _NO
        return float(np.median(ways[0]))
    if kind == "flat":
        common = shapely.area(shapely.intersection(truth, shapely.make_valid(found)))
        if common < 0.5 * max(truth.area, found.area):
            return _NO
        apart = shapely.distance(shapely.centroid(truth), shapely.centroid(found))
    elif kind == "channel_bend":
        middle = (
            found
            if found.geom_type == "Point"
            else shapely.line_interpolate_point(found, 0.5, normalized=True)
        )
        apart = shapely.distance(truth, middle)
    else:
        apart = shapely.distance(truth, found)
    return float(apart) if apart <= limit else _NO


@dataclass
class Tally:
    """Counts of one kind over any number of lakes."""

    planted: int = 0
    found: int = 0
    right: int = 0
    errors_m: list[float] = field(default_factory=list)

    def add(self, other):
        self.planted += other.planted
        self.found += other.found
        self.right += other.right
        self.errors_m += other.errors_m

    @property
    def recall(self):
        return self.right / self.planted if self.planted else None

    @property
    def precision(self):
        return self.right / self.found if self.found else None

    @property
    def median_error_m(self):
        return float(np.median(self.errors_m)) if self.errors_m else None


def match(kind, planted, geometry):
    """Match findings of one kind with what was planted.

    Returns
    -------
    The tally, the truths missed and the findings that are false. A finding without a truth at the cut ends of the
    survey is not counted.
    """
    truths = [t.place for t in planted.truths if t.kind == kind]
    geometry = list(geometry)
    cost = np.array([[_apart_m(kind, truth, found) for found in geometry] for truth in truths])
    pairs = []
    if cost.size:
        pairs = [(i, k) for i, k in zip(*linear_sum_assignment(cost), strict=True) if cost[i, k] < _NO]
    used = {k for _, k in pairs}
    false = [
        g
        for k, g in enumerate(geometry)
        if k not in used and shapely.contains(planted.judged, shapely.point_on_surface(g))
    ]
    missed = [t for i, t in enumerate(truths) if i not in {i for i, _ in pairs}]
    tally = Tally(len(truths), len(pairs) + len(false), len(pairs), [float(cost[i, k]) for i, k in pairs])
    return tally, missed, false
