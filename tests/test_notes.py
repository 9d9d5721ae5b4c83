"""Notes go to the call they belong to, however many run at the same time."""

from __future__ import annotations

import ast
import threading
import traceback
import warnings
from pathlib import Path

import geopandas as gpd
import pytest
import shapely

from castshed.algorithms.gather_spots import gather_spots
from castshed.algorithms.water_today import water_today
from castshed.toolbox.compiled import begun, side_by_side
from castshed.toolbox.errors import DataWarning
from castshed.toolbox.layers import read_layer, read_surface
from castshed.toolbox.report import collecting_notes, note
from castshed.toolbox.sources import read_source

HOUSE = Path(__file__).parent.parent


def test_without_a_collector_a_note_is_a_warning_at_the_caller():
    with pytest.warns(DataWarning, match="left out") as caught:
        note("two rows were left out")
    assert caught[0].filename == __file__


def test_two_threads_that_collect_at_once_get_their_own():
    found: dict[str, list[str]] = {}
    meet = threading.Barrier(2)

    def work(name: str, rounds: int) -> None:
        with collecting_notes() as notes:
            for k in range(rounds):
                meet.wait()
                note(f"{name} {k}")
            found[name] = notes

    threads = [threading.Thread(target=work, args=(name, 200)) for name in ("one", "other")]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert found == {name: [f"{name} {k}" for k in range(200)] for name in ("one", "other")}


def test_two_algorithms_at_once_each_keep_their_notes(tmp_path):
    lake = "demo_layers/reservoir.gpkg"
    depth, shoreline = read_surface(f"{lake}:depth"), read_layer(f"{lake}:shoreline")
    bow = shapely.Polygon([(0, 0), (100, 100), (100, 0), (0, 100)])  # crosses itself: repaired, and said so
    x, y = shoreline.geometry.iloc[0].representative_point().coords[0]
    bent = gpd.GeoDataFrame(
        {"geometry": [shoreline.geometry.iloc[0], shapely.affinity.translate(bow, x, y)]}, crs=shoreline.crs
    )
    own = read_layer(f"{lake}:shoreline")  # shapes prepared for tests of place are not shared between threads
    listed = tmp_path / "spots.csv"
    listed.write_text("name,lat,lon\nbroken,north,west\nrock,38.0,-94.0\n")
    table = read_source(str(listed))
    calls = {
        "water": lambda: water_today(depth, bent, level_m=-1.0),
        "spots": lambda: gather_spots([table], shoreline=own),
    }

    def told(name: str) -> list[str]:
        with collecting_notes() as notes:
            calls[name]()
        return notes

    alone = {name: told(name) for name in calls}
    assert all(alone.values())
    assert not set(alone["water"]) & set(alone["spots"])
    together: dict[str, list[list[str]]] = {name: [] for name in calls}

    faults: list[str] = []

    def work(name: str) -> None:
        try:
            for _ in range(3):
                together[name].append(told(name))
        except BaseException:  # noqa: BLE001 -- a thread's own fault is told nowhere else
            faults.append(traceback.format_exc())

    threads = [threading.Thread(target=work, args=(name,)) for name in calls]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert not faults, "\n".join(faults)
    assert together == {name: [alone[name]] * 3 for name in calls}


def test_threads_begun_by_a_call_tell_its_collector():
    with collecting_notes() as found:
        side_by_side(lambda: note("first"), lambda: note("second"))
        with begun(lambda: note("third")) as wait:
            wait()
    assert sorted(found) == ["first", "second", "third"]


def test_a_collector_within_another_keeps_its_own():
    with collecting_notes() as outer:
        note("before")
        with collecting_notes() as inner:
            note("within")
        note("after")
    assert (outer, inner) == (["before", "after"], ["within"])


def test_nothing_is_warned_while_notes_are_collected():
    with warnings.catch_warnings(), collecting_notes():
        warnings.simplefilter("error")
        note("told")


def test_data_warnings_are_given_in_one_place():
    """A warning of the house given otherwise would be lost to those who collect."""
    given = []
    for path in [*(HOUSE / "toolbox").rglob("*.py"), *(HOUSE / "algorithms").glob("*.py")]:
        if path.name in ("report.py", "run_command.py", "steps.py"):  # the two catch those of plugins
            continue
        nodes = ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        given += [path.name for node in nodes if isinstance(node, ast.Name) and node.id == "DataWarning"]
    assert given == []
