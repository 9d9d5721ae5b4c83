"""The contract of the toolbox, held to every algorithm that takes layers; and chains and own commands run as shown."""

import os
import shlex
import shutil
import subprocess
import sys
import warnings
from pathlib import Path

import pytest

import in_process
from castshed.algorithms.boat_hold import boat_hold
from castshed.algorithms.cast_reach import cast_reach
from castshed.algorithms.depth_surface import depth_surface
from castshed.algorithms.fishable import fishable
from castshed.algorithms.fishable_holds import fishable_holds
from castshed.algorithms.shallow_hazards import shallow_hazards
from castshed.algorithms.shortest_run import shortest_run
from castshed.algorithms.water_today import water_today
from castshed.algorithms.wind_exposure import wind_exposure
from castshed.toolbox.algorithm.catalogue import OWN
from castshed.toolbox.cli.own_commands import own_example
from castshed.toolbox.layers import read_layer
from castshed.toolbox.testing import check_algorithm
from made_once import CHAIN_LEVEL_M as LEVEL


@pytest.fixture
def chain(chain_made):
    return chain_made


CALLS = {
    "water-today": lambda k: (water_today, (k.depth, k.shoreline), {"level_m": LEVEL}),
    "shallow-hazards": lambda k: (shallow_hazards, (k.depth, k.water), {"known_hazards": k.known_hazards}),
    "depth-surface": lambda k: (depth_surface, (k.shoreline,), {"raster": k.depth}),
    "cast-reach": lambda k: (cast_reach, (k.spots, k.water), {}),
    "boat-hold": lambda k: (boat_hold, (k.spots, k.depth), {"level_m": LEVEL, "zones": k.zones}),
    "wind-exposure": lambda k: (wind_exposure, (k.spots, k.water), {"wind_from_deg": 200.0, "wind_speed_mps": 5.0}),
    "fishable": lambda k: (fishable, (k.spots, k.water), {"depth": k.depth, "holds": k.holds}),
    "fishable-holds": lambda k: (fishable_holds, (k.holds, k.judged), {"least_rating": 4.0}),
    "shortest-run": lambda k: (
        shortest_run, (k.holds, k.ramps, k.water), {"hazards": k.hazards, "zones": k.zones, "depth": k.depth},
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", CALLS)
def test_the_contract_holds(chain, name):
    function, inputs, options = CALLS[name](chain)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        check_algorithm(function, *inputs, **options)


def test_only_holds_of_fishable_spots_rated_enough_are_taken(chain):
    taken = fishable_holds(chain.holds, chain.judged, least_rating=4.0)
    wanted = chain.judged[(chain.judged["fishable"] == 1) & (chain.judged["rating"] >= 4.0)]
    assert len(wanted)
    assert set(taken["spot_id"]) == set(wanted["spot_id"])
    assert (taken["status"] == "ok").all()
    assert list(taken["name"]) == list(wanted.set_index("spot_id").loc[taken["spot_id"], "name"])


@pytest.fixture(scope="module")
def folder(planned_demo_day, tmp_path_factory):
    """A folder as the examples expect it: the demo files, and the demo day planned."""
    return shutil.copytree(planned_demo_day, tmp_path_factory.mktemp("examples") / "home")


def run(words, home):
    env = {**os.environ, "NO_COLOR": "1"}
    return in_process.castshed(*shlex.split(words)[1:], "--quiet", cwd=home, env=env)


@pytest.mark.long
@pytest.mark.parametrize("name", sorted(set(OWN) - {"run-steps"}))
def test_the_example_of_a_command_that_is_no_algorithm_runs(folder, name, tmp_path):
    # the examples of the algorithms are run by test_catalogue_page.py, that of run-steps by test_plan_steps.py
    command = tmp_path / "castshed"
    guard = 'if __name__ == "__main__":\n    main()\n'  # as pip writes it: workers of over-lakes import it once more
    command.write_text(
        f"#!{sys.executable}\nfrom castshed.toolbox.cli import main\n{guard}", encoding="utf-8"
    )
    command.chmod(0o755)
    env = {**os.environ, "NO_COLOR": "1", "PATH": f"{tmp_path}{os.pathsep}{os.environ['PATH']}"}
    done = subprocess.run(
        own_example(name), shell=True, cwd=folder, env=env, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr


@pytest.mark.long
def test_the_chain_in_the_readme_runs(folder):
    text = (Path(__file__).parents[2] / "README.md").read_text(encoding="utf-8")
    start = text.index("L=demo_layers")
    lines = text[start : text.index("```", start)].replace("\\\n", " ").strip().splitlines()
    assert len(lines) == 15
    for line in lines[1:]:
        done = run(line.replace("$L", "demo_layers/reservoir.gpkg"), folder)
        assert done.returncode == 0, f"{line}\n{done.stderr}"


@pytest.mark.long
def test_the_chain_of_the_readme_runs_in_python(folder):
    text = (Path(__file__).parents[2] / "README.md").read_text(encoding="utf-8")
    code = text[text.index("```python\n") + 10 :].partition("```")[0]
    done = subprocess.run(
        [sys.executable, "-W", "ignore", "-c", code], cwd=folder, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr
    stops = read_layer(f"{folder}/my_run.gpkg:stops")
    assert (folder / "run.gpx").exists()
    assert (stops["reason"] == "hold").sum() == 12
