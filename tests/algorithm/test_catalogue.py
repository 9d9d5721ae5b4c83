"""Bundled, installed and folder algorithms: listed without import, never shadowed, broken ones explained."""

import os
import subprocess
import sys
import textwrap
from pathlib import Path

import pytest

from castshed.toolbox.algorithm import catalogue
from castshed.toolbox.errors import PluginError, UsageError

GOOD = '''
"""Circles."""
from castshed.toolbox.algorithm import algorithm
from castshed.toolbox.parameters import CastReach, Length, Spots

@algorithm(step="hold", example="castshed spot-circles demo_layers/reservoir.gpkg:spots --out my.gpkg")
def spot_circles(spots: Spots, *, radius_m: Length = 20.0) -> CastReach:
    """Draw a circle round each spot.

    Parameters
    ----------
    spots
        Places to circle.
    radius_m
        Radius of each circle.
    """
    out = spots[["spot_id", "geometry"]].copy()
    out["geometry"] = spots.buffer(radius_m)
    out["status"], out["reason"] = "ok", "made"
    out["area_m2"] = out.area
    return out
'''


@pytest.fixture
def folder(tmp_path, monkeypatch):
    home = tmp_path / "mine"
    home.mkdir()
    monkeypatch.setenv("CASTSHED_ALGORITHMS", str(home))
    return home


def write(folder, name, text):
    (folder / name).write_text(textwrap.dedent(text), encoding="utf-8")


def point(name, value, distribution):
    class Point:
        dist = type("Dist", (), {"name": distribution})

    Point.name, Point.value = name, value
    return Point


def test_a_folder_algorithm_is_listed_and_runs(folder, lake):
    write(folder, "circles.py", GOOD)
    entry = catalogue.entries()["spot-circles"]
    assert (entry.summary, entry.step, entry.problem) == ("Draw a circle round each spot.", "hold", "")
    made = catalogue.load("spot-circles").function(lake.spots, radius_m=5.0)
    assert len(made) == len(lake.spots)


def test_listing_imports_no_algorithm(folder):
    write(folder, "circles.py", GOOD + '\nraise RuntimeError("imported")\n')
    assert catalogue.entries()["spot-circles"].problem == ""


def test_bundled_algorithms_come_in_by_the_folder_door(folder):
    bundled = [e for e in catalogue.entries().values() if e.origin == "castshed"]
    assert bundled
    assert [e.problem for e in bundled if e.problem] == []
    source = bundled[0].path.read_text(encoding="utf-8")
    assert f"def {bundled[0].attribute}" in source


def test_the_short_reading_of_bundled_files_equals_the_whole_one():
    folder = Path(catalogue.__file__).parents[2] / "algorithms"
    files = [p for p in folder.glob("*.py") if not p.name.startswith("_")]
    assert files
    for path in files:
        assert catalogue._functions(path, whole=False) == catalogue._functions(path)
        assert catalogue._heads(path.read_text(encoding="utf-8")), f"{path} is read whole at every --help"


def test_a_file_is_read_again_when_it_has_changed(folder):
    write(folder, "circles.py", GOOD)
    assert catalogue.entries()["spot-circles"].summary == "Draw a circle round each spot."
    write(folder, "circles.py", GOOD.replace("Draw a circle round", "Circle"))
    assert catalogue.entries()["spot-circles"].summary == "Circle each spot."


@pytest.mark.parametrize("inside", ["dist-info", "egg-info"])
def test_an_installed_algorithm_is_found_wherever_the_path_leads(tmp_path, inside):
    (tmp_path / "reed.py").write_text(GOOD, encoding="utf-8")
    home = tmp_path / f"reed_tools-1.0.{inside}"
    home.mkdir()
    (home / ("METADATA" if inside == "dist-info" else "PKG-INFO")).write_text(
        "Metadata-Version: 2.1\nName: reed-tools\nVersion: 1.0\n"
    )
    (home / "entry_points.txt").write_text("[castshed.algorithms]\nspot-circles = reed:spot_circles\n")
    code = (
        "import sys\nfrom castshed.toolbox.algorithm import catalogue\n"
        "e = catalogue.entries()['spot-circles']\n"
        "assert 'reed' not in sys.modules\n"
        "print(e.origin, e.step, e.problem or 'sound', catalogue.load('spot-circles').summary)"
    )
    done = subprocess.run(
        [sys.executable, "-c", code],
        capture_output=True,
        text=True,
        check=True,
        env={**os.environ, "PYTHONPATH": str(tmp_path)},
    )
    assert done.stdout == "reed-tools hold sound Draw a circle round each spot.\n"


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("def broken(:\n", "SyntaxError"),
        ("x = 1\n", "no function under @algorithm"),
        (GOOD + '\nraise RuntimeError("at import")\n', "RuntimeError: at import"),
        (GOOD + "\nraise SystemExit(0)\n", "SystemExit: 0"),
        ("(" * 100_000, "cannot be read"),
        ("-" * 200_000 + "1", "cannot be read"),
        (GOOD.replace("radius_m\n        Radius of each circle.\n", ""), "radius_m has no entry"),
        (GOOD.replace("-> CastReach", "-> int"), "return type"),
        (GOOD.replace("castshed.toolbox.parameters", "castshed.toolbox.nowhere"), "nowhere"),
    ],
)
def test_a_broken_algorithm_stays_listed_says_why_and_harms_nothing_else(folder, text, says):
    write(folder, "spot_circles.py", text)
    write(folder, "other.py", GOOD.replace("spot_circles", "other_circles"))
    assert "spot-circles" in catalogue.entries()
    with pytest.raises(PluginError) as caught:
        catalogue.load("spot-circles")
    assert says in str(caught.value)
    assert str(folder) in str(caught.value)
    assert catalogue.load("other-circles").name == "other-circles"


