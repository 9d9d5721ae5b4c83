"""Slope, aspect and curvature: textbook cells, two independent programs, exact surfaces, laws."""

from __future__ import annotations

import shutil
import subprocess

import numpy as np
import pytest
import rasterio
from hypothesis import given, settings
from hypothesis import strategies as st
from rasterio.transform import from_origin

from castshed.toolbox.errors import DataError, UsageError
from castshed.toolbox.water.landform.terrain import Gradient, aspect_deg, curvature, gradient, slope_deg
from long_tests import as_many

# A worked example met in many textbooks, after Burrough and McDonnell 1998, Principles of Geographical Information
# Systems: cells of 5 m.
TEXTBOOK = np.array([[50.0, 45.0, 50.0], [30.0, 30.0, 30.0], [8.0, 10.0, 10.0]])

STEP_DEG = 5e-5  # bearings of the peers are float32, which cannot tell less than 3e-5 near 360


def hills(rows=60, columns=47, seed=3, dtype="f8"):
    rng = np.random.default_rng(seed)
    r, c = np.mgrid[:rows, :columns]
    z = 20 * np.sin(r / 7.0) * np.cos(c / 9.0) + 0.1 * r + rng.normal(0, 0.5, (rows, columns))
    # Sixteenths, so that a program that reckons in float32 adds them up exactly too.
    return (np.round(z * 16) / 16).astype(dtype)


def inner(values):
    return np.asarray(values)[1:-1, 1:-1]


def test_horns_slope_of_the_textbook_cells():
    slant = gradient(TEXTBOOK, 5.0, 5.0)
    # Burrough and McDonnell 1998: dz/dx 0.05, dz/dy -3.8 (y counts rows), slope 75.2577 degrees.
    assert slant.east[1, 1] == pytest.approx(0.05, abs=1e-12)
    assert slant.south[1, 1] == pytest.approx(-3.8, abs=1e-12)
    assert slope_deg(slant)[1, 1] == pytest.approx(75.2577, abs=5e-5)


def test_zevenbergen_and_thornes_slope_of_the_textbook_cells():
    slant = gradient(TEXTBOOK, 5.0, 5.0, method="zevenbergen_thorne")
    # Worked by hand: (30 - 30) / 10 and (10 - 45) / 10, arctangent of 3.5.
    assert slant.east[1, 1] == 0.0
    assert slant.south[1, 1] == pytest.approx(-3.5, abs=1e-12)
    assert slope_deg(slant)[1, 1] == pytest.approx(74.0546, abs=5e-5)


@pytest.mark.parametrize("cell", [1.0, 2.5, 10.0])
def test_slope_and_aspect_are_those_of_xarray_spatial(cell):
    xrspatial = pytest.importorskip("xrspatial")
    xarray = pytest.importorskip("xarray")
    z = hills()
    peer = xarray.DataArray(z, dims=("y", "x"), attrs={"res": (cell, cell)})
    slant = gradient(z, cell, cell)
    expected = np.asarray(xrspatial.slope(peer))
    assert inner(slope_deg(slant)) == pytest.approx(inner(expected), abs=1e-5)
    apart = np.abs(inner(aspect_deg(slant)) - inner(xrspatial.aspect(peer)))
    assert np.minimum(apart, 360 - apart).max() < STEP_DEG


def test_general_curvature_is_that_of_xarray_spatial():
    xrspatial = pytest.importorskip("xrspatial")
    xarray = pytest.importorskip("xarray")
    z = hills()
    peer = xarray.DataArray(z, dims=("y", "x"), attrs={"res": (2.5, 2.5)})
    expected = np.asarray(xrspatial.curvature(peer)) / 100.0  # it gives them per hundredth
    assert inner(curvature(z, 2.5, 2.5).general) == pytest.approx(inner(expected), abs=1e-5)


