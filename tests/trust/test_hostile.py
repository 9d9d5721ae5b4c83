"""Hostile and broken input ends with a message and an exit code, never with a traceback, and nothing is written."""

from __future__ import annotations

import contextlib
import random
import sqlite3
import struct
import time
import tracemalloc
from pathlib import Path

import geopandas as gpd
import numpy as np
import pytest
import shapely
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

import hostile_cases
import hostile_commands
from castshed.toolbox.algorithm.catalogue import entries
from castshed.toolbox.errors import CastshedError, ContractError, DataError, UnitError, UsageError
from castshed.toolbox.layers import parse_reference, read_layer, read_surface, write_layers
from castshed.toolbox.plan.day_file import read_day
from castshed.toolbox.units import ACCEPTED, convert, parse
from long_tests import as_many

QUICK = settings(
    max_examples=as_many(150), deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)


@pytest.fixture(scope="module")
def folder():
    with hostile_cases.quick_folder() as name:
        home = Path(name)
        hostile_commands.chain(home)
        (home / "work").mkdir()
        yield home


@pytest.mark.long
@pytest.mark.parametrize(
    ("kind", "most"),
    [("bent", 250), ("texts", 400), ("rasters", None), ("pages", 60), ("traps", 90), ("options", 90)],
)
def test_no_hostile_input_shows_a_traceback(folder, kind, most):
    rng = random.Random(f"hostile {kind}")
    cases = {
        "bent": lambda: hostile_cases.bent_files(folder / "work", rng),
        "texts": lambda: hostile_cases.texts(rng),
        "pages": lambda: hostile_cases.pages(folder, rng),
        "rasters": lambda: hostile_cases.rasters(folder, rng),
        "traps": lambda: hostile_cases.trap_cases(folder, rng),
        "options": lambda: hostile_commands.parameter_cases(folder, rng),
    }[kind]()
    count, faults = hostile_cases.run_cases(cases, most)
    assert count >= 50
    assert faults == []


def test_every_command_is_tried_with_bad_options_and_layers():
    assert set(hostile_commands.CALLS) == set(entries())


@pytest.mark.parametrize(
    "name",
    [
        pytest.param(name, marks=pytest.mark.long) if name in hostile_commands.SLOW else name
        for name in sorted(hostile_commands.CALLS)
    ],
)
def test_the_call_that_is_spoilt_is_whole_before(folder, name):
    words = hostile_commands.words_of(name, folder / "lake.gpkg", folder)
    assert hostile_commands.command([name, *words], folder) == (None, 0)


def test_the_net_sees_a_fault_a_hang_and_a_silent_error():
    def hang():
        while True:
            pass

    def silent():
        raise CastshedError("")

    before, hostile_cases.LONGEST_S = hostile_cases.LONGEST_S, 0.05
    try:
        assert hostile_cases.outcome(lambda: {}["x"]) == "KeyError: 'x'"
        assert "not done" in hostile_cases.outcome(hang)
        assert "without a word" in hostile_cases.outcome(silent)
        assert hostile_cases.outcome(lambda: parse("1", "length")) is None
    finally:
        hostile_cases.LONGEST_S = before


@QUICK
@given(st.text(max_size=60), st.sampled_from(sorted(ACCEPTED)))
def test_any_text_is_a_finite_quantity_or_refused(text, kind):
    try:
        value = parse(text, kind)
    except UnitError:
        return
    assert abs(value) < float("inf")


@QUICK
@given(st.floats(allow_nan=True, allow_infinity=True), st.sampled_from(ACCEPTED["length"]))
def test_any_number_with_a_unit_is_finite_or_refused(number, unit):
    with contextlib.suppress(UnitError):
        assert abs(convert(number, unit, "length")) < float("inf")


@QUICK
@given(st.text(max_size=300))
def test_any_text_is_a_reference_or_refused(text):
    try:
        ref = parse_reference(text)
    except UsageError:
        return
    with pytest.raises(CastshedError):
        read_layer(ref)


