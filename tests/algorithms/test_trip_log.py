"""A trip brought home: what is new, moved, changed, the same or missing; nothing of the book is ever lost."""

import math
import re
import shutil
import sqlite3
import subprocess
import warnings

import geopandas
import numpy as np
import pandas as pd
import pyproj
import pytest
import shapely
from geopandas.testing import assert_geodataframe_equal
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

import in_process
from castshed.algorithms.gather_spots import gather_spots
from castshed.algorithms.trip_log import trip_log
from castshed.toolbox.errors import DataWarning, UsageError
from castshed.toolbox.layers import list_layers, read_layer, write_layers
from castshed.toolbox.output.formats.gpx import to_gpx
from castshed.toolbox.sources import read_source
from castshed.toolbox.sources.source_table import SourceTable
from long_tests import as_many

LON, LAT = -85.2, 35.76
CRS = "EPSG:32616"
X0, Y0 = pyproj.Transformer.from_crs("EPSG:4326", CRS, always_xy=True).transform(LON, LAT)
SHORE = geopandas.GeoDataFrame(
    {"name": ["made"]}, geometry=[shapely.box(X0 - 2000, Y0 - 2000, X0 + 2000, Y0 + 2000)], crs=CRS
)
TO_DEGREES = pyproj.Transformer.from_crs(CRS, "EPSG:4326", always_xy=True)
CELLS = ("spot_id", "name", "kind", "note", "rating", "depth_m", "height_m", "remark", "merged_from", "extra")


def a_book(*rows):
    """Rows of id, name, kind, note, metres east and north of the middle."""
    frame = pd.DataFrame(
        [(i, n, k, t) for i, n, k, t, *_ in rows], columns=["spot_id", "name", "kind", "note"], dtype=object
    )
    frame["rating"], frame["depth_m"], frame["height_m"] = 3.0, 4.5, np.nan
    frame["position_error_m"], frame["surveyed"], frame["source"] = 5.0, "2024-05-06", "mine"
    points = [shapely.Point(X0 + e, Y0 + n) for *_, e, n in rows]
    return geopandas.GeoDataFrame(frame, geometry=points, crs=CRS)


BOOK = a_book(
    ("A1", "Mill brush", "brush", "two piles", 0, 0),
    ("A2", "Long point", "point", "runs out 60 yd", 300, 0),
    ("A3", "", "rock_pile", "", 0, 400),
)


def brought(header, *rows, name="home.csv"):
    return SourceTable.make(
        name, "csv", [dict(zip(header, row, strict=True)) for row in rows], line=range(2, len(rows) + 2), counted="line",
        text=[",".join(row) for row in rows], problem=[""] * len(rows), columns=header,
    )  # fmt: skip


def home(*tables, book=BOOK, **options):
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", DataWarning)
        return trip_log(
            book, list(tables), shoreline=SHORE, **{"date": "2026-05-16", "depth_unit": "ft", **options}
        )


def at(east, north):
    lon, lat = TO_DEGREES.transform(X0 + east, Y0 + north)
    return f"{lat:.7f}", f"{lon:.7f}"


HEAD = ["id", "name", "lat", "lon", "depth", "type", "note"]


def statuses(change):
    lines = change.layers["changes"]
    return dict(zip(lines.spot_id, lines.status, strict=True))


# What is what --------------------------------------------------------------------------------------------------------


def test_new_moved_changed_same_and_missing():
    change = home(
        brought(
            HEAD,
            ("A1", "Mill brush", *at(12, 5), "", "brush", "two piles"),
            ("A2", "Long point", *at(300, 0), "", "point", "nothing on it"),
            ("", "Fresh stumps", *at(-700, 0), "9 ft", "stumps", "saw them"),
        )
    )
    lines = change.layers["changes"]
    assert lines.status.tolist() == ["moved", "changed", "new", "missing"]
    assert lines.moved_m[0] == pytest.approx(13.0, abs=0.05)  # 5, 12, 13
    spots = change.layers["spots"].set_index("spot_id")
    assert spots.loc["A1"].geometry.distance(shapely.Point(X0 + 12, Y0 + 5)) < 0.05
    assert spots.loc["A2"].note == "runs out 60 yd; nothing on it"
    assert spots.loc["A3"].kind == "rock_pile"
    fresh = spots[spots.name.eq("Fresh stumps")].iloc[0] if "name" in spots else None
    assert (fresh.kind, round(fresh.depth_m, 4)) == ("stumps", 2.7432)
    assert change.figures == {"new": 1, "moved": 1, "changed": 1, "same": 0, "missing": 1, "set_aside": 0}
    assert change.history.status.tolist() == ["moved", "changed", "new"]
    assert change.history.trip_date.tolist() == ["2026-05-16"] * 3


