"""Triggers of a file judged by what SQLite would do, however they are written."""

from __future__ import annotations

import contextlib
import shutil
import sqlite3
import threading
import time

import geopandas as gpd
import pytest
import shapely

from castshed.toolbox.errors import CastshedError, DataError
from castshed.toolbox.layers import read_layer, write_layers
from made_lake import make_lake

NEW = gpd.GeoDataFrame({"name": ["new"]}, geometry=[shapely.Point(5e5, 4e6)], crs=32615)
FULL = "WITH RECURSIVE c(n) AS (SELECT 1 UNION ALL SELECT n + 1 FROM c)"

# What a trigger may hold: sqlite.org/lang_createtrigger.html; how names and comments are written: lang_keywords.html,
# lang_comment.html. Every one of these would empty or change another layer, or undo the entry of one.
ACTING = {
    "two marks in an alias": 'AFTER INSERT ON gpkg_contents BEGIN SELECT 1 AS "--"; DELETE FROM spots; END',
    "marks in brackets": "AFTER INSERT ON gpkg_contents BEGIN SELECT 1 AS [/*]; DELETE FROM spots; SELECT 2 AS [*/]; END",
    "marks in backticks": "AFTER INSERT ON gpkg_contents BEGIN SELECT 1 AS `/*`; DELETE FROM spots; SELECT 2 AS `*/`; END",
    "a quote in an alias": """AFTER INSERT ON gpkg_contents BEGIN SELECT 1 AS "'"; DELETE FROM spots; SELECT 1 AS "'"; END""",
    "a condition": 'AFTER INSERT ON gpkg_contents WHEN 1 BEGIN DELETE FROM "spots"; END',
    "a comment between": "AFTER INSERT ON gpkg_contents BEGIN DELETE/**/FROM/**/spots; END",
    "upper case": "AFTER INSERT ON GPKG_CONTENTS BEGIN DELETE FROM SPOTS; END",
    "replace": "AFTER INSERT ON gpkg_contents BEGIN REPLACE INTO spots (fid) SELECT fid FROM spots; END",
    "before deletion": "BEFORE DELETE ON gpkg_contents BEGIN UPDATE spots SET name = 'x'; END",
    "one column": "AFTER UPDATE OF last_change ON gpkg_contents BEGIN DELETE FROM spots; END",
    "for one layer only": "AFTER INSERT ON gpkg_contents WHEN NEW.table_name = 'zones' BEGIN DELETE FROM spots; END",
    "its own table": "AFTER INSERT ON gpkg_contents BEGIN DELETE FROM gpkg_contents WHERE table_name = 'spots'; END",
    "geometry columns": "AFTER INSERT ON gpkg_geometry_columns BEGIN DELETE FROM spots; END",
    "counts": "AFTER INSERT ON gpkg_contents BEGIN UPDATE gpkg_ogr_contents SET feature_count = 2; END",
    "a shadow table": "AFTER INSERT ON gpkg_contents BEGIN DELETE FROM rtree_spots_geom_node; END",
    "a virtual table": "AFTER INSERT ON gpkg_contents BEGIN DELETE FROM rtree_spots_geom; END",
    "the index of the words": "AFTER INSERT ON gpkg_contents BEGIN INSERT INTO words VALUES ('x'); END",
    "a view with a trigger": "AFTER INSERT ON gpkg_contents BEGIN DELETE FROM seen; END",
    "a trigger of a trigger": "AFTER INSERT ON gpkg_contents BEGIN INSERT INTO relay VALUES (1); END",
    "endless": f"AFTER INSERT ON gpkg_contents BEGIN SELECT count(*) FROM ({FULL} SELECT n FROM c); END",
    "an endless condition": f"AFTER INSERT ON gpkg_contents WHEN ({FULL} SELECT count(*) FROM c) BEGIN SELECT 1; END",
}  # fmt: skip
BESIDE = (
    "CREATE VIRTUAL TABLE words USING fts5(word)",
    "CREATE VIEW seen AS SELECT * FROM spots",
    "CREATE TRIGGER instead INSTEAD OF DELETE ON seen BEGIN DELETE FROM spots; END",
    "CREATE TABLE relay (x)",
    "CREATE TRIGGER relayed AFTER INSERT ON relay BEGIN DELETE FROM spots; END",
)


@pytest.fixture(scope="module")
def lake(tmp_path_factory):
    path = tmp_path_factory.mktemp("triggers") / "lake.gpkg"
    made = make_lake(20.0)
    write_layers(path, {"depth": made.depth, "spots": made.spots, "zones": made.zones})
    return path


@pytest.fixture
def file(lake, tmp_path):
    return shutil.copy(lake, tmp_path / "lake.gpkg")


def lay(file, *statements):
    with contextlib.closing(sqlite3.connect(file)) as db, db:
        for statement in statements:
            db.execute(statement)


