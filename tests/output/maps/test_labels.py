"""Placing labels: none covers another, whatever the marks are like."""

from __future__ import annotations

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from castshed.toolbox.output.maps.labels import Wish, leader_end, overlaps, place_labels
from long_tests import as_many

FRAME = (0.0, 0.0, 8.0, 8.0)


def wish(x, y, width=1.0, *, far=3.0, spots=()):
    return Wish(x, y, ((width, 0.16), (0.2, 0.16)), 0.08, far, spots)


def boxes(places):
    return np.array([place.box for place in places if place is not None]).reshape(-1, 4)


def crowded(found):
    return int((overlaps(found, found) & ~np.eye(len(found), dtype=bool)).sum())


@settings(max_examples=as_many(40), deadline=None)
@given(st.integers(0, 2**32 - 1), st.integers(1, 30), st.floats(0.05, 4.0))
def test_no_label_covers_another_a_mark_or_the_edge(seed, count, spread):
    rng = np.random.default_rng(seed)
    at = np.clip(4.0 + rng.normal(0.0, spread, (count, 2)), 0.05, 7.95)
    hard = np.hstack([at - 0.07, at + 0.07])
    places = place_labels([wish(x, y) for x, y in at], frame=FRAME, hard=hard)
    found = boxes(places)
    assert crowded(found) == 0
    assert not overlaps(found, hard).any()
    assert (found[:, :2] >= 0.0).all()
    assert (found[:, 2:] <= 8.0).all()


def test_thirty_labels_at_one_place_all_find_one():
    places = place_labels([wish(4.0, 4.0) for _ in range(30)], frame=FRAME)
    assert all(place is not None for place in places)
    assert crowded(boxes(places)) == 0


def test_a_lone_label_sits_close_on_the_right_in_full():
    (place,) = place_labels([wish(4.0, 4.0)], frame=FRAME)
    assert place.form == 0
    assert place.box[0] >= 4.0
    assert np.hypot(*(np.array(leader_end(4.0, 4.0, place.box)) - 4.0)) < 0.1
    assert not place.leader


def test_a_label_without_room_takes_its_shorter_form():
    walls = np.array(
        [[0.0, 0.0, 8.0, 3.85], [0.0, 4.15, 8.0, 8.0], [4.4, 0.0, 8.0, 8.0], [0.0, 0.0, 3.6, 8.0]]
    )
    (place,) = place_labels([wish(4.0, 4.0)], frame=FRAME, hard=walls)
    assert place.form == 1


def test_a_label_that_fits_nowhere_gets_no_place():
    assert place_labels([wish(4.0, 4.0)], frame=FRAME, hard=np.array([FRAME])) == [None]


def test_a_leg_number_sits_on_its_leg_where_it_can():
    (place,) = place_labels(
        [Wish(4.0, 4.0, ((0.2, 0.16),), 0.06, 0.9, ((4.0, 4.0), (5.0, 5.0)))], frame=FRAME
    )
    assert place.box == (3.9, 3.92, 4.1, 4.08)
    assert not place.leader


def test_a_label_keeps_off_the_run_where_it_costs_nothing():
    way = np.column_stack([np.linspace(4.0, 6.0, 60), np.full(60, 4.0)])  # runs to the right of the mark
    (place,) = place_labels([wish(4.0, 4.0)], frame=FRAME, soft=way)
    inside = (
        (way[:, 0] > place.box[0])
        & (way[:, 0] < place.box[2])
        & (way[:, 1] > place.box[1])
        & (way[:, 1] < place.box[3])
    )
    assert not inside.any()


def test_the_same_wishes_get_the_same_places():
    rng = np.random.default_rng(3)
    wishes = [wish(x, y) for x, y in rng.uniform(3.0, 5.0, (25, 2))]
    assert place_labels(wishes, frame=FRAME) == place_labels(wishes, frame=FRAME)


def test_moving_everything_moves_the_labels_along():
    rng = np.random.default_rng(5)
    at = rng.uniform(3.0, 5.0, (12, 2))
    here = boxes(place_labels([wish(x, y) for x, y in at], frame=FRAME))
    there = boxes(place_labels([wish(x + 16.0, y - 32.0) for x, y in at], frame=(16.0, -32.0, 24.0, -24.0)))
    assert np.abs(there - here - [16.0, -32.0, 16.0, -32.0]).max() < 1e-9
