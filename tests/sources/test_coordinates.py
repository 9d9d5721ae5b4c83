"""Coordinates as people write them, against PROJ, GeographicLib's documented strings and the EPSG examples."""

import math
import random
import re

import geopandas
import numpy as np
import pyproj
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from castshed.toolbox.intake.book.placing import LakeExtent, Trust, place
from castshed.toolbox.sources.cell_texts import read_angle, read_pair
from long_tests import as_many

# Examples of the EPSG Dataset, degree representation methods 9643 (DMS) and 9640 (DM), epsg.io, read.
EPSG = [
    ('35°45’09.18"', 35.75255),
    ('-85°12’14.94"', -85.20415),
    ('85°12’14.94"W', -85.20415),
    ("35°45.153’", 35.75255),
    ("-85°12.249’", -85.20415),
]


@pytest.mark.parametrize(("text", "degrees"), EPSG)
def test_epsg_examples_of_degree_representations(text, degrees):
    assert read_angle(text).degrees == pytest.approx(degrees, abs=1e-12)


# Strings that the documentation of GeographicLib's DMS::Decode (C. Karney, MIT) lists as equivalent, read; the lines
# with sums of angles ("S3-2.5+4.1N") are no coordinates and are left out.
KARNEY_LEGAL = [
    "-20.51125 | 20d30'40.5\"S | -20°30'40.5 | -20d30.675 | N-20d30'40.5\" | -20:30:40.5",
    "4d0'9 | 4d9\" | 4d9'' | 4:0:9 | 004:00:09 | 4.0025 | 4.0025d | 4d0.15 | 04:.15",
    "4:59.99999999999999 | 4:60.0 | 4:59:59.9999999999999 | 4:59:60.0 | 5",
]
KARNEY_ILLEGAL = ["4d5\"4'", "4::5", "4:5:", ":4:5", "4d4.5'4\"", "-N20.5", "1.8e2d", "4:60", "4:59:60"]


@pytest.mark.parametrize("line", KARNEY_LEGAL)
def test_strings_geographiclib_calls_equal_are_equal(line):
    values = [read_angle(text) for text in line.split(" | ")]
    assert [v.fault for v in values] == [""] * len(values)
    assert np.ptp([v.degrees for v in values]) < 1e-12


@pytest.mark.parametrize("text", KARNEY_ILLEGAL)
def test_strings_geographiclib_calls_illegal_are_refused(text):
    angle = read_angle(text)
    assert math.isnan(angle.degrees)
    assert angle.fault


def _proj_reads(text):
    """What PROJ makes of a DMS string: the parsed value of a projection's parameter."""
    crs = pyproj.CRS.from_proj4(f"+proj=tmerc +lat_0=0 +lon_0={text} +datum=WGS84")
    return next(p.value for p in crs.coordinate_operation.params if p.name == "Longitude of natural origin")


def test_dms_strings_read_as_proj_reads_them():
    rng = random.Random(4)
    for _ in range(60):
        degrees, minutes = rng.randrange(0, 179), rng.randrange(0, 60)
        tail = rng.choice((f'{rng.randrange(0, 6000) / 100:05.2f}"', ""))
        text = f"{degrees}d{minutes}'{tail}{rng.choice('EW')}"
        if "60.00" in text:
            continue
        assert read_angle(text).degrees == pytest.approx(_proj_reads(text), abs=1e-10), text


# Variants of one value in the read-me of a public-domain latitude parser (NOAA Emergency Response Division), read.
@pytest.mark.parametrize(
    "text",
    [
        "-45.21", "45.21 S", "-45° 12.600'", "-45 12.600'", "45° 12.6' S", "-45° 12' 36.0\"", "-45d 12' 36.0\"",
        "-45 12' 36.0\"",
    ],
)  # fmt: skip
def test_readme_variants_of_one_latitude(text):
    assert read_angle(text).degrees == pytest.approx(-45.21, abs=1e-12)