def triggers(file):
    with contextlib.closing(sqlite3.connect(file)) as db:
        return set(db.execute("SELECT name, sql FROM sqlite_master WHERE type = 'trigger'").fetchall())


def soon(work, seconds=30.0):
    """Do work that may be without end; gives the error it ended with."""
    found = []

    def done():
        try:
            found.append(work())
        except CastshedError as error:
            found.append(error)

    thread = threading.Thread(target=done, daemon=True)
    thread.start()
    thread.join(seconds)
    assert found, "it does not end"
    return found[0]


@pytest.mark.parametrize("how", ACTING)
def test_a_trigger_that_changes_anything_is_refused_however_it_is_written(file, how):
    lay(file, *BESIDE, f"CREATE TRIGGER trap {ACTING[how]}")
    before = file.read_bytes()
    error = soon(lambda: write_layers(file, {"zones": NEW}, replace=True))
    assert isinstance(error, DataError), error
    assert "has triggers that would change" in str(error)
    assert file.read_bytes() == before
    assert not [p for p in file.parent.iterdir() if p != file]


def test_a_foreign_key_that_deletes_with_its_layer_is_refused(file):
    """ON DELETE CASCADE changes rows as a trigger does (sqlite.org/foreignkeys.html)."""
    lay(file, "CREATE TABLE mine (x, of_layer REFERENCES gpkg_contents (table_name) ON DELETE CASCADE)")
    with pytest.raises(DataError, match="a rule on mine"):
        write_layers(file, {"zones": NEW}, replace=True)


@pytest.mark.parametrize(
    "body",
    [
        "SELECT count(*) FROM " + ", ".join(f"many AS m{k}" for k in range(8)),
        "SELECT length(hex(zeroblob(400000000)))",
    ],
    ids=["every row with every row", "a blob"],
)
@pytest.mark.parametrize("event", ["INSERT", "DELETE"])
def test_a_trigger_that_reads_without_end_ends_the_write(file, body, event):
    lay(
        file,
        "CREATE TABLE many (x)",
        f"INSERT INTO many {FULL.replace('FROM c)', 'FROM c LIMIT 300)')} SELECT n FROM c",
        f"CREATE TRIGGER trap AFTER {event} ON gpkg_contents BEGIN {body}; END",
    )
    before, start = file.read_bytes(), time.monotonic()
    error = soon(lambda: write_layers(file, {"zones": NEW}, replace=True), 60.0)
    assert isinstance(error, DataError), error
    assert "run without end" in str(error)
    assert time.monotonic() - start < 30.0
    assert file.read_bytes() == before


@pytest.mark.parametrize(
    "body", ["SELECT load_extension('x')", "SELECT * FROM temp.other", "SELECT * FROM nowhere", "SELECT unknown(1)"]
)  # fmt: skip
def test_a_trigger_that_reaches_beyond_the_file_is_refused(file, body):
    with contextlib.closing(sqlite3.connect(file)) as db, db:
        db.execute("CREATE TABLE nowhere (x)")
        try:
            db.execute(f"CREATE TRIGGER trap AFTER INSERT ON gpkg_contents BEGIN {body}; END")
        except sqlite3.Error:
            pytest.skip("SQLite does not let it be laid")
        db.execute("DROP TABLE nowhere")
    with pytest.raises(DataError, match="triggers"):
        write_layers(file, {"zones": NEW}, replace=True)


def test_a_trigger_that_refuses_a_layer_is_heeded(file):
    lay(
        file,
        "CREATE TRIGGER guard BEFORE INSERT ON gpkg_contents WHEN NEW.table_name = 'zones' "
        "BEGIN SELECT RAISE(ABORT, 'no zones here'); END",
    )
    before = file.read_bytes()
    with pytest.raises(DataError, match="no zones here"):
        write_layers(file, {"zones": NEW}, replace=True)
    assert file.read_bytes() == before
    write_layers(file, {"others": NEW})
    assert len(read_layer(f"{file}:others")) == 1


def test_triggers_that_change_nothing_stay_in_the_file_and_those_of_layers_do_their_work(file):
    lay(
        file,
        "CREATE TRIGGER mine AFTER INSERT ON gpkg_contents BEGIN SELECT 1; END",
        "CREATE TABLE log (x)",
        "CREATE TABLE notes AS SELECT 'x' AS name",
        "CREATE TRIGGER logged AFTER UPDATE ON notes BEGIN INSERT INTO log VALUES (1); END",
    )
    before = triggers(file)
    write_layers(file, {"others": NEW})
    assert before <= triggers(file)
    assert len(read_layer(f"{file}:spots")) == 5
    lay(file, "UPDATE notes SET name = 'y'")
    with contextlib.closing(sqlite3.connect(file)) as db:
        assert db.execute("SELECT count(*) FROM log").fetchone() == (1,)
