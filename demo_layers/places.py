"""Ramps, zones and known hazards, put where a lake has them."""

from __future__ import annotations

from typing import TYPE_CHECKING

import geopandas as gpd
import numpy as np
import shapely
from scipy import ndimage

from castshed.demo_layers import names
from castshed.demo_layers.bottom import POOL_M
from castshed.demo_layers.edges import CRS, to_map

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from castshed.demo_layers.bottom import Bottom
    from castshed.demo_layers.edges import Chart
    from castshed.demo_layers.relief import Floats

MPH = 0.44704  # m/s, exactly
DRAWN_DOWN_M = 4.0 * 0.3048  # the day's level is four feet below normal pool
RUN_DEPTH_M = 1.25  # today's depth a boat on plane wants (30 in running depth, margin, error)
SLOW_SPEED_MPS = round(5.0 * MPH, 4)


class Shore:
    """Rasters that say where on the lake a cell lies."""

    def __init__(self, chart: Chart) -> None:
        self.chart = chart
        depth = np.nan_to_num(chart.depth_m, nan=-9.0)
        self.water = depth > 0.0
        self.off_m = ndimage.distance_transform_edt(self.water) * chart.cell_m
        # Share of land round a cell: low off a point, high in a pocket.
        self.land_share = ndimage.gaussian_filter((~self.water).astype(np.float32), 75.0 / chart.cell_m)
        parts, _ = ndimage.label(depth - DRAWN_DOWN_M > RUN_DEPTH_M)
        size = np.bincount(parts.ravel())
        size[0] = 0
        self.runnable = parts == int(size.argmax())  # the largest water to run in, four feet down
        self.off_run_m = ndimage.distance_transform_edt(~self.runnable) * chart.cell_m

    def pick(
        self, rng: np.random.Generator, where: NDArray[np.bool_], taken: list[Floats], apart_m: float
    ) -> Floats:
        """Pick a cell that fits, away from those taken; noted as taken."""
        row, col = np.nonzero(where)
        xy = self.chart.centres(row, col)
        for other in taken:
            xy = xy[np.hypot(*(xy - other).T) > apart_m]
        if len(xy) == 0:
            raise RuntimeError("No place left on this lake that fits: take another seed.")
        choice = xy[int(rng.integers(len(xy)))]
        taken.append(choice)
        return np.asarray(choice, dtype=np.float64)


def _westing(shore: Shore) -> Floats:
    """Share of the way from the lake's west end to its east end, for each column."""
    return np.linspace(0.0, 1.0, shore.chart.depth_m.shape[1])[None, :]


def make_ramps(rng: np.random.Generator, shore: Shore) -> gpd.GeoDataFrame:
    """Put three ramps on sheltered, steep enough shore; a ramp is marked at the end of its courtesy dock."""
    depth, along = shore.chart.depth_m, _westing(shore)
    sheltered = (shore.land_share > 0.42) & (shore.land_share < 0.62) & (shore.off_m < 24.0)
    good = sheltered & (depth > 2.0) & (depth < 2.6) & (shore.off_run_m < 12.0)
    poor = sheltered & (depth > 0.7) & (depth < 1.1) & (shore.off_run_m < 120.0)
    taken: list[Floats] = []
    at = [
        shore.pick(rng, good & (along > 0.55) & (along < 0.85), taken, 800.0),
        shore.pick(rng, good & (along > 0.25) & (along < 0.6), taken, 2500.0),
        shore.pick(rng, poor & (along < 0.3), taken, 2500.0),
    ]
    return gpd.GeoDataFrame(
        {"ramp_id": ["R1", "R2", "R3"], "name": list(names.RAMPS), "min_level_m": [-3.0, -1.8, -0.6]},
        geometry=shapely.points(np.array(at)),
        crs=CRS,
    )


def _part_of_lake(lake: shapely.Polygon, area: shapely.Geometry, at: Floats) -> shapely.Polygon:
    """Give the one water an area covers at a place, with a little bank, so that no sliver is left."""
    parts = shapely.get_parts(shapely.intersection(lake.buffer(4.0), area))
    nearest = int(np.argmin(shapely.distance(parts, shapely.Point(at))))
    return shapely.Polygon(parts[nearest].simplify(1.0).exterior)


def make_zones(
    rng: np.random.Generator, shore: Shore, bottom: Bottom, lake: shapely.Polygon, ramps: gpd.GeoDataFrame
) -> gpd.GeoDataFrame:
    """Mark slow water at ramps and in two coves, the closed water at the dam, and a slough without motors."""
    rows: list[tuple[str, float, str, shapely.Geometry]] = []
    for ramp in ramps.itertuples():
        area = _part_of_lake(lake, ramp.geometry.buffer(110.0), np.array(ramp.geometry.coords[0]))
        rows.append(("slow", SLOW_SPEED_MPS, f"{ramp.name}: idle speed, no wake", area))
    away = ndimage.distance_transform_edt(~_near_points(shore, ramps)) * shore.chart.cell_m
    cove = (shore.land_share > 0.66) & (shore.off_m > 15.0) & (away > 900.0) & ~np.isnan(shore.chart.depth_m)
    taken: list[Floats] = []
    for kind, reach in (("slow", 260.0), ("no_motor", 170.0)):
        for reason in names.ZONES[kind]:
            deep = shore.chart.depth_m > (2.0 if kind == "slow" else 0.5)
            at = shore.pick(rng, cove & deep, taken, 1800.0)
            speed = SLOW_SPEED_MPS if kind == "slow" else np.nan
            rows.append((kind, speed, reason, _part_of_lake(lake, shapely.Point(at).buffer(reach), at)))
    dam = shapely.LineString(to_map(bottom.dam))
    area = _part_of_lake(lake, dam.buffer(170.0, cap_style="flat"), np.array(dam.centroid.coords[0]))
    rows.append(("no_entry", np.nan, names.ZONES["no_entry"][0], area))
    zone, speed, reason, shape = zip(*rows, strict=True)
    return gpd.GeoDataFrame(
        {"zone": list(zone), "speed_mps": list(speed), "reason": list(reason)}, geometry=list(shape), crs=CRS
    )


