"""The order of stops: against enumeration of all orders, published optima by another library, and laws."""

import itertools

import fast_tsp
import numpy as np
import pytest

from castshed.toolbox.errors import NoSafeWay, UsageError
from castshed.toolbox.water.runs.tours import tour
from tour_costs import tour_cost


def costs(seed, count):
    rng = np.random.default_rng(seed)
    xy = rng.uniform(0.0, 1000.0, (count, 2))
    table = np.hypot(*(xy[:, None] - xy[None]).T)
    np.fill_diagonal(table, 0.0)
    return table


def best(table, start, end):
    """Cost of the best of all orders, by enumeration."""
    others = [k for k in range(len(table)) if k not in (start, end)]
    return min(
        sum(table[a, b] for a, b in itertools.pairwise([start, *middle, end]))
        for middle in itertools.permutations(others)
    )


@pytest.mark.parametrize("end", [0, 1])
def test_up_to_nine_stops_the_order_is_the_best_of_all(end):
    for seed in range(8):
        count = 3 + seed % 7 if seed < 7 else 9
        table = costs(seed, count)
        order = tour(table, start=0, end=end)
        assert sorted(order) == list(range(count))
        assert order[0] == 0
        if end == 1:
            assert order[-1] == 1
        assert tour_cost(table, order, closed=end == 0) == pytest.approx(best(table, 0, end), rel=1e-9)


@pytest.mark.parametrize(("count", "gap"), [(50, 0.003), (100, 0.007), (300, 0.02)])
def test_larger_tours_come_near_those_of_another_library(count, gap):
    """fast-tsp reaches the optimum of such instances; the bars are those asked of the mean of many."""
    for seed in range(2):
        table = costs(100 + seed, count)
        whole = np.round(table * 40).astype(int)
        reference = (
            fast_tsp.compute_cost(fast_tsp.find_tour(whole.tolist(), duration_seconds=1.0), whole) / 40
        )
        assert tour_cost(table, tour(table), closed=True) <= reference * (1 + gap)


@pytest.mark.parametrize("end", [0, 1])
def test_no_stretch_turned_round_makes_the_order_shorter(end):
    table = costs(9, 40)
    order = tour(table, end=end)
    ours = tour_cost(table, order, closed=end == 0)
    stay = len(order) - (end != 0)
    others = [
        tour_cost(table, [*order[:a], *order[a:b][::-1], *order[b:]], closed=end == 0)
        for a, b in itertools.combinations(range(1, stay + 1), 2)
    ]
    assert sorted(order) == list(range(40))
    assert ours <= min(others) * (1 + 1e-9)


def test_where_two_ways_differ_the_dearer_counts():
    table = costs(4, 8)
    dearer = table.copy()
    dearer[1, 5] *= 50.0
    both = dearer.copy()
    both[5, 1] = both[1, 5]
    assert list(tour(dearer)) == list(tour(dearer.T)) == list(tour(both))


def test_the_same_costs_give_the_same_order():
    table = costs(5, 60)
    assert list(tour(table)) == list(tour(table))


def test_a_stop_without_a_way_is_named():
    table = costs(1, 6)
    table[4, :] = table[:, 4] = np.inf
    with pytest.raises(NoSafeWay, match="to stop 4"):
        tour(table)


@pytest.mark.parametrize(
    "table", [np.ones((2, 3)), np.array([[0.0, -1.0], [1.0, 0.0]]), np.array([[0.0, np.nan], [1.0, 0.0]])]
)
def test_costs_that_are_none_are_refused(table):
    with pytest.raises(UsageError):
        tour(table)
