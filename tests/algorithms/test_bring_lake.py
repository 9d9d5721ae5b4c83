"""A lake as it is handed out comes in right, or stops with the question; on a bowl whose depth is known everywhere."""

import csv
import io
import re
import zipfile

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import rasterio
import shapely

import bowl_lake as bowl
from castshed.algorithms.bring_lake import bring_lake
from castshed.toolbox.errors import DataError, UsageError
from castshed.toolbox.layers import list_layers, read_layer, read_surface
from castshed.toolbox.plan.day_file import read_day
from in_process import castshed

pytestmark = pytest.mark.filterwarnings("ignore::castshed.toolbox.errors.DataWarning")
FOOT = bowl.FOOT_M
RIGHT_M = (
    0.6  # of 12 m: the shape between contours a metre apart, and the cells; feet for metres would be 8 m
)


@pytest.fixture
def home(tmp_path):
    bowl.shoreline(4326).to_file(tmp_path / "shoreline.geojson")
    return tmp_path


def brought(files, **options):
    return bring_lake([str(f) for f in files], name="Bowl Lake", cell_m=5.0, **options).layers["lake.gpkg"]


def read_csv(made):
    return list(csv.DictReader(io.StringIO(made.files["read.csv"].decode())))


def is_right(layers):
    area = float(layers["shoreline"].area.sum())
    return bowl.off_m(layers["depth"]) < RIGHT_M and abs(area / bowl.water().area - 1) < 0.005


def test_contours_in_feet_in_the_states_feet_come_in_as_metres(home):
    """EPSG:2274 counts in US survey feet; the depth column in international feet."""
    bowl.contours(column="DEPTH_FT", unit_m=FOOT, crs=26915).to_file(home / "contours.shp")
    made = bring_lake(
        [str(home / "contours.shp"), str(home / "shoreline.geojson")], name="Bowl Lake", cell_m=5.0
    )
    assert is_right(made.layers["lake.gpkg"])
    row = read_csv(made)[0]
    assert (row["role"], row["column"], row["unit"], row["sign"]) == ("contours", "DEPTH_FT", "ft", "depth")
    assert (row["rows"], row["taken"], row["set_aside"]) == ("11", "11", "0")


def test_a_zip_of_shapefiles_is_opened(home):
    for name, frame in (
        ("lake_contours_ft", bowl.contours(column="CONTOUR", unit_m=FOOT)),
        ("outline", bowl.shoreline()),
    ):
        frame.to_file(home / f"{name}.shp")
    with zipfile.ZipFile(home / "all.zip", "w") as packed:
        for part in home.glob("*.*"):
            if part.stem in ("lake_contours_ft", "outline"):
                packed.write(part, f"download/{part.name}")
    assert is_right(brought([home / "all.zip"]))


@pytest.mark.parametrize("step", ["../../out.shp", "/etc/out.shp", "..\\out.shp"])
def test_nothing_leaves_an_archive(home, step):
    with zipfile.ZipFile(home / "all.zip", "w") as packed:
        packed.writestr(step, b"not a shapefile")
    with pytest.raises(DataError):
        brought([home / "all.zip"])
    assert not (home / "out.shp").exists()
    assert not (home.parent / "out.shp").exists()


def test_elevations_become_depths_below_the_pool(home):
    lines = bowl.contours(column="ELEV_FT", unit_m=FOOT)
    lines["ELEV_FT"] = 345.0 / FOOT - lines["ELEV_FT"]
    lines.to_file(home / "bottom.gpkg")
    with pytest.raises(DataError, match="--normal-pool"):
        brought([home / "bottom.gpkg", home / "shoreline.geojson"])
    assert is_right(brought([home / "bottom.gpkg", home / "shoreline.geojson"], normal_pool_m=345.0))


