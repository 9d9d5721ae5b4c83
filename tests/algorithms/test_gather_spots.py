"""The book: every row in is a spot, part of a spot, or set aside; joins are sound, whole, and can be taken back."""

import itertools
import json
import math
import subprocess
import sys
import time
import warnings

import geopandas
import numpy as np
import pytest
import shapely
from geographiclib.geodesic import Geodesic
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from castshed.algorithms.gather_spots import gather_spots
from castshed.toolbox.errors import CrsError, DataError, DataWarning, UsageError
from castshed.toolbox.intake.book.book import COLUMNS
from castshed.toolbox.sources import read_source
from castshed.toolbox.sources.kinds import alike, read_kinds
from castshed.toolbox.sources.source_table import SourceTable
from castshed.toolbox.testing import assert_layer_equal, check_algorithm
from long_tests import as_many

LON, LAT = -85.2, 35.76
HEADER = "id,name,lat,lon,depth,type,note"


def _shoreline():
    box = shapely.box(LON - 0.02, LAT - 0.02, LON + 0.02, LAT + 0.02)
    return geopandas.GeoDataFrame({"name": ["made"]}, geometry=[box], crs="EPSG:4326").to_crs("EPSG:32616")


SHORE = _shoreline()


def table(folder, name, *rows, header=HEADER):
    path = folder / name
    path.write_text("\n".join((header, *rows)) + "\n", encoding="utf-8")
    return read_source(str(path))


def made(name, rows, header=HEADER):
    """A source without a file: rows of cells."""
    keys = header.split(",")
    return SourceTable.make(
        name, "csv", [dict(zip(keys, row, strict=True)) for row in rows], line=range(2, len(rows) + 2), counted="line",
        text=[",".join(row) for row in rows], problem=[""] * len(rows), columns=keys,
    )  # fmt: skip


def gather(*sources, **options):
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", DataWarning)
        return gather_spots(list(sources), shoreline=SHORE, **{"depth_unit": "ft", **options})


def take_apart(cell):
    """The rows a spot was made of, as its ``merged_from`` keeps them."""
    return [
        {**one, "geometry": shapely.from_wkt(one.pop("wkt"))} for one in (json.loads(cell) if cell else [])
    ]


def off(east_m, north_m, lat=LAT, lon=LON):
    """Latitude and longitude so far from the middle of the lake, by another geodesic library."""
    azimuth, distance = math.degrees(math.atan2(east_m, north_m)), math.hypot(east_m, north_m)
    there = Geodesic.WGS84.Direct(lat, lon, azimuth, distance)
    return f"{there['lat2']:.7f}", f"{there['lon2']:.7f}"


# One source ----------------------------------------------------------------------------------------------------------


def test_a_row_becomes_a_spot_with_every_column(tmp_path):
    book = gather(table(tmp_path, "list.csv", "17,Mill,35.7512345,-85.2,10-15,Cedar trees,two piles")).spots
    spot = book.iloc[0]
    assert list(book.columns) == [*COLUMNS, "geometry"]
    assert book.crs == SHORE.crs
    assert spot[["spot_id", "name", "kind", "note", "source", "kind_text", "depth_text"]].tolist() == [
        "17", "Mill", "conifer_brush", "two piles", "list.csv", "Cedar trees", "10-15",
    ]  # fmt: skip
    assert spot[["depth_m", "depth_least_m", "depth_most_m"]].tolist() == pytest.approx([3.048, 3.048, 4.572])
    assert spot.rows == 1
    assert math.isnan(spot.height_m)


def test_positions_agree_with_another_geodesic_library(tmp_path):
    # Distances between spots in UTM, over the scale factor there, against geographiclib on the ellipsoid.
    points = [off(300, 400), off(-500, 200), off(100, -700)]
    rows = [f"{i},,{lat},{lon},,,," for i, (lat, lon) in enumerate(points)]
    shapes = gather(table(tmp_path, "a.csv", *rows)).spots.geometry
    for i, j in itertools.combinations(range(3), 2):
        (a, b), (c, d) = (map(float, points[k]) for k in (i, j))
        true = Geodesic.WGS84.Inverse(a, b, c, d)["s12"]
        factor = 0.9996 * (
            1 + (662_000 - 500_000) ** 2 / (2 * 6_371_000**2)
        )  # Snyder 1987, eq. 8-11 shortened (worked)
        assert shapes[i].distance(shapes[j]) / factor == pytest.approx(true, rel=2e-5)


