"""Soundings that no bottom through their neighbours explains."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
import shapely
from scipy.spatial import cKDTree

if TYPE_CHECKING:
    from ...arrays import Flags, Floats, Geometries, Ints

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
    count = there.sum(axis=1).astype(float)
    table = np.concatenate([np.ones((*depth.shape, 1)), offset], axis=2)
    soft = np.diag([0.0, 0.05, 0.05])  # neighbours in one line do not tell the slope across it
    weight = there.astype(float)
    for k in range(_FITS):
        weighted = table * weight[:, :, None]
        normal = np.einsum("nki,nkj->nij", weighted, table) + soft
        right = np.einsum("nki,nk->ni", weighted, np.where(there, depth, 0.0))
        fitted = np.linalg.solve(normal, right[:, :, None])[:, :, 0]
        left = np.where(there, depth - np.einsum("nki,ni->nk", table, fitted), 0.0)
        spread = 1.4826 * np.nanmedian(np.where(there, np.abs(left), np.nan), axis=1)
        limit = np.maximum(spread, _LEAST_SCALE_M)[:, None]
        if (
            k < _FITS // 2
        ):  # least absolute values first: squares would follow a stray, and Tukey's weights with them
            weight = np.where(there, limit / np.maximum(np.abs(left), limit), 0.0)
        else:
            weight = np.where(there, np.clip(1.0 - (left / (5.0 * limit)) ** 2, 1e-3, None) ** 2, 0.0)
    return fitted[:, 0], spread * np.sqrt(count / np.maximum(count - 3.0, 1.0))


def _expected(
    place: Floats,
    own: Ints,
    tree: cKDTree,
    depth: Floats,
    walls: shapely.STRtree | None,
) -> tuple[Floats, Floats, Floats, Flags]:
    """Depth that the nearest others make expect, their spread, how near the nearest is, and whether they are enough.

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
    return expected, spread, nearest, enough


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
    expected = np.full(len(xy), np.nan)
    for _ in range(2):  # the second time without the strays of the first
        kept = np.flatnonzero(~stray)
        tree = cKDTree(np.vstack([xy[kept], others[:, :2]]))
        depth = np.concatenate([depth_m[kept], others[:, 2]])
        own = np.full(len(xy), -1, dtype=np.int64)
        own[kept] = np.arange(len(kept))
        spread, nearest = np.full(len(xy), np.nan), np.full(len(xy), np.inf)
        for first in range(0, len(xy), _BLOCK):
            part = np.arange(first, min(first + _BLOCK, len(xy)))
            expected[part], spread[part], nearest[part], _ = _expected(xy[part], own[part], tree, depth, None)
        usual = _usual(depth_m - expected, nearest)
        found = np.flatnonzero(_outlying(depth_m, expected, spread, nearest, usual))
        stray[:] = False
        if len(found):  # once more without what lies behind land
            expected[found], spread[found], nearest[found], _ = _expected(
                xy[found], own[found], tree, depth, walls
            )
            stray[found] = _outlying(
                depth_m[found], expected[found], spread[found], nearest[found], usual[found]
            )
        if not stray.any():
            break
    rows = np.flatnonzero(stray)
    return Strays(rows, expected[rows])