@pytest.mark.parametrize(
    ("pool_m", "says"),
    [(345.0 / FOOT, "under it"), (345.0 * FOOT, "above it")],
    ids=["feet for metres", "metres for feet"],
)
def test_a_pool_in_the_wrong_unit_is_asked_for_once_more(home, pool_m, says):
    lines = bowl.contours(column="ELEV_FT", unit_m=FOOT)
    lines["ELEV_FT"] = 345.0 / FOOT - lines["ELEV_FT"]
    lines.to_file(home / "bottom.gpkg")
    with pytest.raises(DataError, match=says):
        brought([home / "bottom.gpkg", home / "shoreline.geojson"], normal_pool_m=pool_m)


def test_of_two_waters_of_one_name_the_one_with_depths_is_taken(home):
    shore = gpd.read_file(home / "shoreline.geojson")
    other = shore.set_geometry(shore.translate(8000.0 if shore.crs.is_projected else 0.1))
    both = pd.concat([other, shore], ignore_index=True)[["geometry"]]
    both["name"] = "Long Pond"
    both.to_file(home / "waters.gpkg")
    bowl.contours().to_file(home / "contours.gpkg")
    assert is_right(brought([home / "contours.gpkg", home / "waters.gpkg"], water_body="Long Pond"))


def test_negative_depths_are_turned(home):
    bowl.contours(turned=-1.0).to_file(home / "contours.gpkg")
    assert is_right(brought([home / "contours.gpkg", home / "shoreline.geojson"]))


@pytest.mark.parametrize("between", [",", " ", "\t"])
def test_soundings_without_a_header_in_degrees(home, between):
    x, y, depth = bowl.soundings()
    lon, lat = bowl.in_degrees(x, y)
    rows = [
        between.join((f"{a:.7f}", f"{b:.7f}", f"{d:.2f}")) for a, b, d in zip(lon, lat, depth, strict=True)
    ]
    (home / "survey.xyz").write_text("\n".join(rows))
    assert is_right(brought([home / "survey.xyz", home / "shoreline.geojson"], depths_in=["m"]))


def test_what_lies_beside_a_file_says_how_to_read_it(home):
    x, y, depth = bowl.soundings()
    rows = [f"{a:.2f},{b:.2f},{-d / FOOT:.2f}" for a, b, d in zip(x, y, depth, strict=True)]
    (home / "survey.xyz").write_text("\n".join(rows))
    (home / "survey.xyz.toml").write_text('unit = "ft"\nvalues = "height"\ncrs = "EPSG:32615"\n')
    assert is_right(brought([home / "survey.xyz", home / "shoreline.geojson"]))
    (home / "survey.xyz.toml").write_text('unit = "cubits"\n')
    with pytest.raises(UsageError, match="cubits"):
        brought([home / "survey.xyz", home / "shoreline.geojson"])


def test_depth_areas_make_their_own_shoreline(home):
    rings = [bowl.water(), *(shapely.Polygon(g.coords) for g in bowl.contours(2.0).geometry)]
    areas = [a.difference(b) for a, b in zip(rings, [*rings[1:], shapely.Polygon()], strict=True)]
    edges = np.arange(len(rings)) * 2.0
    frame = gpd.GeoDataFrame({"DRVAL1": edges, "DRVAL2": edges + 2.0}, geometry=areas, crs=bowl.CRS).to_crs(
        4326
    )
    frame.to_file(home / "DEPARE.geojson")
    layers = brought([home / "DEPARE.geojson"])
    assert bowl.off_m(layers["depth"]) < 1.2  # two metres apart
    assert float(layers["shoreline"].area.sum()) == pytest.approx(bowl.water().area, rel=0.005)


def test_a_raster_in_degrees_is_warped(home):
    west, south, east, north = bowl.shoreline(4326).total_bounds
    at = rasterio.transform.from_bounds(west, south, east, north, 160, 110)
    lon, lat = np.meshgrid(west + (np.arange(160) + 0.5) * at.a, north + (np.arange(110) + 0.5) * at.e)
    there = gpd.GeoSeries(gpd.points_from_xy(lon.ravel(), lat.ravel()), crs=4326).to_crs(bowl.CRS)
    depth = bowl.depth_at(there.x.to_numpy(), there.y.to_numpy()).reshape(lon.shape)
    profile = {
        "driver": "GTiff",
        "width": 160,
        "height": 110,
        "count": 1,
        "dtype": "float32",
        "crs": 4326,
        "transform": at,
    }
    with rasterio.open(home / "depth.tif", "w", nodata=-9999.0, **profile) as out:
        out.write(np.where(depth > 0, depth, -9999.0).astype("float32"), 1)
        out.units = ("m",)
    assert is_right(brought([home / "depth.tif", home / "shoreline.geojson"]))


