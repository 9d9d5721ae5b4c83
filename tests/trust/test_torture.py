"""What people really have: dirty rows and files, each with its outcome; and no row is ever lost."""

import io
import math
import re
import resource
import sys
import tempfile
import warnings
import zipfile
from pathlib import Path

import geopandas
import numpy as np
import openpyxl
import pyproj
import pytest
import shapely
from geographiclib.geodesic import Geodesic
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from castshed.algorithms.gather_spots import gather_spots
from castshed.toolbox.errors import CastshedError, DataError, DataWarning, LayerMissing, UsageError
from castshed.toolbox.sources import read_source
from castshed.toolbox.sources.source_table import SourceTable

sys.path.insert(0, str(Path(__file__).parent.parent / "support" / "torture"))
import files  # the set stands beside, in a folder of its own
import rows

from long_tests import as_many

FOOT_M = 0.3048


def _shore():
    box = shapely.box(-85.22, 35.74, -85.18, 35.78)
    return geopandas.GeoDataFrame({"name": ["made"]}, geometry=[box], crs="EPSG:4326").to_crs("EPSG:32616")


SHORE = _shore()
TO_DEGREES = pyproj.Transformer.from_crs("EPSG:32616", "EPSG:4326", always_xy=True)
FROM_DEGREES = pyproj.Transformer.from_crs("EPSG:4326", "EPSG:32616", always_xy=True)


def table(name, header, *lines):
    return SourceTable.make(
        name, "csv", [dict(zip(header, line, strict=True)) for line in lines], line=range(2, len(lines) + 2),
        counted="line", text=[",".join(line) for line in lines], problem=[""] * len(lines), columns=header,
    )  # fmt: skip


def gather(*sources, **options):
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", DataWarning)
        return gather_spots(list(sources), shoreline=SHORE, **options)


def away_m(point):
    """Distance from the true place, by another geodesic library."""
    lon, lat = TO_DEGREES.transform(point.x, point.y)
    return Geodesic.WGS84.Inverse(lat, lon, rows.TRUE_LAT, rows.TRUE_LON)["s12"]


def check_place(made, outcome):
    book, aside, _ = made
    word, _, told = outcome.partition(": ")
    assert len(book) + len(aside) == 1
    if word == "aside":
        assert len(aside) == 1, f"placed: {book.remark.tolist()}"
        assert told in aside.reason[0]
        assert aside.line[0] == 2
        return
    assert len(book) == 1, f"set aside: {aside.reason.tolist()}"
    assert away_m(book.geometry[0]) < 1.0
    if word == "ok":
        assert "added" not in book.remark[0]
        assert "swapped" not in book.remark[0]
    else:
        assert all(part in book.remark[0] for part in told.split(", "))


@pytest.mark.parametrize(("lat", "lon", "outcome"), rows.POSITIONS)
def test_positions(lat, lon, outcome):
    check_place(gather(table("a.csv", ["lat", "lon"], (lat, lon))), outcome)


@pytest.mark.parametrize(("text", "outcome"), rows.PAIRS)
def test_positions_in_one_cell(text, outcome):
    east, north = FROM_DEGREES.transform(rows.TRUE_LON, rows.TRUE_LAT)
    cell = text.format(e=f"{east:.1f}", n=f"{north:.1f}")
    check_place(gather(table("a.csv", ["coordinates"], (cell,))), outcome)


@pytest.mark.parametrize(
    ("header", "cells", "outcome"),
    [
        (["Easting", "Northing"], ("{e:.1f}", "{n:.1f}"), "ok"),
        (["Easting", "Northing"], ("{e:,.1f}", "{n:,.1f}"), "ok"),
        (["UTM E", "UTM N"], ("{e:.0f} mE", "{n:.0f} mN"), "ok"),
        (["Easting", "Northing", "UTM zone"], ("{e:.1f}", "{n:.1f}", "16N"), "ok"),
        (["Easting", "Northing", "Zone"], ("{e:.1f}", "{n:.1f}", "16 S"), "ok"),
        (["Easting", "Northing"], ("{n:.1f}", "{e:.1f}"), "repaired: easting and northing swapped"),
        (["Easting", "Northing", "Zone"], ("{e:.1f}", "{n:.1f}", "17"), "aside: UTM zone 17"),
        (["Easting", "Northing"], ("{e15:.1f}", "{n15:.1f}"), "repaired: read as UTM zone 15N"),
        (["Easting", "Northing"], ("six hundred", "{n:.1f}"), "aside: cannot be read"),
        (["lat", "lon"], ("{n:.1f}", "{e:.1f}"), "ok"),
    ],
)
def test_eastings_and_northings(header, cells, outcome):
    east, north = FROM_DEGREES.transform(rows.TRUE_LON, rows.TRUE_LAT)
    e15, n15 = pyproj.Transformer.from_crs("EPSG:4326", "EPSG:32615", always_xy=True).transform(
        rows.TRUE_LON, rows.TRUE_LAT
    )
    line = [cell.format(e=east, n=north, e15=e15, n15=n15) for cell in cells]
    check_place(gather(table("a.csv", header, line)), outcome)