def test_a_repair_is_said_with_what_was_written(tmp_path):
    book, aside, _ = gather(
        table(
            tmp_path,
            "a.csv",
            "1,,35.7512345,85.2011111,,,",
            "2,,-85.2022222,35.7523456,,,",
            "3,,35.7534567,-85.2033333,,,",
        )
    )
    assert len(aside) == 0
    assert book.remark.tolist() == [
        "minus sign added to the longitude (written: 35.7512345, 85.2011111)",
        "latitude and longitude swapped (written: -85.2022222, 35.7523456)",
        "",
    ]


def test_a_row_without_a_place_is_set_aside_with_line_text_and_reason(tmp_path):
    rows = [
        "1,ok,35.7512,-85.2,,,",
        "2,far,36.9,-85.2,12,brush,keep me",
        "",
        "3,bad,n/a,?,12,brush,",
        "4,gap,,,,,",
    ]
    book, aside, _ = gather(table(tmp_path, "a.csv", *rows))
    assert book.spot_id.tolist() == ["1"]
    assert aside.line.tolist() == [3, 5, 6]
    assert aside.text.tolist() == [rows[1], rows[3], rows[4]]
    assert ["127 km" in aside.reason[0], "'n/a' is not an angle" in aside.reason[1], aside.reason[2]] == [
        True, True, "it has no position",
    ]  # fmt: skip
    assert set(aside.source) == {"a.csv"}


def test_a_spot_on_land_near_the_shore_is_kept(tmp_path):
    lat, lon = off(0, 2219 + 400)  # the box ends 0.02 degree, 2,219 m, north of the middle
    assert len(gather(table(tmp_path, "a.csv", f"1,,{lat},{lon},,,")).spots) == 1
    assert len(gather(table(tmp_path, "a.csv", f"1,,{lat},{lon},,,"), outside_m=100.0).set_aside) == 1


def test_coarse_coordinates_widen_the_position_error(tmp_path):
    # Half of 0.001 degree is 55.6 m of latitude; 45.2 m of longitude at 35.76 N (worked).
    row = gather(table(tmp_path, "a.csv", "1,,35.751,-85.203,,,"), spot_error_m=0.0).spots.iloc[0]
    assert row.position_error_m == pytest.approx(math.hypot(55.6, 45.2), rel=0.01)
    stated = table(tmp_path, "b.csv", "35.7512345,-85.2031234,3 m", header="lat,lon,accuracy")
    assert gather(stated).spots.position_error_m[0] == pytest.approx(3.0, abs=0.01)


def test_depths_of_the_top_and_the_side_they_are_taken_on(tmp_path):
    header = "lat,lon,depth,height,top depth"
    rows = [
        "35.7512345,-85.2,,6,8",
        "35.7522345,-85.2,14,,8",
        "35.7532345,-85.2,14,3-5,",
        "35.7542345,-85.2,8 over 14,,",
    ]
    book = gather(table(tmp_path, "a.csv", *rows, header=header)).spots
    feet = book[["depth_m", "height_m", "top_depth_m"]].to_numpy() / 0.3048
    expected = [[14, 6, 8], [14, 6, 8], [14, 5, math.nan], [14, 6, 8]]
    assert feet == pytest.approx(np.array(expected), nan_ok=True)
    top = gather(table(tmp_path, "b.csv", "1,,35.7512345,-85.2,8,,"), depth_of="top").spots.iloc[0]
    assert (math.isnan(top.depth_m), top.top_depth_m) == (True, pytest.approx(8 * 0.3048))


def test_a_depth_without_a_unit_is_not_guessed(tmp_path):
    source = table(tmp_path, "a.csv", "1,,35.7512345,-85.2,12,,")
    with pytest.warns(DataWarning, match="without a unit"):
        book, *_ = gather_spots([source], shoreline=SHORE)
    assert math.isnan(book.depth_m[0])
    assert "'12' has no unit" in book.remark[0]
    assert book.depth_text[0] == "12"


