"""A steps file: the same as the commands one by one, only what has changed run again, nothing of the user's overwritten."""

import json
import os

import geopandas as gpd
import pytest

import in_process
from castshed.algorithms.cast_reach import cast_reach
from castshed.algorithms.shallow_hazards import shallow_hazards
from castshed.algorithms.water_today import water_today
from castshed.toolbox.cache.store import Store
from castshed.toolbox.errors import CastshedError, DataError, FileMissing, OutputExists, UsageError
from castshed.toolbox.layers import list_layers, read_layer, write_layers
from castshed.toolbox.steps.steps import Chain, check_outputs, write_outputs
from castshed.toolbox.testing import assert_layer_equal

COUNTED = '''
"""Circles that count how often they are drawn."""
from pathlib import Path
from castshed.toolbox.algorithm import algorithm
from castshed.toolbox.parameters import Length, Spots

@algorithm(step="hold", example="castshed spot-circles lake.gpkg:spots --out my.gpkg")
def spot_circles(spots: Spots, *, radius_m: Length = 20.0) -> Spots:
    """Draw a circle round each spot.

    Parameters
    ----------
    spots
        Places to circle.
    radius_m
        Radius of each circle.
    """
    with Path("WORK").open("a") as file:
        file.write("x")
    return spots.assign(geometry=spots.buffer(radius_m))
'''

STEPS = """
[small]
run = "spot-circles"
spots = "lake.gpkg:spots"
radius = "10m"

[large]
run = "spot-circles"
spots = "@small"
radius = "30ft"
out = "lake.gpkg:large"

[apart]
run = "spot-circles"
spots = "lake.gpkg:spots"
radius = "1m"

[shared]
run = "export"
layers = ["@large:spots", "lake.gpkg:ramps"]
out = "shared"
"""


@pytest.fixture
def home(tmp_path, monkeypatch, lake):
    write_layers(tmp_path / "lake.gpkg", {"depth": lake.depth, "spots": lake.spots, "ramps": lake.ramps})
    write_layers(tmp_path / "lake.gpkg", {"shoreline": lake.shoreline, "known_hazards": lake.known_hazards})
    (tmp_path / "mine").mkdir()
    text = COUNTED.replace('"WORK"', repr(str(tmp_path / "work.txt")))
    (tmp_path / "mine" / "circles.py").write_text(text, encoding="utf-8")
    monkeypatch.setenv("CASTSHED_ALGORITHMS", str(tmp_path / "mine"))
    (tmp_path / "steps.toml").write_text(STEPS, encoding="utf-8")
    return tmp_path


def work(home):
    path = home / "work.txt"
    done = len(path.read_text()) if path.exists() else 0
    path.unlink(missing_ok=True)
    return done


def run(home, keep=None, replace=False, store=True):
    chain = Chain(home / "steps.toml", Store(home / ".castshed") if store else None)
    check_outputs(chain, keep, replace=replace)
    chain.run()
    write_outputs(chain, keep, replace=replace)
    chain.remember()
    return {step.name: step.state for step in chain.steps}


def change(home, old, new):
    text = (home / "steps.toml").read_text(encoding="utf-8")
    assert old in text
    (home / "steps.toml").write_text(text.replace(old, new), encoding="utf-8")


def test_an_unchanged_file_does_no_work_though_it_writes_into_the_file_it_reads(home):
    assert set(run(home).values()) == {"ran"}
    assert work(home) == 3
    before = {p: p.read_bytes() for p in [home / "lake.gpkg", *(home / "shared").iterdir()]}
    assert set(run(home).values()) == {"kept"}
    assert work(home) == 0
    assert {p: p.read_bytes() for p in before} == before


def test_a_changed_parameter_reruns_only_what_builds_on_it(home):
    run(home)
    work(home)
    change(home, '"30ft"', '"40ft"')
    assert run(home, replace=True) == {"small": "kept", "large": "ran", "apart": "kept", "shared": "ran"}
    assert work(home) == 1
    area = read_layer(home / "lake.gpkg:large").area.max()
    change(home, '"40ft"', '"30ft"')
    assert set(run(home, replace=True).values()) == {"kept"}
    assert work(home) == 0
    assert read_layer(home / "lake.gpkg:large").area.max() < area


