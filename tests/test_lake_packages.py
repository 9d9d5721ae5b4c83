"""The packages that `bring-lake` is judged by hold what they say: read back by programs that are not castshed."""

from __future__ import annotations

import zipfile

import geopandas as gpd
import numpy as np
import openpyxl
import pytest
import rasterio

from lake_packages import FORMS, TRAPS, UNTOLD, write_package, write_untold
from package_lakes import FOOT, POOLS_M, outside_lake, seam_lake, valley_lake
from package_writers import have_gdal

needs_gdal = pytest.mark.skipif(not have_gdal(), reason="Debian package gdal-bin is not installed")


def test_there_are_24_forms_and_12_that_cannot_be_told():
    assert len(FORMS) == 24
    assert len(UNTOLD) == 12


@pytest.mark.parametrize("pool_m", POOLS_M)
def test_truth_of_the_valley_is_pool_less_elevation(pool_m):
    lake, deeper = valley_lake(pool_m), valley_lake(POOLS_M[-1])
    there = deeper.surface.at(lake.truth.x, lake.truth.y)
    inner = (lake.truth.depth_m > 1.0) & np.isfinite(there)
    off = np.abs(there[inner] - lake.truth.depth_m[inner] - (POOLS_M[-1] - pool_m))
    assert np.mean(off < 0.01) > 0.97  # the grid's edge is walled at one height at every pool
    assert lake.truth.area_m2 == pytest.approx(lake.water.area)


def test_contours_lie_at_their_depth():
    lake = seam_lake(3)
    lines = lake.contours([1.0, 2.0])
    points = lines.geometry.interpolate(0.5, normalized=True)
    # A tracer draws straight through a cell, a bilinear surface is curved there.
    assert np.allclose(lake.surface.at(points.x, points.y), lines.depth_m, atol=0.05)


def test_forms_differ_with_the_seed(tmp_path):
    (tmp_path / "a").mkdir()
    (tmp_path / "b").mkdir()
    one, two = (write_package("csv_east_north", tmp_path / n, s) for n, s in (("a", 1), ("b", 2)))
    assert len(one.clean.soundings) > 1000
    assert not one.clean.soundings.geometry.iloc[0].equals(two.clean.soundings.geometry.iloc[0])


def test_zip_holds_feet_in_the_states_feet(tmp_path):
    made = write_package("contours_zip_feet", tmp_path)
    inner = next(n for n in zipfile.ZipFile(made.files[0]).namelist() if n.endswith("contours.shp"))
    there = gpd.read_file(f"/vsizip/{made.files[0]}/{inner}")
    assert there.crs.axis_info[0].unit_name == "US survey foot"
    assert np.allclose(there.DEPTH_FT * FOOT, made.clean.contours.depth_m, atol=0.002)
    assert np.allclose(there.to_crs(made.lake.crs).length, made.clean.contours.length, rtol=1e-4)


def test_elevations_are_pool_less_depth(tmp_path):
    made = write_package("elevations_feet", tmp_path)
    there = gpd.read_file(made.files[0])
    assert np.allclose(380.0 - there.ELEV_FT * FOOT, made.clean.contours.depth_m, atol=0.001)
    assert made.options == ("--normal-pool", "380.0 m")


def test_workbook_holds_its_soundings(tmp_path):
    made = write_package("workbook_and_county", tmp_path)
    rows = list(openpyxl.load_workbook(made.files[0]).active.iter_rows(min_row=4, values_only=True))
    assert [r[3] for r in rows] == list(made.clean.soundings.depth_m)
    county = gpd.read_file(f"/vsizip/{made.files[1]}/county_waters/hydro_polygons.shp")
    assert len(county) == 340
    assert (made.lake.name == county.LAKE_NAME).sum() == 1


