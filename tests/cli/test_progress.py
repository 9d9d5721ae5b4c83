"""One bar, that never goes back and ends at the end, on a terminal only; and what an interrupt leaves and says."""

from __future__ import annotations

import os
import pty
import re
import select
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from castshed.algorithms.plan import STAGES
from castshed.toolbox import report
from castshed.toolbox.cache.store import SETTING
from castshed.toolbox.report import progress, stages

CODE = "from castshed.toolbox.cli import main; main()"
PERCENT = re.compile(rb"(\d+) %")


@pytest.fixture
def line(monkeypatch):
    """Every place the bar is at, with its words."""
    seen = []
    token = report._line.set(report._Line(lambda place, words: seen.append((place, words))))
    yield seen
    report._line.reset(token)


def test_work_within_work_keeps_to_its_own_piece(line):
    with stages({"one": 1.0, "two": 3.0}) as stage:
        with stage("one"), progress("inner", 4) as step:
            step(2)
            assert line[-1] == (0.125, "one")
            step(9)  # more than was said
            assert line[-1] == (0.25, "one")
        with stage("two"):
            for _ in range(2):  # the second finds the piece used up, and the bar waits
                with progress("inner", 2) as step:
                    step(1)
                    step(1)
    places = [place for place, _ in line]
    assert places == sorted(places)
    assert places[-1] == 1.0
    assert {words for _, words in line if words} == {"one", "two"}


def test_a_name_of_its_own_shows_where_the_outer_one_does_not_stand(line):
    with stages({"Reading": 1.0, "work": 1.0}, stand=False) as stage:
        with stage("Reading"):
            pass
        with stage("work"), stages({"a": 1.0, "b": 1.0}) as inner:
            with inner("a"), progress("deep"):
                pass
            with inner("b"):
                pass
    told = [words for _, words in line]
    assert told[0] == "Reading"
    assert "a" in told
    assert "b" in told
    assert "deep" not in told
    assert line[-1][0] == 1.0


def test_a_stage_passed_over_is_made_up_for(line):
    with stages({"a": 1.0, "b": 1.0, "c": 2.0}) as stage:
        with stage("a"):
            pass
        with stage("c"):
            assert line[-1][0] < 1.0
    assert line[-1][0] == 1.0


def test_work_that_fails_is_not_shown_as_done(line):
    def work():
        with stages({"a": 1.0, "b": 1.0}) as stage:
            with stage("a"):
                pass
            with stage("b"), progress("x", 2) as step:
                step(1)
                raise ValueError("no")

    with pytest.raises(ValueError, match="no"):
        work()
    assert line[-1][0] == 0.75


def test_nobody_watching_costs_nothing():
    with stages({"a": 1.0}) as stage, stage("a"), progress("b") as step:
        step(1)


@pytest.fixture(scope="module")
def lake(tmp_path_factory):
    folder = tmp_path_factory.mktemp("demo") / "lake"
    shutil.copytree(
        Path(__file__).parents[2] / "demo_layers", folder, ignore=shutil.ignore_patterns(".*", "*.py")
    )
    return folder


def started(*words, terminal=True, store="off"):
    """Start a command with stderr on a terminal of its own; the process and the terminal's other end."""
    ours, theirs = pty.openpty()
    run = subprocess.Popen(
        [sys.executable, "-c", CODE, *map(str, words)],
        stdout=subprocess.DEVNULL,
        stderr=theirs if terminal else subprocess.PIPE,
        env={**os.environ, "TERM": "xterm", "COLUMNS": "100", SETTING: store},
    )
    os.close(theirs)
    return run, ours


def all_of(run, ours, stop_at=None):
    """Read a terminal to its end; interrupt the process when a text appears."""
    seen, stopped, until = b"", False, time.monotonic() + 240.0
    while time.monotonic() < until:
        if select.select([ours], [], [], 0.2)[0]:
            try:
                more = os.read(ours, 65_536)
            except OSError:  # the other end was closed
                break
            if not more:
                break
            seen += more
            if stop_at is not None and not stopped and stop_at in seen:
                run.send_signal(signal.SIGINT)
                stopped = True
        elif run.poll() is not None:
            break
    run.wait(timeout=60)
    os.close(ours)
    return seen


@pytest.mark.long
def test_the_bar_of_a_day_is_one_names_its_stages_and_ends_at_the_end(lake, tmp_path):
    run, ours = started("plan", lake / "day.toml", "--out", tmp_path / "day", "--json")
    seen = all_of(run, ours)
    assert run.returncode == 0, seen.decode()
    shown = [int(one) for one in PERCENT.findall(seen)]
    assert shown == sorted(shown)
    assert shown[-1] == 100
    assert len(set(shown)) >= 8
    told = [name for name in STAGES if name.encode() in seen]
    assert len(told) >= 6  # what takes less than a tenth of a second may not be drawn
    frames = seen.split(b"\r")
    assert max(frame.count(b" %") for frame in frames) == 1  # one bar at a time


@pytest.mark.parametrize("how", ["quiet", "no terminal", pytest.param("a terminal", marks=pytest.mark.long)])
def test_nothing_is_shown_when_quiet_or_not_on_a_terminal(lake, tmp_path, how):
    # a command that is done in a moment: on a terminal even that draws its bar
    words = ["export", f"{lake}/reservoir.gpkg:spots", "--formats", "geojson", "--out", tmp_path / "my"]
    run, ours = started(*words, "--quiet" if how == "quiet" else "--json", terminal=how != "no terminal")
    if how == "no terminal":
        seen = run.communicate()[1]
        os.close(ours)
    else:
        seen = all_of(run, ours)
    assert run.returncode == 0
    assert (b"%" in seen) is (how == "a terminal")
    assert (b"\x1b" in seen) is (how == "a terminal")


@pytest.mark.long
@pytest.mark.parametrize(
    ("when", "kept"),
    [
        ("Reading", None),
        ("Choosing and timing the run", "today's water, the shallow hazards, the cast rings, the holds"),
        ("Writing it out", "the safe water, the mesh of the safe water"),
    ],
)
def test_an_interrupt_leaves_nothing_half_done_and_says_what_is_kept(lake, tmp_path, when, kept):
    out, store = tmp_path / "day", tmp_path / "kept"
    run, ours = started("plan", lake / "day.toml", "--out", out, store=str(store))
    seen = all_of(run, ours, stop_at=when.encode()).decode()
    assert run.returncode == 130, seen
    assert "Traceback" not in seen
    assert "stopped; nothing was left half written." in seen
    said = " ".join(seen.split())
    if kept is not None:
        assert f"Kept for the next time in {store}" in said
        for one in kept.split(", "):  # what is made at the same time is kept in either order
            assert one in said
    else:
        assert "Kept for" not in said
    assert not out.exists() or not any(out.iterdir())
    assert not list(tmp_path.rglob("*.part"))
    assert {path.suffix for path in store.rglob("*") if path.is_file()} <= {".npz"}