def test_what_no_role_takes_is_kept(tmp_path):
    source = table(tmp_path, "a.csv", "35.7512345,-85.2,7 anchors,=cmd()", header="lat,lon,Ballast,Crew")
    assert json.loads(gather(source).spots.extra[0]) == {"Ballast": "7 anchors", "Crew": "=cmd()"}


def test_guessed_columns_are_shown():
    with pytest.warns(DataWarning, match=r"latitude from 'Y', longitude from 'X'"):
        gather_spots([made("a.csv", [["35.75", "-85.2"]], "Y,X")], shoreline=SHORE)


def test_columns_and_kinds_of_the_users_own(tmp_path):
    source = table(tmp_path, "a.csv", "35.7512345,-85.2,Spring hole,12", header="Breite,Laenge,Art,Tiefe")
    book = gather(
        source,
        columns=["latitude=Breite", "longitude=laenge", "kind=Art", "depth=Tiefe"],
        kind_words=["spring hole=pocket"],
    ).spots
    assert (book.kind[0], book.depth_m[0]) == ("pocket", pytest.approx(12 * 0.3048))
    for bad in ({"columns": ["depth=Nowhere"]}, {"columns": ["x"]}, {"kind_words": ["a=b"]}):
        with pytest.raises(UsageError):
            gather(source, **bad)
    with pytest.raises(UsageError, match="no columns of coordinates were found among Breite, Laenge"):
        gather(source)


def test_x_and_y_in_metres_of_the_lake(tmp_path):
    west, south, *_ = SHORE.total_bounds
    x, y = f"{west + 1000:.2f}", f"{south + 900:.2f}"
    for header in ("X,Y", "Easting,Northing"):
        book, aside, _ = gather(table(tmp_path, "a.csv", f"{x},{y}", "1,1", header=header))
        assert book.geometry[0].equals_exact(shapely.Point(float(x), float(y)), 1e-9)
        assert len(aside) == 1


# Identities -------------------------------------------------------------------------------------------------------------


def test_ids_are_kept_and_those_missing_are_made_of_source_and_line(tmp_path):
    a = table(
        tmp_path,
        "Agency list.csv",
        "7,,35.7512345,-85.2012345,,,",
        ",,35.7522345,-85.2012345,,,",
        "7,,35.7532345,-85.2012345,,,",
    )
    b = table(tmp_path, "own.csv", "7,,35.7542345,-85.2012345,,,", "9,,35.7552345,-85.2012345,,,")
    ids = gather(a, b).spots.spot_id.tolist()
    assert ids == ["7", "agency-list-3", "agency-list-7", "own-7", "9"]
    assert gather(a).spots.spot_id.tolist() == ids[:3]  # a source added later changes no id


def test_the_same_file_twice_is_the_same_book(tmp_path):
    rows = [
        f"{i},n{i},{lat},{lon},12,brush,x"
        for i, (lat, lon) in enumerate(off(60 * i, -40 * i) for i in range(12))
    ]
    one = table(tmp_path, "a.csv", *rows)
    once, twice = gather(one).spots, gather(one, one).spots
    assert twice.spot_id.tolist() == once.spot_id.tolist()
    assert twice.rows.tolist() == [2] * 12
    assert twice.note.tolist() == once.note.tolist()


def test_a_row_copied_within_a_source_is_one_spot_but_only_letter_for_letter(tmp_path):
    row = "5,A,35.7512345,-85.2,12,brush,x"
    book = gather(
        table(tmp_path, "a.csv", row, row, row.replace("x", "y"), ",A,35.76,-85.2,,,", ",A,35.76,-85.2,,,")
    ).spots
    assert book.rows.tolist() == [2, 1, 1, 1]


# Joins ------------------------------------------------------------------------------------------------------------------


def _pair(tmp_path, apart_m, kind_a="cedar", kind_b="brush pile", **options):
    (lat_a, lon_a), (lat_b, lon_b) = off(0, 0), off(apart_m, 0)
    a = table(tmp_path, "agency.csv", f"7,Site 7,{lat_a},{lon_a},14,{kind_a},agency note")
    b = table(tmp_path, "own.csv", f"3,Old cedar,{lat_b},{lon_b},13,{kind_b},own note")
    return gather(a, b, **options)


