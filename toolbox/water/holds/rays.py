"""Rays of cast: straight lines from the nearest point of a structure out over the water round it.

A boat at distance r from a structure casts to the structure's nearest point. All places on one ray share that
point, so one set of rays serves every length of cast: a fan round a point; along a line or polygon, the
shortest lines from a ring at the greatest cast.

Points along many rings at a time.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import shapely

if TYPE_CHECKING:
    from ...arrays import Flags, Floats, Geometries, Indices


def points_on_rings(rings: Geometries, ring: Indices, place: Floats) -> tuple[Floats, Floats]:
    """Give the points that lie so far along rings.

    Parameters
    ----------
    rings
        Closed rings.
    ring, place
        For each point its ring, and how far along that it lies, less than the ring is long.

    Returns
    -------
    Their x and y. What a geometry library does ring by ring is done for all in one go.
    """
    xy, of_point = shapely.get_coordinates(rings, return_index=True)
    step = np.hypot(np.diff(xy[:, 0]), np.diff(xy[:, 1]))
    step[of_point[1:] != of_point[:-1]] = 0.0
    far = np.concatenate([[0.0], np.cumsum(step)])
    first = np.searchsorted(of_point, np.arange(len(rings)))
    wanted = far[first][ring] + place
    at = np.searchsorted(far, wanted, side="right") - 1
    at = at.clip(first[ring], np.append(first[1:], len(xy))[ring] - 2)
    share = ((wanted - far[at]) / np.where(step[at] > 0, step[at], 1.0)).clip(0.0, 1.0)[:, None]
    found = xy[at] + share * (xy[at + 1] - xy[at])
    return found[:, 0], found[:, 1]


FAN = 72  # rays round a point: 5 degrees, 2 m apart on a ring of 21 m, as fine as positions are known
_AROUND = 58  # rays to as much ring round a line or polygon: 3 m apart on the ring of the greatest cast
_MOST_RAYS = 720
_FEWEST_RAYS = 12
_ARC_SEGMENTS = 18  # a quarter circle of a ring
_MIDDLE = 0.3  # cost of the end of a line against its middle, where the deep side counts 1


@dataclass(frozen=True, eq=False)
class Rays:
    """Rays of many structures, one after the other; all arrays have one entry a ray unless said otherwise."""

    structure: Indices  # row of the structure, ascending
    # stretch of a structure that has a deep side of its own, and how many there are: a point or polygon is
    # one, a long line several
    group: Indices
    groups: int
    # point of the structure that the ray starts from, the aim of a cast
    x: Floats
    y: Floats
    # unit vector from there to the boat
    east: Floats
    north: Floats
    # middle of the stretch
    middle_x: Floats
    middle_y: Floats
    cost: Floats  # what the ray loses by lying off the middle of a line
    # the neighbouring rays, left and right on the same ring
    before: Indices
    after: Indices
    open: Flags  # false where another part of the same structure is nearer
    # ring on which the ray ends and how far along it, metres; -1 and NaN for a fan round a point
    ring: Indices
    place: Floats
    # the rings themselves and the simple geometry each belongs to
    rings: Geometries
    parts: Geometries

    def __len__(self) -> int:
        return len(self.structure)


def _neighbours(sizes: Indices) -> tuple[Indices, Indices]:
    """Give the rays before and after each, round closed rings of the given sizes."""
    first = np.repeat(np.cumsum(sizes) - sizes, sizes)
    size = np.repeat(sizes, sizes)
    index = np.arange(int(sizes.sum()), dtype=np.intp) - first
    return first + (index - 1) % size, first + (index + 1) % size


def _unit(dx: Floats, dy: Floats) -> tuple[Floats, Floats]:
    length = np.hypot(dx, dy)
    length = np.where(length > 0, length, 1.0)
    return dx / length, dy / length


def _fans(points: Geometries, owner: Indices, most_m: float, whole: Geometries) -> Rays:
    angle = np.arange(FAN) * (2 * np.pi / FAN)
    x, y = np.repeat(shapely.get_x(points), FAN), np.repeat(shapely.get_y(points), FAN)
    structure = np.repeat(owner, FAN)
    east, north = np.tile(np.sin(angle), len(points)), np.tile(np.cos(angle), len(points))
    before, after = _neighbours(np.full(len(points), FAN, dtype=np.intp))
    several = shapely.get_num_geometries(whole[structure]) > 1
    ends = shapely.points(x[several] + most_m * east[several], y[several] + most_m * north[several])
    is_open = np.ones(len(x), dtype=np.bool_)
    is_open[several] = shapely.distance(ends, whole[structure[several]]) >= most_m - 1e-6
    return Rays(
        structure=structure,
        group=np.repeat(np.arange(len(points), dtype=np.intp), FAN),
        groups=len(points),
        x=x,
        y=y,
        east=east,
        north=north,
        middle_x=x,
        middle_y=y,
        cost=np.zeros(len(x)),
        before=before,
        after=after,
        open=is_open,
        ring=np.full(len(x), -1, dtype=np.intp),
        place=np.full(len(x), np.nan),
        rings=np.empty(0, dtype=object),
        parts=np.empty(0, dtype=object),
    )


def _aims(parts: Geometries, ends: Geometries) -> tuple[Floats, Floats]:
    """Give the nearest point of each part to each end."""
    nearest = shapely.get_coordinates(shapely.shortest_line(parts, ends)).reshape(-1, 2, 2)[:, 0]
    return nearest[:, 0], nearest[:, 1]


def _stretches(parts: Geometries, longest_m: float) -> Indices:
    """Give the number of stretches of each part: odd, so that one holds the middle; polygons are one."""
    is_line = shapely.get_type_id(parts) == 1
    count = np.ceil(shapely.length(parts) / longest_m)
    return np.where(is_line, count + (count + 1) % 2, 1).astype(np.intp)


def _around(parts: Geometries, owner: Indices, most_m: float, whole: Geometries) -> Rays:
    rings, of_part = shapely.get_rings(
        shapely.buffer(parts, most_m, quad_segs=_ARC_SEGMENTS), return_index=True
    )
    length = shapely.length(rings)
    sizes = np.ceil(length * _AROUND / (2 * np.pi * most_m)).clip(_FEWEST_RAYS, _MOST_RAYS).astype(np.intp)
    before, after = _neighbours(sizes)
    ring = np.repeat(np.arange(len(rings), dtype=np.intp), sizes)
    place = (np.arange(len(ring)) - np.repeat(np.cumsum(sizes) - sizes, sizes)) * (length / sizes)[ring]
    end_x, end_y = points_on_rings(rings, ring, place)
    ends = np.asarray(shapely.points(end_x, end_y))
    part = of_part[ring]
    x, y = _aims(parts[part], ends)
    east, north = _unit(end_x - x, end_y - y)
    structure = owner[part]
    several = shapely.get_num_geometries(whole[structure]) > 1
    is_open = np.ones(len(x), dtype=np.bool_)
    is_open[several] = (
        shapely.distance(ends[several], whole[structure[several]])
        >= shapely.distance(ends[several], parts[part[several]]) - 1e-6
    )
    # Stretches of a line, each as wide as a cast is long to both sides.
    count = _stretches(parts, 2 * most_m)
    is_line = shapely.get_type_id(parts) == 1
    long = np.where(is_line, shapely.length(parts), 1.0)
    along = np.zeros(len(x))
    on_line = is_line[part]
    along[on_line] = shapely.line_locate_point(parts[part[on_line]], shapely.points(x[on_line], y[on_line]))
    stretch = np.minimum((along / long[part] * count[part]).astype(np.intp), count[part] - 1)
    group = (np.cumsum(count) - count)[part] + stretch
    groups = int(count.sum())
    of_group = np.repeat(np.arange(len(parts), dtype=np.intp), count)
    number = np.arange(groups) - np.repeat(np.cumsum(count) - count, count)
    share = (number + 0.5) / count[of_group]
    middle = shapely.centroid(parts[of_group])
    lines = is_line[of_group]
    middle[lines] = shapely.line_interpolate_point(
        parts[of_group[lines]], share[lines] * long[of_group[lines]]
    )
    longest = np.zeros(len(whole))
    np.maximum.at(longest, owner, long)
    cost = (
        np.where(lines, np.abs(2 * share - 1) + 1 - long[of_group] / longest[owner[of_group]], 0.0) * _MIDDLE
    )
    return Rays(
        structure=structure,
        group=group,
        groups=groups,
        x=x,
        y=y,
        east=east,
        north=north,
        middle_x=shapely.get_x(middle)[group],
        middle_y=shapely.get_y(middle)[group],
        cost=cost[group],
        before=before,
        after=after,
        open=is_open,
        ring=ring,
        place=place,
        rings=rings,
        parts=parts[of_part],
    )


def _joined(fans: Rays, around: Rays) -> Rays:
    """Put two sets of rays into one, by ascending structure."""
    order = np.argsort(np.concatenate([fans.structure, around.structure]), kind="stable")
    new_index = np.empty(len(order), dtype=np.intp)
    new_index[order] = np.arange(len(order))

    def floats(name: str) -> Floats:
        return np.asarray(np.concatenate([getattr(fans, name), getattr(around, name)])[order])

    def ints(name: str, shift: int = 0) -> Indices:
        return np.asarray(np.concatenate([getattr(fans, name), getattr(around, name) + shift])[order])

    return Rays(
        structure=ints("structure"),
        group=ints("group", fans.groups),
        groups=fans.groups + around.groups,
        x=floats("x"),
        y=floats("y"),
        east=floats("east"),
        north=floats("north"),
        middle_x=floats("middle_x"),
        middle_y=floats("middle_y"),
        cost=floats("cost"),
        before=new_index[ints("before", len(fans))],
        after=new_index[ints("after", len(fans))],
        open=np.concatenate([fans.open, around.open])[order],
        ring=ints("ring"),
        place=floats("place"),
        rings=around.rings,
        parts=around.parts,
    )


def cast_rays(structures: Geometries, most_m: float) -> Rays:
    """Lay rays round structures, out to the greatest cast.

    Parameters
    ----------
    structures
        Valid, non-empty points, lines and polygons, single or multi.
    most_m
        Greatest cast, above 0.

    Returns
    -------
    Of all structures, ascending by row.

    Notes
    -----
    In a bay of a polygon or a bend of a line that is narrower than two casts, places that are nearer than the
    greatest cast to both sides get no ray: none of them would be beside the structure only.
    """
    parts, owner = shapely.get_parts(structures, return_index=True)
    is_point = shapely.get_type_id(parts) == 0
    fans = _fans(parts[is_point], owner[is_point], most_m, structures)
    if is_point.all():
        return fans
    return _joined(fans, _around(parts[~is_point], owner[~is_point], most_m, structures))


def between(rays: Rays, index: Indices, fraction: Floats) -> tuple[Floats, Floats, Floats, Floats]:
    """Lay new rays between neighbours.

    Parameters
    ----------
    rays
        The rays.
    index
        Rays to start from.
    fraction
        How far to turn towards the next ray (above 0) or the one before (below 0), in ray spacings.

    Returns
    -------
    Aims x and y, and unit vectors east and north of the new rays.
    """
    x, y = rays.x[index].copy(), rays.y[index].copy()
    east, north = rays.east[index].copy(), rays.north[index].copy()
    fan = rays.ring[index] < 0
    turned = np.arctan2(east, north) + fraction * (2 * np.pi / FAN)
    east[fan], north[fan] = np.sin(turned)[fan], np.cos(turned)[fan]
    some = index[~fan]
    if some.size:
        ring = rays.rings[rays.ring[some]]
        next_place = rays.place[rays.after[some]]
        spacing = np.abs(next_place - rays.place[some])
        length = shapely.length(ring)
        spacing = np.minimum(spacing, length - spacing)
        ends = shapely.line_interpolate_point(ring, (rays.place[some] + fraction[~fan] * spacing) % length)
        x[~fan], y[~fan] = _aims(rays.parts[rays.ring[some]], ends)
        east[~fan], north[~fan] = _unit(shapely.get_x(ends) - x[~fan], shapely.get_y(ends) - y[~fan])
    return x, y, east, north
