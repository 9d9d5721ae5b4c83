"""Fetch of many spots for many winds on a real coast, beside one ray after the other against the same shore."""

from __future__ import annotations

import statistics
import time

import numpy as np
import shapely
from ways import COAST, COAST_BOX, _own_environment, _shore, _stops, _vertices

from castshed.toolbox.water.wind.fetch import RADIALS_DEG, cosine_mean, effective_fetch_lengths, fetch_lengths
from made_waters import rough_lake

SPOTS, WINDS = 1000, 24


def _coast(notes):
    """The largest water of a real harbour, where the open data of its package can be had; else a made lake."""
    python = _own_environment()
    if python is None:
        notes.append(f"{COAST} could not be installed; a made lake stands in")
        return None
    import geopandas as gpd

    found = sorted(python.parent.parent.glob("**/nzgeom/data/coastlines/*.gpkg"))
    land = gpd.read_file(found[0], bbox=COAST_BOX).to_crs(2193)
    water = shapely.difference(
        shapely.box(*COAST_BOX), shapely.union_all(shapely.make_valid(land.geometry.to_numpy()))
    )
    return max(shapely.get_parts(water), key=shapely.area)


def _ray(point, shore, bearing_deg, far_m):
    """The plain way: one ray, met with the shoreline, and the distance to the nearest meeting point."""
    angle = np.radians(bearing_deg)
    end = point + far_m * np.array([np.sin(angle), np.cos(angle)])
    met = shapely.intersection(shore, shapely.LineString([point, end]))
    return shapely.distance(shapely.Point(point), met)


def measure(seed: int, quick: bool) -> dict:
    """Measure the fetch of every radial of every wind at every spot.

    The winds blow from bearings at random, so that no two share a radial: 24 x 15 rays a spot. The loop is timed on a
    sample of rays drawn from the same spots and radials, and its time for all of them is that of a ray times their
    number. `seconds` and `max_diff_m` are of the whole and of the sample.
    """
    notes: list[str] = []
    rng = np.random.default_rng(seed)
    water = _coast(notes)
    if water is None:
        water = rough_lake(_shore(), 25_000, seed, islets=42)
    spots = _stops(water, 100 if quick else SPOTS, seed)
    winds = rng.uniform(0.0, 360.0, WINDS)
    took = []
    for _ in range(3):
        start = time.perf_counter()
        effective = effective_fetch_lengths(spots, water, winds)
        took.append(time.perf_counter() - start)
    seconds = statistics.median(took)

    shore = shapely.boundary(water)
    west, south, east, north = water.bounds
    far = float(np.hypot(east - west, north - south)) + 1.0
    count = 200 if quick else 2000
    rows, columns = rng.integers(len(spots), size=count), rng.integers(WINDS, size=count)
    radials = rng.integers(len(RADIALS_DEG), size=count)
    bearings = winds[columns] + np.asarray(RADIALS_DEG)[radials]
    start = time.perf_counter()
    plain = [_ray(spots[r], shore, b, far) for r, b in zip(rows, bearings, strict=True)]
    ray_s = (time.perf_counter() - start) / count
    straight = fetch_lengths(spots, water, np.add.outer(winds, RADIALS_DEG).ravel())
    straight = straight.reshape(len(spots), WINDS, len(RADIALS_DEG))
    worst = float(np.abs(straight[rows, columns, radials] - plain).max())
    # The averages too: from rays of the plain way at some spots and winds.
    for row in rng.choice(len(spots), 4 if quick else 12, replace=False):
        wind = int(rng.integers(WINDS))
        fan = [_ray(spots[row], shore, winds[wind] + angle, far) for angle in RADIALS_DEG]
        worst = max(worst, abs(float(cosine_mean(fan)) - float(effective[row, wind])))
    rays = len(spots) * WINDS * len(RADIALS_DEG)
    return {
        "speedup_loop": ray_s * rays / seconds,
        "max_diff_m": worst,
        "seconds": seconds,
        "vertices": _vertices(water),
        "islands": len(water.interiors),
        "spots": len(spots),
        "winds": WINDS,
        "radials": len(RADIALS_DEG),
        "loop_ray_s": ray_s,
        "loop_all_s": ray_s * rays,
        "rays_sampled": count,
        "note": "; ".join(notes),
    }