def test_a_folder_named_twice_counts_once(folder, monkeypatch):
    write(folder, "circles.py", GOOD)
    twice = os.pathsep.join([str(folder), os.path.relpath(folder), f"{folder}{os.sep}."])
    monkeypatch.setenv("CASTSHED_ALGORITHMS", twice)
    assert catalogue.entries()["spot-circles"].problem == ""


def test_a_bundled_name_is_never_shadowed(folder):
    name = next(e.name for e in catalogue.entries().values() if e.origin == "castshed")
    write(folder, "thief.py", GOOD.replace("spot_circles", name.replace("-", "_")))
    found = catalogue.entries()
    assert found[name].origin == "castshed"
    thief = next(e for key, e in found.items() if key.startswith(f"{name} ("))
    assert "would shadow the bundled" in thief.problem


def test_two_of_one_name_are_refused_naming_both(folder, monkeypatch):
    write(folder, "circles.py", GOOD)
    monkeypatch.setattr(catalogue, "_points", lambda: [point("spot-circles", "json:loads", "reed-tools")])
    with pytest.raises(PluginError) as caught:
        catalogue.load("spot-circles")
    assert "reed-tools" in str(caught.value)
    assert str(folder) in str(caught.value)


@pytest.mark.parametrize(
    ("value", "says"),
    [
        ("json:loads", "not under @algorithm"),
        ("no_such_module_anywhere:x", "is not there"),
        ("json.no:x", "is not there"),
    ],
)
def test_a_broken_installed_algorithm_names_its_distribution(monkeypatch, value, says):
    monkeypatch.setattr(catalogue, "_points", lambda: [point("reed", value, "reed-tools")])
    with pytest.raises(PluginError, match="reed-tools") as caught:
        catalogue.load("reed")
    assert says in str(caught.value)


def test_an_unknown_name_is_a_usage_error():
    with pytest.raises(UsageError, match="castshed --help"):
        catalogue.load("no-such-thing")


def test_a_folder_that_is_none_is_listed_as_a_problem(monkeypatch, tmp_path):
    monkeypatch.setenv("CASTSHED_ALGORITHMS", str(tmp_path / "gone"))
    assert "not a folder" in catalogue.entries()["gone"].problem


HEAVY = (
    "numpy",
    "pandas",
    "shapely",
    "pyproj",
    "pyogrio",
    "geopandas",
    "networkx",
    "rasterio",
    "scipy",
    "numba",
    "matplotlib",
    "pint",
)


@pytest.mark.parametrize(
    "arguments",
    [
        ["--help"],
        ["boat-hold", "--help"],
        ["plan", "--help"],
        ["--version"],
        ["no-such-command"],
        ["describe"],
        ["describe", "--json"],
        ["describe", "day-plan", "--json"],
    ],
)
def test_help_loads_no_heavy_library(arguments):
    code = (
        "import sys\nfrom castshed.toolbox.cli import main\nsys.argv = ['castshed', *sys.argv[1:]]\n"
        "try:\n    main()\nexcept SystemExit:\n    pass\n"
        f"print('HEAVY', [m for m in {HEAVY!r} if m in sys.modules])"
    )
    done = subprocess.run(
        [sys.executable, "-c", code, *arguments], capture_output=True, text=True, check=True
    )
    assert "HEAVY []" in done.stdout


def test_listing_layers_loads_no_gis_library(tmp_path, lake):
    from castshed.toolbox.layers import write_layers

    write_layers(tmp_path / "lake.gpkg", {"spots": lake.spots})
    code = (
        "import sys\nfrom pathlib import Path\nfrom castshed.toolbox.layers import list_layers\n"
        "print(list_layers(Path(sys.argv[1])))\n"
        f"print('HEAVY', [m for m in {HEAVY!r} if m in sys.modules])"
    )
    done = subprocess.run(
        [sys.executable, "-c", code, str(tmp_path / "lake.gpkg")], capture_output=True, text=True, check=True
    )
    assert "HEAVY []" in done.stdout
    assert "spots" in done.stdout