# Two errors of 8 m (GPS SPS performance standard 2020, 95 %): the difference of two positions is within
# sqrt(8^2 + 8^2) = 11.3 m.
@pytest.mark.parametrize(("apart_m", "spots"), [(0.0, 1), (11.0, 1), (11.6, 2), (30.0, 2)])
def test_rows_within_their_errors_are_one_place(tmp_path, apart_m, spots):
    assert len(_pair(tmp_path, apart_m).spots) == spots


def test_a_coarse_row_does_not_swallow_its_neighbourhood(tmp_path):
    # Two decimals are good to some 600 m; rows 70 m and 50 m off lie beyond and within sqrt(60^2 + 8^2) = 60.5 m.
    coarse = table(tmp_path, "a.csv", "1,,35.76,-85.20,,,")
    for metres, spots in ((70, 2), (50, 1)):
        lat, lon = off(metres, 0)
        assert len(gather(coarse, table(tmp_path, "b.csv", f"9,,{lat},{lon},,,")).spots) == spots


def test_other_kinds_and_a_wish_keep_rows_apart(tmp_path):
    assert len(_pair(tmp_path, 2.0, "rock pile", "stake bed").spots) == 2
    assert len(_pair(tmp_path, 2.0, merge=False).spots) == 2


def test_a_joined_spot_keeps_both_and_takes_the_better_position(tmp_path):
    header = HEADER + ",accuracy,year placed,rating"
    a = table(
        tmp_path, "agency.csv", "7,Site 7,35.7512345,-85.2,14,cedar,agency note,9 m,2012,", header=header
    )
    b = table(
        tmp_path, "own.csv", "3,Old cedar,35.7512745,-85.2,11,brush pile,own note,3 m,,4", header=header
    )
    spot = gather(a, b).spots.iloc[0]
    better = gather(b).spots.iloc[0]
    assert spot.spot_id == "7"
    assert (spot["name"], spot.source, spot.note) == (
        "Old cedar / Site 7", "own.csv; agency.csv", "own note; agency note",
    )  # fmt: skip
    assert spot.geometry.equals_exact(better.geometry, 0.0)
    assert spot.position_error_m == better.position_error_m
    assert (spot.kind, spot.placed, spot.rating, spot.rows) == ("conifer_brush", "2012", 4.0, 2)
    assert spot.depth_m == pytest.approx(11 * 0.3048)  # the shallower of the two
    assert "depths differ: 3.35 m (own.csv), 4.27 m (agency.csv)" in spot.remark


def test_a_join_can_be_taken_back(tmp_path):
    rows_a = [
        f"a{i},A{i},{lat},{lon},12,brush,na{i}"
        for i, (lat, lon) in enumerate(off(50 * i, 0) for i in range(6))
    ]
    rows_b = [
        f"b{i},B{i},{lat},{lon},13,cedar,nb{i}"
        for i, (lat, lon) in enumerate(off(50 * i + 4, 3) for i in range(6))
    ]
    a, b = table(tmp_path, "a.csv", *rows_a), table(tmp_path, "b.csv", *rows_b)
    joined, apart = gather(a, b).spots, gather(a, b, merge=False).spots
    assert joined.rows.tolist() == [2] * 6
    back = {m["text"]: m for cell in joined.merged_from for m in take_apart(cell)}
    assert set(back) == {*rows_a, *rows_b}
    for spot, text in zip(apart.itertuples(), [*rows_a, *rows_b], strict=True):
        member = back[text]
        assert (member["spot_id"], member["name"], member["note"], member["kind"]) == (
            spot.spot_id, spot.name, spot.note, spot.kind,
        )  # fmt: skip
        assert member["depth_m"] == spot.depth_m
        assert member["geometry"].equals_exact(spot.geometry, 0.0)