def test_a_spot_is_found_by_name_and_by_place():
    change = home(
        brought(
            ["name", "lat", "lon", "note"],
            ("MILL  BRUSH", *at(150, 0), "moved by wind"),
            ("rocks", *at(3, 402), "ok"),
        )
    )
    lines = change.layers["changes"]
    assert lines.found_by.tolist()[:2] == ["name", "place"]
    assert lines.spot_id.tolist()[:2] == ["A1", "A3"]
    spots = change.layers["spots"].set_index("spot_id")
    assert spots.loc["A3"].geometry.equals(BOOK.geometry[2])
    assert spots.loc["A3", "name"] == "rocks"


def test_a_name_far_off_is_another_spot():
    change = home(brought(["name", "lat", "lon"], ("Mill brush", *at(900, 900))))
    assert change.layers["changes"].status.tolist() == ["new", "missing", "missing", "missing"]
    assert len(change.layers["spots"]) == 4


def test_outcomes_come_into_columns_of_their_own():
    notes = brought(
        ["id", "fished", "result", "note", "date"],
        ("A1", "yes", "3 bass", "on the north side", "2026-05-15"), ("nobody", "no", "", "", ""),
    )  # fmt: skip
    change = home(notes)
    spot = change.layers["spots"].set_index("spot_id").loc["A1"]
    assert spot[["fished", "result", "trip_note", "trip_date"]].tolist() == ["yes", "3 bass", "on the north side", "2026-05-15"]  # fmt: skip
    assert spot.geometry.equals(BOOK.geometry[0])
    assert change.layers["set_aside"].reason.tolist() == [
        "it has no position, and no spot of the book has its id or name"
    ]
    assert statuses(change)["A1"] == "changed"


def test_an_empty_cell_changes_nothing():
    change = home(brought(HEAD, ("A1", "", *at(0, 0), "", "", "")))
    assert statuses(change)["A1"] == "same"
    pd.testing.assert_frame_equal(
        pd.DataFrame(change.layers["spots"][["name", "kind", "note"]]),
        pd.DataFrame(BOOK[["name", "kind", "note"]]),
    )


def test_an_old_name_goes_into_the_remark():
    change = home(brought(HEAD, ("A1", "Cedar hole", *at(0, 0), "", "", "")))
    spot = change.layers["spots"].iloc[0]
    assert (spot["name"], spot.remark) == ("Cedar hole", "was called Mill brush")


def test_the_book_given_stays_as_it_is():
    before = BOOK.copy(deep=True)
    change = home(brought(HEAD, ("A1", "Cedar hole", *at(50, 0), "3 m", "rock", "x")))
    assert_geodataframe_equal(BOOK, before)
    assert_geodataframe_equal(change.earlier, before, check_dtype=False)


def test_a_date_that_is_none_is_refused():
    with pytest.raises(UsageError, match="write the day"):
        home(brought(HEAD), date="16.5.2026")


WORDS = st.text(st.characters(codec="utf-8", exclude_categories=("Cs", "Cc")), max_size=8)


