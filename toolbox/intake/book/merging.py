"""The same place from two sources becomes one spot; two structures of one source never do."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np
import shapely

from ...sources.kinds import alike

if TYPE_CHECKING:
    from collections.abc import Sequence

    from ...arrays import Floats, Geometries, Ints
    from ...sources.kinds import Kind


FARTHEST_M: Final = (
    60.0  # half of 0.001 degree: a place known less well than this is not told from its neighbours
)


def _near_pairs(shapes: Geometries, reach_m: Floats) -> tuple[Ints, Ints]:
    """All pairs i < j of one geometry type whose boxes, grown by their reach, meet."""
    west, south, east, north = shapely.bounds(shapes).T
    boxes = shapely.box(west - reach_m, south - reach_m, east + reach_m, north + reach_m)
    one, two = shapely.STRtree(boxes).query(boxes)
    types = shapely.get_type_id(shapes)
    keep = (one < two) & (types[one] == types[two])
    return one[keep], two[keep]


def _distance(shapes: Geometries, one: Ints, two: Ints) -> Floats:
    """Distance of points; of lines and areas the Hausdorff distance, small only when the whole shape is the same."""
    distance: Floats = shapely.hausdorff_distance(shapes[one], shapes[two])
    return distance


def find_same(
    shapes: Geometries,
    error_m: Floats,
    source: Ints,
    kinds: Sequence[Kind],
) -> Ints:
    """Group rows that are one place.

    Parameters
    ----------
    shapes
        Geometries in metres.
    error_m
        Position error of each row, 95 %.
    source
        Number of the source each row came from.
    kinds
        Kind of each row.

    Returns
    -------
    For each row the lowest row number of its group.

    Notes
    -----
    Two rows may be one place when they come from different sources, their kinds are alike, and their distance is within
    the root of the sum of squares of their errors (errors of two surveys are independent). Nearest pairs, measured in
    those errors, are joined first; a group takes a row only if it fits every member and none is of its source. An
    error beyond `FARTHEST_M` counts as `FARTHEST_M`, lest one coarse row swallow whatever lies around it.
    What makes the result wrong: errors stated too small (the same place stays twice) or too large (two places near
    each other in different sources become one; the merge can be taken back from ``merged_from``).
    """
    n = len(shapes)
    group = np.arange(n, dtype=np.int64)
    if n < 2:
        return group
    error_m = np.minimum(error_m, FARTHEST_M)
    one, two = _near_pairs(shapes, error_m)
    keep = source[one] != source[two]
    one, two = one[keep], two[keep]
    distance = _distance(shapes, one, two)
    reach = np.hypot(error_m[one], error_m[two])
    keep = distance <= reach
    one, two, distance, reach = one[keep], two[keep], distance[keep], reach[keep]
    like = np.fromiter((alike(kinds[i], kinds[j]) for i, j in zip(one, two, strict=True)), bool, len(one))
    one, two = one[like], two[like]
    fit = distance[like] / np.maximum(reach[like], 1e-9)
    allowed = set(zip(one.tolist(), two.tolist(), strict=True))
    members: dict[int, list[int]] = {i: [i] for i in range(n)}
    for k in np.lexsort((two, one, fit)):
        a, b = int(group[one[k]]), int(group[two[k]])
        if a == b:
            continue
        sources = [int(source[i]) for i in (*members[a], *members[b])]
        if len(set(sources)) < len(sources):
            continue
        if all((min(i, j), max(i, j)) in allowed for i in members[a] for j in members[b]):
            low, high = min(a, b), max(a, b)
            members[low] += members.pop(high)
            group[members[low]] = low
    return group