def test_the_lake_is_picked_out_of_a_countys_waters(home):
    ponds = [shapely.Point(bowl.MIDDLE[0] + 900 * k, bowl.MIDDLE[1] + 3000).buffer(200) for k in range(1, 40)]
    names = [f"Pond {k}" for k in range(len(ponds))]
    waters = gpd.GeoDataFrame({"NAME": ["Bowl Lake", *names]}, geometry=[bowl.water(), *ponds], crs=bowl.CRS)
    waters.to_file(home / "waters.gpkg")
    bowl.contours().to_file(home / "contours.gpkg")
    assert is_right(brought([home / "contours.gpkg", home / "waters.gpkg"]))
    with pytest.raises(UsageError, match="Pond 3"):
        brought([home / "contours.gpkg", home / "waters.gpkg"], water_body="Great Pond")


def test_a_shoreline_of_lines_with_gaps_is_closed_and_told(home):
    ring = bowl.water().exterior
    pieces = [
        shapely.ops.substring(ring, a, a + 0.25 - 0.002, normalized=True) for a in (0.0, 0.25, 0.5, 0.75)
    ]
    gpd.GeoDataFrame(geometry=pieces, crs=bowl.CRS).to_file(home / "shore.gpkg")
    bowl.contours().to_file(home / "contours.gpkg")
    made = bring_lake([str(home / "contours.gpkg"), str(home / "shore.gpkg")], name="Bowl Lake", cell_m=5.0)
    assert is_right(made.layers["lake.gpkg"])
    assert "4 gaps" in read_csv(made)[1]["why"]


def test_dirty_rows_are_set_aside_where_a_person_can_look(home):
    lines = bowl.contours()
    far = shapely.LineString([(0, 0), (10, 10)])
    more = gpd.GeoDataFrame(
        {"depth_m": [3.0, 4.0, np.nan, 900_000.0]},
        geometry=[
            lines.geometry.iloc[2],
            shapely.affinity.translate(far, 510_000, 4_600_000),
            far,
            lines.geometry.iloc[4],
        ],
        crs=bowl.CRS,
    )
    gpd.pd.concat([lines, more], ignore_index=True).to_file(home / "contours.gpkg")
    made = bring_lake(
        [str(home / "contours.gpkg"), str(home / "shoreline.geojson")], name="Bowl Lake", cell_m=5.0
    )
    layers = made.layers["lake.gpkg"]
    assert is_right(layers)
    reasons = sorted(layers["set_aside"]["reason"])
    assert len(reasons) == 4
    assert [r.split()[0] for r in reasons] == ["deeper", "no", "outside", "there"]
    assert read_csv(made)[0]["set_aside"] == "4"


@pytest.mark.parametrize(
    ("column", "values", "named"),
    [("CONTOUR", 1.0, "--depths-in"), ("ELEV_M", 345.0, "--normal-pool")],
)
def test_what_cannot_be_told_is_asked_for_and_nothing_is_written(home, column, values, named):
    lines = bowl.contours(column=column)
    if values > 1:
        lines[column] = values - lines[column]
    lines.to_file(home / "lines.gpkg")
    done = castshed(
        "bring-lake",
        home / "lines.gpkg",
        home / "shoreline.geojson",
        "--name",
        "Bowl Lake",
        "--out",
        home / "lake",
    )
    assert done.returncode == 3
    assert named in done.stderr
    assert "lines.gpkg" in done.stderr
    assert not (home / "lake").exists()


def test_coordinates_of_no_system_are_asked_for(home):
    lines = bowl.contours()
    lines.to_file(home / "contours.shp")
    (home / "contours.prj").unlink()
    files = [home / "contours.shp", home / "shoreline.geojson"]
    with pytest.raises(DataError, match=r"--file-crs contours\.shp=EPSG"):
        brought(files)
    assert is_right(brought(files, file_crs=["contours.shp=EPSG:32615"]))