def test_a_book_gathered_again_is_the_same_book(tmp_path):
    a = table(tmp_path, "a.csv", "7,Mill,35.7512345,85.2,10-15,Cedar trees,x", "8,Far,36.9,-85.2,,,")
    b = table(
        tmp_path, "b.csv", "3,Old,35.7512745,-85.2,11,fish attractor,y", "4,Lone,35.7612345,-85.2,,Flag,z"
    )
    book = gather(a, b).spots
    again = gather(SourceTable.from_frame(book, "book")).spots
    keep = [c for c in COLUMNS if c != "rows"]
    assert_layer_equal(again[[*keep, "geometry"]], book[[*keep, "geometry"]])
    third = gather(
        SourceTable.from_frame(book, "book"), table(tmp_path, "c.csv", "1,New,35.7512500,-85.2,,cedar,w")
    ).spots
    assert [m["name"] for m in take_apart(third.merged_from[0])] == ["Mill", "Old", "New"]


def test_lines_and_areas_join_only_when_the_whole_shape_is_the_same():
    line = shapely.LineString([(0, 0), (200, 0), (200, 90)])
    west, south, *_ = SHORE.total_bounds

    def layer(shape, name):
        moved = shapely.transform(shape, lambda p: np.add(p, (west + 900, south + 900)))
        return SourceTable.from_frame(
            geopandas.GeoDataFrame({"name": [name], "kind": ["ledge"]}, geometry=[moved], crs=SHORE.crs), name
        )

    near, part = shapely.transform(line, lambda p: np.add(p, (3, 3))), shapely.LineString([(0, 0), (100, 0)])
    assert len(gather(layer(line, "a"), layer(near, "b")).spots) == 1
    assert len(gather(layer(line, "a"), layer(part, "b")).spots) == 2
    assert len(gather(layer(line, "a"), layer(shapely.Point(100, 0), "b")).spots) == 2


def _brute_force_check(book, sources):
    """Another way to see that joins are sound and whole: look at every pair of rows and of spots."""
    groups = []
    for spot in book.itertuples():
        members = take_apart(spot.merged_from)
        if not members:
            kind = read_kinds([spot.kind_text or spot.kind])[0]
            groups.append([(spot.geometry, spot.position_error_m, spot.source, kind)])
            continue
        groups.append(
            [
                (
                    m["geometry"],
                    m["position_error_m"],
                    m["source_name"],
                    read_kinds([m["kind_text"] or m["kind"]])[0],
                )
                for m in members
            ]
        )

    def may_join(a, b):
        return a[2] != b[2] and alike(a[3], b[3]) and a[0].distance(b[0]) <= math.hypot(a[1], b[1])

    for group in groups:
        assert all(may_join(a, b) for a, b in itertools.combinations(group, 2)), "an unsound join"
    for one, two in itertools.combinations(groups, 2):
        assert not all(may_join(a, b) for a in one for b in two), (
            "two spots that are one place were left apart"
        )


@given(st.integers(0, 10_000), st.integers(2, 4), st.sampled_from([40.0, 120.0, 400.0]))
@settings(max_examples=as_many(25), deadline=None)
def test_joins_are_sound_and_none_is_left_out(seed, how_many, spread_m):
    rng = np.random.default_rng(seed)
    kinds = ["cedar", "brush pile", "oak tops", "fish attractor", "rock pile", "hump", ""]
    sources = []
    for k in range(how_many):
        rows = [
            [
                f"s{k}-{i}",
                "",
                *off(*rng.uniform(-spread_m, spread_m, 2)),
                "",
                kinds[rng.integers(len(kinds))],
                f"n{k}-{i}",
            ]
            for i in range(int(rng.integers(1, 14)))
        ]
        sources.append(made(f"s{k}.csv", rows))
    _brute_force_check(gather(*sources).spots, sources)


# Nothing lost -------------------------------------------------------------------------------------------------------------

CELLS = {
    "lat": st.sampled_from(["35.7512", "35.76", "-35.7512", "-85.2031", "35 45.1 N", "35°45'30\"", "n/a", "", "99", "0", "1e9", "35,751"]),
    "lon": st.sampled_from(["-85.2011", "85.2011", "-85.2", "85 12.1 W", "35.7512", "85°12'E", "?", "", "-185", "0", "=A1"]),
    "depth": st.sampled_from(["", "10-15", "10'", "8 to 12 ft", "unknown", "-4", "x", "3 m", "9" * 90]),
    "type": st.sampled_from(["", "cedar", "brush", "rock", "Flag", "hump", "?"]),
    "id": st.sampled_from(["", "1", "2", "3", "A-1"]),
    "name": st.text("ab é=+@,\"'", max_size=6),
}  # fmt: skip


