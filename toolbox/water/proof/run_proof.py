"""The proof of a whole run: its stops, holds, launches, idling and running pieces, and the layers it rests on.

Shares no code with the search for ways.

Whether a charted depth too thin for the boat lies beside a way, nearer than the clearance, whatever a layer says.

Part of the last check. Hazards that were left out of their layer, or were drawn at another level, come to light by the
depths themselves.
"""

from __future__ import annotations

import functools
from itertools import pairwise
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import shapely

from ...errors import DataError
from ...lineage import level_words, same_level, told_level
from ...units import in_words
from .keep_out import TOLERANCE_M, OffLimits, Violation
from .last_check import last_check, sampled_least
from .launch_check import DepthDoubt, launches, past_its_end
from .stops_check import held_at, stop_violations

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Mapping, Sequence

    import geopandas as gpd

    from ...arrays import Floats, Geometries
    from ...depth import DepthSurface
    from .last_check import Limits

_BESIDE_TOLERANCE_M = 1e-4  # depths are kept in single precision
_STEP_M = 100.0


def _cells(depth: DepthSurface, low: Any, high: Any) -> tuple[Floats, Floats]:
    """Take the cell centres within a box, and their depths."""
    rows, columns = depth.shape
    west = max(0, int(np.floor((low[0] - depth.west_m) / depth.cell_x_m - 0.5)))
    east = min(columns, int(np.ceil((high[0] - depth.west_m) / depth.cell_x_m + 0.5)))
    north = max(0, int(np.floor((depth.north_m - high[1]) / depth.cell_y_m - 0.5)))
    south = min(rows, int(np.ceil((depth.north_m - low[1]) / depth.cell_y_m + 0.5)))
    if west >= east or north >= south:
        return np.empty((0, 2)), np.empty(0)
    x = depth.west_m + (np.arange(west, east) + 0.5) * depth.cell_x_m
    y = depth.north_m - (np.arange(north, south) + 0.5) * depth.cell_y_m
    at = np.stack(np.meshgrid(x, y), axis=-1).reshape(-1, 2)
    return at, np.asarray(depth.depth_m[north:south, west:east], dtype=float).ravel()


def thin_beside(
    lines: Geometries,
    names: Sequence[str],
    depth: DepthSurface,
    level_m: float,
    *,
    keep_m: float,
    least_m: float,
    doubt: DepthDoubt | None = None,
) -> Iterator[Violation]:
    """Find lines that pass a cell too thin for the boat, or without a depth, nearer than they may.

    Parameters
    ----------
    lines, names
        Lines and what to call them.
    depth, level_m
        Depth surface, and today's level.
    keep_m, least_m
        Distance to keep, and the depth that is needed.
    doubt
        What may be missing at a place beyond the errors in ``least_m``.

    Yields
    ------
    Violation
        At most one for each line, for the cell that is nearest of all. Of cells only the centres are looked at, where
        the surface has the depth that was charted.
    """
    for name, line in zip(names, lines, strict=True):
        xy = shapely.get_coordinates(shapely.segmentize(line, _STEP_M))
        worst: tuple[float, float, float, float] | None = None
        for a, b in pairwise(xy):
            at, charted = _cells(depth, np.minimum(a, b) - keep_m, np.maximum(a, b) + keep_m)
            if doubt is not None and len(at):
                charted = charted - doubt.more_m(at[:, 0], at[:, 1])
            thin = ~(charted + level_m >= least_m - _BESIDE_TOLERANCE_M)
            if not thin.any():
                continue
            at, charted, way = at[thin], charted[thin], b - a
            share = ((at - a) @ way / max(float(way @ way), 1e-300)).clip(0.0, 1.0)
            gap = np.hypot(*(at - a - share[:, None] * way).T)
            k = int(np.argmin(gap))
            if gap[k] < keep_m - TOLERANCE_M and (worst is None or gap[k] < worst[0]):
                worst = float(gap[k]), float(charted[k]) + level_m, float(at[k, 0]), float(at[k, 1])
        if worst is not None:
            gap_m, here, x, y = worst
            what = "water without a known depth" if np.isnan(here) else f"{in_words(here, 'length')} of water"
            yield Violation(
                name,
                f"comes within {in_words(gap_m, 'length')} of {what}, {in_words(least_m, 'length')} is needed within "
                f"{in_words(keep_m, 'length')}",
                x,
                y,
                keep_m - gap_m,
            )