@pytest.mark.parametrize(("text", "unit", "least_ft", "most_ft", "words"), rows.DEPTHS)
def test_depths(text, unit, least_ft, most_ft, words):
    spot = gather(
        table("a.csv", ["lat", "lon", "depth"], ("35.75125", "-85.19875", text)), depth_unit=unit
    ).spots.iloc[0]
    for value, feet in (
        (spot.depth_least_m, least_ft),
        (spot.depth_most_m, most_ft),
        (spot.depth_m, least_ft),
    ):
        assert math.isnan(value) if feet is None else value == pytest.approx(feet * FOOT_M, abs=1e-4)
    assert words in spot.remark
    assert spot.depth_text == text


@pytest.mark.parametrize(("text", "kind"), rows.KINDS)
def test_kinds(text, kind):
    spot = gather(table("a.csv", ["lat", "lon", "type"], ("35.75125", "-85.19875", text))).spots.iloc[0]
    assert (spot.kind, spot.kind_text) == (kind, text)


def put(folder, name, content):
    path = folder / name
    path.write_bytes(content() if callable(content) else content)
    return str(path)


@pytest.mark.parametrize(("name", "content", "expected"), files.GOOD, ids=[g[0] for g in files.GOOD])
def test_files_that_can_be_read(tmp_path, name, content, expected):
    book, aside, _ = gather(read_source(put(tmp_path, name, content)), depth_unit="ft", merge=False)
    assert len(aside) == 0
    assert sorted(book.name) == sorted(one for one, _ in expected)
    assert all(away_m(point) < 0.6 for point in book.geometry)
    for depth, (_, feet) in zip(book.depth_m, expected, strict=True):
        assert math.isnan(depth) if feet is None else depth == pytest.approx(feet * FOOT_M)


@pytest.mark.parametrize(("name", "content", "words"), files.BAD, ids=[b[0] for b in files.BAD])
def test_files_that_are_refused(tmp_path, name, content, words):
    path = put(tmp_path, name, content)
    with pytest.raises((DataError, UsageError), match=words) as caught:
        gather(read_source(path))
    assert isinstance(caught.value, CastshedError)
    assert name in str(caught.value)


def test_the_set_is_large_enough():
    assert len(rows.POSITIONS) + len(rows.PAIRS) + len(rows.DEPTHS) + len(rows.KINDS) >= 60
    assert len(files.GOOD) + len(files.BAD) >= 60


def test_a_bomb_does_not_fill_the_memory(tmp_path):
    path = put(tmp_path, "big.kmz", files.big_member)
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    with pytest.raises(DataError, match="unpacks to more than"):
        read_source(path)
    assert resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before < 150_000  # kB


# Workbooks -----------------------------------------------------------------------------------------------------------


def test_a_workbook_reads_as_another_library_reads_it(tmp_path):
    from datetime import date, datetime

    path = tmp_path / "a.xlsx"
    book = openpyxl.Workbook()
    sheet = book.active
    values = [
        ["id", "name", "lat", "lon", "placed", "checked", "ok", "qty"],
        [
            1,
            " spaced  name ",
            35.7512345678,
            -85.2,
            date(2019, 3, 7),
            datetime.fromisoformat("2021-05-06T13:30:00"),
            True,
            0.1,
        ],
        [2, 'Ünïcode <&> "x"', 35.75, -85.19, date(1999, 12, 31), None, False, 1e-7],
        [None, None, None, None, None, None, None, 12345678901234],
    ]
    for row in values:
        sheet.append(row)
    book.save(path)
    table = read_source(str(path))
    other = openpyxl.load_workbook(path, read_only=True).active
    rows_ = list(other.iter_rows(values_only=True))
    assert list(table.rows.columns) == list(rows_[0])
    for mine, theirs in zip(table.rows.itertuples(index=False), rows_[1:], strict=True):
        for cell, value in zip(mine, theirs, strict=True):
            if isinstance(value, bool):
                assert cell == str(value).upper()
            elif isinstance(value, datetime):
                assert datetime.fromisoformat(cell) == value
            elif isinstance(value, (int, float)):
                assert float(cell) == value
            else:
                assert cell == (value or "").strip()
    assert table.line.tolist() == [2, 3, 4]
    assert table.counted == "row"


