"""From files to one lake in one metric system: every layer understood, asked about where need be, moved and cleaned."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import shapely

from ...algorithm.grid_factors import grid_fault, utm_of
from ...errors import DataError, UsageError
from ...report import stages
from ...units import in_words
from .cleaning import clean_contours, clean_soundings
from .found import DEPTH_ROLES, FoundLayer, Questions
from .grids import grid_of_points, warped
from .layer_roles import error_of, take_role
from .marks import hazards_of, ramps_of, zones_of
from .measures import ask_unit, in_depth, moved, numbers_of, take_datum, take_unit, take_values, unit_by_ratio
from .opening import open_all
from .shore_from_depths import shore_from_depths
from .systems import metric_system, middle_of, on_earth, settle_systems, system_of
from .water_body import PickedLake
from .which_shoreline import pick_lake

if TYPE_CHECKING:
    from collections.abc import Sequence

    from geopandas import GeoDataFrame

    from ...depth import DepthSurface
    from .found import FileWishes

_SHALLOWEST_M: Final = 0.3
STAGES: Final = {"Opening the files": 30.0, "Picking the lake": 15.0, "Cleaning": 25.0}


@dataclass(eq=False)
class Brought:
    """A lake as brought in: what was found, and its layers in the metric system, depths in metres, positive down."""

    founds: list[FoundLayer]
    lake: PickedLake
    crs: Any
    contours: GeoDataFrame | None = None
    soundings: GeoDataFrame | None = None
    areas: GeoDataFrame | None = None
    raster: DepthSurface | None = None
    ramps: GeoDataFrame | None = None
    hazards: GeoDataFrame | None = None
    zones: GeoDataFrame | None = None
    spots: list[FoundLayer] = field(default_factory=list)
    error_m: float = 0.0
    said: list[str] = field(default_factory=list)


def _doubt_outlines(founds: Sequence[FoundLayer], questions: Questions) -> None:
    """Ask what areas without any word are, where another layer is a shoreline beyond doubt."""
    shores = [f for f in founds if f.role == "shoreline"]
    weak = [f for f in shores if any(w == "shoreline: polygons without depths" for w in f.why)]
    if len(shores) < 2 or len(weak) == len(shores):
        return
    for found in weak:
        questions.ask(
            found.name,
            f"what are its {len(found.frame) if found.frame is not None else 0} areas? Nothing tells, and another "
            "file holds "
            "the shoreline.",
            f"--as {found.name}=ROLE, with islands, zones, hazards, shoreline, depth-areas or ignore",
        )


def _doubt_rasters(founds: Sequence[FoundLayer], wishes: FileWishes, questions: Questions) -> None:
    """Ask which of several rasters of one file holds the depths; what a person names goes before the others."""
    for file in dict.fromkeys(f.file for f in founds if f.grid is not None):
        rasters = [f for f in founds if f.file == file and f.role == "raster"]
        said = [f for f in rasters if wishes.of(f, "role")[0] == "raster"]
        if said and len(said) < len(rasters):
            for found in rasters:
                if found not in said:
                    found.role = "ignore"
        elif len(rasters) > 1:
            listed = ", ".join(f"'{f.layer}' ({_ends(f)})" for f in rasters)
            questions.ask(
                file,
                f"which of its rasters holds the depths? There are {listed}.",
                f"--as '{rasters[0].name}=raster'",
            )


def _ends(found: FoundLayer) -> str:
    assert found.grid is not None
    known = found.grid.numbers[np.isfinite(found.grid.numbers)]
    return f"{known.min():.6g} to {known.max():.6g}" if known.size else "nothing known"


def _as_grids(founds: Sequence[FoundLayer], wishes: FileWishes) -> None:
    """Take soundings that stand on a regular grid as a raster."""
    for found in founds:
        if (
            found.role != "soundings"
            or found.kind != "text"
            or found.frame is None
            or wishes.of(found, "role")[0]
        ):
            continue
        xy = shapely.get_coordinates(found.frame.geometry.to_numpy())
        values = np.asarray(found.numbers, dtype=float)
        use = np.isfinite(values)
        grid = grid_of_points(xy[use, 0], xy[use, 1], values[use]) if use.sum() >= 1000 else None
        if grid is not None:
            grid.crs = found.frame.crs
            found.grid, found.frame, found.numbers, found.role = grid, None, None, "raster"
            found.why += ["raster: its points stand on a regular grid", *grid.said]


def _questions_without_a_lake(
    depths: Sequence[FoundLayer], wishes: FileWishes, pool_m: float | None, questions: Questions
) -> None:
    for found in depths:
        if found.numbers is None and found.grid is None:
            continue
        take_unit(found, wishes)
        take_values(found, wishes, questions, None, None)
        take_datum(found, pool_m, questions)
        ask_unit(found, questions)


def _inside_the_lake(found: FoundLayer, lake: PickedLake | None, crs: Any) -> None:
    """Let a raster's numbers be judged by those inside the lake, not by the land round it."""
    if found.grid is None or lake is None:
        return
    surface = warped(found.grid, crs, shapely.bounds(lake.area).tolist())
    x, y = np.meshgrid(surface.xs, surface.ys)
    shapely.prepare(lake.area)
    inside = shapely.contains_xy(lake.area, x, y) & np.isfinite(surface.depth_m)
    if inside.any():
        found.numbers = surface.depth_m[inside]


