"""Contours whose depth does not fit between the lines beside them."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np
import shapely
from scipy.spatial import Delaunay, QhullError

from .stray_soundings import Strays

if TYPE_CHECKING:
    from ...arrays import Floats, Geometries, Ints

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
    xy, first = np.unique(xy, axis=0, return_index=True)
    line = line[first]
    none = np.empty(0, dtype=np.int64)
    if len(xy) < 4:
        return none, none
    # Points along straight lines and on circles are what triangulation is slowest at: each is moved by a hair.
    hair = np.random.default_rng(0).uniform(-1e-3, 1e-3, xy.shape) * spacing
    try:
        triangles = Delaunay(xy - xy.mean(axis=0) + hair).simplices
    except QhullError:  # all on one line
        return none, none
    edges = np.unique(np.sort(triangles[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2), axis=1), axis=0)
    edges = edges[line[edges[:, 0]] != line[edges[:, 1]]]
    if not len(edges):
        return none, none
    start, end = xy[edges[:, 0]], xy[edges[:, 1]]
    ways = np.stack([start + 1e-3 * (end - start), end + 1e-3 * (start - end)], axis=1)
    ends, owner = shapely.get_coordinates(sampled, return_index=True)
    same = owner[1:] == owner[:-1]
    walls = shapely.STRtree(
        np.asarray(shapely.linestrings(np.stack([ends[:-1], ends[1:]], axis=1)[same]), dtype=object)
    )
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
    for _ in range(_MOST_ROUNDS):
        counts = ~stray[seen]
        total = np.bincount(sees[counts], minlength=len(lines))
        wrong = np.bincount(sees[counts & bad], minlength=len(lines))
        share = np.where(total >= _LEAST_EDGES, wrong / np.maximum(total, 1), 0.0)
        share[:shores] = 0.0
        share[stray] = 0.0
        doubtful = np.flatnonzero(share >= _SHARE)
        if not len(doubtful):
            break
        # Of a ring and what lies in it, which sees nothing else, the ring contradicts more.
        stray[doubtful[np.argmax(wrong[doubtful])]] = True
    rows = np.flatnonzero(stray)
    expected = np.full(len(rows), np.nan)
    for k, row in enumerate(rows):
        around = line_depth_m[seen[(sees == row) & ~stray[seen]]]
        if len(around):
            expected[k] = np.median(around)
    return Strays(rows, expected)
