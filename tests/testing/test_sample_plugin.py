"""A package of somebody else's, installed with pip: listed, run, and the broken kinds that each harm nothing else."""

import importlib.util
import inspect
import os
import shutil
import subprocess
import sys
from pathlib import Path

import geopandas as gpd
import pytest
import shapely

import in_process
from castshed.algorithms.water_today import water_today
from castshed.toolbox.algorithm import catalogue
from castshed.toolbox.layers import write_layers
from castshed.toolbox.testing import assert_layer_equal

SAMPLE = Path(__file__).parent.parent / "sample_plugin"
BUNDLED = Path(__file__).parents[2] / "algorithms"


def castshed(place, *arguments, alone=False, **environment):
    env = {**os.environ, "COLUMNS": "300", "NO_COLOR": "1", "CASTSHED_ALGORITHMS": "", **environment}
    return in_process.castshed(*arguments, cwd=place, env=env, alone=alone)


@pytest.fixture(scope="module")
def site(tmp_path_factory):
    """A folder of installed packages that holds the sample, put there by pip."""
    source = tmp_path_factory.mktemp("source") / "sample_plugin"
    shutil.copytree(SAMPLE, source)
    target = tmp_path_factory.mktemp("site")
    words = [sys.executable, "-m", "pip", "install", "-q", "--no-deps", "--target", str(target), str(source)]
    if importlib.util.find_spec("setuptools") and importlib.util.find_spec("wheel"):
        words.append("--no-build-isolation")
    done = subprocess.run(words, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    return target


@pytest.fixture
def place(tmp_path):
    spots = gpd.GeoDataFrame(
        {"spot_id": ["a", "b"]}, geometry=[shapely.Point(500, 500), shapely.Point(900, 500)], crs=32615
    )
    shore = gpd.GeoDataFrame({"name": ["made"]}, geometry=[shapely.box(0, 0, 1000, 1000)], crs=32615)
    write_layers(tmp_path / "lake.gpkg", {"spots": spots, "shoreline": shore})
    (tmp_path / "mine").mkdir()
    return tmp_path


def plain(folder, name):
    """Write a sound one-file algorithm of that command name."""
    text = (SAMPLE / "shore_tools" / "__init__.py").read_text(encoding="utf-8")
    file = folder / f"{name.replace('-', '_')}.py"
    file.write_text(text.replace("shore_distance", name.replace("-", "_")), encoding="utf-8")
    return file


def distribution(folder, name, module, text, command, function="shore_distance"):
    """Put a distribution into a folder as pip leaves it: its module, and the files that describe it."""
    (folder / f"{module}.py").write_text(text, encoding="utf-8")
    home = folder / f"{name.replace('-', '_')}-1.0.dist-info"
    home.mkdir()
    (home / "METADATA").write_text(f"Metadata-Version: 2.1\nName: {name}\nVersion: 1.0\n", encoding="utf-8")
    (home / "entry_points.txt").write_text(f"[castshed.algorithms]\n{command} = {module}:{function}\n")


def test_the_sample_is_a_package_of_under_forty_lines_with_its_test():
    files = [p for p in SAMPLE.rglob("*") if p.suffix in (".py", ".toml")]
    assert sum(len(p.read_text(encoding="utf-8").splitlines()) for p in files) < 40
    assert any(p.name.startswith("test_") for p in files)


@pytest.mark.long
def test_an_installed_algorithm_is_listed_explained_and_run(site, place):
    path = {"PYTHONPATH": str(site)}
    listed = castshed(place, "--help", **path, alone=True)  # as somebody who has installed it
    assert "Measure how far each spot lies from the nearest shore." in listed.stdout
    page = castshed(place, "shore-distance", "--help", **path)
    assert "Places to measure from" in page.stdout
    given = ["shore-distance", "lake.gpkg:spots", "lake.gpkg:shoreline", "--out", "my.gpkg"]
    done = castshed(place, *given, **path, alone=True)
    assert done.returncode == 0, done.stderr
    # 500 m and 100 m from the nearest side of a square of 1,000 m, by hand
    assert gpd.read_file(place / "my.gpkg", layer="spots")["shore_m"].tolist() == [500.0, 100.0]
    assert "shore-distance" not in castshed(place, "--help").stdout


@pytest.mark.long
def test_the_samples_own_test_passes(site):
    done = subprocess.run(
        [sys.executable, "-m", "pytest", "-q", "-n0", "-p", "no:cacheprovider", str(SAMPLE)],
        capture_output=True,
        text=True,
        cwd=SAMPLE,
        env={**os.environ, "PYTHONPATH": str(site)},
        check=False,
    )
    assert done.returncode == 0, done.stdout
    assert done.stdout.startswith("."), done.stdout  # one test, passed


def test_a_bundled_file_copied_into_a_folder_runs_unchanged(place, lake):
    copied = place / "mine" / "water_today.py"
    shutil.copy(BUNDLED / "water_today.py", copied)
    (entry,) = catalogue._folder(place / "mine", "", str(place / "mine"))
    spec = catalogue.load_entry(entry)
    assert spec.function.__module__.startswith("castshed_folder_")
    assert Path(inspect.getsourcefile(inspect.unwrap(spec.function))) == copied
    made, bundled = (f(lake.depth, lake.shoreline, level_m=-1.0) for f in (spec.function, water_today))
    for ours, theirs in zip(made, bundled, strict=True):
        assert_layer_equal(ours, theirs)


SOUND = (SAMPLE / "shore_tools" / "__init__.py").read_text(encoding="utf-8")
RAISES = SOUND + '\nraise RuntimeError("no licence for this lake")\n'
BARE = "\n".join(line for line in SOUND.splitlines() if not line.startswith("@algorithm"))
AT_IMPORT, NO_DECORATOR, TAKEN = "raises at import", "lacks the decorator", "name already taken"


@pytest.mark.parametrize(
    ("kind", "text", "command", "says"),
    [
        (AT_IMPORT, RAISES, "shore-distance", "no licence for this lake"),
        (NO_DECORATOR, BARE, "shore-distance", "@algorithm"),
        (TAKEN, SOUND, "boat-hold", "would shadow the bundled boat-hold"),
    ],
)
@pytest.mark.parametrize("door", ["pip", "folder"])
def test_a_broken_algorithm_is_named_with_its_reason_and_harms_nothing_else(
    place, door, kind, text, command, says
):
    site = place / "site"
    site.mkdir()
    if door == "pip":
        distribution(site, "reed-tools", "reed", text, command)
    else:
        stem = "shore_distance"
        renamed = text.replace(stem, "boat_hold") if kind == TAKEN else text
        (place / "mine" / f"{stem}.py").write_text(renamed, encoding="utf-8")
    plain(place / "mine", "other-distance")
    both = {"PYTHONPATH": str(site), "CASTSHED_ALGORITHMS": str(place / "mine")}
    listed = castshed(place, "--help", **both)
    assert listed.returncode == 0
    assert "other-distance" in listed.stdout
    whose = "reed-tools" if door == "pip" else str(place / "mine")
    if kind != AT_IMPORT:  # nothing is imported to make the list, so this one shows when it is called
        assert says in listed.stdout
        assert whose in listed.stdout
    called = f"{command} ({whose})" if kind == TAKEN else command
    used = castshed(place, called, "lake.gpkg", "lake.gpkg", "--out", "my.gpkg", **both)
    assert used.returncode == 1, used.stderr
    assert says in used.stderr
    assert whose in used.stderr
    assert "Traceback" not in used.stderr
    if kind == TAKEN:
        assert "Place the boat" in castshed(place, "boat-hold", "--help", **both).stdout
    sound = castshed(place, "other-distance", "lake.gpkg", "lake.gpkg", "--out", "my.gpkg", **both)
    assert sound.returncode == 0, sound.stderr


@pytest.mark.parametrize("doors", ["two distributions", "distribution and folder", "two files"])
def test_two_of_one_name_are_refused_naming_both(place, doors):
    site = place / "site"
    site.mkdir()
    whose = []
    if doors.startswith(("two distributions", "distribution")):
        distribution(site, "reed-tools", "reed", SOUND, "shore-distance")
        whose.append("reed-tools")
    if doors == "two distributions":
        distribution(site, "heron-tools", "heron", SOUND, "shore-distance")
        whose.append("heron-tools")
    else:
        plain(place / "mine", "shore-distance")
        whose.append(str(place / "mine"))
    if doors == "two files":
        (place / "mine" / "again.py").write_text(SOUND, encoding="utf-8")
        whose = [str(place / "mine" / n) for n in ("again.py", "shore_distance.py")]
    both = {"PYTHONPATH": str(site), "CASTSHED_ALGORITHMS": str(place / "mine")}
    for said in (
        castshed(place, "--help", **both).stdout,
        castshed(place, "shore-distance", "a", "b", "--out", "c.gpkg", **both).stderr,
    ):
        assert all(one in said for one in whose)
    assert not (place / "c.gpkg").exists()