def _settle(
    depths: Sequence[FoundLayer],
    wishes: FileWishes,
    questions: Questions,
    lake: PickedLake | None,
    crs: Any,
    pool_m: float | None,
) -> None:
    area = None if lake is None else lake.area
    for found in depths:
        _inside_the_lake(found, lake, crs)
        take_unit(found, wishes)
        take_values(found, wishes, questions, area, crs)
    settled = [f for f in depths if f.unit and f.values]
    for found in depths:
        unit_by_ratio(found, settled, crs, pool_m)
    for found in depths:
        take_datum(found, pool_m, questions)
        ask_unit(found, questions)
        if lake is not None and not questions.asked and not wishes.of(found, "unit")[0]:
            _doubt_size(found, in_depth(found, numbers_of(found), pool_m), lake, questions)


def _doubt_size(found: FoundLayer, depth_m: Any, lake: PickedLake, questions: Questions) -> None:
    """Ask for the unit once more where the lake would be a puddle, or a shaft deeper than it is wide."""
    most = float(np.percentile(depth_m, 98.0)) if len(depth_m) else 1.0
    wide = 2.0 * float(np.sqrt(shapely.area(lake.area) / np.pi))  # of a round lake of that size
    if _SHALLOWEST_M < most < wide:
        return
    questions.ask(
        found.name,
        f"its water would be {in_words(most, 'length')} deep, on a lake as large as one {in_words(wide, 'length')} "
        f"across: is '{found.column or 'the raster'}' in {found.unit}?",
        f"--depths-in {found.name}=UNIT",
    )


def _frame(parts: list[tuple[FoundLayer, Any, Any]], crs: Any) -> GeoDataFrame | None:
    import geopandas

    if not sum(len(shapes) for _, shapes, _ in parts):
        return None
    return geopandas.GeoDataFrame(
        {
            "depth_m": np.concatenate([d for _, _, d in parts]).astype(float),
            "source": np.concatenate([np.full(len(s), f.name, dtype=object) for f, s, _ in parts]),
        },
        geometry=np.concatenate([s for _, s, _ in parts]),
        crs=crs,
    )