@needs_gdal
def test_grids_hold_their_depths(tmp_path):
    for name, turned in (
        ("raster_degrees", lambda v: v),
        ("bag_grid", lambda v: -v),
        ("ascii_elevation_feet", lambda v: 340.0 - v * FOOT),
    ):
        folder = tmp_path / name
        folder.mkdir()
        made = write_package(name, folder)
        with rasterio.open(made.files[0]) as grid:
            crs = grid.crs or made.lake.crs
            x, y = made.lake.truth.x, made.lake.truth.y
            at = gpd.GeoSeries(gpd.points_from_xy(x, y), crs=made.lake.crs).to_crs(crs)
            values = np.array([v[0] for v in grid.sample(zip(at.x, at.y, strict=True))], dtype=float)
        known = values != grid.nodata
        assert known.mean() > 0.98, name
        assert np.percentile(np.abs(turned(values) - made.lake.truth.depth_m)[known], 90) < 5.0, name


@needs_gdal
def test_chart_holds_ranges_contours_and_soundings(tmp_path):
    made = write_package("chart_s57", tmp_path)
    areas, lines = (gpd.read_file(made.files[0], layer=n) for n in ("DEPARE", "DEPCNT"))
    assert set(areas.DRVAL1) == {0.0, 5.0, 10.0, 20.0, 30.0, 50.0, 80.0}
    assert areas.to_crs(made.lake.crs).area.sum() == pytest.approx(made.lake.truth.area_m2, rel=0.002)
    assert set(lines.VALDCO) <= {5.0, 10.0, 20.0, 30.0, 50.0, 80.0}
    points = gpd.read_file(made.files[0], layer="SOUNDG").explode(index_parts=False)
    assert np.allclose(np.sort(points.geometry.z), np.sort(made.clean.soundings.depth_m), atol=0.06)


@needs_gdal
@pytest.mark.parametrize(
    "name", ["gml_old_datum", "kml_names", "file_geodatabase", "dxf_lifted", "broken_pieces"]
)
def test_forms_of_lines_hold_their_lines(name, tmp_path):
    made = write_package(name, tmp_path)
    path = f"/vsizip/{made.files[0]}" if made.files[0].endswith(".zip") else made.files[0]
    layer = {"gml_old_datum": "contours", "file_geodatabase": "LakeContours"}.get(name)
    there = gpd.read_file(path, **({"layer": layer} if layer else {}))
    assert len(there) >= len(made.clean.contours)


@pytest.mark.parametrize("name", [n for n in UNTOLD if n not in {"system_of_drawing", "unit_of_grid"}])
def test_every_untold_form_names_the_option_that_answers_it(name, tmp_path):
    made = write_untold(name, tmp_path)
    assert made.asks_for in {"--depths-in", "--normal-pool", "--file-crs", "--water-body", "--column", "--as"}
    assert made.asks_for not in made.options


def test_the_pool_of_the_two_waters_holds_two_of_nearly_one_size():
    lake = valley_lake(350.0)
    assert lake.others[0].area / lake.water.area > 0.9


def test_a_fifth_of_the_outside_soundings_is_kept_back(tmp_path):
    lake = seam_lake(1)
    path = tmp_path / "other.gpkg"
    lake.shoreline.to_file(path, layer="shoreline")
    lake.soundings.to_file(path, layer="soundings")
    lines = lake.contours([1.0, 2.0])
    lines.assign(depth_m=-lines.depth_m).to_file(path, layer="contours")
    other = outside_lake(path)
    assert 0.1 < len(other.truth.x) / len(lake.soundings) < 0.3
    kept = set(zip(other.truth.x, other.truth.y, strict=True))
    assert not kept & set(zip(other.soundings.geometry.x, other.soundings.geometry.y, strict=True))
    assert (other.contours(()).depth_m > 0).all()


@pytest.mark.parametrize("name", TRAPS)
def test_traps_are_written_of_the_lake_they_name(name, tmp_path):
    made = write_package(name, tmp_path)
    assert made.files
    assert made.lake.name == "Twin Zone Pond"
