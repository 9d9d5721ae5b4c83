"""Slope: textbook cells, two independent programs, exact surfaces, laws."""

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
from castshed.toolbox.water.landform.terrain import Gradient, gradient, slope_deg
from long_tests import as_many

# A worked example met in many textbooks, after Burrough and McDonnell 1998, Principles of Geographical Information
# Systems: cells of 5 m.
TEXTBOOK = np.array([[50.0, 45.0, 50.0], [30.0, 30.0, 30.0], [8.0, 10.0, 10.0]])


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


@pytest.mark.parametrize("cell", [1.0, 2.5, 10.0])
def test_slope_is_that_of_xarray_spatial(cell):
    xrspatial = pytest.importorskip("xrspatial")
    xarray = pytest.importorskip("xarray")
    z = hills()
    peer = xarray.DataArray(z, dims=("y", "x"), attrs={"res": (cell, cell)})
    slant = gradient(z, cell, cell)
    expected = np.asarray(xrspatial.slope(peer))
    assert inner(slope_deg(slant)) == pytest.approx(inner(expected), abs=1e-5)


@pytest.mark.skipif(shutil.which("gdaldem") is None, reason="gdaldem is not installed")
@pytest.mark.parametrize("cells", [(2.0, 2.0), (2.0, 3.0)])
def test_slope_is_that_of_gdaldem(tmp_path, cells):
    z = hills(dtype="f4")
    source, out = tmp_path / "z.tif", tmp_path / "out.tif"
    profile = {"driver": "GTiff", "count": 1, "dtype": "float32", "crs": "EPSG:32615"}
    corner = from_origin(500_000, 4_000_000, *cells)
    with rasterio.open(source, "w", height=60, width=47, transform=corner, **profile) as file:
        file.write(z, 1)
    command = ["gdaldem", "slope", str(source), str(out), "-q"]
    subprocess.run(command, check=True)
    with rasterio.open(out) as file:
        expected = file.read(1)
    slant = gradient(z.astype("f8"), *cells)
    assert inner(slope_deg(slant)) == pytest.approx(inner(expected), abs=1e-5)


def test_a_plane_has_one_slope_up_to_its_rim():
    r, c = np.mgrid[:12, :15]
    z = 0.3 * 2.0 * c - 0.4 * 3.0 * r  # rises east by 0.3, falls south by 0.4 per metre
    slant = gradient(z, 2.0, 3.0)
    assert slope_deg(slant) == pytest.approx(np.degrees(np.arctan(0.5)), abs=1e-9)
    assert slant.east == pytest.approx(0.3, abs=1e-9)
    assert slant.south == pytest.approx(-0.4, abs=1e-9)


def test_level_ground_has_slope_zero():
    slant = gradient(np.full((4, 4), 7.0), 1.0, 1.0)
    assert (slope_deg(slant) == 0).all()


@settings(max_examples=as_many(30), deadline=None)
@given(st.integers(0, 10_000), st.floats(-300, 300))
def test_adding_a_constant_changes_nothing(seed, constant):
    z = hills(9, 11, seed)
    before, after = gradient(z, 2.5, 4.0), gradient(z + constant, 2.5, 4.0)
    assert np.stack(after) == pytest.approx(np.stack(before), abs=1e-10, nan_ok=True)


@settings(max_examples=as_many(30), deadline=None)
@given(st.integers(0, 10_000))
def test_flipping_the_sign_keeps_the_slope(seed):
    z = hills(9, 11, seed)
    up, down = gradient(z, 2.0, 3.0), gradient(-z, 2.0, 3.0)
    assert slope_deg(up) == pytest.approx(slope_deg(down), abs=1e-10)


def test_an_unknown_cell_has_no_slope_and_those_round_it_have():
    z = hills(9, 9)
    z[4, 4] = np.nan
    assert (np.isnan(gradient(z, 1.0, 1.0).east) == np.isnan(z)).all()


@pytest.mark.parametrize("shape", [(0, 0), (1, 1), (1, 7), (7, 1), (2, 2)])
def test_tiny_grids_give_grids_of_their_shape(shape):
    z = np.arange(float(np.prod(shape))).reshape(shape)
    assert gradient(z, 1.0, 1.0).east.shape == shape
    assert np.isfinite(gradient(z, 1.0, 1.0).east).all()


def test_a_grid_of_nothing_known_stays_unknown():
    z = np.full((6, 6), np.nan)
    assert np.isnan(np.stack(gradient(z, 1.0, 1.0))).all()
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
        gradient(np.ones((3, 3)), 1.0, cell)


def test_what_is_not_rows_and_columns_is_refused():
    with pytest.raises(DataError, match="rows and columns"):
        gradient(np.ones(5), 1.0, 1.0)