def _areas(found: FoundLayer, crs: Any, pool_m: float | None, lake: PickedLake) -> GeoDataFrame:
    import geopandas

    assert found.frame is not None
    shapes = moved(found.frame.geometry.to_numpy(), system_of(found), crs)
    ends = in_depth(found, found.numbers, pool_m)
    least, most = np.fmin(ends[:, 0], ends[:, 1]), np.fmax(ends[:, 0], ends[:, 1])
    bad = shapely.is_missing(shapes) | ~np.isfinite(least)
    bad[~bad] |= ~shapely.intersects(lake.area, shapes[~bad])
    for i in np.flatnonzero(bad).tolist():
        found.leave(
            i + 1,
            "no depths that can be read" if not np.isfinite(least[i]) else "outside the water",
            shapes[i],
        )
    found.taken = int((~bad).sum())
    return geopandas.GeoDataFrame(
        {"from_m": least[~bad], "to_m": most[~bad], "source": found.name}, geometry=shapes[~bad], crs=crs
    )


def _joined(parts: list[Any]) -> Any:
    import pandas as pd

    parts = [p for p in parts if len(p)]
    return None if not parts else parts[0] if len(parts) == 1 else pd.concat(parts, ignore_index=True)


def _with_own_ids(ramps: Any) -> Any:
    if ramps is not None and not ramps["ramp_id"].is_unique:
        ramps["ramp_id"] = [f"ramp-{i + 1}" for i in range(len(ramps))]
    return ramps


def _unit_said(found: FoundLayer, wishes: FileWishes) -> str | None:
    """Tell the unit of a list's lengths that name none, where a person said it."""
    return wishes.of(found, "unit")[0] or wishes.of_all("unit")[0] or None


def _layers(brought: Brought, wishes: FileWishes, pool_m: float | None) -> None:
    lake, crs = brought.lake, brought.crs
    lines: list[tuple[FoundLayer, Any, Any]] = []
    points: list[tuple[FoundLayer, Any, Any]] = []
    areas, ramps, hazards, zones = [], [], [], []
    deepest = 0.0
    quality = []
    for found in brought.founds:
        if found.role == "raster" and found.grid is not None:
            if brought.raster is not None:
                found.why.append("left out: another raster is taken already")
                continue
            west, south, east, north = shapely.bounds(lake.area).tolist()
            made = warped(found.grid, crs, (west, south, east, north))
            brought.raster = made.with_depth(in_depth(found, made.depth_m, pool_m).astype(np.float32))
            found.rows = int(np.isfinite(found.grid.numbers).sum())
            found.taken = int(np.isfinite(made.depth_m).sum())
            deepest = max(deepest, float(np.nanmax(brought.raster.depth_m)))
        elif found.frame is None:
            continue
        elif found.role in ("contours", "soundings"):
            shapes = moved(found.frame.geometry.to_numpy(), system_of(found), crs)
            clean = clean_contours if found.role == "contours" else clean_soundings
            rows = clean(found, shapes, in_depth(found, found.numbers, pool_m), lake.area)
            found.why += rows.said
            (lines if found.role == "contours" else points).append((found, rows.shapes, rows.depth_m))
            deepest = max(deepest, float(rows.depth_m.max(initial=0.0)))
        elif found.role == "depth-areas":
            areas.append(_areas(found, crs, pool_m, lake))
        elif found.role == "ramps":
            ramps.append(ramps_of(found, crs, lake.area, pool_m, _unit_said(found, wishes)))
        elif found.role == "hazards":
            hazards.append(hazards_of(found, crs, lake.area, _unit_said(found, wishes)))
        elif found.role == "zones":
            zones.append(zones_of(found, crs, lake.area))
        elif found.role == "quality":
            quality.append(found)
        elif found.role == "spots":
            brought.spots.append(found)
            found.taken = len(found.frame)
    brought.contours, brought.soundings = _frame(lines, crs), _frame(points, crs)
    brought.areas, brought.ramps = _joined(areas), _with_own_ids(_joined(ramps))
    brought.hazards, brought.zones = _joined(hazards), _joined(zones)
    for found in quality:
        assert found.frame is not None
        error, words = error_of(found.frame, deepest)
        brought.error_m = max(brought.error_m, error)
        found.taken = len(found.frame)
        if words:
            found.why.append(f"depth error by {words}")