_DEPTH_TOLERANCE_M: Final = 1e-4


def other_levels(layers: Mapping[str, Any], level_m: float) -> Iterator[Violation]:
    """Find layers that were made at another level than is given."""
    for name, frame in layers.items():
        level = None if frame is None else told_level(frame)
        if level is None or same_level(level, level_m):
            continue
        yield Violation(
            f"the layer {name}",
            f"is of level {level_words(level)}, the run is proved at {in_words(level_m, 'length')}",
        )


def _sound(stops: gpd.GeoDataFrame) -> None:
    if stops.empty:
        raise DataError("stops has no row; a run has the ramp it starts from at least.")
    for label, shape in stops.geometry.items():
        fits = shape is not None and shape.geom_type == "Point" and not shape.is_empty
        if not fits or not np.isfinite(shapely.get_coordinates(shape)).all():
            raise DataError(
                f"stops has no Point with finite coordinates in row {label}; nothing can be proved."
            )


def _stops_afloat(
    stops: gpd.GeoDataFrame,
    off: OffLimits,
    depth: DepthSurface | None,
    level_m: float,
    limits: Limits,
    doubt: DepthDoubt | None,
) -> Iterator[Violation]:
    """Find stops that lie on land, on a hazard, in a closed zone or in too little water, wherever their holds are."""
    points = stops.geometry.to_numpy()[1:-1]
    if not len(points):
        return
    names = [f"stop {place} ({spot})" for place, spot in enumerate(stops["spot_id"].iloc[1:-1], start=1)]
    yield from off.violations(points, names, running=False, keep_m=0.0)
    if depth is None:
        return
    for name, here, (x, y) in zip(names, *sampled_least(points, depth, level_m, doubt), strict=True):
        if not here >= limits.hold_depth_m - _DEPTH_TOLERANCE_M:
            had = (
                "water without a known depth"
                if np.isnan(here)
                else f"{in_words(float(here), 'length')} of water"
            )
            yield Violation(name, f"lies in {had}, {in_words(limits.hold_depth_m, 'length')} is needed", x, y)


def _beside_and_beyond(
    stops: gpd.GeoDataFrame,
    legs: gpd.GeoDataFrame,
    off: OffLimits,
    depth: DepthSurface | None,
    level_m: float,
    limits: Limits,
    doubt: DepthDoubt | None,
) -> Iterator[Violation]:
    """Find thin water beside the way that no hazard shows, and launches that go on where they should have ended."""
    lines, part = legs.geometry.to_numpy(), legs["part"].to_numpy(dtype=object)
    names = [f"leg {number} ({word})" for number, word in zip(legs["leg_no"], part, strict=True)]
    taken = launches(lines, part, stops.geometry.iloc[0], stops.geometry.iloc[-1])
    for row, leads_out in taken.items():
        yield from past_its_end(
            lines[row] if leads_out else shapely.reverse(lines[row]),
            names[row],
            off,
            depth,
            level_m,
            keep_m=limits.idle_clearance_m,
            usable_m=limits.idle_depth_m,
            doubt=doubt,
        )
    if depth is None:
        return
    rest = np.setdiff1d(np.arange(len(lines)), list(taken))
    for rows, keep_m, least_m in (
        (rest[part[rest] == "run"], limits.run_clearance_m, limits.run_depth_m),
        (rest[part[rest] != "run"], limits.idle_clearance_m, limits.idle_depth_m),
    ):
        own = [names[row] for row in rows]
        yield from thin_beside(lines[rows], own, depth, level_m, keep_m=keep_m, least_m=least_m, doubt=doubt)


