"""The plan of a day as a steps file: the same stops by the same ways, and open to change."""

import os
import shutil
import tomllib
from pathlib import Path

import pytest

import in_process
from castshed.toolbox.cli.own_commands import own_example
from castshed.toolbox.layers import read_layer
from castshed.toolbox.plan.day_run import _quantity
from castshed.toolbox.testing import assert_layer_equal
from castshed.toolbox.units import parse

DEMO = Path(__file__).parents[2] / "demo_layers"
EXAMPLE = own_example("run-steps").split(" && ")
"""What the help of run-steps and the page of the algorithms show: a day's steps written, and run."""


def castshed(home, *arguments, code=0):
    env = {**os.environ, "NO_COLOR": "1"}
    done = in_process.castshed(*arguments, cwd=home, env=env)
    assert done.returncode == code, done.stderr
    return done.stdout if code == 0 else done.stderr


@pytest.fixture(scope="module")
def home(tmp_path_factory):
    home = tmp_path_factory.mktemp("plan of a day")
    shutil.copytree(
        DEMO, home / "demo_layers", ignore=shutil.ignore_patterns("*.py", "__pycache__", ".castshed")
    )
    writes, _ = EXAMPLE
    line, file = writes.split(" > ")
    (home / file).write_text(castshed(home, *line.split()[1:]), encoding="utf-8")
    return home


@pytest.mark.long
def test_the_steps_of_a_day_make_the_same_run_as_its_plan(home, planned_demo_day):
    _, runs = EXAMPLE
    castshed(home, *runs.split()[1:], "--quiet")
    for layer in ("stops", "legs", "shallow_hazards", "cast_lines", "cast_reach"):
        assert_layer_equal(
            read_layer(home / f"steps.gpkg:{layer}"),
            read_layer(planned_demo_day / f"my_day/plan.gpkg:{layer}"),
        )
    # plan puts names, ratings, wind and the words of the run beside them
    for made, planned in (("holds", "holds"), ("judged", "spots")):
        steps = read_layer(home / f"steps.gpkg:{made}")
        plan = read_layer(planned_demo_day / f"my_day/plan.gpkg:{planned}")
        assert_layer_equal(steps, plan[steps.columns])


@pytest.mark.long
def test_the_steps_can_be_changed(home):
    text = (home / "steps.toml").read_text(encoding="utf-8")
    assert 'level = "-4ft"' in text
    assert "at-most" not in tomllib.loads(text)["run"]  # twelve, as by default
    head, run = text.split("[run]")
    (home / "fewer.toml").write_text(f"{head}[run]\nat-most = 3{run}", encoding="utf-8")
    said = castshed(home, "run-steps", "fewer.toml", "--replace")
    assert [line.split(", ")[1].split()[0] for line in said.splitlines()] == ["kept"] * 9 + ["ran"] * 2
    assert len(read_layer(home / "steps.gpkg:stops")) == 5  # three stops, and the ramp at both ends


@pytest.mark.long
def test_changed_steps_whose_run_does_not_hold_write_nothing(home):
    text = (home / "steps.toml").read_text(encoding="utf-8").replace('"steps.gpkg"', '"close.gpkg"')
    head, run = text.split("[run]")
    (home / "close.toml").write_text(f'{head}[run]\nclearance = "0ft"{run}', encoding="utf-8")
    said = castshed(home, "run-steps", "close.toml", code=5)  # the proof keeps the day's 20 ft
    assert said.startswith("castshed run-steps: [proof] The run does not hold")
    assert "nothing was written" in said
    assert not (home / "close.gpkg").exists()


@pytest.mark.long
def test_the_steps_of_a_day_by_the_hour_make_the_same_day_as_its_plan(home):
    text = (home / "demo_layers" / "day.toml").read_text(encoding="utf-8")
    for old, new in (
        ("# forecast =", "forecast ="),
        ('from = "SW"', ""),
        ('speed = "12mph"', ""),
        ("# back_by =", "back_by ="),
        ("# must =", "must ="),
        ("# fuel =", "fuel ="),
        ("# engine_hp =", "engine_hp ="),
        ("least_rating = 0 ", "least_rating = 3 "),  # fewer to choose from, and the same answer twice sooner
    ):
        assert old in text
        text = text.replace(old, new, 1)
    (home / "demo_layers" / "hours.toml").write_text(text, encoding="utf-8")
    steps = castshed(home, "plan", "demo_layers/hours.toml", "--show-steps").replace(
        '"steps.gpkg"', '"hours.gpkg"'
    )
    (home / "hours.toml").write_text(steps, encoding="utf-8")
    castshed(home, "plan", "demo_layers/hours.toml", "--out", "by_hours", "--quiet")
    castshed(home, "run-steps", "hours.toml", "--quiet")
    made, planned = (read_layer(home / f"{f}:stops") for f in ("hours.gpkg", "by_hours/plan.gpkg"))
    assert len(made) > 4
    for column in ("spot_id", "arrive", "leave"):
        assert made[column].tolist() == planned[column].tolist()


@pytest.mark.parametrize(
    ("value", "kind", "text"),
    [
        (-1.2192, "length", "-4ft"),
        (0.35, "length", "0.35m"),
        (13.4112, "speed", "30mph"),
        (1500.0, "time", "25min"),
        (225.0, "bearing", "225deg"),
        (0.1 + 0.2, "length", "0.30000000000000004m"),
    ],
)
def test_a_quantity_is_written_as_a_person_would_and_means_the_same_number(value, kind, text):
    assert _quantity(value, kind) == text
    assert parse(text, kind) == value
