"""Which way is up: a piece of the lake turned so that a course runs up the page, and the map's north."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Final

import numpy as np
import shapely

if TYPE_CHECKING:
    import geopandas as gpd

    from ...arrays import Floats
    from ...magnetic import Declination

_LINES: Final = ("legs", "cast_lines")
IN_PIECES: Final = ("water", "depth_bands", "dry_ground", "shallow_hazards")
"""Areas of the ground, which are found faster in pieces."""


def turned_points(xy: Floats, centre: tuple[float, float], course_deg: float) -> Floats:
    """Turn points about a centre so that a course (degrees from grid north, clockwise) points up."""
    angle = np.radians(course_deg)
    east, north = (np.asarray(xy, dtype=np.float64) - centre).T
    return np.column_stack(
        [
            centre[0] + east * np.cos(angle) - north * np.sin(angle),
            centre[1] + east * np.sin(angle) + north * np.cos(angle),
        ]
    )


def in_pieces(role: str, frame: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """Make a layer ready to be cut many times: valid, and large areas part by part so that far ones are passed over."""
    shapes = frame.geometry.to_numpy().copy()
    broken = ~shapely.is_valid(shapes)
    shapes[broken] = shapely.make_valid(shapes[broken])
    if role not in IN_PIECES:
        return frame.set_geometry(shapes, crs=frame.crs)
    parts, row = shapely.get_parts(shapes, return_index=True)
    return frame.iloc[row].reset_index(drop=True).set_geometry(parts, crs=frame.crs)


def cut_and_turned(
    frames: Mapping[str, gpd.GeoDataFrame],
    window: tuple[float, float, float, float],
    centre: tuple[float, float],
    course_deg: float,
    detail_m: float,
    *,
    ground_m: float = 0.0,
) -> dict[str, gpd.GeoDataFrame]:
    """Cut layers to what a turned window shows, and turn them.

    Parameters
    ----------
    frames
        Layers by role.
    window
        West, south, east and north of the window on the page, in metres after turning.
    centre, course_deg
        What is turned about, and the course that points up.
    detail_m
        What is smaller than this is left out of outlines.
    ground_m
        The same for areas of the ground, where this is more.

    Returns
    -------
    The layers that have something there; lines are kept whole.
    """
    west, south, east, north = window
    corners = np.array([(west, south), (east, south), (east, north), (west, north)])
    back = turned_points(corners, centre, -course_deg)
    box = (*back.min(axis=0), *back.max(axis=0))
    found: dict[str, gpd.GeoDataFrame] = {}
    for role, frame in frames.items():
        exact = "intersects" if role in _LINES else None  # of areas, clipping finds out soon enough
        own = frame.iloc[frame.sindex.query(shapely.box(*box), predicate=exact, sort=True)]
        if not len(own):
            continue
        shapes = own.geometry.to_numpy()
        if role not in _LINES:
            shown = max(detail_m, ground_m) if role in IN_PIECES else detail_m
            shapes = shapely.simplify(shapely.clip_by_rect(shapes, *box), shown, preserve_topology=False)
        turned = shapely.transform(shapes, lambda xy: turned_points(xy, centre, course_deg))
        keep = ~shapely.is_empty(turned)
        if keep.any():
            found[role] = own[keep].set_geometry(turned[keep], crs=frame.crs)
    return found


def north_text(declination: Declination | None = None) -> str:
    """Say from which north the bearings of a page are counted."""
    if declination is None:
        return "Bearings are true; a compass differs by its declination and deviation."
    return f"Bearings are true. {declination.words()}"