def test_a_formula_is_never_worked_out(tmp_path):
    book = gather(read_source(put(tmp_path, "f.xlsx", files.GOOD[31][1]))).spots
    assert book.note[0] == "=cmd|' /C calc'!A0"


def test_a_row_whose_texts_are_lost_is_told_and_never_vanishes(tmp_path):
    """A cell of type s counts into the table of shared texts (ECMA-376 part 1, 18.18.11); here it counts beyond it."""
    whole = files.workbook([["name", "lat", "lon"], ["rock", "38.0", "-94.0"], ["bar", "38.1", "-94.1"], ["end", "38.2", "-94.2"]])  # fmt: skip
    bent = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(whole)) as old, zipfile.ZipFile(bent, "w") as new:
        for name in old.namelist():
            body = old.read(name)
            if name == "xl/worksheets/sheet1.xml":
                for line, lost, most in ((b"3", b"99999", 0), (b"4", b"", 1)):
                    row = re.search(rb'<row r="%s".*?</row>' % line, body, re.DOTALL)[0]
                    cell = rb't="s"><v>%s</v>' % lost
                    body = body.replace(row, re.sub(rb't="inlineStr"><is>.*?</is>', cell, row, count=most))
            new.writestr(name, body)
    path = tmp_path / "lost.xlsx"
    path.write_bytes(bent.getvalue())
    table = read_source(str(path))
    assert table.line.tolist() == [2, 3, 4]
    assert table.problem[0] == ""
    assert "A3, B3, C3 is not in the workbook" in table.problem[1]
    assert "A4 is not in the workbook" in table.problem[2]


def test_a_sheet_can_be_chosen_and_the_others_are_named(tmp_path):
    cells = files.CELLS
    path = put(
        tmp_path, "s.xlsx", lambda: files.workbook([], sheets={"North": cells, "South": [*cells, cells[1]]})
    )
    assert len(read_source(f"{path}:South")) == 2
    assert "not read: South" in " ".join(read_source(path).said)
    with pytest.raises(LayerMissing, match="North, South"):
        read_source(f"{path}:West")


# Shapefiles ----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("prj", "cpg", "name"), [(True, True, "Mühle"), (False, True, "x"), (True, False, "Mühle")]
)
def test_a_shapefile_in_whatever_state(tmp_path, prj, cpg, name):
    path = files.shapefile(tmp_path, prj=prj, cpg=cpg, name=name)
    book, aside, _ = gather(read_source(str(path)))
    assert (len(book), len(aside)) == (1, 1)
    assert book.name[0] == name
    assert away_m(book.geometry[0]) < 0.01
    assert book.depth_m[0] == pytest.approx(12 * FOOT_M)
    assert aside.line[0] == 2


def test_a_packed_shapefile_reads_like_its_parts(tmp_path):
    path = files.shapefile(tmp_path)
    parts = [(f"in/{p.name}", p.read_bytes()) for p in tmp_path.glob("sites.*")]
    packed = put(tmp_path, "sites.zip", files.packed(parts))
    plain, inside = read_source(str(path)), read_source(packed)
    assert plain.rows.equals(inside.rows)
    assert inside.name == "sites.zip:sites"


def test_a_shapefile_without_its_index_is_refused(tmp_path):
    path = files.shapefile(tmp_path)
    path.with_suffix(".shx").unlink()
    with pytest.raises(DataError, match=r"lacks its part sites\.shx"):
        read_source(str(path))


# Rules ---------------------------------------------------------------------------------------------------------------