def test_an_option_for_a_file_that_is_not_there_is_refused(home):
    bowl.contours().to_file(home / "contours.gpkg")
    with pytest.raises(UsageError, match=r"contour\.gpkg"):
        brought([home / "contours.gpkg", home / "shoreline.geojson"], depths_in=["contour.gpkg=m"])


@pytest.mark.parametrize(
    "content", [b"", b"%PDF-1.7 a map", b"LASF" + bytes(300), bytes(200), b"PK\x03\x04" + bytes(99)]
)
def test_hostile_files_end_in_words_and_write_nothing(home, content):
    (home / "depths.shp").write_bytes(content)
    done = castshed(
        "bring-lake", home / "depths.shp", home / "shoreline.geojson", "--name", "A", "--out", home / "lake"
    )
    assert done.returncode == 3
    assert "Traceback" not in done.stderr
    assert not (home / "lake").exists()


def test_frames_come_in_from_python():
    lines, shore = bowl.contours(), bowl.shoreline()
    before = lines.copy()
    made = bring_lake([lines, shore], name="Bowl Lake", cell_m=5.0, as_=["frame 2=shoreline"])
    assert is_right(made.layers["lake.gpkg"])
    assert lines.equals(before)


def test_without_a_ramp_one_line_of_the_day_file_is_to_be_filled_in(home):
    bowl.contours().to_file(home / "contours.gpkg")
    files = [home / "contours.gpkg", home / "shoreline.geojson"]
    done = castshed("bring-lake", *files, "--name", "Bowl Lake", "--cell", "10m", "--out", home / "lake")
    assert done.returncode == 0, done.stderr
    last = done.stdout.strip().splitlines()[-1]
    number = int(re.search(r"fill in line (\d+) of \S+day\.toml, ramps = ", last)[1])
    day = home / "lake" / "day.toml"
    lines = day.read_text().splitlines()
    with pytest.raises(DataError, match=r'\[lake\]: ramps = "LATITUDE, LONGITUDE"'):
        read_day(day)
    assert lines[number - 1].startswith('# ramps = "')
    lines[number - 1] = lines[number - 1].removeprefix("# ")
    day.write_text("\n".join(lines))
    ramps = read_day(day).layers.ramps
    assert len(ramps) == 1
    assert bowl.water().boundary.distance(ramps.to_crs(bowl.CRS).geometry.iloc[0]) < 2.0


def test_what_contradicts_is_a_layer_of_the_lake(home):
    bowl.contours(0.5).to_file(home / "contours.gpkg")
    x, y, depth = bowl.soundings(300)
    depth[::3] += 4.0
    frame = gpd.GeoDataFrame({"depth_m": depth}, geometry=gpd.points_from_xy(x, y), crs=bowl.CRS)
    frame.to_file(home / "soundings.gpkg")
    files = [home / "contours.gpkg", home / "soundings.gpkg", home / "shoreline.geojson"]
    layers = brought(files)
    assert len(layers["contradictions"]) > 50
    assert layers["contradictions"]["difference_m"].median() == pytest.approx(-4.0, abs=0.5)


def test_a_lake_deeper_for_its_size_than_nearly_any_is_told(home):
    """Tenths of feet called feet: 118 m of water, and 632 m across."""
    lines = bowl.contours(column="depth_ft", unit_m=FOOT / 10.0)
    lines.to_file(home / "contours.gpkg")
    with pytest.warns(UserWarning, match="deeper than nearly any of its size"):
        brought([home / "contours.gpkg", home / "shoreline.geojson"])


