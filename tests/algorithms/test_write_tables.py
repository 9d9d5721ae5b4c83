"""Tables for spreadsheets: whole, harmless, and read back as they were."""

import csv
import io
import re
import warnings

import geopandas
import openpyxl
import pyproj
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from castshed.algorithms.trip_log import trip_log
from castshed.algorithms.write_tables import write_tables
from castshed.toolbox.errors import DataWarning, UsageError
from castshed.toolbox.output.formats.csv_table import harmless
from castshed.toolbox.sources import read_source
from long_tests import as_many

CRS = "EPSG:32616"
X0, Y0 = pyproj.Transformer.from_crs("EPSG:4326", CRS, always_xy=True).transform(-85.2, 35.76)
SHORE = geopandas.GeoDataFrame(
    {"name": ["made"]}, geometry=[shapely.box(X0 - 2000, Y0 - 2000, X0 + 2000, Y0 + 2000)], crs=CRS
)
HOSTILE = [
    "=cmd|' /C calc'!A0",
    "+1+1",
    "-1+1",
    "@SUM(A1)",
    "'=1",
    "  =1+1",
    "＝1",
    "a,b",
    'say "x"',
    "two\nlines",
    "-85.2",
]


def a_book():
    n = len(HOSTILE)
    return geopandas.GeoDataFrame(
        {
            "spot_id": [f"S{i}" for i in range(n)], "name": [f"Spot {i}" for i in range(n)], "kind": ["brush"] * n,
            "note": HOSTILE, "depth_m": [0.1 + i / 3 for i in range(n)], "rating": [float("nan")] * n,
        },
        geometry=[shapely.Point(X0 + 50 * i, Y0) for i in range(n)], crs=CRS,
    )  # fmt: skip


def test_every_row_and_digit_is_there_and_no_cell_is_a_formula():
    data = write_tables({"spots": a_book()})["spots.csv"]
    rows = list(csv.DictReader(io.StringIO(data.decode("utf-8-sig"))))
    assert len(rows) == len(HOSTILE)
    assert [float(row["depth_m"]) for row in rows] == a_book().depth_m.tolist()
    assert {row["rating"] for row in rows} == {""}
    back = pyproj.Transformer.from_crs("EPSG:4326", CRS, always_xy=True)
    x, y = back.transform([float(r["lon"]) for r in rows], [float(r["lat"]) for r in rows])
    assert x == pytest.approx([X0 + 50 * i for i in range(len(rows))], abs=2e-3)
    assert y == pytest.approx([Y0] * len(rows), abs=2e-3)
    for row in rows:
        for cell in row.values():
            assert not re.match(r"\s*[=+@-]", cell) or re.fullmatch(r"-?[\d.]+", cell)


def test_a_table_filled_in_comes_home_without_loss(tmp_path):
    book = a_book()
    (tmp_path / "spots.csv").write_bytes(write_tables({"spots": book})["spots.csv"])
    # The same through a workbook made by another library, cells as they stand.
    rows = list(csv.reader(io.StringIO((tmp_path / "spots.csv").read_text(encoding="utf-8-sig"))))
    sheet = openpyxl.Workbook()
    for row in rows:
        sheet.active.append(row)
    sheet.save(tmp_path / "spots.xlsx")
    for name in ("spots.csv", "spots.xlsx"):
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", DataWarning)
            change = trip_log(book, [read_source(str(tmp_path / name))], shoreline=SHORE, date="2026-05-16")
        assert change.layers["changes"].status.tolist() == ["same"] * len(book), change.layers[
            "changes"
        ].what.tolist()
        assert change.layers["spots"].note.tolist() == HOSTILE


@settings(max_examples=as_many(200), deadline=None)
@given(st.text(st.characters(codec="utf-8", exclude_categories=("Cc", "Cs")), max_size=8))
def test_what_is_made_harmless_is_read_as_it_was(text):
    from castshed.toolbox.sources.source_table import plain_cell

    # Surroundings are trimmed on reading.
    assert plain_cell(harmless(text.strip())).strip() == text.strip()


def test_names_of_layers_are_no_paths():
    frame = a_book()
    files = write_tables({"../../etc/x": frame, "A": frame, "a": frame})
    assert list(files) == ["______etc_x.csv", "A.csv", "a 2.csv"]
    with pytest.raises(UsageError, match="No layer"):
        write_tables({})


def test_rows_without_a_place_are_written_too():
    frame = geopandas.GeoDataFrame({"text": ["x"]}, geometry=geopandas.GeoSeries([None], crs=CRS))
    assert write_tables({"set_aside": frame})["set_aside.csv"].decode("utf-8-sig").splitlines()[1] == "x,,"
