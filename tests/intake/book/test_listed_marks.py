"""Ramps and known hazards from lists of points of any format: ids, low water, depths of tops, and what is refused."""

import geopandas as gpd
import numpy as np
import openpyxl
import pyproj
import pytest
import shapely

from castshed.toolbox.command.outputs import is_listed, read_listed
from castshed.toolbox.errors import CastshedError, DataError, UsageError
from castshed.toolbox.intake.book.listed_marks import FARTHEST_M, hazards_of, is_place, ramp_at, ramps_of
from castshed.toolbox.intake.book.placing import LakeExtent
from castshed.toolbox.sources import read_source

FOOT = 0.3048
CRS = pyproj.CRS.from_epsg(32615)
X, Y = 500_000.0, 4_000_000.0  # on the central meridian of zone 15, 93 degrees west
LAKE = LakeExtent(CRS, (X, Y, X + 1000.0, Y + 1000.0), 500.0)


def degrees(x, y):
    lon, lat = pyproj.Transformer.from_crs(CRS, 4326, always_xy=True).transform(x, y)
    return f"{lat:.7f}", f"{lon:.7f}"


def listed(tmp_path, text, name="list.csv"):
    path = tmp_path / name
    path.write_text(text, encoding="utf-8")
    return read_source(str(path))


NORTH, EAST = degrees(X + 500, Y + 20), degrees(X + 980, Y + 500)


def test_a_table_of_ramps_gets_ids_and_levels(tmp_path):
    table = listed(
        tmp_path,
        "Ramp,Latitude,Longitude,Low Water Elevation (ft)\n"
        f"South Ramp,{NORTH[0]},{NORTH[1]},690\n"
        f"South Ramp,{EAST[0]},{EAST[1]},n/a\n",
    )
    made = ramps_of(table, LAKE, normal_pool_m=700 * FOOT)
    assert list(made.ramp_id) == ["south-ramp", "south-ramp-2"]
    assert list(made.name) == ["South Ramp", "South Ramp"]
    assert made.min_level_m.iloc[0] == pytest.approx(-10 * FOOT)
    assert np.isnan(made.min_level_m.iloc[1])
    assert made.geometry.iloc[0].distance(shapely.Point(X + 500, Y + 20)) < 0.1
    assert made.crs == CRS


def test_low_water_without_normal_pool_is_asked_for(tmp_path):
    table = listed(tmp_path, f"Name,Lat,Lon,usable to elevation ft\nA,{NORTH[0]},{NORTH[1]},690\n")
    with pytest.raises(UsageError, match=r"normal_pool = "):
        ramps_of(table, LAKE)


def test_low_water_without_unit_is_asked_for(tmp_path):
    table = listed(tmp_path, f"Name,Lat,Lon,low elevation\nA,{NORTH[0]},{NORTH[1]},690\n")
    with pytest.raises(UsageError, match="names no unit"):
        ramps_of(table, LAKE, normal_pool_m=213.0)
    made = ramps_of(table, LAKE, unit="ft", normal_pool_m=700 * FOOT)
    assert list(made.min_level_m) == pytest.approx([-10 * FOOT])


def test_feet_taken_for_metres_are_told(tmp_path):
    table = listed(tmp_path, f"Name,Lat,Lon,low elevation (m)\nA,{NORTH[0]},{NORTH[1]},690\n")
    with pytest.raises(DataError, match="unit and its datum"):
        ramps_of(table, LAKE, normal_pool_m=213.0)


def test_own_ids_and_columns_named_by_the_user(tmp_path):
    table = listed(
        tmp_path,
        f"No;Bezeichnung;Y;X;Ende\n7;Nord;{NORTH[0]};{NORTH[1]};-2,5 m\n9;Ost;{EAST[0]};{EAST[1]};-1 m\n",
    )
    with pytest.raises(DataError, match="line 2"):
        ramps_of(table, LAKE, columns=["min_level=Ende"])
    table = listed(
        tmp_path,
        f"No;Bezeichnung;Y;X;Ende\n7;Nord;{NORTH[0]};{NORTH[1]};-2.5 m\n9;Ost;{EAST[0]};{EAST[1]};-1 m\n",
    )
    made = ramps_of(table, LAKE, columns=["min_level=Ende", "name=Bezeichnung"])
    assert list(made.ramp_id) == ["7", "9"]
    assert list(made.name) == ["Nord", "Ost"]
    assert list(made.min_level_m) == [-2.5, -1.0]
    with pytest.raises(UsageError, match="no column 'Gone' for low_water; it has No, Bezeichnung"):
        ramps_of(table, LAKE, columns=["low_water=Gone"])