def test_a_changed_input_and_changed_code_are_seen_and_told(home, lake):
    run(home)
    work(home)
    moved = lake.spots.assign(geometry=lake.spots.translate(1.0))
    write_layers(home / "lake.gpkg", {"spots": moved}, replace=True)
    chain = Chain(home / "steps.toml", Store(home / ".castshed"))
    chain.look()
    assert {s.name: s.because for s in chain.steps}["small"] == "changed: spots"
    assert work(home) == 0
    assert set(run(home, replace=True).values()) == {"ran"}
    assert work(home) == 3
    write_layers(home / "lake.gpkg", {"elsewhere": lake.spots})
    assert set(run(home).values()) == {"kept"}
    code = (home / "mine" / "circles.py").read_text(encoding="utf-8")
    (home / "mine" / "circles.py").write_text(code + "\n# another thought\n", encoding="utf-8")
    chain = Chain(home / "steps.toml", Store(home / ".castshed"))
    chain.look()
    assert [s.because for s in chain.steps][0] == "changed: code"


def test_without_a_store_and_with_a_broken_one_all_is_run(home):
    assert set(run(home, store=False).values()) == {"ran"}
    work(home)
    run(home, replace=True)
    assert work(home) == 3
    for kept in (home / ".castshed").iterdir():
        kept.write_bytes(b"{]" + kept.read_bytes()[5:])
    assert set(run(home, replace=True).values()) == {"ran"}


def test_what_lies_there_is_not_replaced_untold_and_refused_before_any_work(home, lake):
    write_layers(home / "lake.gpkg", {"large": lake.ramps})
    with pytest.raises(OutputExists, match="--replace"):
        run(home)
    assert work(home) == 0
    assert_layer_equal(read_layer(home / "lake.gpkg:large"), lake.ramps)


def test_the_layers_between_are_kept_on_wish(home):
    run(home, keep=home / "between.gpkg")
    assert set(list_layers(home / "between.gpkg")) == {"small_spots", "large_spots", "apart_spots"}
    before = (home / "between.gpkg").read_bytes()
    run(home, keep=home / "between.gpkg")
    assert (home / "between.gpkg").read_bytes() == before


def test_a_chain_equals_its_functions_called_in_python(home, lake):
    (home / "steps.toml").write_text(
        """
[today]
run = "water-today"
depth = "lake.gpkg:depth"
shoreline = "lake.gpkg:shoreline"
level = "-1ft"

[thin]
run = "shallow-hazards"
depth = "lake.gpkg:depth"
water = "@today"
known-hazards = "lake.gpkg:known_hazards"
level = "-1ft"
out = "day.gpkg"

[reach]
run = "cast-reach"
spots = "lake.gpkg:spots"
water = "@today:water"
out = "day.gpkg"
""",
        encoding="utf-8",
    )
    for states in ("ran", "kept"):
        assert set(run(home, keep=home / f"{states}.gpkg").values()) == {states}
        assert_layer_equal(
            read_layer(home / f"{states}.gpkg:today_water"), read_layer(home / "ran.gpkg:today_water")
        )
    level = -1 * 0.3048
    spots, known = read_layer(home / "lake.gpkg:spots"), read_layer(home / "lake.gpkg:known_hazards")
    water = water_today(lake.depth, read_layer(home / "lake.gpkg:shoreline"), level_m=level).water
    thin = shallow_hazards(lake.depth, water, known_hazards=known, level_m=level)
    assert_layer_equal(read_layer(home / "day.gpkg:shallow_hazards"), thin)
    assert_layer_equal(read_layer(home / "day.gpkg:cast_reach"), cast_reach(spots, water))


