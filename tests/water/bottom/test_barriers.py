"""Where lines cross the links of a grid, against plain geometry in fractions."""

import math
from fractions import Fraction

import numpy as np

from castshed.toolbox.water.bottom.barriers import Grid, crossings

ROWS, COLUMNS = 9, 13
GRID = Grid(ROWS, COLUMNS, 0.0, float(ROWS), 1.0, 1.0)


def crossed_by_hand(segments):
    """Centres of a row that a segment passes, and the share of the link at which it does; in exact arithmetic."""
    aside_u, aside_v = Fraction(3.1e-7), Fraction(1.7e-7)
    found = []
    for which, (x0, y0, x1, y1) in enumerate(segments):
        u0, u1 = (Fraction(x) - Fraction(1, 2) + aside_u for x in (x0, x1))
        v0, v1 = (ROWS - Fraction(y) - Fraction(1, 2) + aside_v for y in (y0, y1))
        for row in range(ROWS):
            if min(v0, v1) <= row < max(v0, v1):
                u = u0 + (row - v0) * (u1 - u0) / (v1 - v0)
                if 0 <= math.floor(u) < COLUMNS - 1:
                    node = row * COLUMNS + math.floor(u)
                    found.append((which, node, float(u - math.floor(u))))
    return found


def test_links_to_the_east_are_crossed_where_geometry_says():
    rng = np.random.default_rng(5)
    segments = rng.uniform(-4.0, 17.0, (400, 4))
    segments[::9, 3] = segments[::9, 1]  # along a row: it crosses no row
    segments[::7] = np.round(segments[::7] * 2.0) / 2.0  # through centres
    segments[4] = [0.5, -1e12, 0.7, 1e12]  # ends far off the grid
    east, _ = crossings(GRID, segments, np.arange(len(segments)))
    told = sorted(zip(east.line.tolist(), east.node.tolist(), east.share.tolist(), strict=True))
    expected = sorted(crossed_by_hand(segments))
    assert [one[:2] for one in told] == [one[:2] for one in expected]
    np.testing.assert_allclose([one[2] for one in told], [one[2] for one in expected], atol=1e-3)
    near = [k for k, one in enumerate(expected) if one[0] != 4]
    np.testing.assert_allclose([told[k][2] for k in near], [expected[k][2] for k in near], atol=1e-9)


def test_nothing_is_crossed_by_nothing():
    east, south = crossings(GRID, np.empty((0, 4)), np.empty(0, dtype=np.int64))
    assert not east.node.size
    assert not south.node.size
    assert not east.flips.size
