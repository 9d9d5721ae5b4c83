"""Sights from a boat: bearings of single marks, and ranges of two marks that stand in line or nearly so.

A range needs no instrument and is far the sharper of the two: a little off it, the nearer mark opens from the farther
one to see.

How far off a position is that lies on two or more lines, each of them seen with an error.

Every sight ties the boat to a line: a bearing of one mark, or two marks that stand in line. To first order the boat
lies within the sight's error of that line, to either side. Where lines cross squarely the position is as good as they
are; at a narrow crossing it slides along them.

Say a line-up in words, as one would note it on a card.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import TYPE_CHECKING

import numpy as np

from ...errors import UsageError
from ...units import in_words

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import ArrayLike

    from ...arrays import Floats, Indices
    from .sight_choice import LineUp

_SMALLEST = 1e-12  # a sine below this is no crossing


def crossing_deg(first_deg: ArrayLike, second_deg: ArrayLike) -> Floats:
    """Angle at which two lines cross, 0 to 90 degrees: 120 and 60 degrees are the same crossing."""
    apart = np.abs(np.asarray(first_deg, dtype=np.float64) - np.asarray(second_deg, dtype=np.float64)) % 180.0
    return np.asarray(np.minimum(apart, 180.0 - apart))


def bearing_error_m(distance_m: ArrayLike, error_deg: ArrayLike, mark_error_m: ArrayLike = 0.0) -> Floats:
    """How far off the line of a bearing may lie at the boat: ``s R``, and the mark's own error beside it.

    Parameters
    ----------
    distance_m
        Distance of the mark.
    error_deg
        Error of the bearing.
    mark_error_m
        Error of the mark's position; combined by the root of the sum of squares.
    """
    along = np.radians(np.asarray(error_deg, dtype=np.float64)) * np.asarray(distance_m, dtype=np.float64)
    return np.asarray(np.hypot(along, mark_error_m))


def two_line_error_m(first_m: ArrayLike, second_m: ArrayLike, crossing: ArrayLike) -> Floats:
    """Error of a position on two lines.

    Parameters
    ----------
    first_m, second_m
        Error of each line, across it.
    crossing
        Angle at which they cross, degrees.

    Returns
    -------
    ``sqrt(first**2 + second**2) / sin(crossing)``; infinite where they do not cross.

    Notes
    -----
    For two bearings with an error of s radians on marks at R1 and R2 this is ``s sqrt(R1**2 + R2**2) / sin b`` (worked,
    from the parallelogram of the two bands). With errors of 95 % the result is a radius that holds 95 to 98 of 100
    positions: twice the root mean square distance, near enough. To first order: it is wrong where an error is no longer
    small beside the distance of its mark.
    """
    sine = np.abs(np.sin(np.radians(np.asarray(crossing, dtype=np.float64))))
    with np.errstate(divide="ignore"):
        spread = np.hypot(first_m, second_m) / np.where(sine > _SMALLEST, sine, 0.0)
    return np.asarray(spread)


def lines_error_m(direction_deg: Floats, error_m: Floats) -> tuple[float, float]:
    """Error of the best position on any number of lines.

    Parameters
    ----------
    direction_deg
        Bearing along each line.
    error_m
        Error of each line, across it, above 0.

    Returns
    -------
    The radius as in `two_line_error_m`, and the bearing (0 to 180) along which the position is worst known; infinite
    and NaN where all lines are parallel.

    Notes
    -----
    Weighted least squares: the covariance is the inverse of the sum of ``n n' / e**2`` over the lines' normals n.
    """
    turn = np.radians(direction_deg)
    normal = np.column_stack([np.cos(turn), -np.sin(turn)])
    weight = (normal[:, :, None] * normal[:, None, :] / error_m[:, None, None] ** 2).sum(axis=0)
    # Scaled, so that the test for parallel lines does not depend on the errors.
    if np.linalg.det(weight / np.trace(weight)) < _SMALLEST:
        return float("inf"), float("nan")
    size, axis = np.linalg.eigh(np.linalg.inv(weight))
    worst = float(np.degrees(np.arctan2(axis[0, 1], axis[1, 1])) % 180.0)
    return float(np.sqrt(size.sum())), worst


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


_IN_LINE_DEG = 0.15  # a gap that nobody would call one


def sight_words(sights: Sights, at: int, names: Sequence[str]) -> str:
    """Say one sight: a range of two marks, or the bearing of one."""
    front = names[int(sights.front[at])]
    if sights.rear[at] < 0:
        far = in_words(float(np.rint(sights.distance_m[at])), "length")
        return f"{front} bears {sights.bearing_deg[at]:03.0f} deg, {far} off".replace("360 deg", "000 deg")
    rear, gap = names[int(sights.rear[at])], float(sights.open_deg[at])
    towards = f"towards {sights.bearing_deg[at]:03.0f} deg".replace("360 deg", "000 deg")
    if abs(gap) < _IN_LINE_DEG:
        return f"{front} in line with {rear}, {towards}"
    return f"{front} open {abs(gap):.1f} deg {'right' if gap > 0 else 'left'} of {rear}, {towards}"


def bank_words(bearing_deg: float, bank_m: float, mark: str) -> str:
    """Say what bank lies behind the structure; nothing where the bearing is not known."""
    if np.isnan(bearing_deg):
        return ""
    said = f"bank behind the spot bears {bearing_deg:03.0f} deg".replace("360 deg", "000 deg")
    if not np.isnan(bank_m):
        said += f", {in_words(float(np.rint(bank_m)), 'length')} off"
    return f"{said}, under {mark}" if mark else said


def status_and_reason(found: LineUp, *, most_error_m: float) -> tuple[str, str]:
    """Tell whether a line-up is ``ok``, ``weak`` or ``none``, and why.

    Parameters
    ----------
    found
        The line-up.
    most_error_m
        Error above which a line-up is weak, however well its lines cross.
    """
    unseen = "" if found.looked else "; land on the sight lines was not looked for"
    if not len(found.sights):
        if found.seen < 2:
            marks = "no mark is" if found.seen == 0 else "one mark only is"
            return "none", f"{marks} in sight within range; two are needed{unseen}"
        return (
            "none",
            f"{found.seen} marks in sight, and no two sights of them cross at 20 degrees or more{unseen}",
        )
    cross = f"the first two cross at {found.crossing_deg:.0f} deg"
    if not found.good:
        return "weak", f"{cross}; no two sights cross at 60 to 120 degrees{unseen}"
    if found.error_m > most_error_m:
        error, most = in_words(float(np.rint(found.error_m)), "length"), in_words(most_error_m, "length")
        return "weak", f"{cross}; the error is {error}, more than {most}{unseen}"
    return "ok", f"{cross}{unseen}"
