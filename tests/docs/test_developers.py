"""The page for contributors, done as it says by one who knows nothing else."""

import math
import os
import re
import shlex
import shutil
import subprocess
import sys
from pathlib import Path

import geopandas as gpd
import pytest

ROOT = Path(__file__).parents[2]
PAGE = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
PART = PAGE[PAGE.index("## An algorithm of your own") : PAGE.index("## Rules of the house")]
CODE, TEST = re.findall(r"```python\n(.*?)```", PART, re.DOTALL)
(COMMAND,) = re.findall(r"```sh\n(.*?)```", PART, re.DOTALL)


@pytest.fixture
def home(tmp_path):
    shutil.copytree(
        ROOT / "demo_layers", tmp_path / "demo_layers", ignore=shutil.ignore_patterns("*.py", ".castshed")
    )
    (tmp_path / "mine").mkdir()
    (tmp_path / "mine" / "spot_circles.py").touch()
    return tmp_path


def run(home, *words):
    env = {**os.environ, "NO_COLOR": "1", "COLUMNS": "120", "PYTHONPATH": str(home / "mine")}
    return subprocess.run(
        [sys.executable, *words], cwd=home, env=env, capture_output=True, text=True, check=False
    )


def castshed(home, line):
    program, *words = shlex.split(line)
    assert program == "castshed"
    return run(home, "-c", "from castshed.toolbox.cli import main; main()", *words)


@pytest.mark.long
def test_from_an_empty_file_to_a_command_that_runs(home):
    empty = castshed(home, "castshed --algorithms mine --help")
    assert empty.returncode == 0
    assert "has no function under @algorithm" in " ".join(empty.stdout.split())
    (home / "mine" / "spot_circles.py").write_text(CODE, encoding="utf-8")
    listed = castshed(home, "castshed --algorithms mine --help")
    assert "Draw a circle round each spot." in listed.stdout
    assert "Cannot be used" not in listed.stdout
    page = castshed(home, "castshed --algorithms mine spot-circles --help")
    assert "--radius" in page.stdout
    assert "20 m (65.6 ft)" in page.stdout
    done = castshed(home, COMMAND)
    assert done.returncode == 0, done.stderr
    made = gpd.read_file(home / "my.gpkg", layer="circles")
    points = gpd.read_file(home / "demo_layers" / "reservoir.gpkg", layer="spots")
    assert len(made) == len(points)
    # shapely draws a circle as a polygon of 64 corners: area n / 2 * r^2 * sin(2 pi / n); 80 ft are 24.384 m exactly
    round_ones = made.area[points.geom_type == "Point"]
    assert round_ones.to_numpy() == pytest.approx(32 * 24.384**2 * math.sin(2 * math.pi / 64), rel=1e-9)


def test_it_is_ten_lines_and_its_help():
    bare = re.sub(r'""".*?"""', "", CODE, flags=re.DOTALL)
    assert len([line for line in bare.splitlines() if line.strip()]) <= 10


@pytest.mark.long
def test_its_test_passes(home):
    (home / "mine" / "spot_circles.py").write_text(CODE, encoding="utf-8")
    (home / "test_mine.py").write_text(TEST, encoding="utf-8")
    done = run(home, "-m", "pytest", "-q", "-p", "no:cacheprovider", "test_mine.py")
    assert done.returncode == 0, done.stdout
    assert "1 passed" in done.stdout


def test_every_file_lies_in_the_room_the_plan_of_the_house_names_and_every_room_is_named():
    plan = PAGE[PAGE.index("## The rooms") : PAGE.index("Arrows point one way")]
    lie = {(path.parent.name, path.name) for path in (ROOT / "toolbox").rglob("*.py")}
    rooms, named = [], []
    for line in plan.splitlines():
        rooms += re.findall(r"^ *(\w+)/", line)
        named += [(rooms[-1], name) for name in re.findall(r"\w+\.py", line)]
    assert len(named) > 100
    assert [pair for pair in named if pair not in lie] == []
    assert sorted(room for room, name in lie if name == "__init__.py" and room not in rooms) == []