@st.composite
def _dirty_sources(draw):
    sources, token = [], itertools.count()
    for k in range(draw(st.integers(1, 3))):
        rows = [
            [draw(CELLS[key]) if key != "note" else f"token-{next(token)}." for key in HEADER.split(",")]
            for _ in range(draw(st.integers(0, 8)))
        ]
        sources.append(made(draw(st.sampled_from(["a.csv", "b.gpx", "Ü list.kml"])) if k else "a.csv", rows))
    return sources, next(token)


@given(_dirty_sources())
@settings(max_examples=as_many(120), deadline=None, suppress_health_check=[HealthCheck.too_slow])
def test_rows_in_are_spots_plus_joined_plus_set_aside(drawn):
    sources, tokens = drawn
    book, aside, _ = gather(*sources)
    assert book.rows.sum() + len(aside) == tokens
    assert book.spot_id.is_unique
    assert (aside.reason != "").all()
    # Each row's token is in exactly one place, and a joined spot still holds the whole row.
    for n in range(tokens):
        mark = f"token-{n}."
        in_spots = [i for i, note in enumerate(book.note) if mark in note]
        in_aside = [i for i, text in enumerate(aside.text) if mark in text]
        assert len(in_spots) + len(in_aside) == 1
        if in_spots and book.rows[in_spots[0]] > 1:
            texts = [m["text"] for m in take_apart(book.merged_from[in_spots[0]])]
            assert sum(mark in text for text in texts) == 1


@given(_dirty_sources(), st.randoms())
@settings(max_examples=as_many(30), deadline=None, suppress_health_check=[HealthCheck.too_slow])
def test_every_spot_lies_on_the_lake_and_names_only_what_its_rows_name(drawn, rng):
    sources, _ = drawn
    book, *_ = gather(*sources)
    west, south, east, north = SHORE.total_bounds
    assert ((book.geometry.x > west - 501) & (book.geometry.x < east + 501)).all()
    assert ((book.geometry.y > south - 501) & (book.geometry.y < north + 501)).all()
    assert (book.position_error_m >= 8.0).all()


# Edges ---------------------------------------------------------------------------------------------------------------------


def test_no_source_and_an_empty_source_give_an_empty_book_with_all_columns():
    for sources in ([], [made("a.csv", [])]):
        book, aside, _ = gather(*sources)
        assert (len(book), len(aside)) == (0, 0)
        assert list(book.columns) == [*COLUMNS, "geometry"]
        assert book.crs == aside.crs == SHORE.crs


def test_what_is_no_source_and_what_has_no_reference_system_is_refused():
    with pytest.raises(UsageError, match="read_source"):
        gather(SHORE)
    bare = geopandas.GeoDataFrame({"name": ["A"]}, geometry=[shapely.Point(1, 2)])
    with pytest.raises(CrsError, match="no coordinate reference system"):
        gather(SourceTable.from_frame(bare, "bare"))


def test_geometry_that_cannot_be_used_is_mended_or_set_aside():
    west, south, *_ = SHORE.total_bounds
    bow = shapely.Polygon([(0, 0), (10, 10), (10, 0), (0, 10)])
    shapes = [bow, shapely.GeometryCollection([shapely.Point(0, 0)]), None, shapely.Point()]
    shapes = [
        s if s is None else shapely.transform(s, lambda p: np.add(p, (west + 900, south + 900)))
        for s in shapes
    ]
    frame = geopandas.GeoDataFrame({"name": list("abcd")}, geometry=shapes, crs=SHORE.crs)
    book, aside, _ = gather(SourceTable.from_frame(frame, "x"))
    assert book["name"].tolist() == ["a"]
    assert book.geometry.is_valid.all()
    assert book.geometry.area[0] == pytest.approx(50.0)
    assert aside.line.tolist() == [2, 3, 4]