def test_gpx_and_kml_and_workbook_and_geojson_give_the_same_ramps(tmp_path):
    lat, lon = NORTH
    (tmp_path / "r.gpx").write_text(
        '<gpx xmlns="http://www.topografix.com/GPX/1/1" version="1.1" creator="x">'
        f'<wpt lat="{lat}" lon="{lon}"><name>Ramp One</name></wpt></gpx>'
    )
    (tmp_path / "r.kml").write_text(
        '<kml xmlns="http://www.opengis.net/kml/2.2"><Document><Placemark><name>Ramp One</name>'
        f"<Point><coordinates>{lon},{lat}</coordinates></Point></Placemark></Document></kml>"
    )
    book = openpyxl.Workbook()
    book.active.append(["Name", "Lat", "Lon"])
    book.active.append(["Ramp One", float(lat), float(lon)])
    book.save(tmp_path / "r.xlsx")
    point = gpd.GeoDataFrame(
        {"name": ["Ramp One"]}, geometry=[shapely.Point(float(lon), float(lat))], crs=4326
    )
    point.to_file(tmp_path / "r.geojson")
    for name in ("r.gpx", "r.kml", "r.xlsx", "r.geojson"):
        made = ramps_of(read_source(str(tmp_path / name)), LAKE)
        assert list(made.ramp_id) == ["ramp-one"], name
        assert made.geometry.iloc[0].distance(shapely.Point(X + 500, Y + 20)) < 0.1, name


def test_a_ramp_elsewhere_is_told_and_left_out(tmp_path):
    table = listed(tmp_path, f"Name,Lat,Lon\nHere,{NORTH[0]},{NORTH[1]}\nElsewhere,48.0,11.0\n")
    with pytest.warns(UserWarning, match=r"1 ramp of list.csv left out \(Elsewhere"):
        made = ramps_of(table, LAKE)
    assert list(made.name) == ["Here"]


@pytest.mark.filterwarnings("ignore")
@pytest.mark.parametrize(
    "text",
    ["Name,Lat,Lon\nA,48,11\n", "Name,Lat,Lon\n", "Name,Depth\nA,3\n", "x\n", "Name,Lat,Lon\nA,north,west\n", "Name,Lat,Lon\nA,,\n"],
)  # fmt: skip
def test_lists_without_a_ramp_on_the_lake_are_refused(tmp_path, text):
    with pytest.raises(CastshedError):
        ramps_of(listed(tmp_path, text), LAKE)


def test_hazards_with_the_depth_of_their_top(tmp_path):
    table = listed(
        tmp_path,
        "Hazard Type,Lat,Lon,Depth (ft),Radius (ft)\n"
        f"Stump,{NORTH[0]},{NORTH[1]},2 to 4,30\n"
        f"Pier,{EAST[0]},{EAST[1]},,\n",
    )
    with pytest.warns(UserWarning, match="taken as at the surface"):
        made = hazards_of(table, LAKE, columns=["kind=Hazard Type"])
    assert list(made.kind) == ["Stump", "Pier"]
    assert made.top_depth_m.iloc[0] == pytest.approx(2 * FOOT)  # of a range the shallow end
    assert np.isnan(made.top_depth_m.iloc[1])
    assert made.radius_m.iloc[0] == pytest.approx(30 * FOOT)