def _of_one_day(
    stops: gpd.GeoDataFrame,
    legs: gpd.GeoDataFrame,
    holds: gpd.GeoDataFrame,
    given: dict[str, Any],
    ramps: gpd.GeoDataFrame | None,
    kept_out: Callable[[], OffLimits],
) -> list[Violation]:
    run = stops.sort_values("stop_no", kind="stable")
    ways = legs.sort_values("leg_no", kind="stable")
    held = held_at(run, holds)
    # The first stop and the last are the ramps; what else is called a stop must have a hold.
    inner = [label for place, label in held.items() if 0 < place < len(run) - 1]
    found = last_check(
        ways,
        holds.loc[list(dict.fromkeys(inner))],
        start=run.geometry.iloc[0],
        end=run.geometry.iloc[-1],
        kept_out=kept_out,
        **given,
    )
    off = kept_out()
    depth, limits = given["depth"], given["limits"]
    doubt = DepthDoubt.of(depth, given["depth_confidence"], limits)
    at = (off, depth, given["level_m"], limits, doubt)
    return [
        *found,
        *stop_violations(run, ways, holds, held, ramps, given["level_m"]),
        *_stops_afloat(run, *at),
        *_beside_and_beyond(run, ways, *at),
    ]


def run_violations(
    stops: gpd.GeoDataFrame,
    legs: gpd.GeoDataFrame,
    holds: gpd.GeoDataFrame,
    *,
    depth: DepthSurface | None,
    level_m: float,
    water: gpd.GeoDataFrame,
    limits: Limits,
    hazards: gpd.GeoDataFrame | None = None,
    zones: gpd.GeoDataFrame | None = None,
    dry_ground: gpd.GeoDataFrame | None = None,
    structures: gpd.GeoDataFrame | None = None,
    ramps: gpd.GeoDataFrame | None = None,
    depth_confidence: DepthSurface | None = None,
) -> list[Violation]:
    """Prove a run and all it rests on.

    Parameters
    ----------
    stops, legs, holds
        Layers of the run. Where stops tell a ``day``, each day is a run of its own.
    depth, level_m
        Depth surface, and today's surface minus chart datum. Without a surface depths are not proved.
    water, hazards, zones, dry_ground, structures
        The layers of today, as for `last_check`.
    limits
        What the boat needs.
    ramps
        Ramps, at which the run must begin and end; None where they are not known.
    depth_confidence
        How far each depth may be off, as for `last_check`.

    Returns
    -------
    Everything that does not hold; empty for a sound run.

    Raises
    ------
    CrsError, DataError, UsageError
        Nothing can be proved.
    """
    _sound(stops)
    given = {
        "depth": depth,
        "level_m": level_m,
        "water": water,
        "limits": limits,
        "hazards": hazards,
        "zones": zones,
        "dry_ground": dry_ground,
        "structures": structures,
        "depth_confidence": depth_confidence,
    }
    layers = {"water": water, "hazards": hazards, "dry_ground": dry_ground, "holds": holds, "legs": legs}
    faults = list(other_levels(layers, level_m))
    unlabelled = holds.reset_index(drop=True)
    # The same for all days, and made when the first is found to be such that it can be proved.
    kept_out = functools.cache(lambda: OffLimits(water, hazards, zones, dry_ground))
    if "day" not in stops.columns or "day" not in legs.columns:
        return faults + _of_one_day(stops, legs, unlabelled, given, ramps, kept_out)
    days = sorted({*stops["day"].tolist(), *legs["day"].tolist()})
    for day in days:
        own = stops[stops["day"] == day]
        if own.empty:
            faults.append(Violation(f"day {day}", "has legs and no stop"))
            continue
        faults += _of_one_day(own, legs[legs["day"] == day], unlabelled, given, ramps, kept_out)
    return faults
