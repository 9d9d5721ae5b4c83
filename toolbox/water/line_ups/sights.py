"""Sights from a boat: bearings of single marks, and ranges of two marks that stand in line or nearly so.

A range needs no instrument and is far the sharper of the two: a little off it, the nearer mark opens from the farther
one to see.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import TYPE_CHECKING

import numpy as np

from ...errors import UsageError
from .fix_error import bearing_error_m

if TYPE_CHECKING:
    from ...arrays import Floats, Indices


@dataclass(frozen=True, kw_only=True)
class Eyes:
    """How well marks are seen; all errors are half-widths of 95 %, and common practice."""

    bearing_error_deg: float = 2.0  # error of a bearing taken by hand compass from a small boat
    in_line_error_deg: float = 0.25  # error with which the eye tells that two marks are in line
    open_error_share: float = 0.25  # error of an estimated gap between two marks, as a share of the gap
    most_open_deg: float = 4.0  # widest gap at which two marks still serve as a range
    # nearest and farthest mark
    least_range_m: float = 25.0
    most_range_m: float = 2000.0

    def __post_init__(self) -> None:
        for one in fields(self):
            value = getattr(self, one.name)
            if not np.isfinite(value) or value < 0:
                raise UsageError(f"{one.name} is {value}; give a finite number of 0 or more.")
        if not (self.bearing_error_deg > 0 and self.in_line_error_deg > 0):
            raise UsageError(
                "Nobody sees without any error; give bearing and in-line errors above 0 degrees."
            )
        if self.bearing_error_deg > 45 or self.most_open_deg > 45:
            raise UsageError(
                "Errors of bearings and gaps between marks above 45 degrees tie a boat to nothing."
            )
        if self.least_range_m >= self.most_range_m:
            raise UsageError(
                f"Marks are wanted from {self.least_range_m:g} m to {self.most_range_m:g} m; "
                "the first must be the smaller."
            )


@dataclass(frozen=True, eq=False)
class Sights:
    """Sights from one place; one entry a sight."""

    # rows of the marks: the nearer and the farther one of a range; rear is -1 for a bearing
    front: Indices
    rear: Indices
    # of the front mark
    bearing_deg: Floats
    distance_m: Floats
    direction_deg: Floats  # bearing along the line that the sight ties the boat to
    # how far the front mark stands to the right (above 0) or left of the rear one; NaN for a bearing
    open_deg: Floats
    error_m: Floats  # error of that line, across it

    def __len__(self) -> int:
        return len(self.front)

    def taken(self, index: Indices) -> Sights:
        """Give some of the sights."""
        return Sights(**{one.name: getattr(self, one.name)[index] for one in fields(self)})


def sights_from(east_m: Floats, north_m: Floats, mark_error_m: Floats, rows: Indices, eyes: Eyes) -> Sights:
    """List every sight of marks round a place.

    Parameters
    ----------
    east_m, north_m
        Where each mark lies from the place.
    mark_error_m
        Error of each mark's position.
    rows
        Row of each mark, given back in the result.
    eyes
        How well marks are seen.

    Returns
    -------
    A bearing of each mark within range, and every range of two of them.

    Notes
    -----
    A step of d metres to the right of a mark at R turns its bearing by d / R to the left; two marks open by the
    difference of the two turns. So a range ties the boat to a line with the error of the gap over the length of that
    difference, ``s R1 R2 / (R2 - R1)`` for marks in line.
    """
    distance = np.hypot(east_m, north_m)
    use = np.flatnonzero((distance >= eyes.least_range_m) & (distance <= eyes.most_range_m))
    use = use[np.argsort(distance[use], kind="stable")]
    far, off_m = distance[use], mark_error_m[use]
    turn = np.arctan2(east_m[use], north_m[use])
    gradient = np.column_stack([-np.cos(turn), np.sin(turn)]) / far[:, None]
    front, rear = np.triu_indices(len(use), k=1)  # sorted by distance: the front one is the nearer
    gap = (turn[front] - turn[rear] + np.pi) % (2 * np.pi) - np.pi
    close = np.abs(gap) <= np.radians(eyes.most_open_deg)
    front, rear, gap = front[close], rear[close], gap[close]
    pull = gradient[front] - gradient[rear]
    size = np.hypot(pull[:, 0], pull[:, 1])
    apart = size * far[front] > 1e-3  # marks side by side at one distance tie to nothing
    front, rear, gap, pull, size = front[apart], rear[apart], gap[apart], pull[apart], size[apart]
    seen = np.hypot(np.radians(eyes.in_line_error_deg), eyes.open_error_share * np.abs(gap))
    angle = np.sqrt(seen**2 + (off_m[front] / far[front]) ** 2 + (off_m[rear] / far[rear]) ** 2)
    along = np.degrees(np.arctan2(pull[:, 1], -pull[:, 0]))  # square to the pull
    single = np.degrees(turn)
    return Sights(
        front=np.concatenate([rows[use], rows[use[front]]]),
        rear=np.concatenate([np.full(len(use), -1, dtype=np.intp), rows[use[rear]]]),
        bearing_deg=np.concatenate([single, single[front]]) % 360.0,
        distance_m=np.concatenate([far, far[front]]),
        direction_deg=np.concatenate([single, along]) % 360.0,
        open_deg=np.concatenate([np.full(len(use), np.nan), np.degrees(gap)]),
        error_m=np.concatenate([bearing_error_m(far, eyes.bearing_error_deg, off_m), angle / size]),
    )
