"""Areas between lines, and how deep each can be: against flood filling by another library, and worked cases."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.ndimage import label

from castshed.toolbox.water.bottom.areas import area_reach, depth_limits, label_areas, limits_of
from castshed.toolbox.water.bottom.barriers import Crossings


def crossings(*rows):
    """Crossings as (node, share, line)."""
    node, share, line = zip(*rows, strict=True) if rows else ((), (), ())
    return Crossings(
        np.array(node, dtype=np.int64),
        np.array(share, dtype=float),
        np.array(line, dtype=np.int64),
        flips=np.empty(0, dtype=np.int64),
    )


def doubled(water, east, south):
    """The same on a grid of twice the fineness, where a cell between two centres is a link: for scipy's filling."""
    rows, columns = water.shape
    fine = np.zeros((2 * rows - 1, 2 * columns - 1), dtype=bool)
    fine[::2, ::2] = water
    fine[::2, 1::2] = water[:, :-1] & water[:, 1:]
    fine[1::2, ::2] = water[:-1] & water[1:]
    for node in east.node:
        if node % columns < columns - 1:
            fine[2 * (node // columns), 2 * (node % columns) + 1] = False
    for node in south.node:
        if node // columns < rows - 1:
            fine[2 * (node // columns) + 1, 2 * (node % columns)] = False
    return label(fine)[0][::2, ::2]


@pytest.mark.parametrize("seed", range(12))
def test_areas_are_those_that_another_library_fills(seed):
    rng = np.random.default_rng(seed)
    shape = tuple(rng.integers(1, 9, 2))
    water = rng.random(shape) < 0.8
    node = np.arange(water.size)
    east, south = (crossings(*((n, 0.5, 0) for n in node[rng.random(water.size) < 0.4])) for _ in range(2))
    found, count = label_areas(water, east, south)
    wanted = doubled(water, east, south)
    assert count == wanted.max()
    assert np.array_equal(found, wanted)  # both number areas by their first centre, row by row


def test_an_area_reaches_from_the_shoalest_to_the_deepest_line_round_it():
    water = np.ones((1, 5), dtype=bool)
    # Lines of 2 and 4 m part the row in three: centres 0 1 | 2 3 | 4. The nearest line on a link speaks for a centre.
    east = crossings((1, 0.5, 0), (3, 0.2, 1), (3, 0.9, 2))
    areas, reach = area_reach(
        water, east, crossings(), np.array([2.0, 4.0, 6.0]), (np.array([2]), np.array([3.5]))
    )
    assert areas.tolist() == [[1, 1, 2, 2, 3]]
    assert reach[0, 1:].tolist() == [2.0, 2.0, 6.0]
    assert (-reach[1, 1:]).tolist() == [2.0, 4.0, 6.0]
    assert reach[2].tolist() == [np.inf, np.inf, 3.5, np.inf]
    assert reach[3].tolist() == [np.inf, np.inf, -3.5, np.inf]


def test_lines_to_the_south_count_for_both_sides():
    water = np.ones((3, 2), dtype=bool)
    south = crossings((0, 0.5, 0), (1, 0.5, 0), (2, 0.3, 1), (3, 0.3, 1))
    areas, low, high = depth_limits(
        water,
        crossings(),
        south,
        np.array([1.0, 5.0]),
        (np.empty(0, dtype=np.int64), np.empty(0)),
        contoured=False,
    )
    assert areas.tolist() == [[1, 1], [2, 2], [3, 3]]
    assert low.tolist() == [0.0, 1.0, 1.0, 5.0]
    assert high.tolist() == [0.0, 1.0, 5.0, 5.0]


def reach_of(low, high, least=np.inf, most=-np.inf):
    return np.array([[np.inf, low], [np.inf, -high], [np.inf, least], [np.inf, -most]])


@pytest.mark.parametrize(
    ("given", "contoured", "wanted"),
    [
        ((4.0, 6.0), True, (4.0, 6.0)),
        ((4.0, 4.0), False, (4.0, 4.0)),
        ((4.0, 4.0), True, (2.0, 6.0)),  # a top or a hollow stays within the next contour
        ((2.0, 2.0), True, (0.0, 4.0)),
        ((0.0, 0.0), True, (0.0, 2.0)),  # nothing stands above the shore
        ((6.0, 6.0), True, (4.0, 8.0)),  # beyond the deepest contour, one step more
        ((4.0, 6.0, 3.0, 7.5), True, (3.0, 7.5)),  # data say more
        ((4.0, 6.0, 5.0, 5.5), True, (4.0, 6.0)),
        ((np.inf, -np.inf), True, (0.0, 0.0)),
        ((np.inf, -np.inf, 3.0, 3.0), True, (3.0, 3.0)),
    ],
)
def test_limits_of_an_area(given, contoured, wanted):
    low, high = limits_of(reach_of(*given), np.array([2.0, 4.0, 6.0, 4.0]), contoured=contoured)
    assert (low[1], high[1]) == wanted
    assert (low[0], high[0]) == (0.0, 0.0)


def test_without_any_line_the_step_is_none():
    low, high = limits_of(reach_of(0.0, 0.0), np.empty(0), contoured=True)
    assert (low[1], high[1]) == (0.0, 0.0)