def test_layers_in_other_reference_systems_land_where_they_belong():
    point = geopandas.GeoDataFrame({"name": ["A"]}, geometry=[shapely.Point(LON, LAT)], crs="EPSG:4326")
    true = point.to_crs(SHORE.crs).geometry[0]
    for crs in ("EPSG:4326", "EPSG:32617", "EPSG:3857", "EPSG:32616"):
        book = gather(SourceTable.from_frame(point.to_crs(crs), crs)).spots
        assert book.geometry[0].distance(true) < 1e-5


def test_the_battery_of_the_toolbox(tmp_path):
    source = table(tmp_path, "a.csv", "1,,35.7512345,-85.2,12,cedar,", "2,,99,-85.2,,,")
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", DataWarning)
        check_algorithm(gather_spots, [source], shoreline=SHORE, depth_unit="ft")


def test_the_book_survives_a_geopackage(tmp_path):
    book, aside, _ = gather(
        table(tmp_path, "a.csv", "1,Ünït,35.7512345,85.2,10-15,cedar,=cmd()", "2,,99,-85.2,,,")
    )
    path = tmp_path / "book.gpkg"
    book.to_file(path, layer="spots")
    aside.to_file(path, layer="set_aside")
    assert_layer_equal(gather(read_source(f"{path}:spots")).spots, book)
    assert geopandas.read_file(path, layer="set_aside").reason.tolist() == aside.reason.tolist()


def test_a_thousand_sites_and_five_thousand_waypoints_join_in_good_time():
    rng = np.random.default_rng(8)
    xy = rng.uniform(-1700, 1700, (1000, 2))
    own = np.vstack([xy[:400] + rng.normal(0, 2, (400, 2)), rng.uniform(-1700, 1700, (4600, 2))])
    scale = 1 / (111_132 * math.cos(math.radians(LAT)))

    def rows(points, mark):
        return [
            [
                f"{mark}{i}",
                f"{mark} {i}",
                f"{LAT + y / 110_950:.6f}",
                f"{LON + x * scale:.6f}",
                "12",
                "brush",
                "",
            ]
            for i, (x, y) in enumerate(points)
        ]

    agency, mine = made("agency.csv", rows(xy, "a")), made("own.csv", rows(own, "o"))
    start = time.perf_counter()
    book, aside, _ = gather(agency, mine)
    seconds = time.perf_counter() - start
    assert book.rows.sum() + len(aside) == 6000
    found = {tuple(m["spot_id"] for m in take_apart(cell)) for cell in book.merged_from[book.rows == 2]}
    assert (
        sum((f"a{i}", f"o{i}") in found for i in range(400)) > 300
    )  # some planted twins have a nearer stranger
    assert seconds < 20.0  # a guard against quadratic work, not a measure


def test_help_of_the_algorithm_loads_no_heavy_library():
    code = (
        "import sys, castshed.algorithms.gather_spots, castshed.toolbox.sources;"
        "print([m for m in ('numpy','pandas','shapely','pyproj','pyogrio','geopandas') if m in sys.modules])"
    )
    out = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True, timeout=60)
    assert out.stdout.strip() == "[]"


# Taken apart again ---------------------------------------------------------------------------------------------------

NO_SHRINKING = (Phase.explicit, Phase.reuse, Phase.generate)  # a case here is small as it is
_KEPT = [c for c in COLUMNS if c not in ("spot_id", "rows")]


def _as_rows(book):
    """What a book says of each row, in an order of its own."""
    places = shapely.to_wkt(book.geometry.to_numpy(), rounding_precision=6)
    cells = [book[c].tolist() for c in _KEPT]
    return sorted(tuple(map(str, row)) for row in zip(*cells, places, strict=True))


