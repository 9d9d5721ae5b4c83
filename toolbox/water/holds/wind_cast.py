"""How far a cast reaches by its angle to the wind, and the water within such casts of a structure."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np
import shapely

from ...errors import UsageError

if TYPE_CHECKING:
    from ...arrays import Floats, Geometries


LEAST_UPWIND: Final = 0.5
"""Smallest factor taken: down to it the shape of the reach is convex, so that sums with lines and areas are exact."""
_CORNERS: Final = 72  # as many as a ring of `cast_ring` has


def wind_angles_deg(east: Floats, north: Floats, wind_from_deg: float | None) -> Floats:
    """Angle between the cast from a boat standing off in a direction and where the wind comes from.

    Parameters
    ----------
    east, north
        Unit vectors from the structure to the boat.
    wind_from_deg
        Where the wind comes from; None: not known.

    Returns
    -------
    0 for a cast straight upwind, 180 straight downwind; NaN without a wind.
    """
    if wind_from_deg is None:
        return np.full(len(east), np.nan)
    wind = np.radians(wind_from_deg)
    return np.asarray(np.degrees(np.arccos((-east * np.sin(wind) - north * np.cos(wind)).clip(-1.0, 1.0))))


def check_factor(upwind_factor: float) -> None:
    """Check the share of the longest cast that is left straight upwind.

    Raises
    ------
    UsageError
        It is not between `LEAST_UPWIND` and 1.
    """
    if not LEAST_UPWIND <= upwind_factor <= 1:
        raise UsageError(f"upwind_factor is {upwind_factor}; give a share from {LEAST_UPWIND} to 1.")


def upwind_share(wind_angle_deg: Floats, upwind_factor: float) -> Floats:
    """Longest cast at an angle to the wind, as a share of the longest cast in a calm.

    Parameters
    ----------
    wind_angle_deg
        Angle between the cast and the direction the wind comes from: 0 straight upwind; NaN without a wind.
    upwind_factor
        The share straight upwind.

    Returns
    -------
    ``1 - (1 - upwind_factor) * cos(angle)`` for casts that go against the wind, 1 for all others and without a wind.

    Notes
    -----
    That a cast falls short upwind is common practice; by how much depends on wind, lure and angler, so the
    factor is theirs to state. A cast downwind is not taken to be longer: the comfortable cast is.
    """
    against = np.cos(np.radians(np.where(np.isnan(wind_angle_deg), 90.0, wind_angle_deg))).clip(0.0, 1.0)
    return np.asarray(1.0 - (1.0 - upwind_factor) * against)


def wind_shape(wind_from_deg: float, upwind_factor: float) -> Floats:
    """Outline of the places of a boat that reach a point, for a longest cast of 1 about (0, 0)."""
    wind = np.radians(wind_from_deg)
    # Corners lie at fixed angles off the wind, the two casts straight across it among them.
    off = np.arange(_CORNERS) * (2 * np.pi / _CORNERS)
    turned = np.abs((off + np.pi) % (2 * np.pi) - np.pi)
    share = upwind_share(
        np.degrees(np.pi - turned), upwind_factor
    )  # the boat lies on the other side of the cast
    return np.column_stack([share * np.sin(wind + off), share * np.cos(wind + off)])


def within_casts(structures: Geometries, most_m: Floats, shape: Floats) -> Geometries:
    """Area within a cast of structures when the longest cast depends on the direction.

    Parameters
    ----------
    structures
        Valid, non-empty points, lines and polygons, single or multi.
    most_m
        Longest cast of each.
    shape
        Convex outline of the reach for a longest cast of 1, from `wind_shape`.

    Returns
    -------
    The exact sum of each structure and the outline, as polygons.

    Notes
    -----
    The sum of a convex outline and a straight piece is the hull of the outline at both of its ends.
    """
    area = np.empty(len(structures), dtype=object)
    points = shapely.get_type_id(structures) == 0
    corners = shapely.get_coordinates(structures[points])[:, None] + most_m[points, None, None] * shape
    area[points] = shapely.polygons(corners)
    for row in np.flatnonzero(~points):
        one, most = structures[row], most_m[row]
        pieces = []
        for part in shapely.get_parts(one):
            for line in shapely.get_rings(part) if shapely.get_dimensions(part) == 2 else [part]:
                at = shapely.get_coordinates(line)
                ends = np.stack([at[:-1], at[1:]], axis=1) if len(at) > 1 else at[:, None]
                corners = (ends[:, :, None] + most * shape).reshape(len(ends), -1, 2)
                pieces.append(shapely.convex_hull(shapely.multipoints(corners)))
            if shapely.get_dimensions(part) == 2:
                pieces.append(np.array([part], dtype=object))
        area[row] = shapely.union_all(np.concatenate(pieces))
    return area