@pytest.mark.skipif(shutil.which("gdaldem") is None, reason="gdaldem is not installed")
@pytest.mark.parametrize("method", ["horn", "zevenbergen_thorne"])
# Its aspect takes cells to be square, so only the slope is compared on oblong ones.
@pytest.mark.parametrize(
    ("what", "cells"), [("slope", (2.0, 2.0)), ("slope", (2.0, 3.0)), ("aspect", (2.0, 2.0))]
)
def test_slope_and_aspect_are_those_of_gdaldem(tmp_path, method, what, cells):
    z = hills(dtype="f4")
    source, out = tmp_path / "z.tif", tmp_path / "out.tif"
    profile = {"driver": "GTiff", "count": 1, "dtype": "float32", "crs": "EPSG:32615"}
    corner = from_origin(500_000, 4_000_000, *cells)
    with rasterio.open(source, "w", height=60, width=47, transform=corner, **profile) as file:
        file.write(z, 1)
    command = ["gdaldem", what, str(source), str(out), "-q"]
    if method != "horn":
        command += ["-alg", "ZevenbergenThorne"]
    subprocess.run(command, check=True)
    with rasterio.open(out) as file:
        expected = file.read(1)
    slant = gradient(z.astype("f8"), *cells, method=method)
    if what == "slope":
        assert inner(slope_deg(slant)) == pytest.approx(inner(expected), abs=1e-5)
    else:
        apart = np.abs(inner(aspect_deg(slant)) - inner(expected))
        assert np.minimum(apart, 360 - apart).max() < STEP_DEG


def test_a_plane_has_one_slope_up_to_its_rim_and_no_curvature():
    r, c = np.mgrid[:12, :15]
    z = 0.3 * 2.0 * c - 0.4 * 3.0 * r  # rises east by 0.3, falls south by 0.4 per metre
    slant = gradient(z, 2.0, 3.0, mend=True)
    assert slope_deg(slant) == pytest.approx(np.degrees(np.arctan(0.5)), abs=1e-9)
    assert aspect_deg(slant) == pytest.approx(np.degrees(np.arctan2(-0.3, -0.4)) % 360, abs=1e-9)
    for part in curvature(z, 2.0, 3.0, mend=True):
        assert part == pytest.approx(0.0, abs=1e-9)


@pytest.mark.parametrize(
    ("fall", "bearing"), [((0, 1), 90.0), ((0, -1), 270.0), ((1, 0), 180.0), ((-1, 0), 0.0), ((1, 1), 135.0)]
)
def test_aspect_is_the_bearing_downhill(fall, bearing):
    r, c = np.mgrid[:5, :5]
    slant = gradient(-(fall[0] * r + fall[1] * c).astype(float), 1.0, 1.0)
    assert aspect_deg(slant)[2, 2] == pytest.approx(bearing)


def test_level_ground_has_slope_zero_and_no_aspect():
    slant = gradient(np.full((4, 4), 7.0), 1.0, 1.0, mend=True)
    assert (slope_deg(slant) == 0).all()
    assert np.isnan(aspect_deg(slant)).all()


def test_a_cone_bulges_across_the_slope_by_slope_over_radius_and_not_along_it():
    cell = 0.25
    y, x = np.mgrid[-60:61, -60:61] * cell
    radius = np.hypot(x, y)
    bend = curvature(-0.2 * radius, cell, cell)
    ring = (radius > 8) & (radius < 12)
    # Calculus: across the slope the second derivative of -0.2 r is -0.2 / r; along it, none.
    assert bend.plan[ring] == pytest.approx(0.2 / radius[ring], rel=2e-3)
    assert np.abs(bend.profile[ring]).max() < 2e-4


def test_a_hollow_slope_has_profile_curvature_twice_its_square_term_whatever_its_direction():
    y, x = np.mgrid[:30, :30] * 2.0
    for turn in (0.0, 0.4, 1.2, 2.9):
        s = x * np.cos(turn) + y * np.sin(turn) + 200.0
        bend = curvature(0.003 * s * s, 2.0, 2.0)
        assert inner(bend.profile) == pytest.approx(0.006, rel=1e-6)
        assert np.abs(inner(bend.plan)).max() < 1e-9


