"""Public orienteering sets are read as their formats say: invented instances of a few points, worked out by hand."""

from __future__ import annotations

from castshed.toolbox.water.day.day_search import best_day
from castshed.toolbox.water.day.day_task import merit
from orienteering_files import FINE, op_day, top_day, toptw_day


def test_orienteering_starts_at_the_first_point_and_ends_at_the_second(tmp_path):
    path = tmp_path / "one.txt"
    path.write_text("10\t1\n0 0 0\n6 0 0\n3 4 7\n3 0 2\n", encoding="utf-8")
    task = op_day(path)
    assert task.over_s == 10 * FINE
    assert task.travel_s[0, 2] == task.travel_s[2, 1] == 5 * FINE  # 3-4-5
    # By (3, 4) the way is 10 long, just allowed; (3, 0) too would be over.
    assert merit(task, best_day(task)) == (0, 7, -10 * FINE)


def test_team_orienteering_ends_at_the_last_point(tmp_path):
    path = tmp_path / "team.txt"
    path.write_text("n 4\nm 2\ntmax 10.0\n0 0 0\n3 4 7\n3 -4 2\n6 0 0\n", encoding="utf-8")
    task = top_day(path)
    assert task.days == 2
    assert merit(task, best_day(task)) == (0, 9, -20 * FINE)


def test_windows_are_of_the_start_and_distances_are_cut(tmp_path):
    lines = "1 1 2 0\n0 200\n0 0 0 0 0 0 0 0 40\n1 1 1 9 10 1 1 1 5 6\n2 0 3 9 20 1 1 1 30 31\n"
    for name, steps, cut in (("c101.txt", 10, 14), ("pr01.txt", 100, 141)):  # the root of 2, cut
        path = tmp_path / name
        path.write_text(lines, encoding="utf-8")
        task = toptw_day(path, 1)
        assert task.travel_s[0, 2] == cut
        assert task.closes_s.tolist() == [15 * steps, 40 * steps]
        # The second is left at 39 and home is 3 away: over the 40 of the depot.
        assert merit(task, best_day(task))[1] == 10
