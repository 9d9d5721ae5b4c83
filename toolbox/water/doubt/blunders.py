"""What contradicts all round it, left out of the surface and said, row by row.

Soundings that no bottom through their neighbours explains.

Contours whose depth does not fit between the lines beside them.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
import shapely
from scipy.spatial import Delaunay, QhullError, cKDTree

from ...text import how_many
from ...units import in_words

if TYPE_CHECKING:
    from collections.abc import Sequence

    from ...arrays import Flags, Floats, Geometries, Ints
    from ..bottom.measured import Measured

_NEIGHBOURS: Final = 12
_LEAST_NEIGHBOURS: Final = 5
_FITS: Final = 6
_BLOCK: Final = 50_000  # soundings looked at in one go, so that memory stays flat
_LEAST_SCALE_M: Final = 0.15
_TIMES: Final = 7.0
_STEEP: Final = 0.5
_TOO_DEEP: Final = 1.8


@dataclass(frozen=True, eq=False)
class Strays:
    """Which rows contradict their neighbours, and the depth those make expect there."""

    rows: Ints
    expected_m: Floats


def _plane(offset: Floats, depth: Floats, there: Flags) -> tuple[Floats, Floats]:
    """Depth at the middle of each row of neighbours by a plane that outliers do not tilt, and their spread about it."""
    count = there.sum(axis=1)
    rows = np.arange(len(count))
    dx, dy = offset[..., 0], offset[..., 1]
    known = np.where(there, depth, 0.0)
    weight = there.astype(float)
    soft = 0.05  # neighbours in one line do not tell the slope across it
    for k in range(_FITS):
        # The normal equations of a plane, the height taken out first: sums, as they are quicker than small matrices.
        wx, wy, total = weight * dx, weight * dy, weight.sum(axis=1)
        sx, sy, sz = wx.sum(axis=1), wy.sum(axis=1), (weight * known).sum(axis=1)
        xx = (wx * dx).sum(axis=1) + soft - sx * sx / total
        xy = (wx * dy).sum(axis=1) - sx * sy / total
        yy = (wy * dy).sum(axis=1) + soft - sy * sy / total
        xz, yz = (wx * known).sum(axis=1) - sx * sz / total, (wy * known).sum(axis=1) - sy * sz / total
        whole = xx * yy - xy * xy
        east, north = (xz * yy - yz * xy) / whole, (yz * xx - xz * xy) / whole
        middle = (sz - sx * east - sy * north) / total
        left = np.where(there, depth - (middle[:, None] + dx * east[:, None] + dy * north[:, None]), 0.0)
        size = np.sort(np.where(there, np.abs(left), np.inf), axis=1)
        spread = 1.4826 * 0.5 * (size[rows, (count - 1) // 2] + size[rows, count // 2])
        limit = np.maximum(spread, _LEAST_SCALE_M)[:, None]
        if (
            k < _FITS // 2
        ):  # least absolute values first: squares would follow a stray, and Tukey's weights with them
            weight = np.where(there, limit / np.maximum(np.abs(left), limit), 0.0)
        else:
            weight = np.where(there, np.clip(1.0 - (left / (5.0 * limit)) ** 2, 1e-3, None) ** 2, 0.0)
    return middle, spread * np.sqrt(count / np.maximum(count - 3.0, 1.0))


def _expected(
    place: Floats,
    own: Ints,
    tree: cKDTree,
    depth: Floats,
    walls: shapely.STRtree | None,
) -> tuple[Floats, Floats, Floats, Floats]:
    """Depth that the nearest others make expect, their spread, how near the nearest is, and how far the farthest.

    ``own`` is the row each place has in the tree, -1 when it has none; it is left out.
    """
    away, near = tree.query(place, k=min(_NEIGHBOURS + 1, tree.n))
    away, near = np.atleast_2d(away), np.atleast_2d(near)
    there = (near != own[:, None]) & np.isfinite(away)
    xy = np.asarray(tree.data)[near]
    if walls is not None:
        start = np.broadcast_to(place[:, None, :], xy.shape)
        ways = np.asarray(shapely.linestrings(np.stack([start, xy], axis=2).reshape(-1, 2, 2)), dtype=object)
        barred = np.zeros(len(ways), dtype=np.bool_)
        barred[walls.query(ways, predicate="crosses")[0]] = True
        there &= ~barred.reshape(there.shape)
    reach = np.where(there, away, 0.0).max(axis=1, initial=0.0)
    offset = (xy - place[:, None, :]) / np.maximum(reach, 1e-9)[:, None, None]
    enough = there.sum(axis=1) >= _LEAST_NEIGHBOURS
    expected, spread = np.full(len(place), np.nan), np.full(len(place), np.nan)
    if enough.any():
        expected[enough], spread[enough] = _plane(offset[enough], depth[near][enough], there[enough])
    nearest = np.where(there, away, np.inf).min(axis=1, initial=np.inf)
    return expected, spread, nearest, np.where(np.isfinite(away), away, np.inf).max(axis=1)


def _outlying(
    depth: Floats,
    expected: Floats,
    spread: Floats,
    nearest: Floats,
    usual: Floats,
) -> Flags:
    """Tell what no bottom explains: far off by the spread round it, and steeper or deeper than a bottom is."""
    off = depth - expected
    with np.errstate(invalid="ignore", divide="ignore"):
        far = np.abs(off) > _TIMES * np.maximum(np.maximum(spread, usual), _LEAST_SCALE_M)
        steep = np.abs(off) > _STEEP * nearest
        deep = (off > 2.0) & (depth > _TOO_DEEP * np.maximum(expected, 0.0) + 1.0)
    return np.asarray(far & (steep | deep))


def _usual(off: Floats, nearest: Floats) -> Floats:
    """How far off soundings with neighbours as near as these commonly are: soundings far apart tell each other less."""
    usual = np.zeros(len(off))
    known = np.flatnonzero(np.isfinite(off))
    order = known[np.argsort(nearest[known], kind="stable")]
    for part in np.array_split(order, max(1, min(10, len(order) // 50))):
        if len(part):
            usual[part] = 1.4826 * np.median(np.abs(off[part]))
    return usual


def stray_soundings(
    xy: Floats,
    depth_m: Floats,
    others: Floats,
    rings: Geometries,
) -> Strays:
    """Find soundings that no bottom through their neighbours explains.

    Parameters
    ----------
    xy, depth_m
        Soundings.
    others
        Rows of x, y, depth of other things known, such as points along contours and the shore.
    rings
        Rings of the shoreline: what lies behind land is no neighbour.

    Notes
    -----
    Each sounding is left out and expected from its twelve nearest neighbours by a plane with Tukey's weights, so that
    another stray among them does not count. It is a stray when it is off by more than seven times the spread of its
    neighbours and of soundings as far apart elsewhere, and besides either by more than half the way to the nearest
    of them (steeper than 1 in 2) or far deeper than any of them. A rise that is less steep is never called a stray:
    it may be a hump that one sounding hit.

    What makes the result wrong: a tree or a boulder that one sounding hit looks like an error; a whole run of wrong
    soundings looks right.
    """
    wall_ends = shapely.get_coordinates(rings) if len(rings) else np.empty((0, 2))
    walls = shapely.STRtree(rings) if len(wall_ends) else None
    stray = np.zeros(len(xy), dtype=np.bool_)
    expected, spread = np.full(len(xy), np.nan), np.full(len(xy), np.nan)
    nearest, farthest = np.full(len(xy), np.inf), np.full(len(xy), np.inf)
    for _ in range(2):  # the second time without the strays of the first
        kept = np.flatnonzero(~stray)
        tree = cKDTree(np.vstack([xy[kept], others[:, :2]]))
        depth = np.concatenate([depth_m[kept], others[:, 2]])
        own = np.full(len(xy), -1, dtype=np.int64)
        own[kept] = np.arange(len(kept))
        rows = np.arange(len(xy))
        if stray.any():  # whose neighbours are the same as before expects the same as before
            rows = np.flatnonzero(cKDTree(xy[stray]).query(xy)[0] <= farthest)
        for part in np.array_split(rows, -(-len(rows) // _BLOCK) or 1) if len(rows) else ():
            expected[part], spread[part], nearest[part], farthest[part] = _expected(
                xy[part], own[part], tree, depth, None
            )
        usual = _usual(depth_m - expected, nearest)
        found = np.flatnonzero(_outlying(depth_m, expected, spread, nearest, usual))
        stray[:] = False
        if len(found):  # once more without what lies behind land
            expected[found], spread[found], nearest[found], _ = _expected(
                xy[found], own[found], tree, depth, walls
            )
            farthest[found] = np.inf  # these are looked at again in any case
            stray[found] = _outlying(
                depth_m[found], expected[found], spread[found], nearest[found], usual[found]
            )
        if not stray.any():
            break
    rows = np.flatnonzero(stray)
    return Strays(rows, expected[rows])


_MOST_SAMPLES: Final = 30_000
_RUNGS: Final = (
    3  # steps of the contour ladder between two neighbours from which on they contradict each other
)
_SHARE: Final = 0.7
_LEAST_EDGES: Final = 6
_MOST_ROUNDS: Final = 200


def _seen_edges(lines: Geometries, least_m: float) -> tuple[Ints, Ints]:
    """Pairs of lines that see each other, one pair for each Delaunay edge that crosses no line on its way."""
    length = shapely.length(lines)
    spacing = max(float(length.sum()) / _MOST_SAMPLES, least_m)
    sampled = shapely.simplify(shapely.segmentize(lines, spacing), spacing / 20.0)
    sampled = shapely.segmentize(sampled, spacing)
    xy, line = shapely.get_coordinates(sampled, return_index=True)
    xy, first, place = np.unique(xy, axis=0, return_index=True, return_inverse=True)
    owner, line, place = line, line[first], place.ravel()
    none = np.empty(0, dtype=np.int64)
    if len(xy) < 4:
        return none, none
    # Points along straight lines and on circles are what triangulation is slowest at: each is moved by a hair.
    hair = np.random.default_rng(0).uniform(-1e-3, 1e-3, xy.shape) * spacing
    try:
        triangles = Delaunay(xy - xy.mean(axis=0) + hair).simplices
    except QhullError:  # all on one line
        return none, none
    pairs = np.sort(triangles[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2), axis=1).astype(np.int64)
    keys = np.unique(pairs[:, 0] * len(xy) + pairs[:, 1])
    edges = np.column_stack(np.divmod(keys, len(xy)))
    edges = edges[line[edges[:, 0]] != line[edges[:, 1]]]
    if not len(edges):
        return none, none
    start, end = xy[edges[:, 0]], xy[edges[:, 1]]
    ways = np.stack([start + 1e-3 * (end - start), end + 1e-3 * (start - end)], axis=1)
    same = owner[1:] == owner[:-1]
    steps = np.sort(np.column_stack([place[:-1], place[1:]])[same], axis=1).astype(np.int64)
    # A step of a line that is itself an edge crosses no other one; the others may stand in the way.
    steps = steps[~np.isin(steps[:, 0] * len(xy) + steps[:, 1], keys, assume_unique=False)]
    walls = shapely.STRtree(np.asarray(shapely.linestrings(xy[steps]), dtype=object))
    seen = np.ones(len(edges), dtype=np.bool_)
    hit = walls.query(np.asarray(shapely.linestrings(ways), dtype=object), predicate="intersects")[0]
    seen[hit] = False
    return line[edges[seen, 0]], line[edges[seen, 1]]


def stray_lines(lines: Geometries, line_depth_m: Floats, shores: int, least_m: float = 1.0) -> Strays:
    """Find contours whose depth does not fit between the lines beside them.

    Parameters
    ----------
    lines, line_depth_m
        Simple lines of equal depth, the shores first.
    shores
        How many of them are rings of the shoreline, which are never in doubt.
    least_m
        Least distance of the places along the lines that are looked from.

    Returns
    -------
    Rows as indices of the lines, and the middle of the depths of the lines each one sees.

    Notes
    -----
    Two lines that see each other contradict when three or more depths of the chart lie between theirs. A line that
    contradicts seven tenths of what it sees is a stray; the worst goes first, and no longer counts against the rest.
    A line whose depth is off by one or two steps is not found, nor one that sees only the shore.
    """
    rungs = np.unique(np.concatenate([[0.0], line_depth_m]))
    if len(lines) == shores:
        return Strays(np.empty(0, dtype=np.int64), np.empty(0))
    one, other = _seen_edges(lines, least_m)
    sees, seen = np.concatenate([one, other]), np.concatenate([other, one])
    apart = np.abs(np.searchsorted(rungs, line_depth_m)[sees] - np.searchsorted(rungs, line_depth_m)[seen])
    step = float(np.median(np.diff(rungs))) if len(rungs) > 1 else 0.0
    wide = np.abs(line_depth_m[sees] - line_depth_m[seen]) > (_RUNGS - 0.5) * step
    bad = (apart >= _RUNGS) & wide
    stray = np.zeros(len(lines), dtype=np.bool_)
    order = np.argsort(seen, kind="stable")
    at = np.searchsorted(seen[order], np.arange(len(lines) + 1))
    total = np.bincount(sees, minlength=len(lines))
    wrong = np.bincount(sees[bad], minlength=len(lines))
    for _ in range(_MOST_ROUNDS):
        share = np.where(total >= _LEAST_EDGES, wrong / np.maximum(total, 1), 0.0)
        share[:shores] = 0.0
        share[stray] = 0.0
        doubtful = np.flatnonzero(share >= _SHARE)
        if not len(doubtful):
            break
        # Of a ring and what lies in it, which sees nothing else, the ring contradicts more.
        worst = int(doubtful[np.argmax(wrong[doubtful])])
        stray[worst] = True
        edges = order[at[worst] : at[worst + 1]]  # what sees it counts it no longer
        total -= np.bincount(sees[edges], minlength=len(lines))
        wrong -= np.bincount(sees[edges[bad[edges]]], minlength=len(lines))
    rows = np.flatnonzero(stray)
    expected = np.full(len(rows), np.nan)
    for k, row in enumerate(rows):
        around = line_depth_m[seen[(sees == row) & ~stray[seen]]]
        if len(around):
            expected[k] = np.median(around)
    return Strays(rows, expected)


_LINE_POINTS: Final = 200_000  # places along shore and contours that soundings are compared with, at most
_SHOWN: Final = 20
_LOOK: Final = (
    "Each may be a tree, a boulder or an error: look before you run there, and enter what is there as a known "
    "hazard."
)
_NONE: Final = np.empty(0, dtype=np.int64)


def _listed(labels: Sequence[object], depth_m: Floats, expected_m: Floats) -> str:
    told = [
        f"row {label}: {in_words(depth, 'length')} where {in_words(expected, 'length')} is expected"
        for label, depth, expected in zip(labels[:_SHOWN], depth_m, expected_m, strict=False)
    ]
    more = f"; and rows {', '.join(map(str, labels[_SHOWN:]))}" if len(labels) > _SHOWN else ""
    return "; ".join(told) + more


def without_blunders(
    known: Measured,
    contour_rows: Sequence[object],
    sounding_rows: Sequence[object],
    *,
    keep: bool = False,
    apart: bool = False,
    lines: Strays | None = None,
) -> tuple[Measured, list[str], Floats]:
    """Leave out contours and soundings that contradict what lies round them.

    Parameters
    ----------
    known
        What was measured.
    contour_rows, sounding_rows
        What the rows are called to people.
    keep
        Say so, and leave nothing out.
    apart
        Judge soundings by each other and the shore only: the contours contradict them.
    lines
        What `stray_lines` says of them, where it was asked already.

    Returns
    -------
    What is left; what to say to people; and the soundings left out that read less water than expected, as rows of
    x, y, depth, expected depth: a tree or a boulder, or an error.

    Notes
    -----
    See `stray_lines` and `stray_soundings` for what is a contradiction and what is missed.
    """
    fate = "kept all the same" if keep else "left out"
    said: list[str] = []
    if lines is None:
        lines = stray_lines(known.lines, known.line_depth_m, known.shores)
    if len(lines.rows):
        labels = [contour_rows[k] for k in known.line_row[lines.rows]]
        listed = _listed(labels, known.line_depth_m[lines.rows], lines.expected_m)
        were = "was" if len(labels) == 1 else "were"
        said.append(
            f"contours: {how_many(len(labels), 'line contradicts', 'lines contradict')} what lies beside and {were} "
            f"{fate} "
            f"({listed}). Check their depths."
        )
    clean = known.without(lines.rows, _NONE)
    spacing = max(float(shapely.length(clean.lines).sum()) / _LINE_POINTS, 1.0)
    others = clean.along_lines(spacing, shore=True)[:, :3]
    if apart and len(clean.xy) > 1:
        # No denser than the soundings are, so that a steep bank does not outvote them.
        own = clean.without(np.arange(clean.shores, len(clean.lines)), _NONE)
        nearest = np.asarray(cKDTree(clean.xy).query(clean.xy, k=2)[0])[:, 1]
        others = own.along_lines(max(spacing, float(np.median(nearest))), shore=True)[::2, :3]
    points = stray_soundings(clean.xy, clean.depth_m, others, clean.lines[: clean.shores])
    depth = known.depth_m[points.rows]
    shoal = depth < points.expected_m
    for which, words, advice in (
        (
            shoal,
            "less",
            _LOOK,
        ),
        (~shoal, "more", "Check their depths and units."),
    ):
        if which.any():
            labels = [sounding_rows[k] for k in points.rows[which]]
            listed = _listed(labels, depth[which], points.expected_m[which])
            were = "was" if len(labels) == 1 else "were"
            said.append(
                f"soundings: {how_many(len(labels), 'reads', 'read')} {words} water than any bottom through the "
                f"neighbours and {were} "
                f"{fate} ({listed}). {advice}"
            )
    shoals = np.column_stack([known.xy[points.rows], depth, points.expected_m])[shoal]
    if keep:
        return known, said, shoals[:0]
    return clean.without(_NONE, points.rows), said, shoals
