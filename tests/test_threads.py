"""Work done at the same time gives what it gives one after the other."""

from __future__ import annotations

import threading

import pytest

from castshed.toolbox.cache.store import keeping, open_store
from castshed.toolbox.compiled import begun, side_by_side


def test_results_come_in_order_and_the_store_is_seen_by_all(tmp_path):
    meet = threading.Barrier(
        3, timeout=10.0
    )  # three that wait for each other: only at the same time do they go on

    def work(number):
        meet.wait()
        return number, open_store()

    with keeping(tmp_path) as store:
        assert side_by_side(*(lambda n=n: work(n) for n in range(3))) == [(n, store) for n in range(3)]
    assert side_by_side(lambda: "alone") == ["alone"]
    assert side_by_side() == []


def test_what_the_first_of_them_raised_is_raised():
    def fails(word):
        raise ValueError(word)

    with pytest.raises(ValueError, match="one"):
        side_by_side(lambda: fails("one"), lambda: fails("two"))
    with pytest.raises(ValueError, match="two"):
        side_by_side(lambda: 1, lambda: fails("two"), lambda: fails("three"))


def test_work_begun_goes_on_and_has_ended_with_the_block():
    go, done = threading.Event(), []

    def work():
        assert go.wait(10.0)
        done.append(1)
        return "made"

    with begun(work) as ready:
        assert not done
        go.set()
        assert ready() == "made"
    with begun(work):
        pass
    assert done == [1, 1]


def test_what_begun_work_raised_is_told_to_who_asks():
    def fails():
        raise ValueError("no")

    with begun(fails):
        pass
    with begun(fails) as ready, pytest.raises(ValueError, match="no"):
        ready()