@settings(
    max_examples=as_many(25), deadline=None, suppress_health_check=[HealthCheck.too_slow], phases=NO_SHRINKING
)
@given(
    st.lists(
        st.tuples(
            st.integers(-40, 40), st.integers(-40, 40), st.sampled_from(["12", "9-11", "", "3 m"]),
            st.sampled_from(["brush", "cedar", "rock", ""]), st.sampled_from(["", 'Ünï "q"; x', "=1+1"]), st.integers(0, 2),
        ),
        min_size=2, max_size=12,
    )
)  # fmt: skip
def test_a_book_taken_apart_is_what_its_sources_were(rows):
    lists = [[], [], []]
    for east, north, depth, kind, note, source in rows:
        lists[source].append(("", f"n{east}", *off(east, north), depth, kind, note))
    tables = [made(f"{k}.csv", lines) for k, lines in enumerate(lists)]
    joined = gather(*tables).spots
    again = gather(SourceTable.from_frame(joined, "book"), take_apart=("all",)).spots
    assert _as_rows(again) == _as_rows(gather(*tables, merge=False).spots)


def test_one_spot_is_taken_apart_and_stays_so(tmp_path):
    a, b = off(0, 0), off(3, 0)
    book = gather(
        made("a.csv", [("1", "A", *a, "", "brush", ""), ("2", "far", *off(400, 0), "", "brush", "")]),
        made("b.csv", [("7", "B", *b, "", "brush", ""), ("8", "farther", *off(403, 0), "", "brush", "")]),
    ).spots
    assert book.rows.tolist() == [2, 2]
    apart = gather(SourceTable.from_frame(book, "book"), take_apart=("1",)).spots
    assert sorted(apart.name) == ["A", "B", "far / farther"]
    assert sorted(apart.spot_id) == ["1", "2", "7"]
    assert len(gather(SourceTable.from_frame(apart, "book")).spots) == 3


@pytest.mark.parametrize(
    ("ids", "merged_from", "error", "words"),
    [
        (("9",), "", UsageError, "no source has a spot '9'"),
        (("1",), "", UsageError, "made of one row"),
        (("1",), "{", DataError, "changed by hand"),
        (("1",), "[1, 2]", DataError, "changed by hand"),
        (("1",), '[{"wkt": "POINT (0 0)", "kind": "boat"}, {}]', DataError, "changed by hand"),
        (("1",), '[{"wkt": "nowhere", "kind": "brush"}, {}]', DataError, "changed by hand"),
    ],
)
def test_what_cannot_be_taken_apart_is_said(ids, merged_from, error, words):
    rows = [("1", "A", *off(0, 0), "", "brush", "", merged_from)]
    with pytest.raises(error, match=words):
        gather(made("a.csv", rows, header=f"{HEADER},merged_from"), take_apart=ids)


# Age of sunk wood ----------------------------------------------------------------------------------------------------


def test_the_age_of_sunk_wood_is_shown():
    # On 2026-05-16: 2016 is 10 years by its year, 2015-05-17 a day short of 11, 2015-05-16 just 11 (worked).
    header = f"{HEADER},date placed"
    kinds = ("cedar", "cedar", "cedar", "rock", "cedar", "cedar")
    dates = ("2016", "2015-05-17", "2015-05-16", "2001", "", "2027")
    rows = [
        (str(i), "", *off(100 * i, 0), "", kind, "", day)
        for i, (kind, day) in enumerate(zip(kinds, dates, strict=True))
    ]
    with pytest.warns(DataWarning, match="1 spot is wood"):
        book = gather_spots([made("a.csv", rows, header=header)], shoreline=SHORE, date="2026-05-16").spots
    assert book.age_years.fillna(-1).tolist() == [10, 10, 11, -1, -1, -1]
    again = gather(SourceTable.from_frame(book, "book"), date="2027-05-16").spots
    assert again.age_years.fillna(-1).tolist() == [11, 11, 12, -1, -1, 0]
    assert set(again.extra) == {""}


def test_where_it_all_came_from_is_kept_with_the_book():
    good = made("a.csv", [["35.75", "-85.2"], ["nowhere", "-85.2"]], "lat,lon")
    other = made("b.csv", [["35.751", "-85.21"]], "lat,lon")
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        found = gather_spots([good, other], shoreline=SHORE, date="2031-05-17")
    told = found.gathered_from
    assert told["source"].tolist() == ["a.csv", "b.csv"]
    assert told["rows"].tolist() == [2, 1]
    assert (told["kept"] + told["set_aside"] == told["rows"]).all()
    assert told["set_aside"].sum() == len(found.set_aside)
    assert set(told["day"]) == {"2031-05-17"}