@pytest.mark.parametrize(
    ("text", "degrees", "axis"),
    [
        ("35,7525", 35.7525, ""),
        ("N35 45.150", 35.7525, "lat"),
        ("35 45.15 north", 35.7525, "lat"),
        ("Lat: 35.7525", 35.7525, "lat"),
        ("Longitude -85.25", -85.25, "lon"),
        ("35 deg 45 min 9 sec N", 35.7525, "lat"),
        ("35º45′09″N", 35.7525, "lat"),
        ("35-45-09", 35.7525, ""),
        ("−85.25", -85.25, ""),
        ("w 85 15", -85.25, "lon"),
        ("35.7525°\u00a0N", 35.7525, "lat"),
        ("+35.7525", 35.7525, ""),
    ],
)
def test_forms_people_write(text, degrees, axis):
    angle = read_angle(text)
    assert (angle.degrees, angle.axis) == (pytest.approx(degrees, abs=1e-12), axis)


@pytest.mark.parametrize(
    "text",
    ["", "n/a", "?", "35.75N W", "N35S", "35 61.2", "35 45 75", "10'", "35.5 45.2", "=1+1", "35..2", "1e3", "nan", "inf",
     "12 34 56 78", "lat 35 W", "٣٥.x", "3" * 200, "35°45'°"],
)  # fmt: skip
def test_what_is_no_angle_is_refused_with_its_text(text):
    angle = read_angle(text)
    assert math.isnan(angle.degrees)
    assert angle.fault
    assert len(angle.fault) < 120


@given(st.text(max_size=90))
@settings(max_examples=as_many(300), deadline=None)
def test_no_text_breaks_the_reader(text):
    angle = read_angle(text)
    assert math.isnan(angle.degrees) == bool(angle.fault)
    assert all(math.isnan(a.degrees) == bool(a.fault) for a in read_pair(text))


@given(
    st.floats(-179.99, 179.99),
    st.sampled_from(["d", "dm", "dms"]),
    st.integers(1, 6),
    st.sampled_from(["sign", "before", "after"]),
)
@settings(max_examples=as_many(300), deadline=None)
def test_written_and_read_back_is_within_half_a_figure(value, form, figures, side):
    size = abs(value)
    if form == "d":
        body = f"{size:.{figures}f}"
    elif form == "dm":
        body = f"{int(size)} {(size % 1) * 60:.{figures}f}"
    else:
        minutes = (size % 1) * 60
        body = f"{int(size)}°{int(minutes)}'{(minutes % 1) * 60:.{figures}f}\""
    letter = "W" if value < 0 else "E"
    text = {"sign": ("-" if value < 0 else "") + body, "before": letter + body, "after": f"{body} {letter}"}[
        side
    ]
    angle = read_angle(text)
    assert angle.fault == ""
    assert abs(angle.degrees - value) <= angle.half_digit_deg * (1 + 1e-6) + 1e-12


def test_half_a_last_figure_on_the_ground():
    # 0.0001 degree of latitude is 11.1 m, 0.001 minute 1.85 m, 1 second 30.9 m (worked).
    metres = [2 * read_angle(t).half_digit_deg * 111_194.9 for t in ("35.1234", "35 12.345", "35 12 34")]
    assert metres == pytest.approx([11.1, 1.85, 30.9], rel=0.005)


@pytest.mark.parametrize(
    "text",
    [
        "35.75255, -85.20415", "35.75255 -85.20415", "(35.75255; -85.20415)", "35,75255 -85,20415", "N35 45.153 W085 12.249",
        "35 45.153, -85 12.249", "35°45'9.18\"N 85°12'14.94\"W", "85°12'14.94\"W 35°45'9.18\"N", "35.75255N85.20415W",
        "35.75255N, 85.20415W", "W85.20415 N35.75255", "Lat 35.75255 Lon -85.20415", "35 45 9.18 -85 12 14.94",
        "35.75255/-85.20415",
    ],
)  # fmt: skip
def test_both_coordinates_in_one_cell(text):
    lat, lon = read_pair(text)
    assert (lat.fault, lon.fault) == ("", "")
    assert (lat.degrees, lon.degrees) == pytest.approx((35.75255, -85.20415), abs=1e-12)