VALUES = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=12) | st.dates() | st.times(),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text("abcdef_", min_size=1, max_size=6), inner, max_size=3),
    max_leaves=5,
)  # fmt: skip
SECTIONS = ("lake", "level", "boat", "angler", "wind", "fishing", "spots", "run", "strange")
KEYS = ("file", "today", "error", "pool", "table", "draft", "beam", "cast", "from", "speed", "forecast", "least_depth",
        "sources", "depth_unit", "start", "at_most", "at_each", "depart", "back_by", "windows", "must", "x y", "zone")  # fmt: skip


def _toml(value):
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, dict):
        return "{" + ", ".join(f"{k} = {_toml(v)}" for k, v in value.items() if v is not None) + "}"
    if isinstance(value, list):
        return "[" + ", ".join(_toml(v) for v in value if v is not None) + "]"
    if isinstance(value, str):
        return (
            '"'
            + "".join(
                f"\\U{ord(c):08X}" if not c.isalnum() else c for c in value if not 0xD800 <= ord(c) < 0xE000
            )
            + '"'
        )
    return str(value)


@QUICK
@given(
    top=st.dictionaries(st.sampled_from(("title", "date", "zone", "units", "other")), VALUES, max_size=3),
    body=st.dictionaries(st.sampled_from(SECTIONS), st.dictionaries(st.sampled_from(KEYS), VALUES, max_size=3), max_size=4),
)  # fmt: skip
def test_any_day_file_is_read_or_refused(folder, top, body):
    lines = [f"{k} = {_toml(v)}" for k, v in top.items() if v is not None]
    for section, keys in body.items():
        lines.append(f"[{section}]")
        lines += [f'"{k}" = {_toml(v)}' for k, v in keys.items() if v is not None]
    file = folder / "any.toml"
    file.write_text("\n".join(lines), encoding="utf-8")
    with pytest.raises(CastshedError):  # none of them can be whole: some section that is needed has no sense
        read_day(file)


@pytest.mark.parametrize("name", [n for n in hostile_cases.TRAPS if "trigger" in n])
def test_a_trigger_that_acts_on_other_layers_runs_neither_on_reading_nor_on_writing(folder, name):
    """What a trigger may do is told in sqlite.org/lang_createtrigger.html; the standard's own only refuse."""
    file = hostile_cases.trap(folder, name)
    before = file.read_bytes()
    assert len(read_layer(f"{file}:spots")) == 5
    assert read_surface(f"{file}:depth").shape
    assert file.read_bytes() == before
    point = gpd.GeoDataFrame({"name": ["new"]}, geometry=[shapely.Point(5e5, 4e6)], crs=32615)
    with pytest.raises(DataError, match="has triggers that would change"):
        write_layers(file, {"zones": point}, replace=True)
    assert file.read_bytes() == before


def test_triggers_of_the_standard_do_not_stand_in_the_way(folder):
    """The GeoPackage standard's own triggers (annexes on tiles, metadata and R-trees) only refuse or keep the index."""
    file = folder / "standard.gpkg"
    file.write_bytes((folder / "lake.gpkg").read_bytes())
    with contextlib.closing(sqlite3.connect(file)) as db:
        (count,) = db.execute(
            "SELECT count(*) FROM sqlite_master WHERE type = 'trigger' AND tbl_name LIKE 'gpkg_%'"
        ).fetchone()
    assert count >= 4
    point = gpd.GeoDataFrame({"name": ["new"]}, geometry=[shapely.Point(5e5, 4e6)], crs=32615)
    write_layers(file, {"zones": point}, replace=True)
    assert len(read_layer(f"{file}:zones")) == 1


@pytest.mark.parametrize("name", ["an endless view as a layer", "a view that reads another layer"])
def test_a_view_is_not_read_as_a_layer(folder, name):
    file = hostile_cases.trap(folder, name)
    layer = "zones" if "endless" in name else "v"
    with pytest.raises(DataError, match="is a view or has no table"):
        read_layer(f"{file}:{layer}")


