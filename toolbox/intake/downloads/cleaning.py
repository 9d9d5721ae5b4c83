"""Rows that are no data of this lake set aside with the reason; lines in pieces joined; nothing lost unseen."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import shapely

from ...text import how_many
from ...water.doubt.depth_doubt import DEEPEST_LAKE_M
from .found import FoundLayer

if TYPE_CHECKING:
    from ...arrays import Flags, Floats, Geometries, Ints

_LANDWARD: Final = 0.5  # of a contour's length outside the water, beyond which it is no contour of it
_NEAR_M: Final = 3.0  # so far beside the shoreline a contour was drawn a bit off
_KEPT: Final = 5000  # rows set aside of one layer that are listed one by one
_TURN: Final = -0.985  # cosine: a corner at which a line turns back within ten degrees
_MANY_NOUGHTS: Final = 20
_DEEP_M: Final = 1.0
_STEEPEST: Final = 0.1  # rise of a bottom: a neighbour so deep, so near, does not slope up to 0 here
_AT_SHORE_M: Final = 5.0
_SCATTERED: Final = 0.5  # of all rows of 0
_MOST_PAIRS: Final = 300_000


@dataclass(eq=False)
class Rows:
    """Rows of one layer on their way through the cleaning: shapes in the metric system, depths in metres."""

    found: FoundLayer
    shapes: Geometries
    depth_m: Floats
    number: Ints
    said: list[str] = field(default_factory=list)

    def drop(self, bad: Flags, reason: str) -> None:
        """Set rows aside."""
        if not bad.any():
            return
        at = np.flatnonzero(bad)
        for i in at[:_KEPT].tolist():
            self.found.leave(int(self.number[i]), reason, self.shapes[i])
        for _ in range(len(at) - _KEPT):
            self.found.leave(0, reason)
        keep = ~bad
        self.shapes, self.depth_m, self.number = self.shapes[keep], self.depth_m[keep], self.number[keep]


def _numbered(rows: Rows) -> None:
    rows.drop(~np.isfinite(rows.depth_m), "no depth that can be read")
    rows.drop(shapely.is_missing(rows.shapes) | shapely.is_empty(rows.shapes), "no place")
    xy, owner = shapely.get_coordinates(rows.shapes, return_index=True)
    broken = np.zeros(len(rows.shapes), dtype=bool)
    broken[np.unique(owner[~np.isfinite(xy).all(axis=1)])] = True
    rows.drop(broken, "coordinates that are no numbers")
    rows.drop(rows.depth_m > DEEPEST_LAKE_M, f"deeper than any lake ({DEEPEST_LAKE_M:.0f} m)")


def _doubled(rows: Rows) -> Flags:
    """Flag rows that are there already, the same way round or turned about."""
    normal = shapely.normalize(shapely.set_precision(rows.shapes, 0.001, mode="pointwise"))
    seen: set[tuple[bytes, float]] = set()
    bad = np.zeros(len(rows.shapes), dtype=bool)
    for i, (key, depth) in enumerate(zip(shapely.to_wkb(normal), rows.depth_m.tolist(), strict=True)):
        if (key, depth) in seen:
            bad[i] = True
        seen.add((key, depth))
    return bad


def _without_spikes(rows: Rows) -> None:
    """Take out corners at which a line darts out and back, far beyond its own steps."""
    xy, owner = shapely.get_coordinates(rows.shapes, return_index=True)
    if len(xy) < 3:
        return
    step = np.diff(xy, axis=0)
    length = np.hypot(step[:, 0], step[:, 1])
    same = owner[1:] == owner[:-1]
    inner = same[:-1] & same[1:]
    with np.errstate(invalid="ignore", divide="ignore"):
        turn = (step[:-1] * step[1:]).sum(axis=1) / (length[:-1] * length[1:])
    total = np.bincount(owner[:-1][same], weights=length[same], minlength=len(rows.shapes))
    usual = total / np.maximum(np.bincount(owner[:-1][same], minlength=len(rows.shapes)), 1)
    far = np.minimum(length[:-1], length[1:]) > 4.0 * usual[owner[1:-1]]
    spikes = np.flatnonzero(inner & (turn < _TURN) & far) + 1
    if not len(spikes):
        return
    keep = np.ones(len(xy), dtype=bool)
    keep[spikes] = False
    for i in np.unique(owner[spikes]).tolist():
        mine = (owner == i) & keep
        if mine.sum() > 1:
            rows.shapes[i] = shapely.LineString(xy[mine])
    rows.said.append(f"{how_many(len(spikes), 'spike')} taken off lines")


def _outside(rows: Rows, lake: Any) -> None:
    near = shapely.buffer(lake, _NEAR_M, quad_segs=2)
    shapely.prepare(near)
    within = shapely.contains(near, rows.shapes)
    touches = within.copy()
    touches[~within] = shapely.intersects(near, rows.shapes[~within])
    share = np.ones(len(rows.shapes))
    part = touches & ~within
    if part.any():
        length = np.maximum(shapely.length(rows.shapes[part]), 1e-9)
        share[part] = shapely.length(shapely.intersection(rows.shapes[part], near)) / length
    on_land = part & (share < 1.0 - _LANDWARD)
    reason = np.where(~touches, "outside the water", "most of it on land")
    bad = ~touches | on_land
    for words in ("outside the water", "most of it on land"):
        mine = bad & (reason == words)
        rows.drop(mine, words)
        bad, reason = bad[~mine], reason[~mine]


def _crossing(rows: Rows) -> None:
    """Set aside lines that cross several of other depths; where two cross each other only, both stay and it is told."""
    if len(rows.shapes) < 3:
        return
    tree = shapely.STRtree(rows.shapes)
    one, other = tree.query(rows.shapes)
    differ = (one < other) & (rows.depth_m[one] != rows.depth_m[other])
    one, other = one[differ], other[differ]
    if len(one) > _MOST_PAIRS:
        rows.said.append("too many lines to look whether they cross")
        return
    shapely.prepare(rows.shapes)
    meet = shapely.intersects(rows.shapes[one], rows.shapes[other])  # far quicker to tell than a crossing
    one, other = one[meet], other[meet]
    cross = shapely.crosses(rows.shapes[one], rows.shapes[other])
    one, other = one[cross], other[cross]
    bad = np.zeros(len(rows.shapes), dtype=bool)
    while len(one):
        count = np.bincount(np.concatenate([one, other]), minlength=len(rows.shapes))
        worst = int(np.argmax(count))
        if count[worst] < 2:
            rows.said.append(f"{how_many(len(one), 'pair')} of contours of different depth cross each other")
            break
        bad[worst] = True
        keep = (one != worst) & (other != worst)
        one, other = one[keep], other[keep]
    rows.drop(bad, "crosses contours of other depths")


def _joined(rows: Rows) -> None:
    """Join pieces of one depth whose ends meet."""
    depths, group = np.unique(rows.depth_m, return_inverse=True)
    shapes: list[Any] = []
    values: list[Any] = []
    for k in range(len(depths)):
        mine = rows.shapes[group == k]
        merged = shapely.get_parts(shapely.line_merge(shapely.multilinestrings(mine)))
        shapes.append(merged)
        values.append(np.full(len(merged), depths[k]))
    before = len(rows.shapes)
    rows.shapes = np.concatenate(shapes) if shapes else rows.shapes
    rows.depth_m = np.concatenate(values) if values else rows.depth_m
    rows.number = np.arange(1, len(rows.shapes) + 1)
    if before > len(rows.shapes):
        rows.said.append(f"{before} pieces joined to {how_many(len(rows.shapes), 'line')}")


def clean_contours(found: FoundLayer, shapes: Geometries, depth_m: Floats, lake: Any) -> Rows:
    """Clean contours; areas stand for their edges."""
    areas = np.isin(shapely.get_type_id(shapes), (3, 6))
    if areas.any():
        shapes = shapes.copy()
        shapes[areas] = shapely.boundary(shapes[areas])
    parts, owner = shapely.get_parts(shapes, return_index=True)
    lost = np.setdiff1d(np.arange(len(shapes)), owner)
    for row in lost[:_KEPT].tolist():
        found.leave(row + 1, "no place")
    rows = Rows(found, np.asarray(parts, dtype=object), np.asarray(depth_m, dtype=float)[owner], owner + 1)
    rows.drop(~np.isin(shapely.get_type_id(rows.shapes), (1, 2)), "no line")
    _numbered(rows)
    rows.drop(shapely.length(rows.shapes) < 0.01, "a line without length")
    kind = shapely.get_type_id(rows.shapes) == 2
    if kind.any():
        rows.shapes = rows.shapes.copy()
        rows.shapes[kind] = shapely.linestrings(
            *_as_lines(rows.shapes[kind]),
        )
    rows.drop(rows.depth_m < 0, "above the surface at normal pool: land")
    rows.drop(_doubled(rows), "there twice")
    before = len(rows.shapes)
    _outside(rows, lake)
    if before and not len(rows.shapes):
        return rows
    rows.drop(~shapely.is_simple(rows.shapes) & (shapely.length(rows.shapes) < 100.0), "crosses itself")
    _without_spikes(rows)
    _crossing(rows)
    if len(rows.shapes):
        found.taken = len(np.unique(rows.number))
        _joined(rows)
    return rows


def _as_lines(rings: Geometries) -> tuple[Floats, Ints]:
    xy, owner = shapely.get_coordinates(rings, return_index=True)
    return xy, owner


def _bare_noughts(rows: Rows, lake: Any) -> None:
    """Set aside rows of 0 scattered over deep water, but those at the shore: a mark for 'nothing measured'.

    A shoal shows in the soundings round it, and stands by itself; noughts all over the lake do neither.
    """
    nought = rows.depth_m == 0.0
    if nought.sum() < _MANY_NOUGHTS or (~nought).sum() < _MANY_NOUGHTS:
        return
    tree = shapely.STRtree(rows.shapes[~nought])
    (_, nearest), off = tree.query_nearest(rows.shapes[nought], return_distance=True, all_matches=False)
    beside = rows.depth_m[~nought][nearest]
    amid = (beside > _DEEP_M) & (beside > off * _STEEPEST)
    if amid.mean() >= _SCATTERED:
        shore = shapely.boundary(lake)
        shapely.prepare(shore)
        bad = nought.copy()
        bad[nought] = ~shapely.dwithin(shore, rows.shapes[nought], _AT_SHORE_M)
        rows.drop(bad, "0 amid deep water, as many rows hold: nothing measured there")


def clean_soundings(found: FoundLayer, shapes: Geometries, depth_m: Floats, lake: Any) -> Rows:
    """Clean soundings; of several at one place the shallowest stays."""
    kinds = shapely.get_type_id(shapes)
    parts, owner = np.asarray(shapes, dtype=object), np.arange(len(shapes))
    if (kinds != 0).any():
        parts, owner = shapely.get_parts(shapes, return_index=True)
        kinds = shapely.get_type_id(parts)
    rows = Rows(found, np.asarray(parts, dtype=object), np.asarray(depth_m, dtype=float)[owner], owner + 1)
    rows.drop(kinds != 0, "no point")
    _numbered(rows)
    rows.drop(rows.depth_m < 0, "above the surface at normal pool")
    if len(rows.shapes):
        shapely.prepare(lake)
        xy = shapely.get_coordinates(rows.shapes)
        rows.drop(~shapely.contains_xy(lake, xy[:, 0], xy[:, 1]), "outside the water")
        _bare_noughts(rows, lake)
    if len(rows.shapes):
        xy = np.rint(shapely.get_coordinates(rows.shapes) * 100.0).astype(np.int64)
        place = xy[:, 0] * 1_000_000_007 + xy[:, 1]  # one number a place: no northing has so many centimetres
        order = np.lexsort((rows.depth_m, place))
        same = np.zeros(len(order), dtype=bool)
        same[order[1:]] = place[order[1:]] == place[order[:-1]]
        rows.drop(same, "a second one at the same place; the shallowest is taken")
    found.taken = len(rows.shapes)
    return rows