@pytest.mark.parametrize(
    "text", ["", "35.1", "35.1, 85.2, 12", "N35.1 N36.2", "35 45 85", "here", "1 2 3 4 5 6 7 8"]
)
def test_a_cell_that_is_not_one_pair_is_refused(text):
    assert all(angle.fault for angle in read_pair(text))


# Placing ---------------------------------------------------------------------------------------------------------


def _lake(lon=-85.2, lat=35.76, half_deg=0.02, crs=None, margin_m=500.0):
    box = geopandas.GeoDataFrame(
        geometry=[shapely.box(lon - half_deg, lat - half_deg, lon + half_deg, lat + half_deg)],
        crs="EPSG:4326",
    )
    return LakeExtent.of(box.to_crs(crs or box.estimate_utm_crs()), margin_m)


def _trust(n=1, *, lat_sign=True, lon_sign=True, order=True, run_together=False):
    return Trust(*(np.full(n, flag) for flag in (lat_sign, lon_sign, order, run_together)))


def _put(lake, lat, lon, **open_):
    return place(np.array([shapely.Point(lon, lat)], dtype=object), _trust(**open_), lake)


@pytest.mark.parametrize(
    ("lat", "lon", "words"),
    [
        (35.761, -85.201, ""),
        (35.761, 85.201, "minus sign added to the longitude"),
        (-35.761, -85.201, "minus sign taken off the latitude"),
        (-85.201, 35.761, "latitude and longitude swapped"),
        (85.201, 35.761, "latitude and longitude swapped, minus sign added to the longitude"),
    ],
)
def test_a_lost_sign_and_swapped_columns_are_repaired_and_named(lat, lon, words):
    put = _put(_lake(), lat, lon)
    assert put.remark == [words]
    assert put.reason == [""]
    x, y = pyproj.Transformer.from_crs("EPSG:4326", "EPSG:32616", always_xy=True).transform(-85.201, 35.761)
    assert put.geometry[0].distance(shapely.Point(x, y)) < 1e-6


def test_a_longitude_counted_through_360_is_the_same_place():
    assert _put(_lake(), 35.761, 360 - 85.201).remark == [""]


def test_no_repair_touches_a_sign_a_letter_settled():
    put = _put(_lake(), 35.761, 85.201, lon_sign=False, order=False)
    assert put.geometry[0] is None
    assert "no change of sign or order" in put.reason[0]


def test_two_repairs_that_both_land_are_left_to_a_person():
    # A lake on the equator, 30 degrees east: a swap with either sign of the latitude lands on it.
    lake = _lake(lon=30.0, lat=0.0, half_deg=0.05)
    put = _put(lake, 30.01, 0.01)
    assert put.geometry[0] is None
    assert "more than one repair" in put.reason[0]


def test_a_repair_into_the_margin_alone_is_not_believed():
    # 0.0225 degree from the middle is about 225 m outside the box and inside the margin.
    as_written = _put(_lake(), 35.7825, -85.2)
    repaired = _put(_lake(), 35.7825, 85.2)
    assert as_written.geometry[0] is not None
    assert repaired.geometry[0] is None
    assert "not onto it" in repaired.reason[0]


@pytest.mark.parametrize(
    ("lat", "lon", "words"),
    [
        (97.2, -85.2, "beyond 90"),
        (36.9, -85.2, "lies 127 km"),  # 1.14 degrees of latitude north: pyproj.Geod gives 126.5 km
        (float("nan"), -85.2, "not a number"),
        (35.7, float("inf"), "not a number"),
        (35.7, 1e9, "beyond 180"),
    ],
)
def test_a_row_far_off_says_how_far(lat, lon, words):
    put = _put(_lake(), lat, lon)
    assert put.geometry[0] is None
    assert words in put.reason[0]