def test_rules_in_a_file_go_before_guesses(tmp_path):
    east, north = pyproj.Transformer.from_crs("EPSG:4326", "EPSG:3857", always_xy=True).transform(
        rows.TRUE_LON, rows.TRUE_LAT
    )
    (tmp_path / "odd.csv").write_text(
        f"P,Q,Tiefe,what\n{east:.2f},{north:.2f},3,spring hole\n", encoding="utf-8"
    )
    (tmp_path / "how.toml").write_text(
        "[kinds]\n'spring hole' = 'pocket'\n[lists.'odd.csv']\n"
        "columns = { easting = 'P', northing = 'Q', depth = 'Tiefe', kind = 'what' }\n"
        "depth_unit = 'm'\ndepth_of = 'top'\nspot_error = '2m'\ncrs = 'EPSG:3857'\n",
        encoding="utf-8",
    )
    spot = gather(read_source(str(tmp_path / "how.toml")), read_source(str(tmp_path / "odd.csv"))).spots.iloc[
        0
    ]
    assert away_m(spot.geometry) < 0.05
    assert (spot.kind, spot.top_depth_m) == ("pocket", 3.0)
    assert spot.position_error_m == pytest.approx(math.hypot(2.0, 0.5))


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("[columns]\ndepht = 'D'\n", "'depht' is not known"),
        ("[columns]\ndepth = 'Nowhere'\n", "no source has a column 'Nowhere'"),
        ("[kinds]\nx = 'y'\n", "choose one of point"),
        ("[lists.'other.csv']\ndepth_unit = 'm'\n", "'other.csv', but the sources are"),
        ("[lists.'a.csv']\ndepth_unit = 'yd'\n", "choose one of ft, m"),
        ("[lists.'a.csv']\nspot_error = '2'\n", "unit"),
        ("[lists.'a.csv']\ncrs = 'EPSG:0'\n", "is not known"),
        ("[lists.'a.csv']\nsecret = 'x'\n", "nothing else"),
        ("lists = 3\n", "has to hold tables"),
        ("columns = 3\n", "table of texts"),
        ("[columns\n", "not TOML"),
    ],
)
def test_rules_that_cannot_be_used(tmp_path, text, words):
    (tmp_path / "how.toml").write_text(text, encoding="utf-8")
    with pytest.raises((UsageError, DataError), match=words):
        gather(table("a.csv", ["lat", "lon"], ("35.75", "-85.2")), read_source(str(tmp_path / "how.toml")))


def test_a_column_that_places_no_row_is_kept():
    line = ("35.75125", "-85.19875", "3", "999")
    spot = gather(table("a.csv", ["lat", "lon", "Zone", "Easting"], line)).spots.iloc[0]
    assert '"Zone": "3"' in spot.extra
    assert '"Easting": "999"' in spot.extra


# No row is lost ------------------------------------------------------------------------------------------------------

CELL = st.one_of(
    st.sampled_from([lat for lat, _, _ in rows.POSITIONS] + [lon for _, lon, _ in rows.POSITIONS]),
    st.text(st.characters(codec="utf-8", exclude_characters="\x00"), max_size=12),
)
LINES = st.lists(
    st.tuples(
        CELL,
        CELL,
        st.sampled_from([d[0] for d in rows.DEPTHS]),
        st.sampled_from([k for k, _ in rows.KINDS]),
        CELL,
    ),
    max_size=8,
)


@settings(max_examples=as_many(40), deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.lists(LINES, min_size=1, max_size=3), st.booleans())
def test_rows_in_are_spots_and_merged_and_set_aside(lists, merge):
    header = ["lat", "lon", "depth", "type", "name"]
    tables = [table(f"{k}.csv", header, *lines) for k, lines in enumerate(lists)]
    book, aside, _ = gather(*tables, merge=merge)
    merged = int((book.rows - 1).sum()) if len(book) else 0
    assert sum(map(len, lists)) == len(book) + merged + len(aside)
    assert book.spot_id.is_unique
    assert np.isfinite(shapely.get_coordinates(book.geometry.to_numpy())).all()


@settings(max_examples=as_many(40), deadline=None)
@given(
    st.binary(max_size=300),
    st.sampled_from([b"", b"PK\x03\x04", b"<gpx>", b"{", b"\xff\xfe", b"lat,lon\n", b"<kml>"]),
)
def test_any_bytes_are_read_or_refused(data, start):
    with tempfile.TemporaryDirectory() as folder:
        path = put(Path(folder), "any.dat", start + data)
        try:
            read = read_source(path)
        except CastshedError:
            return
        assert len(read) == len(read.text) == len(read.problem)
