"""The last check: a run proved by geometry alone, however it was found, before anything is written.

Shares no code with the way-finding. Lines are measured against the layers themselves, and the depth surface is sampled
densely along every leg. Whatever went wrong before, a run that breaks a rule does not pass.
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import shapely

from ...arrays import Floats, Geometries
from ...errors import CrsError, DataError, UsageError
from ...same_system import same_crs
from ...units import in_words
from .keep_out import TOLERANCE_M, OffLimits, Violation, too_near
from .launch_check import DepthDoubt, launch_violations, launches
from .stops_check import chain_violations

if TYPE_CHECKING:
    import geopandas as gpd

    from ...depth import DepthSurface

__all__ = ["Limits", "Violation", "last_check", "sampled_least"]


PARTS: Final = ("run", "idle", "launch")
_SAMPLES_A_CELL: Final = 4
_DEPTH_TOLERANCE_M: Final = 1e-4  # depths are kept in single precision


@dataclass(frozen=True)
class Limits:
    """What a run is held to; lengths in metres."""

    # least distance from land, hazards and closed zones while running and while idling
    run_clearance_m: float
    idle_clearance_m: float
    # least depth today along a leg
    run_depth_m: float
    idle_depth_m: float
    hold_depth_m: float  # least depth today at a hold
    launch_m: float  # greatest length of the piece between a ramp and the water the boat can use
    # least depth today at which the boat floats whatever the errors; unless told, what it needs at idle
    float_depth_m: float | None = dataclasses.field(default=None, compare=False)
    # errors that the depths above hold, so that what is less sure at a place is known to be so
    depth_error_m: float = dataclasses.field(default=0.0, compare=False)
    level_error_m: float = dataclasses.field(default=0.0, compare=False)

    @property
    def floats_m(self) -> float:
        """Least depth of a launch beyond its lane."""
        return self.idle_depth_m if self.float_depth_m is None else self.float_depth_m

    @classmethod
    def of_boat(
        cls,
        *,
        draft_m: float,
        running_depth_m: float,
        margin_m: float,
        depth_error_m: float,
        level_error_m: float,
        beam_m: float,
        fix_error_m: float,
        clearance_m: float,
        launch_m: float,
        idle_clearance_m: float = 0.0,
    ) -> Limits:
        """Work out what a boat needs, from what is stated of it alone and not from how its run was found."""
        error = math.hypot(depth_error_m, level_error_m)
        keep = beam_m / 2.0 + fix_error_m
        return cls(
            run_clearance_m=keep + clearance_m,
            idle_clearance_m=keep + idle_clearance_m,
            run_depth_m=running_depth_m + margin_m + error,
            idle_depth_m=draft_m + margin_m + error,
            hold_depth_m=draft_m + margin_m + error,
            launch_m=launch_m,
            float_depth_m=draft_m + error,
            depth_error_m=depth_error_m,
            level_error_m=level_error_m,
        )


def _column(frame: gpd.GeoDataFrame, name: str) -> Floats:
    if name not in frame.columns:
        return np.full(len(frame), np.nan)
    return np.asarray(frame[name].to_numpy(dtype=float, na_value=np.nan))


def _first(line: Any) -> tuple[float, float]:
    x, y = shapely.get_coordinates(line)[0]
    return float(x), float(y)


def sampled_least(
    items: Geometries, depth: DepthSurface, level_m: float, doubt: DepthDoubt | None = None
) -> tuple[Floats, Floats]:
    """Least depth today along each line or at each point, by dense samples, and where; NaN where one is not known.

    With ``doubt`` what may be missing at each place is taken off.
    """
    step = min(depth.cell_x_m, depth.cell_y_m) / _SAMPLES_A_CELL
    if doubt is not None:
        step = min(step, min(doubt.local.cell_x_m, doubt.local.cell_y_m) / _SAMPLES_A_CELL)
    xy, item = shapely.get_coordinates(shapely.segmentize(items, step), return_index=True)
    today = depth.at(xy[:, 0], xy[:, 1]) + level_m
    if doubt is not None:
        today = today - doubt.more_m(xy[:, 0], xy[:, 1])
    order = np.lexsort((np.where(np.isnan(today), -np.inf, today), item))
    _, first = np.unique(item[order], return_index=True)
    return today[order[first]], xy[order[first]]


def _too_thin(
    items: Geometries,
    names: Sequence[str],
    depth: DepthSurface,
    level_m: float,
    *,
    wanted_m: float,
    stated_m: Floats,
    doubt: DepthDoubt | None,
) -> Iterator[Violation]:
    charted = sampled_least(items, depth, level_m)
    surely = charted if doubt is None else sampled_least(items, depth, level_m, doubt)
    told = zip(names, *charted, *surely, stated_m, strict=True)
    for name, here, at, sure, sure_at, stated in told:
        if np.isnan(here) or np.isnan(sure):
            yield Violation(name, "lies in water without a known depth", *(at if np.isnan(here) else sure_at))
            continue
        for has, (x, y), least, word in (
            (float(sure), sure_at, wanted_m, "needed"),
            (float(here), at, float(stated), "stated"),
        ):
            if has < least - _DEPTH_TOLERANCE_M:
                less = "" if doubt is None or word == "stated" else " for certain"
                said = f"has {in_words(has, 'length')} of water{less}, {in_words(least, 'length')} is {word}"
                yield Violation(name, said, x, y, least - has)


def _untrue(
    names: Sequence[str], what: str, measured: Floats, stated: Floats, bad: Any
) -> Iterator[Violation]:
    for row in np.flatnonzero(bad).tolist():
        said = f"{what} {measured[row]:.6g} m, {stated[row]:.6g} m is stated"
        yield Violation(names[row], said, by_m=abs(float(measured[row] - stated[row])))


def _legs(
    legs: gpd.GeoDataFrame,
    names: list[str],
    off: OffLimits,
    depth: DepthSurface | None,
    level_m: float,
    limits: Limits,
    start: Any,
    end: Any,
    doubt: DepthDoubt | None,
) -> Iterator[Violation]:
    lines, part = legs.geometry.to_numpy(), legs["part"].to_numpy(dtype=object)
    length, said = np.asarray(shapely.length(lines)), _column(legs, "distance_m")
    yield from _untrue(
        names, "is long", length, said, ~(np.abs(length - said) <= 1e-9 * length + TOLERANCE_M)
    )
    for row in np.flatnonzero(~np.isin(part, PARTS)).tolist():
        yield Violation(names[row], f"is of part '{part[row]}'; it must be one of: {', '.join(PARTS)}")
    taken = launches(lines, part, start, end)
    for row in np.flatnonzero(part == "launch").tolist():
        if row not in taken:
            where = "in the midst of the run" if 0 < row < len(lines) - 1 else "that does not lie at a ramp"
            yield Violation(names[row], f"is a launch {where}", *_first(lines[row]))
    launched = np.isin(np.arange(len(lines)), list(taken))
    for word, keep_m, least_m in (
        ("run", limits.run_clearance_m, limits.run_depth_m),
        ("idle", limits.idle_clearance_m, limits.idle_depth_m),
    ):
        # What is called a launch and is none is held to the rules of idling; a part nobody knows to the stricter ones.
        idling = np.isin(part, ("idle", "launch"))
        rows = np.flatnonzero((idling if word == "idle" else ~idling) & ~launched)
        own = [names[row] for row in rows]
        yield from off.violations(lines[rows], own, running=word == "run", keep_m=keep_m)
        clear, said = (
            off.clearance_m(lines[rows], running=word == "run"),
            _column(legs, "min_clearance_m")[rows],
        )
        yield from _untrue(own, "keeps clear by", clear, said, said > clear + TOLERANCE_M)
        if depth is not None:
            stated = _column(legs, "min_depth_m")[rows]
            yield from _too_thin(
                lines[rows], own, depth, level_m, wanted_m=least_m, stated_m=stated, doubt=doubt
            )
    for row, leads_out in taken.items():
        line = lines[row] if leads_out else shapely.reverse(lines[row])
        if length[row] > limits.launch_m + TOLERANCE_M:
            most = in_words(limits.launch_m, "length")
            over_m = float(length[row] - limits.launch_m)
            yield Violation(names[row], f"is longer than {most}", *_first(lines[row]), over_m)
        yield from launch_violations(
            line,
            names[row],
            off,
            depth,
            level_m,
            float_m=limits.floats_m,
            doubt=doubt,
        )
        own, one = [names[row]], np.array([line], dtype=object)
        clear, said = off.launch_clearance_m(one), _column(legs, "min_clearance_m")[[row]]
        yield from _untrue(own, "keeps clear by", clear, said, said > clear + TOLERANCE_M)
        if depth is not None:
            here, said = sampled_least(one, depth, level_m)[0], _column(legs, "min_depth_m")[[row]]
            false = np.isfinite(said) & ~(said <= here + _DEPTH_TOLERANCE_M)
            yield from _untrue(own, "has a least depth of", here, said, false)


def _holds(
    holds: gpd.GeoDataFrame,
    off: OffLimits,
    depth: DepthSurface | None,
    level_m: float,
    limits: Limits,
    structures: gpd.GeoDataFrame | None,
    doubt: DepthDoubt | None,
) -> Iterator[Violation]:
    points, ids = holds.geometry.to_numpy(), holds["spot_id"].astype(str).tolist()
    names = [f"the hold of {one}" for one in ids]
    yield from off.violations(points, names, running=False, keep_m=0.0)
    if depth is not None:
        stated = _column(holds, "depth_today_m")
        yield from _too_thin(
            points, names, depth, level_m, wanted_m=limits.hold_depth_m, stated_m=stated, doubt=doubt
        )
    if structures is None or structures.empty:
        return
    shapes, labels = structures.geometry.to_numpy(), structures["spot_id"].astype(str).tolist()
    fished = dict(zip(labels, shapes, strict=True))
    for breach in too_near(points, shapes, 10.0 * TOLERANCE_M):
        spot, other = ids[breach.item], labels[breach.area]
        # A flat that holds all of what is fished is no other structure to it.
        if spot != other and spot in fished and bool(shapely.covers(shapes[breach.area], fished[spot])):
            continue
        thing = "its own structure" if spot == other else f"the structure {other}"
        yield Violation(names[breach.item], f"lies on {thing}", breach.x, breach.y)


def _require_sound(frames: dict[str, Any], numbers: dict[str, float | None]) -> None:
    """Refuse what would make the proof say nothing.

    Raises
    ------
    CrsError, DataError, UsageError
        Layers in different reference systems, no usable geometry, or limits that are no numbers.
    """
    for name, value in numbers.items():
        if value is None:
            continue
        if not np.isfinite(value) or (name.endswith(("clearance_m", "launch_m")) and value < 0.0):
            raise UsageError(
                f"{name} is {value}; the last check needs a finite length, a distance of 0 or more."
            )
    given = {name: frame for name, frame in frames.items() if frame is not None}
    for name, frame in given.items():
        if frame.crs is None or given["legs"].crs is None or not same_crs(frame.crs, given["legs"].crs):
            raise CrsError(
                f"{name} and legs do not share one reference system; nothing can be proved. Reproject one."
            )
    for name, kind in (("legs", "LineString"), ("holds", "Point")):
        for label, shape in given[name].geometry.items():
            sound = shape is not None and shape.geom_type == kind and not shape.is_empty
            if not sound or not np.isfinite(shapely.get_coordinates(shape)).all():
                raise DataError(
                    f"{name} has no {kind} with finite coordinates in row {label}; nothing can be proved."
                )


def last_check(
    legs: gpd.GeoDataFrame,
    holds: gpd.GeoDataFrame,
    *,
    depth: DepthSurface | None,
    level_m: float,
    water: gpd.GeoDataFrame,
    start: Any,
    end: Any,
    limits: Limits,
    hazards: gpd.GeoDataFrame | None = None,
    zones: gpd.GeoDataFrame | None = None,
    dry_ground: gpd.GeoDataFrame | None = None,
    structures: gpd.GeoDataFrame | None = None,
    depth_confidence: DepthSurface | None = None,
    kept_out: Callable[[], OffLimits] | None = None,
) -> list[Violation]:
    """Prove a run.

    Parameters
    ----------
    legs
        Layer ``legs``: pieces in order, ``part`` one of ``run``, ``idle``, ``launch``.
    holds
        The holds at which the run stops.
    depth, level_m
        Depth surface, and today's surface minus chart datum in metres. Without a surface depths are not proved.
    water, hazards, zones, dry_ground
        The layers the run was planned on. Every zone that is not ``slow`` is closed, and every hazard that is not of
        care ``run`` is one at idle as well, whatever the words in the layer.
    start, end
        Points at which the run begins and ends.
    limits
        Clearances and depths it is held to.
    structures
        Layer ``spots``: no hold may lie on one of them.
    depth_confidence
        How far each depth may be off; where that is more than the limits count, the depth must be enough without it.
    kept_out
        Gives what those layers keep a boat out of, asked once they are found sound; made here where it is not given.

    Returns
    -------
    Everything that does not hold; empty for a sound run.

    Raises
    ------
    CrsError, DataError, UsageError
        Nothing can be proved: layers in different reference systems, legs or holds without usable geometry, limits that
        are no numbers.

    Notes
    -----
    Running pieces keep the clearance from run and idle hazards, closed zones, dry ground and the water's edge; idling
    ones from all but the run hazards. What a piece states of its length, least depth and clearance must be true. Pieces
    join from start to end, each leg but the last ends at a hold, and no hold is passed over. Distances and overlaps are
    exact for the geometry given, to a millionth of a metre; depths are sampled at a quarter of a cell, and what no
    layer shows no check can see.

    What a piece is its geometry tells, not its name: a launch is the first piece of the run where it begins at the
    start, or the last where it ends at the end, and no other. It is at most ``launch_m`` long; it keeps out of closed
    zones and of charted things, with their radius and position error; beyond the ramp's lane, at most
    `launch_check.LANE_M`, it crosses neither land nor water too thin to float the boat.
    """
    frames = {
        "legs": legs,
        "holds": holds,
        "depth": depth,
        "depth_confidence": depth_confidence,
        "water": water,
        "hazards": hazards,
        "zones": zones,
    }
    _require_sound(
        frames | {"dry_ground": dry_ground, "structures": structures},
        dataclasses.asdict(limits) | {"level_m": level_m},
    )
    run = legs.sort_values("leg_no", kind="stable")
    names = [
        f"leg {row.leg_no} ({row.part}, {row.from_id} to {row.to_id})" for row in run.itertuples(index=False)
    ]
    off = OffLimits(water, hazards, zones, dry_ground) if kept_out is None else kept_out()
    doubt = DepthDoubt.of(depth, depth_confidence, limits)
    return [
        *chain_violations(run, names, holds, start=start, end=end),
        *_legs(run, names, off, depth, level_m, limits, start, end, doubt),
        *_holds(holds, off, depth, level_m, limits, structures, doubt),
    ]
