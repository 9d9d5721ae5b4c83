"""What names, cells and numbers tell, and what they do not."""

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely

from castshed.toolbox.errors import DataError, UsageError
from castshed.toolbox.intake.downloads.depth_cells import read_cells, without_marks
from castshed.toolbox.intake.downloads.depth_columns import (
    candidates,
    datum_in,
    unit_in,
    unit_in_file_name,
    words_of,
)
from castshed.toolbox.intake.downloads.found import FoundLayer, read_wishes
from castshed.toolbox.intake.downloads.grids import grid_of_points
from castshed.toolbox.intake.downloads.layer_roles import error_of, zone_of
from castshed.toolbox.intake.downloads.shore_lines import areas_of_lines
from castshed.toolbox.intake.downloads.text_points import read_text_points
from castshed.toolbox.plan.lake_folder import zone_at


@pytest.mark.parametrize(
    ("name", "unit"),
    [
        ("DEPTH_FT", "ft"),
        ("depthFeet", "ft"),
        ("DEPTHM", "m"),
        ("z_us_ft", "ftUS"),
        ("depth", ""),
        ("ID", ""),
        ("Depth_fathoms", "fathom"),
    ],
)
def test_a_column_names_its_unit(name, unit):
    assert unit_in(name) == unit


@pytest.mark.parametrize(
    ("name", "unit"), [("bathy_5ft", "ft"), ("contours_1m", "m"), ("mill_pond_m", ""), ("boat_yard", "")]
)
def test_a_lone_letter_in_a_file_name_is_no_unit(name, unit):
    assert unit_in_file_name(name) == unit


def test_names_are_taken_apart_and_datums_found():
    assert words_of("BathyContours_ft") == ["bathy", "contours", "ft"]
    assert datum_in("ELEV_NAVD88_FT") == "NAVD88"


@pytest.mark.parametrize(
    ("cell", "number", "unit"),
    [
        ("12 ft", 12.0, "ft"),
        ("Depth: 3.5 m", 3.5, "m"),
        ("-7", -7.0, ""),
        ("20 foot contour", 20.0, "ft"),
        ("Smith Lake", np.nan, ""),
    ],
)
def test_cells_of_text_are_read(cell, number, unit):
    numbers, told = read_cells(pd.Series([cell]))
    assert numbers[0] == pytest.approx(number, nan_ok=True)
    assert told == unit


def lines(**columns):
    count = len(next(iter(columns.values())))
    return gpd.GeoDataFrame(
        columns, geometry=[shapely.LineString([(0, k), (9, k)]) for k in range(count)], crs=32615
    )


def test_ids_that_climb_like_contours_are_depths_and_counted_ones_are_not():
    ladder = candidates(lines(ID=[5, 10, 10, 15, 20, 5]), lines=True)
    assert [one.column for one in ladder] == ["ID"]
    assert candidates(lines(ID=[1, 2, 3, 4, 5, 6]), lines=True) == []
    assert candidates(lines(SHAPE_LEN=[5, 10, 10, 15, 20, 5]), lines=True) == []


def test_marks_for_nothing_known_are_taken_out_only_where_they_stand_alone():
    values = np.array([3.0, 4.0, -9999.0, 5.0])
    assert "-9999" in without_marks(values)[0]
    assert np.isnan(values[2])
    near = np.array([9998.0, 9999.0, 10_000.0])
    assert without_marks(near) == ()


def test_points_on_a_grid_are_a_raster_and_others_are_not():
    x, y = (v.ravel() for v in np.meshgrid(np.arange(20) * 5.0, np.arange(12) * 5.0))
    grid = grid_of_points(x, y, x + 1000 * y)
    assert grid.numbers.shape == (12, 20)
    assert grid.numbers[0, 3] == 15.0 + 1000 * 55.0  # row 0 lies in the north
    rng = np.random.default_rng(1)
    assert grid_of_points(rng.random(300), rng.random(300), rng.random(300)) is None


def test_gaps_are_closed_and_islands_stay_holes():
    outer = [
        shapely.LineString([(0, 0), (1000, 0), (1000, 999)]),
        shapely.LineString([(1000, 1000), (0, 1000), (0, 0.5)]),
    ]
    island = shapely.LineString([(400, 400), (500, 400), (500, 500), (400, 500), (400, 400)])
    made = areas_of_lines(np.array([*outer, island], dtype=object))
    assert sorted(made.closed_m) == pytest.approx([0.5, 1.0], abs=0.01)
    assert len(made.areas) == 1
    assert made.areas[0].area == pytest.approx(1e6 - 1e4, rel=1e-3)


def test_zones_of_confidence_give_the_worst_error():
    """S-57 appendix A, CATZOC: B is 1.0 m + 2 % of the depth, C is 2.0 m + 5 %."""
    frame = gpd.GeoDataFrame({"CATZOC": [3, 4]}, geometry=[shapely.Point(0, 0)] * 2)
    assert error_of(frame, 20.0)[0] == pytest.approx(3.0)


@pytest.mark.parametrize(("code", "zone"), [("7", "no_entry"), ("13", "slow"), ("1", "")])
def test_restrictions_become_zones_or_a_persons_judgement(code, zone):
    """S-57 appendix A, RESTRN: 1 anchoring prohibited, 7 entry prohibited, 13 no wake."""
    assert zone_of({"RESTRN": code})[0] == zone


def test_a_table_below_a_preamble_with_decimal_commas_is_read():
    text = (
        "Survey of the year\n\nLatitude;Longitude;Tiefe (m)\n42,5000;-92,5000;3,25\n42,5010;-92,5010;4,50\n"
    )
    found = read_text_points(text.encode(), "a.csv")
    assert list(found.frame["Tiefe (m)"]) == [3.25, 4.5]
    assert found.frame.geometry.iloc[0].y == pytest.approx(42.5)


@pytest.mark.parametrize("text", ["", "words only\n" * 3, "a,b\nc,d\n"])
def test_a_text_without_places_is_refused(text):
    with pytest.raises(DataError):
        read_text_points(text.encode(), "a.csv")


def test_options_are_held_to_their_words():
    with pytest.raises(UsageError, match="cubit"):
        read_wishes({"unit": ["a.shp=cubit"]})
    with pytest.raises(UsageError, match="FILE=VALUE"):
        read_wishes({"role": ["contours"]})
    wishes = read_wishes({"unit": ["ft", "a.shp=m"]})
    assert wishes.of(FoundLayer("a.shp", "", "x"), "unit") == ("m", "--depths-in")
    assert wishes.of(FoundLayer("b.shp", "", "x"), "unit") == ("", "")
    assert wishes.of_all("unit") == ("ft", "--depths-in")


@pytest.mark.parametrize(("lon", "zone"), [(-93.1, "Etc/GMT+6"), (176.4, "Etc/GMT-12"), (2.0, "UTC")])
def test_the_nautical_zone_has_its_sign_turned(lon, zone):
    """The names of the IANA database count westwards (tz database, file etcetera)."""
    assert zone_at(lon) == zone


def test_a_table_with_a_lone_carriage_return_and_a_cell_too_many_is_read_or_refused():
    rows = [f"{k},{42 + k / 1000:.3f},{-92 - k / 1000:.3f},3.0" for k in range(300)]
    text = "id,lat,lon,depth_m\n" + "\n".join([*rows, "301,42.0,-92.0,3.0,4.0", "302,42.0,\r-92.0,3.0"])
    try:
        assert len(read_text_points(text.encode(), "a.csv").frame) >= 300
    except DataError as refused:
        assert "a.csv" in str(refused)