def test_degrees_and_minutes_run_together_are_read_where_they_land():
    # ddmm.mmm is the form of NMEA 0183: 3545.66 is 35 degrees 45.66 minutes.
    put = _put(_lake(), 3545.66, 8512.06, run_together=True)
    assert "run together" in put.remark[0]
    assert "minus sign added" in put.remark[0]
    lon, lat = pyproj.Transformer.from_crs("EPSG:32616", "EPSG:4326", always_xy=True).transform(
        *put.geometry[0].coords[0]
    )
    assert (lat, lon) == pytest.approx((35 + 45.66 / 60, -(85 + 12.06 / 60)), abs=1e-9)


def test_a_lake_across_the_date_line():
    lake = _lake(lon=179.999, lat=-16.5, half_deg=0.05, crs="EPSG:32760")
    for lon in (179.99, -179.99, 180.01):
        assert _put(lake, -16.51, lon).remark == [""]
    # There either sign of the longitude is on the lake, so a lost sign of the latitude has two remedies.
    assert "more than one repair" in _put(lake, 16.51, -179.99).reason[0]
    assert _put(lake, 16.51, -179.99, lon_sign=False).remark == ["minus sign added to the latitude"]


@given(
    st.tuples(st.floats(-75, 75), st.floats(-179, 179)),
    st.tuples(st.floats(-0.9, 0.9), st.floats(-0.9, 0.9)),
    st.tuples(st.booleans(), st.booleans(), st.booleans()),
)
@settings(max_examples=as_many(60), deadline=None)
def test_a_repair_gives_the_true_place_or_none(where, offset, damage):
    (lat, lon), (dy, dx), (swap, lose_lat, lose_lon) = where, offset, damage
    lake = _lake(lon=lon, lat=lat)
    true_lat, true_lon = lat + 0.02 * dy * 0.9, lon + 0.02 * dx * 0.9
    given_lat, given_lon = (-true_lat if lose_lat else true_lat), (-true_lon if lose_lon else true_lon)
    if swap:
        given_lat, given_lon = given_lon, given_lat
    put = _put(lake, given_lat, given_lon)
    if put.geometry[0] is None:
        assert put.reason[0]
        return
    x, y = pyproj.Transformer.from_crs("OGC:CRS84", lake.crs, always_xy=True).transform(true_lon, true_lat)
    mirrored = min(abs(lat), abs(lon), abs(180 - abs(lon)), abs(abs(lat) - abs(lon))) < 0.1
    assert mirrored or put.geometry[0].distance(shapely.Point(x, y)) < 1e-3


@given(
    st.lists(st.tuples(st.floats(35.6, 35.9), st.floats(-85.4, -85.0)), min_size=1, max_size=12), st.randoms()
)
@settings(max_examples=as_many(30), deadline=None)
def test_places_do_not_depend_on_the_order_of_rows(rows, rng):
    lake = _lake()
    shapes = np.array([shapely.Point(lon, lat) for lat, lon in rows], dtype=object)
    order = list(range(len(rows)))
    rng.shuffle(order)
    once, again = place(shapes, _trust(len(rows)), lake), place(shapes[order], _trust(len(rows)), lake)
    assert [once.reason[i] for i in order] == again.reason
    assert all(
        a is None if b is None else a.equals_exact(b, 0.0)
        for a, b in zip([once.geometry[i] for i in order], again.geometry, strict=True)
    )


def test_reasons_name_figures_not_types():
    assert re.search(r"\d+\.\d{5}, -?\d+\.\d{5} lies", _put(_lake(), 36.9, -85.2).reason[0])