@settings(max_examples=as_many(30), deadline=None)
@given(st.integers(0, 10_000), st.floats(-300, 300))
def test_adding_a_constant_changes_nothing(seed, constant):
    z = hills(9, 11, seed)
    for method in ("horn", "zevenbergen_thorne"):
        before, after = gradient(z, 2.5, 4.0, method=method), gradient(z + constant, 2.5, 4.0, method=method)
        assert np.stack(after) == pytest.approx(np.stack(before), abs=1e-10, nan_ok=True)
    assert np.stack(curvature(z + constant, 2.5, 4.0)) == pytest.approx(
        np.stack(curvature(z, 2.5, 4.0)), abs=1e-9, nan_ok=True
    )


@settings(max_examples=as_many(30), deadline=None)
@given(st.integers(0, 10_000))
def test_flipping_the_sign_flips_every_part_and_keeps_the_slope(seed):
    z = hills(9, 11, seed)
    up, down = gradient(z, 2.0, 3.0, mend=True), gradient(-z, 2.0, 3.0, mend=True)
    assert slope_deg(up) == pytest.approx(slope_deg(down), abs=1e-10)
    for one, other in zip(curvature(z, 2.0, 3.0), curvature(-z, 2.0, 3.0), strict=True):
        assert one == pytest.approx(-other, abs=1e-12, nan_ok=True)


@settings(max_examples=as_many(30), deadline=None)
@given(st.integers(0, 10_000))
def test_plan_less_profile_is_the_general_curvature(seed):
    bend = curvature(hills(9, 11, seed), 2.0, 3.0)
    assert bend.plan - bend.profile == pytest.approx(bend.general, abs=1e-10, nan_ok=True)


def test_an_unknown_cell_takes_away_only_the_cells_that_read_it():
    z = hills(9, 9)
    z[4, 4] = np.nan
    slant = gradient(z, 1.0, 1.0)
    gone = np.isnan(slant.east)
    expected = np.ones((9, 9), bool)
    expected[1:-1, 1:-1] = False
    expected[3:6, 3:6] = True
    assert (gone == expected).all()
    assert (np.isnan(gradient(z, 1.0, 1.0, mend=True).east) == np.isnan(z)).all()


@pytest.mark.parametrize("shape", [(0, 0), (1, 1), (1, 7), (7, 1), (2, 2)])
def test_tiny_grids_give_grids_of_their_shape(shape):
    z = np.arange(float(np.prod(shape))).reshape(shape)
    assert gradient(z, 1.0, 1.0).east.shape == shape
    assert np.isnan(gradient(z, 1.0, 1.0).east).all()
    mended = gradient(z, 1.0, 1.0, mend=True)
    assert np.isfinite(mended.east).all()
    assert np.isfinite(np.stack(curvature(z, 1.0, 1.0, mend=True))).all()


def test_a_grid_of_nothing_known_stays_unknown():
    z = np.full((6, 6), np.nan)
    assert np.isnan(np.stack(gradient(z, 1.0, 1.0, mend=True))).all()
    assert np.isnan(slope_deg(Gradient(z, z))).all()


def test_the_input_is_left_as_it_was_and_kept_in_its_precision():
    z = hills(8, 8, dtype="f4")
    before = z.copy()
    assert gradient(z, 1.0, 1.0).east.dtype == np.float32
    assert (z == before).all()
    assert gradient(np.arange(9).reshape(3, 3), 1.0, 1.0).east[1, 1] == 1.0


@pytest.mark.parametrize("cell", [0.0, -1.0, np.nan, np.inf])
def test_a_cell_without_a_size_is_refused(cell):
    with pytest.raises(UsageError, match="finite size"):
        gradient(np.ones((3, 3)), cell, 1.0)
    with pytest.raises(UsageError, match="finite size"):
        curvature(np.ones((3, 3)), 1.0, cell)


def test_what_is_not_rows_and_columns_and_what_method_is_unknown_is_refused():
    with pytest.raises(DataError, match="rows and columns"):
        gradient(np.ones(5), 1.0, 1.0)
    with pytest.raises(UsageError, match="zevenbergen_thorne"):
        gradient(np.ones((3, 3)), 1.0, 1.0, method="best")