@pytest.mark.parametrize(
    ("text", "error", "says"),
    [
        ("", UsageError, "holds no step"),
        ("[a", DataError, "cannot be read as TOML"),
        ("a = 1", UsageError, "needs a line run"),
        ('[a]\nrun = "no-such"', UsageError, "[a] There is no algorithm"),
        ('[a]\nrun = "spot-circles"', UsageError, "[a] spot-circles needs spots"),
        (
            '[a]\nrun = "spot-circles"\nspots = "lake.gpkg:spots"\nradios = "3m"',
            UsageError,
            "did you mean radius?",
        ),
        ('[a]\nrun = "spot-circles"\nspots = "lake.gpkg:spots"\nradius = 3', UsageError, "[a] radius is 3"),
        ('[a]\nrun = "spot-circles"\nspots = "lake.gpkg:spots"\nradius = "3"', UsageError, "no unit"),
        ('[a]\nrun = "spot-circles"\nspots = "lake.gpkg:spots"\nradius = "-3m"', UsageError, "at least"),
        ('[a]\nrun = "spot-circles"\nspots = "@b:spots"', UsageError, "does not stand before it"),
        ('[a]\nrun = "spot-circles"\nspots = "@a:spots"', UsageError, "does not stand before it"),
        ('[a]\nrun = "spot-circles"\nspots = 3', UsageError, "FILE:LAYER"),
        ('[a]\nrun = "trip-log"\nspots = "lake.gpkg:spots"', UsageError, "run it on its own"),
        ('[a]\nrun = "spot-circles"\nspots = ["a", "b"]', UsageError, "must be one input"),
        ('[a]\nrun = "spot-circles"\nspots = "gone.gpkg"', FileMissing, "is not there"),
        (
            '[a]\nrun = "spot-circles"\nspots = "lake.gpkg:spots"\n[b]\nrun = "spot-circles"\nspots = "@a:holds"',
            UsageError,
            "makes no 'holds'",
        ),
        (
            """
            [a]
            run = "spot-circles"
            spots = "lake.gpkg:spots"
            out = "x.gpkg"
            [b]
            run = "spot-circles"
            spots = "@a"
            out = "x.gpkg"
            """,
            UsageError,
            "both write",
        ),
        ('[a]\nrun = "spot-circles"\nspots = "lake.gpkg:gone"', CastshedError, "gone"),
    ],
)
def test_a_slip_is_named_with_its_step_and_nothing_is_run(home, text, error, says):
    (home / "steps.toml").write_text(text, encoding="utf-8")
    with pytest.raises(error) as caught:
        run(home)
    assert says in str(caught.value)
    assert work(home) == 0


def test_a_whole_plan_as_a_step_is_run_each_time_since_its_day_file_names_other_files(home):
    (home / "steps.toml").write_text(
        '[day]\nrun = "plan"\nday = "day.toml"\nout = "my_day"\n', encoding="utf-8"
    )
    (home / "day.toml").write_text("date = 2026-05-16\n", encoding="utf-8")
    chain = Chain(home / "steps.toml", Store(home / ".castshed"))
    chain.look()
    assert chain.steps[0].because == "a day file leads to more files than it is"
    with pytest.raises(CastshedError, match=r"^\[day\] \[level\] needs today"):
        chain.run()


def test_the_command_says_what_it_did(home):
    def castshed(*arguments):
        env = {**os.environ, "NO_COLOR": "1"}
        return in_process.castshed("run-steps", *arguments, cwd=home.parent, env=env)

    first = castshed(str(home / "steps.toml"), "--json")
    assert first.returncode == 0, first.stderr
    body = json.loads(first.stdout)
    assert [(s["name"], s["state"]) for s in body["steps"]][:2] == [("small", "ran"), ("large", "ran")]
    assert body["ran"] == 4
    assert "radius_m" in body["steps"][0]["made_from"]
    assert len(gpd.read_file(home / "lake.gpkg", layer="large")) == 5
    look = castshed(str(home / "steps.toml"), "--look")
    assert "small: spot-circles, kept (unchanged)" in look.stdout
    work(home)
    again = castshed(str(home / "steps.toml"), "--json")
    assert (json.loads(again.stdout)["ran"], work(home)) == (0, 0)
    gone = castshed(str(home / "no.toml"))
    assert (gone.returncode, gone.stdout) == (3, "")
    assert "is not there" in gone.stderr