def bring(
    given: Sequence[Any],
    wishes: FileWishes,
    *,
    name: str,
    pool_m: float | None = None,
    crs: str = "",
    water: str = "",
) -> Brought:
    """Bring a lake in.

    Parameters
    ----------
    given
        Files and frames.
    wishes
        What the person says about them.
    name
        What the lake is called.
    pool_m
        Elevation of the water's surface at normal pool.
    crs, water
        The metric system and the water body, where they are said.

    Raises
    ------
    DataError
        What cannot be told, each with the option that answers it; or what is no data of one lake.
    UsageError
        An option names what is not there.
    """
    with stages(STAGES) as stage:
        with stage("Opening the files"):
            founds = open_all(given, wishes)
            wishes.check_used(founds)
            questions = Questions()
            for found in founds:
                take_role(found, wishes, questions)
            _doubt_outlines(founds, questions)
            _doubt_rasters(founds, wishes, questions)
            _as_grids(founds, wishes)
            settle_systems(founds, wishes, questions)
        with stage("Picking the lake"):
            depths = [
                f for f in founds if f.role in DEPTH_ROLES and (f.grid is not None or f.numbers is not None)
            ]
            if questions.asked:
                _questions_without_a_lake(depths, wishes, pool_m, questions)
                questions.stop()
            if not depths:
                roles = ", ".join(f"{f.name} is {f.role}" for f in founds) or "nothing was read"
                raise DataError(
                    f"No file holds depths: {roles}. Give contours, soundings, depth areas or a raster, or say "
                    "which file is "
                    "one with --as FILE=contours."
                )
            middle = middle_of(founds)
            if middle is None:
                raise DataError("No file lies anywhere on Earth; look at their reference systems.")
            metric = metric_system(crs, *middle)
            lake = pick_lake(founds, metric, name=name, water=water, questions=questions)
            if not any(f.role == "shoreline" for f in founds):
                _settle(depths, wishes, questions, None, metric, pool_m)
                questions.stop()
                lake = shore_from_depths(founds, metric, pool_m, name=name, water=water, questions=questions)
            questions.stop()
            if lake is None:
                raise DataError(
                    "No file holds a shoreline that can be used; say which one with --as FILE=shoreline."
                )
            metric, lake = _in_its_zone(lake, metric, crs)
            _settle(depths, wishes, questions, lake, metric, pool_m)
            questions.stop()
        with stage("Cleaning"):
            brought = Brought(founds, lake, metric)
            _layers(brought, wishes, pool_m)
    if (
        brought.contours is None
        and brought.soundings is None
        and brought.areas is None
        and brought.raster is None
    ):
        told = "; ".join(f"{f.name}: {f.aside[0][1]}" for f in depths if f.aside)
        raise DataError(f"No depth is left that lies in {lake.name or 'the lake'}. {told}.")
    return brought


def _in_its_zone(lake: PickedLake, metric: Any, crs: str) -> tuple[Any, PickedLake]:
    """Take the UTM zone in which the lake itself lies, and hold a system that was asked for to it."""
    import pyproj

    box = shapely.bounds(lake.area).tolist()
    if crs:
        fault = grid_fault(metric, box, "--crs")
        if fault:
            raise UsageError(fault)
        return metric, lake
    there = on_earth((box[0], box[1], box[2], box[3]), metric)
    assert there is not None
    own = pyproj.CRS.from_user_input(utm_of((there[0] + there[2]) / 2, (there[1] + there[3]) / 2))
    lake.area = moved(np.array([lake.area], dtype=object), metric, own)[0]
    lake.differs = [
        (word, moved(np.array([one], dtype=object), metric, own)[0]) for word, one in lake.differs
    ]
    if not shapely.is_valid(lake.area):
        lake.area = shapely.make_valid(lake.area, method="structure", keep_collapsed=False)
    return own, lake