@settings(
    max_examples=as_many(30),
    deadline=None,
    suppress_health_check=[HealthCheck.too_slow],
    phases=(Phase.explicit, Phase.generate),
)
@given(
    st.lists(
        st.tuples(
            st.sampled_from(["A1", "A2", "", "Z9"]), st.one_of(WORDS, st.just("Mill brush")), st.integers(-900, 900),
            st.integers(-900, 900), st.sampled_from(["", "brush", "rock"]), WORDS,
        ),
        max_size=6,
    )
)  # fmt: skip
def test_nothing_in_the_book_is_lost_and_every_row_is_accounted_for(rows):
    table = brought(HEAD, *((i, n, *at(e, m), "", k, t) for i, n, e, m, k, t in rows))
    change = home(table)
    spots, lines = change.layers["spots"].set_index("spot_id"), change.layers["changes"]
    assert spots.index.is_unique
    assert (lines.status != "missing").sum() + len(change.layers["set_aside"]) == len(rows)
    assert len(spots) == len(BOOK) + (lines.status == "new").sum()
    for old in BOOK.itertuples():
        spot = spots.loc[old.spot_id]
        assert old.note in spot.note
        assert old.name in (spot["name"], "") or f"was called {old.name}" in spot.remark
        assert (spot.rating, spot.depth_m) == (old.rating, old.depth_m)


# There and back ------------------------------------------------------------------------------------------------------


def demo_book():
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", DataWarning)
        rows = [
            ("1", 'Mühle <brush> & "co"', *at(0, 0), "8-12", "cedar", "two piles; look at 5' 6\". Note: here"),
            ("2", "Hump", *at(100, 0), "3 m", "hump", ""),
            ("3", "hump", *at(200, 0), "", "fish attractor", "=cmd()"),
            ("4", "", *at(300, 0), "12", "", "Bottom 3 ft (0.9 m) down today."),
        ]  # fmt: skip
        one = gather_spots([brought(HEAD, *rows, name="list.csv")], shoreline=SHORE, depth_unit="ft").spots
        two = brought(["name", "lat", "lon", "note"], ("Mill", *at(2, 1), "my own"), name="own.csv")
        return gather_spots([SourceTable.from_frame(one, "book"), two], shoreline=SHORE).spots


def export_gpx(layers, **options):
    return to_gpx(layers, title="Fishing run", **options)


def as_told(book):
    cells = [["" if isinstance(v, float) and math.isnan(v) else str(v) for v in book[c]] for c in CELLS]
    return list(zip(*cells, strict=True))


def through_gpsbabel(data, folder):
    (folder / "out.gpx").write_bytes(data)
    subprocess.run(
        ["gpsbabel", "-i", "gpx", "-f", "out.gpx", "-o", "gpx", "-F", "back.gpx"],
        cwd=folder,
        check=True,
        capture_output=True,
    )
    return (folder / "back.gpx").read_bytes()


def unchanged(data, folder):
    return data


@pytest.mark.parametrize("program", [unchanged, through_gpsbabel])
@pytest.mark.parametrize("level_m", [None, -1.2, -5.0])
def test_an_exported_book_comes_home_the_same(tmp_path, program, level_m):
    if program is through_gpsbabel and shutil.which("gpsbabel") is None:
        pytest.skip("gpsbabel is not on this machine")
    book = demo_book()
    (tmp_path / "home.gpx").write_bytes(program(export_gpx({"spots": book}, level_m=level_m), tmp_path))
    change = home(read_source(str(tmp_path / "home.gpx")), book=book)
    lines = change.layers["changes"]
    assert lines.status.tolist() == ["same"] * len(book), lines.what.tolist()
    assert as_told(change.layers["spots"]) == as_told(book)
    degrees = [
        shapely.get_coordinates(frame.to_crs("EPSG:4326").geometry)
        for frame in (change.layers["spots"], book)
    ]
    assert np.abs(degrees[0] - degrees[1]).max() < 1e-7


@pytest.mark.parametrize("program", [unchanged, through_gpsbabel])
def test_what_was_edited_in_another_program_comes_home(tmp_path, program):
    if program is through_gpsbabel and shutil.which("gpsbabel") is None:
        pytest.skip("gpsbabel is not on this machine")
    text = export_gpx({"spots": BOOK}, level_m=-1.0).decode()
    edited = text.replace("<name>Mill brush</name>", "<name>Mill cedar</name>")
    edited = re.sub(r"(<name>Long point</name>\s*<desc>[^<]*)", r"\1 Three big ones on the tip", edited)
    assert edited.count("Three big ones") == 1
    (tmp_path / "home.gpx").write_bytes(program(edited.encode(), tmp_path))
    spots = home(read_source(str(tmp_path / "home.gpx"))).layers["spots"].set_index("spot_id")
    assert spots.loc["A1", "name"] == "Mill cedar"
    assert spots.loc["A2", "note"] == "runs out 60 yd; Three big ones on the tip"
    assert spots.loc["A3", "kind"] == "rock_pile"
    assert spots.rating.tolist() == [3.0] * 3