def test_soundings_beside_a_raster_judge_it(home):
    """Every second sounding reads two metres less than the raster, which knows the depth to a centimetre."""
    at = rasterio.Affine(5.0, 0.0, bowl.MIDDLE[0] - 500.0, 0.0, -5.0, bowl.MIDDLE[1] + 300.0)
    depth = bowl.depth_at(*(at * np.meshgrid(np.arange(200) + 0.5, np.arange(120) + 0.5)))
    profile = {
        "driver": "GTiff",
        "count": 1,
        "height": 120,
        "width": 200,
        "dtype": "float32",
        "nodata": -9999.0,
    }
    with rasterio.open(home / "depth.tif", "w", crs=bowl.CRS, transform=at, **profile) as out:
        out.write(np.where(depth > 0, depth, -9999.0).astype("float32"), 1)
        out.units = ("m",)
    x, y, sounded = bowl.soundings(300)
    sounded[::2] = np.maximum(sounded[::2] - 2.0, 0.1)
    frame = gpd.GeoDataFrame({"depth_m": sounded}, geometry=gpd.points_from_xy(x, y), crs=bowl.CRS)
    frame.to_file(home / "soundings.gpkg")
    layers = brought([home / "depth.tif", home / "soundings.gpkg", home / "shoreline.geojson"])
    assert is_right(layers)
    assert len(layers["contradictions"]) > 50
    unsure = layers["depth_confidence"].at(x[::2], y[::2])
    assert np.nanmedian(unsure) > 1.5


def test_of_two_shores_that_disagree_the_difference_is_kept_to_be_looked_at(home):
    bowl.contours().to_file(home / "contours.gpkg")
    wide = bowl.shoreline()
    wide.geometry = wide.geometry.scale(1.1, 1.1)
    wide.to_file(home / "wide_shore.gpkg")
    files = [home / "contours.gpkg", home / "wide_shore.gpkg", home / "shoreline.geojson"]
    with pytest.raises(DataError, match=r"83% in common; .*6\.6 ha.* of the middle \(41\.5"):
        brought(files)
    layers = brought(files, as_=["shoreline.geojson=shoreline"])
    assert is_right(layers)
    aside = layers["set_aside"]
    more = aside[aside["reason"] == "water by wide_shore.gpkg alone"]
    assert more.area.sum() == pytest.approx(0.21 * bowl.water().area, rel=0.01)


@pytest.mark.long
def test_from_the_download_to_a_plan_in_two_commands(home):
    """A hump is put in the middle of the bowl, so that there is structure to find."""
    lines = bowl.contours(0.5, column="Depth_ft", unit_m=FOOT)
    ring = shapely.LineString(bowl.water().exterior.coords)
    rises = [shapely.affinity.scale(ring, out, out, origin=bowl.MIDDLE) for out in (0.13, 0.1, 0.07)]
    hump = gpd.GeoDataFrame({"Depth_ft": np.array([9.0, 7.0, 5.0]) / FOOT}, geometry=rises, crs=bowl.CRS)
    lines = lines[lines["Depth_ft"] < 10.2 / FOOT]
    gpd.pd.concat([lines, hump], ignore_index=True).to_file(home / "contours.gpkg")
    lon, lat = bowl.in_degrees([bowl.MIDDLE[0] + bowl.HALF_M[0]], [bowl.MIDDLE[1]])
    (home / "boat_ramps.csv").write_text(f"Name,Latitude,Longitude\nEast Ramp,{lat[0]:.6f},{lon[0]:.6f}\n")
    files = [home / "contours.gpkg", home / "shoreline.geojson", home / "boat_ramps.csv"]
    done = castshed("bring-lake", *files, "--name", "Bowl Lake", "--out", home / "lake")
    assert done.returncode == 0, done.stderr
    last = done.stdout.strip().splitlines()[-1]
    assert last == f"Next: castshed plan {home / 'lake'}/day.toml --out my_day"
    assert {"shoreline", "depth", "depth_confidence", "contours", "ramps"} <= set(
        list_layers(home / "lake" / "lake.gpkg")
    )
    assert read_surface(f"{home / 'lake' / 'lake.gpkg'}:depth").cell_x_m == 1.0
    done = castshed("plan", home / "lake" / "day.toml", "--out", home / "day")
    assert done.returncode == 0, done.stderr
    assert len(read_layer(f"{home / 'day' / 'plan.gpkg'}:stops")) > 2
