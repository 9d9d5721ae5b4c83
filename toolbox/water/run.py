"""A run from ramp to ramp: stops in order, the pieces of way between them, and what each piece is like."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely
from numpy.typing import NDArray

from .least_depth import least_depth_along

if TYPE_CHECKING:
    from .depth import DepthSurface
    from .passages import Passages

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Piece:
    """A piece of a leg: ``part`` is ``run``, ``idle`` or ``launch``; ``origin`` and ``goal`` are rows of stops."""

    leg_no: int
    part: str
    origin: int
    goal: int
    line: Any


@dataclass(frozen=True)
class Surroundings:
    """What the pieces of a run are measured against; unions of areas, empty where there are none."""

    run_shut: Any
    idle_shut: Any
    slow: Any
    slow_speed_mps: float
    depth: DepthSurface | None
    level_m: float


def launch_point(ramp: Any, water: Any, reach_m: float) -> Any | None:
    """Find where a boat from this ramp first has the water it needs; None when that is farther than the reach."""
    if water.is_empty:
        return None
    near = shapely.get_point(shapely.shortest_line(water, ramp), 0)
    return near if shapely.distance(near, ramp) <= reach_m else None


def inside(point: Any, water: Any) -> Any:
    """Move a point on the edge of a water a hair's breadth inward, so that it lies in it."""
    if shapely.contains_properly(water, point):
        return point
    for width in (0.01, 0.05, 0.25, 1.0):
        inner = shapely.buffer(water, -width, join_style="mitre")
        if not inner.is_empty:
            moved = shapely.get_point(shapely.shortest_line(inner, point), 0)
            if shapely.distance(moved, point) <= 4.0 * width:
                return moved
    return point


def pieces_of(found: Passages, order: NDArray[np.int64], launches: dict[int, Any]) -> list[Piece]:
    """List the pieces of a run in order.

    Parameters
    ----------
    found
        Ways between all stops.
    order
        Rows of the stops in the order of the run, first and last included.
    launches
        Row of a stop that is a ramp -> the ramp's own point, where it lies apart from its stop in the water.
    """
    pieces: list[Piece] = []
    for leg_no, (a, b) in enumerate(pairwise(order), start=1):
        one, other = int(a), int(b)
        lines: list[tuple[str, Any]] = [
            (part, shapely.linestrings(xy)) for part, xy in found.legs(one, other)
        ]
        if leg_no == 1 and one in launches:
            first: Any = shapely.get_point(lines[0][1], 0) if lines else launches[one]
            lines.insert(0, ("launch", shapely.linestrings([launches[one].coords[0], first.coords[0]])))
        if leg_no == len(order) - 1 and other in launches:
            last: Any = shapely.get_point(lines[-1][1], -1)
            lines.append(("launch", shapely.linestrings([last.coords[0], launches[other].coords[0]])))
        pieces += [Piece(leg_no, part, one, other, line) for part, line in lines if line.length > 0.0]
    return pieces


def least_depths(lines: list[Any], depth: DepthSurface | None, level_m: float) -> Floats:
    """Least of today's depths along each line, exact for the surface; NaN where some of it is not known."""
    least = np.full(len(lines), np.nan)
    if depth is None or not lines:
        return least
    xy, row = shapely.get_coordinates(np.array(lines, dtype=object), return_index=True)
    step = np.flatnonzero(row[1:] == row[:-1])
    a, b = xy[step], xy[step + 1]
    found = least_depth_along(depth, a[:, 0], a[:, 1], b[:, 0], b[:, 1], level_m=level_m)
    for number in range(len(lines)):
        own = found[row[step] == number]
        least[number] = np.nan if np.isnan(own).any() or not len(own) else own.min()
    return least


def times_s(
    pieces: list[Piece], slow_m: Floats, around: Surroundings, run_mps: float, idle_mps: float
) -> Floats:
    """Time on each piece: running outside slow zones, at their speed inside; idle and launch at idle."""
    length = np.array([piece.line.length for piece in pieces])
    running = np.array([piece.part == "run" for piece in pieces], dtype=bool)
    slow_mps = min(around.slow_speed_mps, run_mps)
    run_s = (length - slow_m) / run_mps + slow_m / slow_mps
    return np.asarray(np.where(running, run_s, length / idle_mps))


def slow_lengths(pieces: list[Piece], slow: Any) -> Floats:
    """Length of each piece within slow zones."""
    if not pieces or slow.is_empty:
        return np.zeros(len(pieces))
    lines = np.array([piece.line for piece in pieces], dtype=object)
    return np.asarray(shapely.length(shapely.intersection(lines, slow)))


def clearances(pieces: list[Piece], around: Surroundings) -> Floats:
    """Distance of each piece to the nearest land, hazard or closed zone that counts for its part; NaN at a launch."""
    shut = {"run": around.run_shut, "idle": around.idle_shut}
    return np.array(
        [shapely.distance(piece.line, shut[piece.part]) if piece.part in shut else np.nan for piece in pieces]
    )
