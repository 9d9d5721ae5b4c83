"""Tall cover: structures that stand out of the water today, which no cast goes over."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np
import shapely

if TYPE_CHECKING:
    from collections.abc import Sequence

    from ...arrays import Floats, Geometries, Indices


STANDS_OUT: Final = frozenset({"standing_timber", "dock"})
"""Kinds that stand out of the water unless their height tells otherwise (common practice)."""
_ARC_SEGMENTS: Final = 18  # to a quarter circle


def tall_cover(
    structures: Geometries,
    kinds: Sequence[str],
    *,
    bottom_m: Floats,
    height_m: Floats,
    radius_m: float,
) -> tuple[Geometries, Indices]:
    """Find the structures that stand out of the water today, and the area each takes.

    Parameters
    ----------
    structures, kinds
        Structures, and the kind of each.
    bottom_m, height_m
        Today's depth of the bottom under each and how far it stands off the bottom; NaN where not known.
    radius_m
        Radius of cover that is marked by a point or a line.

    Returns
    -------
    Areas of the tall ones, and the row of each.

    Notes
    -----
    A structure of known height is tall when its top is at the surface or above, whatever its kind. One of unknown
    height or over unknown depth is tall when its kind stands out of the water as a rule.
    """
    if not len(structures):
        return np.empty(0, dtype=object), np.empty(0, dtype=np.intp)
    known = ~np.isnan(bottom_m) & ~np.isnan(height_m)
    as_a_rule = np.array([kind in STANDS_OUT for kind in kinds], dtype=np.bool_)
    with np.errstate(invalid="ignore"):
        tall = np.where(known, (height_m > 0) & (bottom_m - height_m <= 0), as_a_rule)
    rows = np.flatnonzero(tall)
    areas = structures[rows].copy()
    thin = shapely.get_dimensions(areas) < 2
    # The flat sides of the round ends touch the true circle from outside.
    outer_m = radius_m / np.cos(np.pi / (4 * _ARC_SEGMENTS))
    areas[thin] = shapely.buffer(areas[thin], outer_m, quad_segs=_ARC_SEGMENTS)
    there = ~shapely.is_empty(areas)
    return areas[there], rows[there]