def _near_points(shore: Shore, points: gpd.GeoDataFrame) -> NDArray[np.bool_]:
    mask = np.zeros(shore.water.shape, dtype=bool)
    chart = shore.chart
    col = ((points.geometry.x.to_numpy() - chart.west_m) / chart.cell_m).astype(int)
    row = ((chart.north_m - points.geometry.y.to_numpy()) / chart.cell_m).astype(int)
    mask[row, col] = True
    return mask


def _blob(rng: np.random.Generator, at: Floats, radius_m: float) -> shapely.Polygon:
    """Draw an irregular outline round a place."""
    angle = np.linspace(0.0, 2 * np.pi, 40, endpoint=False)
    waves = np.arange(1, 6)
    size = rng.normal(0.0, 0.16, waves.size) / waves**0.5
    ring = radius_m * np.maximum(
        0.4, 1.0 + np.cos(angle[:, None] * waves + rng.uniform(0, 6.28, waves.size)) @ size
    )
    return shapely.Polygon(at + np.column_stack([np.cos(angle), np.sin(angle)]) * ring[:, None])


def make_hazards(
    rng: np.random.Generator, shore: Shore, bottom: Bottom, lake: shapely.Polygon
) -> gpd.GeoDataFrame:
    """Mark stump fields, standing timber, rocks, the old bridge's piers, a pipeline and a sunk barge."""
    depth, along = shore.chart.depth_m, _westing(shore)
    rows: list[tuple[str, float, float, shapely.Geometry]] = []
    taken: list[Floats] = []
    flat = ndimage.generic_gradient_magnitude(np.nan_to_num(depth, nan=-4.0), ndimage.sobel) / 40.0 < 0.03
    for kind, low, high, most, radius, top in (
        ("stumps", 1.5, 3.5, 0.45, 95.0, 0.5),
        ("stumps", 2.0, 4.5, 0.8, 75.0, 0.9),
        ("standing_timber", 3.5, 8.0, 0.9, 85.0, -1.5),
    ):
        at = shore.pick(
            rng, flat & (depth > low) & (depth < high) & (along < most) & (shore.off_m > 60.0), taken, 900.0
        )
        rows.append((kind, top, 0.0, shapely.intersection(_blob(rng, at, radius), lake)))
    for radius in (6.0, 4.0, 5.0, 8.0):
        at = shore.pick(rng, (depth > 1.3) & (depth < 3.2) & (shore.off_m > 50.0), taken, 900.0)
        top = round(float(shore.chart.read(at[None, :])[0]) - float(rng.uniform(0.5, 1.2)), 2)
        rows.append(("rock_pile", top, radius, shapely.Point(at)))
    for pier, height in zip(to_map(bottom.road.piers), bottom.road.pier_top_m, strict=True):
        rows.append(("old bridge pier", round(POOL_M - float(height), 2), 3.0, shapely.Point(pier)))
    at = shore.pick(
        rng, (depth > 3.0) & (depth < 6.0) & (shore.off_m > 40.0) & (shore.off_m < 120.0), taken, 900.0
    )
    rows.append(
        ("sunk barge", round(float(shore.chart.read(at[None, :])[0]) - 2.2, 2), 9.0, shapely.Point(at))
    )
    rows.append(("pipeline", *_pipeline(shore, bottom, lake)))
    kind, top_m, radius_m, shape = zip(*rows, strict=True)
    return gpd.GeoDataFrame(
        {"kind": list(kind), "top_depth_m": list(top_m), "radius_m": list(radius_m)},
        geometry=list(shape),
        crs=CRS,
    )


def _pipeline(shore: Shore, bottom: Bottom, lake: shapely.Polygon) -> tuple[float, float, shapely.Geometry]:
    """Lay a pipe from shore to shore over the river, a mile or so above the road; its ends are shoal."""
    line = bottom.road.line
    middle = line[len(line) // 2]
    river = bottom.streams[0].valley
    k = max(10, int(np.argmin(np.hypot(*(river - middle).T))) - 70)  # 20 m a step
    along = river[k + 5] - river[k - 5]
    across = np.array([-along[1], along[0]]) / np.hypot(*along)
    ends = to_map(np.array([river[k] - across * 2500.0, river[k] + across * 2500.0]))
    parts = shapely.get_parts(shapely.intersection(shapely.LineString(ends), lake))
    pipe = parts[int(np.argmin(shapely.distance(parts, shapely.Point(to_map(river[k])))))]
    samples = shapely.get_coordinates(
        shapely.line_interpolate_point(pipe, np.linspace(0, 1, 200), normalized=True)
    )
    deepest = float(np.nanmax(shore.chart.read(samples)))
    # Marked where it crosses deep water only; one depth serves the whole line, so the shoalest is given.
    keep = shore.chart.read(samples) > 0.4 * deepest
    inside = samples[keep]
    top = round(float(np.nanmin(shore.chart.read(inside))) - 0.8, 2)
    return top, 2.0, shapely.LineString(inside[[0, -1]])
