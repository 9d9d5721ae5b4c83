"""How far off a position is that lies on two or more lines, each of them seen with an error.

Every sight ties the boat to a line: a bearing of one mark, or two marks that stand in line. To first order the boat
lies within the sight's error of that line, to either side. Where lines cross squarely the position is as good as they
are; at a narrow crossing it slides along them.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

    from ...arrays import Floats


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
