"""What is made once a session and shared: the demo day planned, and the chain on the small made lake."""

from __future__ import annotations

import contextlib
import copy
import os
import shutil
import warnings
from pathlib import Path
from types import SimpleNamespace

import pytest

import in_process

DEMO = Path(__file__).parents[2] / "demo_layers"
CHAIN_LEVEL_M = -0.3048


@contextlib.contextmanager
def _alone(folder):
    """Let one worker in at a time; the next finds what this one has made."""
    try:
        import fcntl
    except ImportError:  # no such locks: the workers have folders of their own
        yield folder / str(os.getpid())
        return
    with (folder / "made_once.lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        yield folder


def shared_folder(request, tmp_path_factory):
    """Return the session's temporary folder, the same for all workers."""
    base = tmp_path_factory.getbasetemp()
    return base.parent if hasattr(request.config, "workerinput") else base


@pytest.fixture(scope="session")
def planned_demo_day(request, tmp_path_factory):
    """A folder with the demo files in `demo_layers`, and in `my_day` what `castshed plan` makes of them: to read, not to write."""
    with _alone(shared_folder(request, tmp_path_factory)) as common:
        home = common / "planned demo day"
        if not (home / "done").exists():
            shutil.rmtree(home, ignore_errors=True)
            home.mkdir(parents=True)
            env = {**os.environ, "NO_COLOR": "1"}
            for words in (("demo", "demo_layers"), ("plan", "demo_layers/day.toml", "--out", "my_day")):
                done = in_process.castshed(*words, "--quiet", cwd=home, env=env)
                assert done.returncode == 0, done.stderr
            (home / "done").touch()
    return home


@pytest.fixture(scope="session")
def _chain_once(lake_of_session):
    from castshed.algorithms.boat_hold import boat_hold
    from castshed.algorithms.fishable import fishable
    from castshed.algorithms.shallow_hazards import shallow_hazards
    from castshed.algorithms.shortest_run import shortest_run
    from castshed.algorithms.water_today import water_today

    lake = lake_of_session
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        level = {"level_m": CHAIN_LEVEL_M}
        lake.today = water_today(lake.depth, lake.shoreline, **level)
        lake.water = lake.today.water
        lake.hazards = shallow_hazards(lake.depth, lake.water, known_hazards=lake.known_hazards, **level)
        lake.holds = boat_hold(lake.spots, lake.depth, drift_m=6.0, hazards=lake.hazards, **level).holds
        lake.judged = fishable(lake.spots, lake.water, depth=lake.depth, holds=lake.holds).judged
        lake.around = {"hazards": lake.hazards, "zones": lake.zones, "depth": lake.depth, **level}
        lake.run = shortest_run(lake.holds, lake.ramps, lake.water, **lake.around)
    return lake


@pytest.fixture
def chain_made(_chain_once) -> SimpleNamespace:
    """The small lake with water, hazards, holds, verdicts and run of a day: a copy for each test to do with as it likes."""
    return copy.deepcopy(_chain_once)