@pytest.mark.filterwarnings("ignore")
def test_a_hazard_whose_place_cannot_be_read_is_not_left_out(tmp_path):
    table = listed(tmp_path, f"Kind,Lat,Lon\nStump,{NORTH[0]},{NORTH[1]}\nRock,4o.1,x\n")
    with pytest.raises(DataError, match="line 3 is a hazard without a place"):
        hazards_of(table, LAKE)


def test_a_list_on_the_command_line_takes_the_zone_it_lies_in(tmp_path):
    (tmp_path / "ramps.csv").write_text(f"Name,Lat,Lon\nA,{NORTH[0]},{NORTH[1]}\n")
    assert is_listed("ramps", "ramps.csv")
    assert not is_listed("ramps", "lake.gpkg:ramps")
    assert not is_listed("shoreline", "ramps.csv")
    made = read_listed("ramps", str(tmp_path / "ramps.csv"), None)
    assert made.crs == CRS
    assert made.geometry.iloc[0].distance(shapely.Point(X + 500, Y + 20)) < 0.1
    (tmp_path / "none.csv").write_text("Name,Where\nA,here\n")
    with pytest.raises(UsageError, match="it has the columns Name, Where"):
        read_listed("ramps", str(tmp_path / "none.csv"), None)


WATER = shapely.box(X, Y, X + 1000.0, Y + 1000.0)


@pytest.mark.filterwarnings("ignore:1 hazard of list.csv without a depth")
@pytest.mark.parametrize("off_m", [FARTHEST_M - 20.0, FARTHEST_M + 20.0])
def test_a_ramp_or_hazard_far_from_the_water_is_told_and_left_out(tmp_path, off_m):
    """Both lie within the box that a list's places have to land in."""
    near, far = degrees(X + 500.0, Y + 10.0), degrees(X + 500.0, Y - off_m)
    rows = f"Name,Lat,Lon\nNear,{near[0]},{near[1]}\nFar,{far[0]},{far[1]}\n"
    kept = ["Near", "Far"] if off_m < FARTHEST_M else ["Near"]
    left: list[tuple[int, str]] = []
    made = ramps_of(listed(tmp_path, rows), LAKE, water=WATER, left=lambda k, why: left.append((k, why)))
    assert list(made.name) == kept
    assert [k for k, _ in left] == ([] if off_m < FARTHEST_M else [1])
    with pytest.warns(UserWarning, match="left out" if off_m > FARTHEST_M else "without a depth"):
        made = hazards_of(listed(tmp_path, rows), LAKE, water=WATER)
    assert len(made) == len(kept)


def test_the_kind_of_a_hazard_stands_in_a_column_of_that_word(tmp_path):
    table = listed(tmp_path, f"Hazard Type,Lat,Lon,Depth (ft)\nStump,{NORTH[0]},{NORTH[1]},3\n")
    assert list(hazards_of(table, LAKE).kind) == ["Stump"]


@pytest.mark.parametrize(
    ("told", "one"),
    [("35.7525, -85.2041", True), ("N35 45.153 W085 12.249", True), ("ramps.csv", False), ("ramps 2", False)],
)
def test_one_place_is_told_from_the_name_of_a_file(told, one):
    assert is_place(told) == one
    assert is_listed("ramps", told) == (one or told.endswith(".csv"))
    assert not one or not is_listed("known_hazards", told)


def test_one_place_is_a_ramp():
    made = ramp_at(", ".join(NORTH), CRS)
    assert list(made.ramp_id) == ["start"]
    assert made.geometry.iloc[0].distance(shapely.Point(X + 500, Y + 20)) < 0.1
    assert read_listed("ramps", ", ".join(NORTH), None).crs == CRS


def test_ramps_that_castshed_wrote_come_home(tmp_path):
    """As spots they are refused by their columns; as ramps they are what they say."""
    table = listed(
        tmp_path,
        f"ramp_id,name,min_level_m,Lat,Lon\nr1,North,-2.5,{NORTH[0]},{NORTH[1]}\nr2,East,-1,{EAST[0]},{EAST[1]}\n",
    )
    made = ramps_of(table, LAKE)
    assert list(made.ramp_id) == ["r1", "r2"]
    assert list(made.min_level_m) == [-2.5, -1.0]