def test_a_ring_is_written_as_the_line_it_is(folder):
    """pyogrio asked for a layer of LinearRing ends the process (a segmentation fault); no format has such a type."""
    ring = shapely.LinearRing([(5e5, 4e6), (5e5 + 9, 4e6), (5e5, 4e6 + 9)])
    frame = gpd.GeoDataFrame({"depth_m": [1.0, 2.0]}, geometry=[ring, None], crs=32615)
    write_layers(folder / "rings.gpkg", {"contours": frame})
    (line, none) = read_layer(f"{folder / 'rings.gpkg'}:contours").geometry
    assert line.equals_exact(shapely.LineString(ring.coords), 0.0)
    assert none is None
    assert frame.geometry.iloc[0].geom_type == "LinearRing"  # what was given is as it was


def test_coordinates_no_place_has_are_named(folder, lake):
    from castshed.algorithms.water_today import water_today

    lake.shoreline.geometry = [shapely.box(-1e300, -1e300, 1e300, 1e300)]
    with pytest.raises(ContractError, match="no place on Earth"):
        water_today(lake.depth, lake.shoreline)


@pytest.mark.parametrize(
    ("name", "says"),
    [
        ("a column worked out on reading", "columns that are worked out"),
        ("a table of the standard that is an endless view", "gpkg_extensions should be a plain table"),
        ("a table of the standard with a column worked out", "gpkg_spatial_ref_sys should be a plain table"),
    ],
)
def test_nothing_is_worked_out_on_reading(folder, name, says):
    """Generated columns run their expression at each read: sqlite.org/gencol.html; here 800 MB a row."""
    file = hostile_cases.trap(folder, name)
    before = file.read_bytes()
    start = time.process_time()
    with pytest.raises(DataError, match=says):
        read_layer(f"{file}:spots")
    if "standard" in name:
        point = gpd.GeoDataFrame({"name": ["new"]}, geometry=[shapely.Point(5e5, 4e6)], crs=32615)
        with pytest.raises(DataError, match=says):
            write_layers(file, {"zones": point}, replace=True)
    assert time.process_time() - start < 2.0
    assert file.read_bytes() == before


@pytest.fixture(scope="module")
def ten_million(folder):
    """A shore of ten million corners, 160 MB in one row."""
    angle = np.linspace(0.0, 2 * np.pi, 10_000_001)
    xy = np.column_stack([5e5 + 500 + 450 * np.cos(angle), 4e6 + 500 + 450 * np.sin(angle)])
    xy[-1] = xy[0]
    file = folder / "large.gpkg"
    file.write_bytes((folder / "lake.gpkg").read_bytes())
    head = b"GP\x00\x01" + struct.pack("<i", 32615) + struct.pack("<BIII", 1, 3, 1, len(xy))
    with contextlib.closing(sqlite3.connect(file)) as db, db:
        for (name,) in db.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
            db.execute(f'DROP TRIGGER "{name}"')
        db.execute("UPDATE shoreline SET geom = ?", (head + xy.astype("<f8").tobytes(),))
    yield file
    file.unlink()


@pytest.mark.long
def test_ten_million_corners_in_a_file_are_refused_before_they_are_read(ten_million):
    tracemalloc.start()
    start = time.process_time()
    with pytest.raises(DataError, match=r"a geometry of 160 MB; at most 64 MB"):
        read_layer(f"{ten_million}:shoreline")
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert time.process_time() - start < 2.0
    assert peak < 20e6
    assert len(read_layer(f"{ten_million}:spots")) == 5  # the other layers are read as ever


@pytest.mark.long
def test_ten_million_corners_in_memory_are_refused_before_any_work(lake):
    from castshed.algorithms.water_today import water_today
    from castshed.toolbox.real_files import MOST_CORNERS

    angle = np.linspace(0.0, 2 * np.pi, 10_000_000)
    ring = shapely.LinearRing(np.column_stack([5e5 + 450 * np.cos(angle), 4e6 + 450 * np.sin(angle)]))
    lake.shoreline.geometry = [shapely.Polygon(ring)]
    start = time.process_time()
    with pytest.raises(ContractError, match=f"corners in row 0; at most {MOST_CORNERS:,} a row"):
        water_today(lake.depth, lake.shoreline)
    assert time.process_time() - start < 3.0
