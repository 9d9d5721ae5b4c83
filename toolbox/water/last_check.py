"""The last check: a run proved by geometry alone, however it was found, before anything is written.

Shares no code with the way-finding. Lines are measured against the layers themselves, and the depth surface is sampled
densely along every leg.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import shapely
from numpy.typing import NDArray

from ..units import in_words

if TYPE_CHECKING:
    import geopandas as gpd

    from .depth import DepthSurface

Floats = NDArray[np.float64]

CLOSED: Final = ("no_entry", "no_motor")
TOUCH_M: Final = 1e-6  # rounding of coordinates; a micrometre
_STEP_M: Final = 2.0  # longest step between depth samples; half a cell where that is shorter


@dataclass(frozen=True)
class Limits:
    """What a run is held to; lengths in metres.

    Attributes
    ----------
    run_clearance_m, idle_clearance_m
        Least distance from land, hazards and closed zones while running and while idling.
    run_depth_m, idle_depth_m
        Least depth today along a leg.
    hold_depth_m
        Least depth today at a hold.
    launch_m
        Greatest length of the piece between a ramp and the water the boat can use.
    """

    run_clearance_m: float
    idle_clearance_m: float
    run_depth_m: float
    idle_depth_m: float
    hold_depth_m: float
    launch_m: float


@dataclass(frozen=True)
class Violation:
    """One rule that does not hold: what, where, which rule, and by how much."""

    what: str
    rule: str
    x: float
    y: float

    def __str__(self) -> str:
        return f"{self.what} {self.rule} at {self.x:.1f}, {self.y:.1f}"


def _first(geometry: Any) -> tuple[float, float]:
    x, y = shapely.get_coordinates(geometry)[0]
    return float(x), float(y)


def _at_nearest(leg: Any, other: Any) -> tuple[float, float]:
    return _first(shapely.shortest_line(leg, other))


def _distances(leg: Any, areas: NDArray[np.object_]) -> Iterator[tuple[float, Any]]:
    for distance, area in zip(shapely.distance(leg, areas), areas, strict=True):
        yield float(distance), area


def _areas(frame: gpd.GeoDataFrame | None, column: str, words: tuple[str, ...]) -> NDArray[np.object_]:
    if frame is None or frame.empty:
        return np.array([], dtype=object)
    return np.asarray(frame.geometry[frame[column].isin(words)].to_numpy(), dtype=object)


def _sampled(leg: Any, step_m: float) -> Floats:
    """Points along a line no farther apart than the step, its corners among them."""
    return np.asarray(shapely.get_coordinates(shapely.segmentize(leg, step_m)), dtype=np.float64)


def _too_near(
    what: str, leg: Any, kind: str, areas: NDArray[np.object_], wanted_m: float
) -> Iterator[Violation]:
    for distance, area in _distances(leg, areas):
        if distance < wanted_m - TOUCH_M:
            how = (
                "enters"
                if shapely.intersects(leg, area)
                else f"comes within {in_words(distance, 'length')} of"
            )
            yield Violation(
                what, f"{how} {kind} (wanted {in_words(wanted_m, 'length')})", *_at_nearest(leg, area)
            )


def _too_thin(
    what: str, leg: Any, depth: DepthSurface, level_m: float, wanted_m: float
) -> Iterator[Violation]:
    at = _sampled(leg, min(_STEP_M, depth.cell_x_m / 2.0, depth.cell_y_m / 2.0))
    today = depth.at(at[:, 0], at[:, 1]) + level_m
    if np.isnan(today).any():
        x, y = at[int(np.isnan(today).argmax())]
        yield Violation(what, "crosses water without a known depth", float(x), float(y))
    least = int(np.nanargmin(np.where(np.isnan(today), np.inf, today)))
    if today[least] < wanted_m - TOUCH_M:
        words = f"has only {in_words(float(today[least]), 'length')} of water (wanted {in_words(wanted_m, 'length')})"
        yield Violation(what, words, float(at[least, 0]), float(at[least, 1]))


def _legs(
    legs: gpd.GeoDataFrame,
    depth: DepthSurface,
    level_m: float,
    layers: dict[str, gpd.GeoDataFrame | None],
    limits: Limits,
) -> Iterator[Violation]:
    water = shapely.union_all(np.asarray(layers["water"].geometry.to_numpy()))  # type: ignore[union-attr]  # always given
    edge = np.array([shapely.boundary(water)], dtype=object)
    closed = _areas(layers["zones"], "zone", CLOSED)
    dry_frame = layers["dry_ground"]
    dry = (
        np.array([], dtype=object)
        if dry_frame is None
        else np.asarray(dry_frame.geometry.to_numpy(), dtype=object)
    )
    thin = {
        "run": _areas(layers["hazards"], "care", ("run", "idle")),
        "idle": _areas(layers["hazards"], "care", ("idle",)),
    }
    clearance = {"run": limits.run_clearance_m, "idle": limits.idle_clearance_m}
    needed = {"run": limits.run_depth_m, "idle": limits.idle_depth_m}
    for row in legs.itertuples(index=False):
        leg, part = row.geometry, str(row.part)
        what = f"leg {row.leg_no} ({part}, {row.from_id} to {row.to_id})"
        if not np.isfinite(shapely.get_coordinates(leg)).all() or shapely.length(leg) <= 0.0:
            yield Violation(what, "has no length", *_first(leg))
            continue
        if abs(shapely.length(leg) - row.distance_m) > max(1e-6 * row.distance_m, 1e-3):
            yield Violation(
                what, f"is {shapely.length(leg):.3f} m long but says {row.distance_m:.3f} m", *_first(leg)
            )
        if part == "launch":
            if shapely.length(leg) > limits.launch_m + TOUCH_M:
                yield Violation(what, f"is longer than {in_words(limits.launch_m, 'length')}", *_first(leg))
            yield from _too_near(what, leg, "a closed zone", closed, 0.0)
            continue
        if part not in clearance:
            yield Violation(what, "is neither run, idle nor launch", *_first(leg))
            continue
        if not shapely.covered_by(leg, water):
            yield Violation(what, "leaves the water", *_first(shapely.difference(leg, water)))
        yield from _too_near(what, leg, "the water's edge", edge, clearance[part])
        yield from _too_near(what, leg, "a shallow hazard", thin[part], clearance[part])
        yield from _too_near(what, leg, "a closed zone", closed, clearance[part])
        yield from _too_near(what, leg, "dry ground", dry, clearance[part])
        yield from _too_thin(what, leg, depth, level_m, needed[part])


def _joins(legs: gpd.GeoDataFrame, start: Any, end: Any) -> Iterator[Violation]:
    ordered = legs.sort_values("leg_no", kind="stable")
    at = start
    for row in ordered.itertuples(index=False):
        first, last = (shapely.get_point(row.geometry, k) for k in (0, -1))
        if shapely.distance(at, first) > TOUCH_M:
            gap = in_words(float(shapely.distance(at, first)), "length")
            yield Violation(
                f"leg {row.leg_no}", f"begins {gap} from where the run had come to", *_first(first)
            )
        at = last
    if shapely.distance(at, end) > TOUCH_M:
        gap = in_words(float(shapely.distance(at, end)), "length")
        yield Violation("the run", f"ends {gap} from its ramp", *_first(at))


def _holds(
    holds: gpd.GeoDataFrame,
    depth: DepthSurface,
    level_m: float,
    layers: dict[str, gpd.GeoDataFrame | None],
    limits: Limits,
) -> Iterator[Violation]:
    water = shapely.union_all(np.asarray(layers["water"].geometry.to_numpy()))  # type: ignore[union-attr]  # always given
    shut = np.concatenate(
        [_areas(layers["hazards"], "care", ("idle",)), _areas(layers["zones"], "zone", CLOSED)]
    )
    at = shapely.get_coordinates(holds.geometry.to_numpy())
    today = depth.at(at[:, 0], at[:, 1]) + level_m
    for row, place, deep in zip(holds.itertuples(index=False), at, today, strict=True):
        what, (x, y) = f"the hold of {row.spot_id}", (float(place[0]), float(place[1]))
        if not deep >= limits.hold_depth_m - TOUCH_M:
            said = "unknown depth" if np.isnan(deep) else in_words(float(deep), "length")
            yield Violation(what, f"lies in {said} (wanted {in_words(limits.hold_depth_m, 'length')})", x, y)
        if not shapely.covers(water, row.geometry):
            yield Violation(what, "lies outside the water", x, y)
        if shapely.intersects(row.geometry, shut).any():
            yield Violation(what, "lies in a shallow hazard or a closed zone", x, y)


def last_check(
    legs: gpd.GeoDataFrame,
    holds: gpd.GeoDataFrame,
    *,
    depth: DepthSurface,
    level_m: float,
    water: gpd.GeoDataFrame,
    start: Any,
    end: Any,
    limits: Limits,
    hazards: gpd.GeoDataFrame | None = None,
    zones: gpd.GeoDataFrame | None = None,
    dry_ground: gpd.GeoDataFrame | None = None,
) -> list[Violation]:
    """Prove a run.

    Parameters
    ----------
    legs
        Layer ``legs``: pieces in order, ``part`` one of ``run``, ``idle``, ``launch``.
    holds
        The holds at which the run stops.
    depth, level_m
        Depth surface, and today's surface minus chart datum in metres.
    water, hazards, zones, dry_ground
        The layers the run was planned on.
    start, end
        Points at which the run begins and ends.
    limits
        Clearances and depths it is held to.

    Returns
    -------
    list of Violation
        Everything that does not hold; empty for a sound run.

    Notes
    -----
    Of a launch piece, from a ramp to the water the boat can use, only its length and that it keeps out of closed zones
    are checked: a ramp ends in thin water by nature, and is taken by sight.
    """
    layers = {"water": water, "hazards": hazards, "zones": zones, "dry_ground": dry_ground}
    return [
        *_legs(legs, depth, level_m, layers, limits),
        *_joins(legs, start, end),
        *_holds(holds, depth, level_m, layers, limits),
    ]