@settings(
    max_examples=as_many(60),
    deadline=None,
    suppress_health_check=[HealthCheck.too_slow],
    phases=(Phase.explicit, Phase.generate),
)
@given(
    st.lists(
        st.tuples(WORDS, st.one_of(WORDS, st.sampled_from(["Note: x.", "Brush.", "Source: y", "Rated 3 of 5."]))),
        min_size=1, max_size=4,
    ),
    st.sampled_from([None, -1.0]),
)  # fmt: skip
def test_whatever_names_and_notes_are_they_come_home(tmp_path_factory, texts, level_m):
    tidy = [tuple(" ".join(text.split()) for text in pair) for pair in texts]
    book = a_book(*((f"S{i}", name, "brush", note, 100 * i, 0) for i, (name, note) in enumerate(tidy)))
    path = tmp_path_factory.getbasetemp() / "any.gpx"
    path.write_bytes(export_gpx({"spots": book}, level_m=level_m))
    change = home(read_source(str(path)), book=book)
    assert change.layers["changes"].status.tolist() == ["same"] * len(book), change.layers[
        "changes"
    ].what.tolist()


@pytest.mark.parametrize("layer", ["holds", "exposed_holds"])
def test_holds_and_stops_of_a_plan_are_no_spots(tmp_path, layer):
    hold = BOOK.iloc[[0]][["spot_id", "geometry"]].assign(hold_no=1, status="ok", depth_today_m=5.0)
    (tmp_path / "run.gpx").write_bytes(export_gpx({"spots": BOOK, layer: hold}))
    change = home(read_source(str(tmp_path / "run.gpx")))
    assert set(statuses(change).values()) == {"same"}
    assert change.layers["set_aside"].reason.tolist() == ["it is a hold of an exported plan, no spot"]


# On the command line -------------------------------------------------------------------------------------------------


def run(*words, folder):
    return in_process.castshed("trip-log", *words, cwd=folder)


def test_nothing_is_written_unless_asked_and_the_past_is_kept(tmp_path):
    write_layers(tmp_path / "book.gpkg", {"spots": BOOK, "shoreline": SHORE})
    (tmp_path / "home.csv").write_text(
        "id,name,lat,lon,note\n" + ",".join(("A1", "Mill brush", *at(30, 0), "seen")) + "\n", encoding="utf-8"
    )
    words = (
        "book.gpkg:spots",
        "home.csv",
        "--shoreline",
        "book.gpkg:shoreline",
        "--date",
        "2026-05-16",
        "--out",
        "book.gpkg",
    )
    before = (tmp_path / "book.gpkg").read_bytes()
    dry = run(*words, folder=tmp_path)
    assert dry.returncode == 0, dry.stderr
    assert "moved    A1" in dry.stdout
    assert "0 new, 1 moved, 0 changed, 0 same, 2 missing" in dry.stdout
    assert "Nothing was written" in dry.stdout
    assert (tmp_path / "book.gpkg").read_bytes() == before
    for count in (1, 2):
        done = run(*words, "--replace", folder=tmp_path)
        assert done.returncode == 0, done.stderr
        past = [name for name in list_layers(tmp_path / "book.gpkg") if name.startswith("spots_")]
        assert len(past) == count
    first = read_layer(str(tmp_path / "book.gpkg") + f":{min(past, key=len)}")
    assert as_told_short(first) == as_told_short(BOOK)
    assert first.geometry.geom_equals_exact(BOOK.geometry, 1e-9).all()
    history = read_layer(str(tmp_path / "book.gpkg") + ":history")
    assert history.status.tolist() == ["moved"]
    assert history.source.tolist() == ["home.csv"]
    with sqlite3.connect(tmp_path / "book.gpkg") as db:
        assert db.execute("PRAGMA integrity_check").fetchone() == ("ok",)


def as_told_short(frame):
    return [
        tuple("" if v is None else str(v) for v in row)
        for row in frame[["spot_id", "name", "kind", "note"]].to_numpy()
    ]
