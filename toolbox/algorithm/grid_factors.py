"""How far a projected reference system stretches lengths and turns bearings where a lake lies."""

from __future__ import annotations

import functools
from typing import TYPE_CHECKING, Final, NamedTuple

if TYPE_CHECKING:
    from collections.abc import Sequence

    import pyproj

    from ..arrays import Floats


Extent = tuple[float, float, float, float]

MOST_STRETCH: Final = 0.005
"""Share by which a length may differ from the true one: a cast of 100 ft by half a foot."""
MOST_TURN_DEG: Final = 1.0
"""How far north of the grid may be turned from true north, unless the lake's own UTM zone is turned more."""

_SIDE: Final = 5  # points on each side of the extent
_STEP_M: Final = 100.0
_ROUND_M: Final = 100.0  # extents are looked up by so much
_ZONE_DEG: Final = 6.0
_OVERLAP_DEG: Final = 0.5  # UTM grids are drawn some 40 km over the edge of their zone


class GridFactors(NamedTuple):
    """The greatest share by which lengths are off, the greatest turn of the axes, and the middle of the extent."""

    stretch: float
    turn_deg: float
    lon: float
    lat: float


def _wrapped(degrees: Floats) -> Floats:
    wrapped: Floats = (degrees + 180.0) % 360.0 - 180.0
    return wrapped


@functools.lru_cache(maxsize=32)
def _to_earth(crs: pyproj.CRS) -> pyproj.Transformer | None:
    import pyproj

    base = crs.geodetic_crs
    return None if base is None else pyproj.Transformer.from_crs(crs, base, always_xy=True)


@functools.lru_cache(maxsize=256)
def _measured(crs: pyproj.CRS, extent: Extent) -> GridFactors | None:
    import numpy as np

    go, earth = _to_earth(crs), crs.get_geod()
    if go is None or earth is None:
        return None
    west, south, east, north = extent
    x, y = (
        part.ravel() for part in np.meshgrid(np.linspace(west, east, _SIDE), np.linspace(south, north, _SIDE))
    )
    along_x = np.concatenate([x, x + _STEP_M, x])
    along_y = np.concatenate([y, y, y + _STEP_M])
    lon, lat = (part.reshape(3, -1) for part in go.transform(along_x, along_y))
    here = np.isfinite(lon).all(axis=0) & np.isfinite(lat).all(axis=0)
    if not here.any():
        return None
    lon, lat = lon[:, here], lat[:, here]
    bearing, _, length = earth.inv(np.tile(lon[0], 2), np.tile(lat[0], 2), lon[1:].ravel(), lat[1:].ravel())
    bearing, length = np.radians(bearing).reshape(2, -1), length.reshape(2, -1)
    # Metres on the ground, east and north, for a metre of the grid; its singular values are the scale both ways.
    ground = np.stack([np.sin(bearing), np.cos(bearing)]).transpose(2, 0, 1) * length.T[:, None, :] / _STEP_M
    scale = np.linalg.svd(ground, compute_uv=False)
    stretch = float(np.max(np.abs(1.0 / np.maximum(scale, 1e-9) - 1.0)))
    turn = np.abs(_wrapped(np.degrees(bearing) - np.array([[90.0], [0.0]])))
    middle = lon.shape[1] // 2
    return GridFactors(stretch, float(turn.max()), float(lon[0, middle]), float(lat[0, middle]))


def grid_factors(crs: pyproj.CRS, extent: Sequence[float]) -> GridFactors | None:
    """Measure a projected system over an extent.

    Parameters
    ----------
    crs
        Projected system in metres.
    extent
        West, south, east and north in it.

    Returns
    -------
    ``stretch`` is the greatest difference of the scale from 1 in any direction, ``turn_deg`` how far the axes are
    from east and north at most: a grid that counts southwards is turned by 180 degrees. None where the system has
    no place on Earth for the extent.

    Notes
    -----
    By geodesics on the ellipsoid of the system, on five by five points, with the axes as layers hold them; for what
    PROJ calls the factors of a projection this gives the same numbers, and it sees the direction of the axes too.
    """
    west, south, east, north = (round(one / _ROUND_M) * _ROUND_M for one in extent)
    return _measured(crs, (west, south, east, north))


def utm_of(lon: float, lat: float) -> str:
    """Name the UTM zone of a place on WGS84 by its EPSG code.

    Examples
    --------
    >>> utm_of(-92.5, 45.0), utm_of(175.9, -38.8)
    ('EPSG:32615', 'EPSG:32760')
    """
    zone = int((lon + 180.0) // _ZONE_DEG) % 60 + 1
    return f"EPSG:{(32600 if lat >= 0.0 else 32700) + zone}"


def _near_zone(crs: pyproj.CRS, lon: float) -> bool:
    """Whether a system is a UTM zone, and the longitude in it or so little beside it that its grid is used there."""
    import numpy as np

    word = crs.utm_zone
    if not word:
        return False
    middle = int(word[:-1]) * _ZONE_DEG - 183.0
    return bool(abs(float(_wrapped(np.array(lon - middle)))) <= _ZONE_DEG / 2.0 + _OVERLAP_DEG)


def _own_turn_deg(crs: pyproj.CRS, extent: Sequence[float], own: str) -> float:
    import pyproj

    zone = pyproj.CRS.from_user_input(own)
    to_zone = pyproj.Transformer.from_crs(crs, zone, always_xy=True)
    west, south, east, north = extent
    box = to_zone.transform_bounds(west, south, east, north)
    found = _measured(zone, tuple(round(one / _ROUND_M) * _ROUND_M for one in box))
    return 0.0 if found is None else found.turn_deg


def grid_fault(crs: pyproj.CRS, extent: Sequence[float], name: str) -> str | None:
    """Say that a system stretches or turns too much where a lake lies; None where it does not.

    Parameters
    ----------
    crs, extent
        As for `grid_factors`.
    name
        What the layer is called.

    Returns
    -------
    The fault, with the lake's own UTM zone. A system may be turned as much as that zone is there, even beyond one
    degree: the remedy would be no better.
    """
    import pyproj

    found = grid_factors(crs, extent)
    if found is None or (found.stretch <= MOST_STRETCH and found.turn_deg <= MOST_TURN_DEG):
        return None
    base = crs.geodetic_crs
    assert base is not None  # it was measured with it
    lon, lat = pyproj.Transformer.from_crs(base, 4326, always_xy=True).transform(found.lon, found.lat)
    own = utm_of(lon, lat)
    faults = []
    if found.stretch > MOST_STRETCH:
        faults.append(f"its lengths are off by {100.0 * found.stretch:.3g} %")
    if found.turn_deg > MOST_TURN_DEG and not (
        _near_zone(crs, lon) or found.turn_deg <= _own_turn_deg(crs, extent, own) + 0.01
    ):
        faults.append(f"it is turned {found.turn_deg:.3g} degrees from true north")
    if not faults:
        return None
    return (
        f"{name} is in {crs.name}, which does not fit where the layer lies (near {abs(lat):.2f} "
        f"{'N' if lat >= 0.0 else 'S'}, {abs(lon):.2f} {'E' if lon >= 0.0 else 'W'}): {' and '.join(faults)}, at most "
        f"{100.0 * MOST_STRETCH:g} % and {MOST_TURN_DEG:g} degree are allowed. Reproject it to the lake's own UTM "
        f"zone, with --crs {own} or to_crs('{own}')."
    )
