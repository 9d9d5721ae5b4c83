"""Which pieces of a run are launches, told by geometry alone, what they break, and how much depth may be counted on.

Part of the last check; shares nothing with the search for launches or ways.

Shares nothing with how hazards and holds are made from the same errors: it must not make their mistakes.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import shapely

from ...units import in_words
from .keep_out import TOLERANCE_M, Violation

if TYPE_CHECKING:
    from collections.abc import Iterator

    from ...arrays import Floats, Geometries
    from ...depth import DepthSurface
    from .keep_out import OffLimits
    from .last_check import Limits

LANE_M: Final = 50.0
"""Longest stretch from a ramp over dry ground and water too thin to float: a slab of 12 % over 6 m of fallen water."""

_STEP_M: Final = 0.25
_DEPTH_TOLERANCE_M: Final = 1e-4
# A search for ways may round off the water it uses; where there is half as much room again, it is usable for certain.
_AMPLE: Final = 1.5
_AMPLE_M: Final = 1.0


def launches(lines: Geometries, part: Geometries, start: Any, end: Any) -> dict[int, bool]:
    """Find the launches among pieces called so: whether each leads from the ramp, by its row.

    A piece is one if it is the first of the run and begins at its start, or the last and ends at its end. Whatever else
    is called a launch is none.
    """
    found: dict[int, bool] = {}
    if not len(lines):
        return found
    last = len(lines) - 1
    ends = shapely.points([shapely.get_coordinates(lines[0])[0], shapely.get_coordinates(lines[last])[-1]])
    if part[last] == "launch" and shapely.distance(ends[1], end) <= TOLERANCE_M:
        found[last] = False
    if part[0] == "launch" and shapely.distance(ends[0], start) <= TOLERANCE_M:
        found[0] = True
    return dict(sorted(found.items()))


def _strewn(line: Any, step_m: float) -> tuple[Floats, Floats]:
    """Points along a line, and how far along each lies."""
    xy = shapely.get_coordinates(shapely.segmentize(line, step_m))
    return xy, np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(xy, axis=0).T))])


def _afloat_again(
    name: str,
    line: Any,
    off: OffLimits,
    depth: DepthSurface | None,
    level_m: float,
    float_m: float,
    doubt: DepthDoubt | None,
) -> Iterator[Violation]:
    """Find where a launch, seen from its ramp, lies dry or too thin beyond its lane."""
    step = _STEP_M if depth is None else min(_STEP_M, min(depth.cell_x_m, depth.cell_y_m) / 4.0)
    xy, along = _strewn(line, step)
    dry = shapely.get_parts(shapely.difference(line, off.water))
    dry = dry[shapely.length(dry) > TOLERANCE_M]
    grounded = np.zeros(len(xy), dtype=bool)
    if len(dry):
        grounded |= shapely.dwithin(shapely.union_all(dry), shapely.points(xy), TOLERANCE_M)
    today = None if depth is None else depth.at(xy[:, 0], xy[:, 1]) + level_m
    if today is not None and doubt is not None:
        today = today - doubt.more_m(xy[:, 0], xy[:, 1])
    thin = grounded.copy() if today is None else grounded | ~(today >= float_m - _DEPTH_TOLERANCE_M)
    afloat = np.flatnonzero(~thin)
    lane = len(xy) if not len(afloat) else int(afloat[0])
    lane_m = float(along[min(lane, len(xy) - 1)])
    if lane and lane_m > LANE_M + step:
        yield Violation(
            name,
            f"is dry or too thin to float the boat for {in_words(lane_m, 'length')} from the ramp, "
            f"{in_words(LANE_M, 'length')} of lane is the most",
            float(xy[0, 0]),
            float(xy[0, 1]),
            lane_m - LANE_M,
        )
    # Land between two samples counts as well: each piece of it has a length of its own.
    for piece in dry:
        if float(shapely.line_locate_point(line, shapely.get_point(piece, 0))) > lane_m + TOLERANCE_M:
            x, y = shapely.get_coordinates(piece)[0].tolist()
            yield Violation(name, "crosses land", x, y, float(piece.length))
    again = np.flatnonzero(thin[lane:] & ~grounded[lane:]) + lane
    if today is not None and len(again):
        worst = int(again[np.argmin(np.where(np.isnan(today[again]), -np.inf, today[again]))])
        here = float(today[worst])
        had = "water without a known depth" if np.isnan(here) else in_words(here, "length") + " of water"
        yield Violation(
            name,
            f"comes to {had} once it is afloat, {in_words(float_m, 'length')} floats the boat",
            float(xy[worst, 0]),
            float(xy[worst, 1]),
            float_m - here,
        )


def launch_violations(
    line: Any,
    name: str,
    off: OffLimits,
    depth: DepthSurface | None,
    level_m: float,
    *,
    float_m: float,
    doubt: DepthDoubt | None = None,
) -> Iterator[Violation]:
    """Find what a launch breaks.

    Parameters
    ----------
    line, name
        The launch, from its ramp on, and what to call it.
    off
        What is to be kept out of.
    depth, level_m
        Depth surface or None, and today's level.
    float_m
        Charted depth, today, at which the boat floats whatever the errors.
    doubt
        What may be missing at a place beyond those errors.
    """
    yield from _afloat_again(name, line, off, depth, level_m, float_m, doubt)
    items = np.array([line], dtype=object)
    yield from off.launch_violations(items, [name])


def past_its_end(
    line: Any,
    name: str,
    off: OffLimits,
    depth: DepthSurface | None,
    level_m: float,
    *,
    keep_m: float,
    usable_m: float,
    doubt: DepthDoubt | None = None,
) -> Iterator[Violation]:
    """Find where a launch goes on though there is room and depth to idle: it ends where usable water begins.

    Parameters
    ----------
    line, name, off, depth, level_m, doubt
        As for `launch_violations`.
    keep_m, usable_m
        Clearance and depth that the boat needs at idle.
    """
    length = float(shapely.length(line))
    xy, along = _strewn(line, _STEP_M)
    # The last of it may be anywhere: where usable water begins is where it ends.
    inner = xy[along < length - _AMPLE_M]
    if not len(inner):
        return
    points = np.empty(len(inner), dtype=object)
    points[:] = shapely.points(inner)
    ample = off.clearance_m(points, running=False) > _AMPLE * keep_m + _AMPLE_M
    ample &= shapely.intersects(off.water, points)
    if depth is not None:
        today = depth.at(inner[:, 0], inner[:, 1]) + level_m
        if doubt is not None:
            today = today - doubt.more_m(inner[:, 0], inner[:, 1])
        ample &= today > usable_m
    if ample.any():
        first = int(np.argmax(ample))
        yield Violation(
            name,
            "goes on as a launch where water to idle in has begun",
            float(inner[first, 0]),
            float(inner[first, 1]),
        )


def counted_everywhere_m(depth: DepthSurface | None, confidence: DepthSurface | None) -> float:
    """Depth error that limits are to hold where none is stated: the coverage's, or the least local one if less.

    What is more at a place, `DepthDoubt` takes off there.
    """
    if depth is None:
        return 0.0
    known = np.empty(0) if confidence is None else confidence.depth_m[np.isfinite(confidence.depth_m)]
    return float(min(depth.error_m, known.min())) if known.size else depth.error_m


@dataclass(frozen=True, eq=False)
class DepthDoubt:
    """What is taken off the depth at a place, beyond the errors that the limits count everywhere.

    Attributes
    ----------
    local
        Half-width within which the true depth lies at each place.
    unknown_m
        What stands for it where it is not known: the coverage's own error.
    depth_error_m, level_error_m
        The errors in the limits.
    """

    local: DepthSurface
    unknown_m: float
    depth_error_m: float
    level_error_m: float

    @classmethod
    def of(cls, depth: DepthSurface | None, local: DepthSurface | None, limits: Limits) -> DepthDoubt | None:
        """Take it from the layers and the limits; None where no local error is given, or no depth."""
        if depth is None or local is None:
            return None
        return cls(local, depth.error_m, limits.depth_error_m, limits.level_error_m)

    def more_m(self, x: Floats, y: Floats) -> Floats:
        """Tell how much is taken off at points: both errors put together there, less what the limits hold."""
        here = self.local.at(x, y)
        here = np.fmax(np.where(np.isnan(here), self.unknown_m, here), self.depth_error_m)
        counted = np.hypot(self.depth_error_m, self.level_error_m)
        return np.asarray(np.hypot(here, self.level_error_m) - counted, dtype=np.float64)
