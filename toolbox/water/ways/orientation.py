"""Which side of a line a point lies on, decided exactly for any floating-point coordinates."""

from __future__ import annotations

import math

import numpy as np

from ...arrays import Floats

# (3 + 16 e) e with e = 2**-53: below this share of the summed products the sign of the plain
# determinant is not proven. J. R. Shewchuk, Adaptive Precision Floating-Point Arithmetic and Fast
# Robust Geometric Predicates, Discrete & Computational Geometry 18 (1997), 305-363.
_ERROR_SHARE = (3.0 + 16.0 * 2.0**-53) * 2.0**-53
_SPLITTER = 2.0**27 + 1.0


def _difference(a: Floats, b: Floats) -> tuple[Floats, Floats]:
    """Return a - b rounded, and what rounding lost (Knuth's two-sum)."""
    high = a - b
    virtual = a - high
    return high, (a - (high + virtual)) + (virtual - b)


def _split(a: Floats) -> tuple[Floats, Floats]:
    big = _SPLITTER * a
    high = big - (big - a)
    return high, a - high


def _product(a: Floats, b: Floats) -> tuple[Floats, Floats]:
    """Return a * b rounded, and what rounding lost (Dekker's product)."""
    high = a * b
    a1, a2 = _split(a)
    b1, b2 = _split(b)
    return high, a2 * b2 - (((high - a1 * b1) - a2 * b1) - a1 * b2)


def _exact_sign(a: Floats, b: Floats, c: Floats) -> Floats:
    """Sign of the turn from the full expansion of the determinant; no rounding enters."""
    (ux, uy), (vx, vy) = (part.T for part in _difference(b, a))
    (wx, wy), (tx, ty) = (part.T for part in _difference(c, a))
    terms: list[Floats] = []
    for p, q in ((ux, wy), (ux, ty), (vx, wy), (vx, ty)):
        terms += _product(p, q)
    for p, q in ((-uy, wx), (-uy, tx), (-vy, wx), (-vy, tx)):
        terms += _product(p, q)
    table = np.stack(terms, axis=1)
    # Where nothing was lost, the difference of the two main products has the right sign by itself.
    sign = np.sign(table[:, 0] + table[:, 8])
    inexact = np.flatnonzero(np.any(np.delete(table, (0, 8), axis=1) != 0.0, axis=1))
    for row in inexact:  # rows are few: only triples collinear to within rounding come here
        sign[row] = np.sign(math.fsum(table[row]))
    return sign


def turn(a: Floats, b: Floats, c: Floats) -> Floats:
    """Tell for each triple of points whether a-b-c turns left (> 0), right (< 0) or runs straight (0).

    Parameters
    ----------
    a, b, c
        Coordinates (n, 2), finite; any origin and unit.

    Returns
    -------
    Numbers (n,) of which only the sign counts.

    Notes
    -----
    The plain determinant decides where its rounding bound allows; the rest is decided from exact sums. Wrong only
    for differences so small or large that products under- or overflow (below 1e-150, above 1e150).
    """
    ax, ay = a[:, 0], a[:, 1]
    left = (b[:, 0] - ax) * (c[:, 1] - ay)
    right = (b[:, 1] - ay) * (c[:, 0] - ax)
    side: Floats = left - right
    doubtful = np.flatnonzero(np.abs(side) < _ERROR_SHARE * (np.abs(left) + np.abs(right)))
    if doubtful.size:
        side[doubtful] = _exact_sign(a[doubtful], b[doubtful], c[doubtful])
    return side
