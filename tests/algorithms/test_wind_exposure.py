"""wind-exposure: the model by places and winds, and the algorithm on layers."""

import datetime as dt
import json
import re
import typing
import warnings
from dataclasses import replace

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely
from geopandas.testing import assert_geodataframe_equal
from pandas.api.types import is_numeric_dtype

import in_process
from castshed.algorithms import wind_exposure as module
from castshed.algorithms.wind_exposure import wind_exposure as run
from castshed.toolbox.depth import DepthSurface
from castshed.toolbox.errors import ContractError, CrsError, DataWarning, UsageError
from castshed.toolbox.intake.series.series_table import parse_delimited
from castshed.toolbox.layers import list_layers, write_layers
from castshed.toolbox.lon_lat import north_of
from castshed.toolbox.testing import check_algorithm
from castshed.toolbox.water.wind.exposure import bank_words, expose, mean_depth_along, place_points
from castshed.toolbox.water.wind.fetch import effective_fetch_lengths, fetch_lengths
from castshed.toolbox.water.wind.forecast import Forecast
from castshed.toolbox.water.wind.waves import WAVE_METHODS, wave_height


def wind_exposure(*inputs, **options):
    """The places of a single wind."""
    return run(*inputs, **options).places


CRS = "EPSG:32615"
WEST, SOUTH = 500_000.0, 4_000_000.0


def at(x, y):
    return shapely.Point(WEST + x, SOUTH + y)


def box(x0, y0, x1, y1):
    return shapely.box(WEST + x0, SOUTH + y0, WEST + x1, SOUTH + y1)


def water_layer(*polygons):
    polygons = polygons or (box(0, 0, 4000, 1000),)
    return gpd.GeoDataFrame(
        {"water_id": [f"w{i}" for i in range(len(polygons))]}, geometry=list(polygons), crs=CRS
    )


def places_layer(*geometries):
    return gpd.GeoDataFrame(
        {"spot_id": [f"s{i}" for i in range(len(geometries))]}, geometry=list(geometries), crs=CRS
    )


def surface(depth, cell_m=50.0, west=-500.0, north=1500.0):
    return DepthSurface(np.asarray(depth, dtype=float), WEST + west, SOUTH + north, cell_m, cell_m, CRS)


def flat(depth_m):
    return surface(np.full((40, 100), depth_m))


# Depth along the fetch ----------------------------------------------------------------------------------------


def test_mean_depth_on_a_slope_is_the_depth_half_way():
    # Geometry: depth rises in equal steps with x; the mean over a straight line is the depth at its middle.
    slope = surface(np.tile(1.0 + 0.2 * np.arange(100), (40, 1)))
    middle = (WEST + 1000.0 - 250.0, SOUTH + 500.0)
    expected = float(slope.at(*middle))
    found = mean_depth_along([(WEST + 1000.0, SOUTH + 500.0)], [500.0], 270.0, slope, level_m=-1.0)
    assert found[0] == pytest.approx(expected - 1.0, rel=1e-3)


def test_mean_depth_is_unknown_where_less_than_half_of_the_fetch_is_known():
    depth = np.full((40, 100), 4.0)
    depth[:, :20] = np.nan  # unknown up to x = 500
    point = [(WEST + 2000.0, SOUTH + 500.0)]
    known = mean_depth_along(point, [2000.0], 270.0, surface(depth))
    unknown = mean_depth_along([(WEST + 700.0, SOUTH + 500.0)], [700.0], 270.0, surface(depth))
    assert known[0] == pytest.approx(4.0)
    assert np.isnan(unknown[0])


# Lee and windward ---------------------------------------------------------------------------------------------


def test_bank_is_named_from_the_nearer_shore():
    up = [40.0, 900.0, 900.0, 40.0, 60.0, 50.0, np.nan]
    down = [900.0, 40.0, 900.0, 60.0, 40.0, 50.0, np.nan]
    words = bank_words(up, down, 100.0).tolist()
    assert words == ["lee", "windward", "open", "lee", "windward", "lee", None]


def test_the_windward_bank_is_the_one_the_wind_blows_onto():
    found = wind_exposure(
        places_layer(at(30, 500), at(3970, 500), at(2000, 500)),
        water_layer(),
        wind_from_deg=270.0,
        wind_speed_mps=6.0,
    )
    assert found["bank"].tolist() == ["lee", "windward", "open"]
    assert found["fetch_m"].tolist() == pytest.approx([30.0, 3970.0, 2000.0])
    assert found["wave_m"].iloc[0] < found["wave_m"].iloc[2] < found["wave_m"].iloc[1]


def test_a_wind_along_the_bank_leaves_the_water_open():
    found = wind_exposure(
        places_layer(at(3850, 990), at(150, 990)), water_layer(), wind_from_deg=270.0, wind_speed_mps=6.0
    )
    assert found["bank"].tolist() == ["open", "open"]


# Where a place is judged ------------------------------------------------------------------------------------


def test_lines_and_polygons_are_judged_on_the_wet_part():
    water = box(0, 0, 4000, 1000)
    line = shapely.LineString([(WEST - 900, SOUTH + 300), (WEST + 100, SOUTH + 300)])
    patch = box(-300, 400, 60, 600)
    dry, touching = box(-300, 400, -60, 600), box(-300, 400, 0, 600)
    points = place_points([at(10, 10), line, patch, dry, touching], water)
    assert points[1].tolist() == pytest.approx([WEST + 50, SOUTH + 300])  # middle of its wet part
    assert points[0].tolist() == [WEST + 10, SOUTH + 10]
    assert shapely.contains_xy(water, points[1:3]).all()
    assert not shapely.contains_xy(water, points[3:]).any()
    assert np.isnan(place_points([shapely.Point(), shapely.Polygon(), None], water)).all()


# Waves ------------------------------------------------------------------------------------------------------


def test_waves_are_those_of_the_named_method_at_fetch_and_mean_depth():
    for method in WAVE_METHODS:
        found = wind_exposure(
            places_layer(at(3000, 500)),
            water_layer(),
            wind_from_deg=270.0,
            wind_speed_mps=9.0,
            depth=flat(5.0),
            level_m=-1.5,
            wave_method=method,
        )
        height, period = wave_height(method, 9.0, 3000.0, 3.5)
        row = found.iloc[0]
        assert row["fetch_depth_m"] == pytest.approx(3.5)
        assert row["wave_m"] == pytest.approx(float(height))
        assert row["period_s"] == pytest.approx(float(period))
        assert row["wave_low_m"] <= row["wave_m"] <= row["wave_high_m"]
        assert row["wave_low_m"] < row["wave_high_m"]
        assert row["wave_method"].split(",")[0].replace(" and ", " ").split()[-1] == method.rsplit("-", 1)[1]
        assert "mean depth" in row["wave_method"]


def test_without_a_depth_the_deep_water_form_is_used_and_named():
    found = wind_exposure(places_layer(at(3000, 500)), water_layer(), wind_from_deg=270.0, wind_speed_mps=9.0)
    assert found["wave_m"].iloc[0] == pytest.approx(float(wave_height("spm-1984", 9.0, 3000.0)[0]))
    assert "SPM 1984" in found["wave_method"].iloc[0]
    assert "deep-water" in found["wave_method"].iloc[0]


def test_a_wave_is_held_at_078_of_the_depth_it_stands_in():
    depth = np.full((40, 100), 6.0)
    depth[:, 80:] = 0.3  # a bar from x = 3500
    found = wind_exposure(
        places_layer(at(3700, 500), at(3300, 500)),
        water_layer(),
        wind_from_deg=270.0,
        wind_speed_mps=15.0,
        depth=surface(depth),
    )
    on_bar, off_bar = found.iloc[0], found.iloc[1]
    assert on_bar["wave_high_m"] == pytest.approx(0.78 * 0.3, rel=1e-6)  # SPM 1984 ch. 2
    assert on_bar["wave_m"] == pytest.approx(0.78 * 0.3, rel=1e-6)
    assert "held at breaking" in on_bar["wave_method"]
    assert off_bar["wave_m"] > 0.3
    assert "breaking" not in off_bar["wave_method"]


def test_a_short_wind_raises_less():
    args = {"wind_from_deg": 270.0, "wind_speed_mps": 9.0}
    steady = wind_exposure(places_layer(at(3900, 500)), water_layer(), **args)
    short = wind_exposure(places_layer(at(3900, 500)), water_layer(), duration_s=600.0, **args)
    assert short["wave_m"].iloc[0] < 0.7 * steady["wave_m"].iloc[0]


def test_effective_fetch_is_used_and_named_when_asked_for():
    places, water = places_layer(at(3000, 500)), water_layer()
    found = wind_exposure(places, water, wind_from_deg=270.0, wind_speed_mps=9.0, fetch="effective")
    expected = effective_fetch_lengths([(WEST + 3000, SOUTH + 500)], water.geometry.iloc[0], [270.0])[0, 0]
    assert found["fetch_m"].iloc[0] == pytest.approx(expected)
    assert expected < 2000.0
    assert "effective fetch" in found["wave_method"].iloc[0]


def test_the_coastal_engineering_manual_with_an_averaged_fetch_is_pointed_out():
    with pytest.warns(DataWarning, match="straight line"):
        wind_exposure(
            places_layer(at(3000, 500)),
            water_layer(),
            wind_from_deg=270.0,
            wind_speed_mps=9.0,
            fetch="effective",
            wave_method="cem-2002",
        )


def test_many_winds_at_once_equal_one_after_the_other():
    water = shapely.union_all([box(0, 0, 4000, 1000), box(1500, 900, 2200, 3000)]) - box(1700, 400, 1900, 600)
    rng = np.random.default_rng(4)
    points = np.column_stack([WEST + rng.uniform(0, 4000, 40), SOUTH + rng.uniform(0, 1000, 40)])
    bearings, speeds = np.array([0.0, 225.0, 225.0, 300.0]), np.array([3.0, 6.0, 12.0, 0.0])
    depth = flat(5.0)
    whole = expose(points, water, bearings, speeds, surface=depth, level_m=-0.5)
    for hour, (bearing, speed) in enumerate(zip(bearings, speeds, strict=True)):
        one = expose(points, water, [bearing], [speed], surface=depth, level_m=-0.5)
        for name in ("fetch_m", "fetch_depth_m", "wave_m", "wave_low_m", "wave_high_m", "period_s"):
            np.testing.assert_array_equal(getattr(whole, name)[:, hour], getattr(one, name)[:, 0])
        assert whole.bank[:, hour].tolist() == one.bank[:, 0].tolist()


# The algorithm --------------------------------------------------------------------------------------------


def test_the_contract_of_the_toolbox_is_kept():
    check_algorithm(
        run,
        places_layer(at(10, 10), at(3000, 500), box(100, 100, 300, 300)),
        water_layer(),
        wind_from_deg=200.0,
        wind_speed_mps=7.0,
        depth=flat(4.0),
        level_m=-1.0,
    )


def test_rows_ids_and_input_are_kept():
    places = places_layer(at(10, 10), at(3000, 500), box(100, 100, 300, 300))
    before = places.copy(deep=True)
    found = wind_exposure(places, water_layer(), wind_from_deg=45.0, wind_speed_mps=5.0)
    assert found["spot_id"].tolist() == ["s0", "s1", "s2"]
    assert found.geometry.geom_equals(places.geometry).all()
    assert found.crs == places.crs
    assert (found["wind_mps"] == 5.0).all()
    assert (found["wind_from_deg"] == 45.0).all()
    assert_geodataframe_equal(places, before)


def test_a_place_off_the_water_keeps_its_row_without_figures_and_is_named():
    with pytest.warns(DataWarning, match=r"1 of 2 places is not on today's water.*s1"):
        found = wind_exposure(
            places_layer(at(100, 100), at(-500, 100)), water_layer(), wind_from_deg=0.0, wind_speed_mps=0.0
        )
    row = found.iloc[1]
    for column in ("fetch_m", "wave_m", "wave_low_m", "wave_high_m", "period_s"):
        assert np.isnan(row[column])
    assert pd.isna(row["bank"])
    assert row["wave_method"] == "none: not on today's water"


def test_waters_that_share_an_edge_are_one_water():
    halves = water_layer(box(0, 0, 2000, 1000), box(2000, 0, 4000, 1000))
    found = wind_exposure(places_layer(at(3000, 500)), halves, wind_from_deg=270.0, wind_speed_mps=5.0)
    assert found["fetch_m"].iloc[0] == pytest.approx(3000.0)


def test_a_fetch_without_depths_is_pointed_out():
    depth = np.full((40, 100), np.nan)
    depth[0, 0] = 3.0
    with pytest.warns(DataWarning, match=r"less than half of the fetch.*s0"):
        found = wind_exposure(
            places_layer(at(3000, 500)),
            water_layer(),
            wind_from_deg=270.0,
            wind_speed_mps=9.0,
            depth=surface(depth),
        )
    assert "deep-water" in found["wave_method"].iloc[0]


def test_an_empty_layer_gives_an_empty_layer_with_the_same_columns():
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        empty = wind_exposure(
            places_layer(at(1, 1)).iloc[:0],
            water_layer(),
            wind_from_deg=270.0,
            wind_speed_mps=9.0,
            depth=flat(3.0),
        )
    full = wind_exposure(places_layer(at(1, 1)), water_layer(), wind_from_deg=270.0, wind_speed_mps=9.0)
    assert len(empty) == 0
    assert list(empty.columns) == list(full.columns)


def test_running_it_again_for_another_wind_replaces_the_figures():
    first = wind_exposure(places_layer(at(3000, 500)), water_layer(), wind_from_deg=270.0, wind_speed_mps=9.0)
    second = wind_exposure(first, water_layer(), wind_from_deg=90.0, wind_speed_mps=4.0)
    assert list(second.columns) == list(first.columns)
    assert second["fetch_m"].iloc[0] == pytest.approx(1000.0)
    assert second["wind_mps"].iloc[0] == 4.0


def test_degrees_two_systems_and_an_empty_water_are_refused():
    places, water = places_layer(at(1, 1)), water_layer()
    with pytest.raises(CrsError, match="degrees"):
        wind_exposure(places.to_crs("EPSG:4326"), water, wind_from_deg=0.0, wind_speed_mps=5.0)
    with pytest.raises(CrsError, match="one coordinate"):
        wind_exposure(places.to_crs("EPSG:32614"), water, wind_from_deg=0.0, wind_speed_mps=5.0)
    with pytest.raises(ContractError, match="empty layer"):
        wind_exposure(places, water.iloc[:0], wind_from_deg=0.0, wind_speed_mps=5.0)


@pytest.mark.parametrize(
    "wrong",
    [
        {"wind_speed_mps": -1.0},
        {"wind_speed_mps": float("nan")},
        {"wind_from_deg": 400.0},
        {"wave_method": "beaufort"},
        {"fetch": "longest"},
        {"near_bank_m": -1.0},
    ],
)
def test_parameters_out_of_their_limits_are_refused(wrong):
    given = {"wind_from_deg": 0.0, "wind_speed_mps": 5.0, **wrong}
    with pytest.raises(UsageError):
        wind_exposure(places_layer(at(1, 1)), water_layer(), **given)


def test_every_method_can_be_chosen():
    assert set(typing.get_args(module.Method)) == set(WAVE_METHODS)


def test_help_says_that_a_small_figure_promises_nothing():
    text = " ".join(run.spec.description.split())
    assert "does not say that a boat can go there" in text
    assert "official forecast" in text


def test_fetch_of_the_algorithm_is_the_models():
    water = water_layer(box(0, 0, 4000, 1000) - box(1000, 300, 1200, 700))
    points = [(WEST + 3000.0, SOUTH + 500.0), (WEST + 500.0, SOUTH + 900.0)]
    found = wind_exposure(
        places_layer(*(shapely.Point(p) for p in points)),
        water,
        wind_from_deg=250.0,
        wind_speed_mps=5.0,
        fetch="straight",
    )
    on_grid = 250.0 - north_of(water)  # the model works on the grid
    expected = fetch_lengths(points, water.geometry.iloc[0], [on_grid])[:, 0]
    assert found["fetch_m"].tolist() == pytest.approx(expected.tolist())


# A forecast ---------------------------------------------------------------------------------------------------


def hours(*rows, averaged_s=None):
    """A forecast of (hour, from, wind, gust)."""
    return Forecast(
        tuple(dt.datetime(2026, 5, 16, row[0], tzinfo=dt.timezone(dt.timedelta(hours=-5))) for row in rows),
        np.array([row[2] for row in rows], dtype=float),
        np.array([row[3] for row in rows], dtype=float),
        np.array([row[1] for row in rows], dtype=float),
        averaged_s,
    )


DAY = hours((6, 180.0, 3.0, 5.0), (7, 270.0, 6.0, np.nan), (8, 270.0, 9.0, 14.0), (9, 90.0, 9.0, 13.0))


def test_every_hour_is_that_of_its_own_wind():
    places, water = places_layer(at(3000, 500), at(60, 500), box(100, 100, 300, 300)), water_layer()
    found = run(places, water, forecast=DAY, depth=flat(4.0), level_m=-1.0)
    assert found.exposure["spot_id"].tolist() == [s for s in ("s0", "s1", "s2") for _ in range(4)]
    assert found.exposure["time"].tolist()[:2] == ["2026-05-16T06:00:00-05:00", "2026-05-16T07:00:00-05:00"]
    for hour in range(4):
        one = wind_exposure(
            places,
            water,
            wind_from_deg=float(DAY.wind_from_deg[hour]),
            wind_speed_mps=float(DAY.wind_mps[hour]),
            depth=flat(4.0),
            level_m=-1.0,
        )
        rows = found.exposure.iloc[hour::4].reset_index(drop=True)
        for column in ("fetch_m", "fetch_depth_m", "wave_m", "wave_low_m", "wave_high_m", "period_s"):
            np.testing.assert_array_equal(rows[column], one[column])
        for column in ("wave_method", "bank", "wind_mps", "wind_from_deg"):
            assert rows[column].tolist() == one[column].tolist()
        assert rows.geometry.geom_equals(places.geometry).all()


def test_places_carry_the_worst_and_the_mean_of_the_hours():
    found = run(places_layer(at(3000, 500), at(60, 500)), water_layer(), forecast=DAY)
    hourly = found.exposure
    for _, spot in found.places.iterrows():
        own = hourly[hourly["spot_id"] == spot["spot_id"]]
        worst = own.loc[own["wave_high_m"].idxmax()]
        for column in ("wave_m", "wave_high_m", "fetch_m", "bank", "wind_from_deg", "wave_method"):
            assert spot[column] == worst[column]
        assert spot["worst_time"] == worst["time"]
        assert spot["wave_mean_m"] == pytest.approx(own["wave_m"].mean())
        assert (spot["wind_mps"], spot["gust_mps"]) == (9.0, 14.0)
        assert spot["wind_mean_mps"] == pytest.approx(6.75)
    # 3,000 m of water to the west, 3,940 m to the east of the one under the west bank.
    assert found.places["worst_time"].tolist() == ["2026-05-16T08:00:00-05:00", "2026-05-16T09:00:00-05:00"]


def test_the_wind_of_a_place_is_the_greatest_of_all_hours_not_only_of_the_hour_of_its_waves():
    lee = hours((6, 270.0, 12.0, 15.0), (7, 90.0, 7.0, 9.0))
    found = run(places_layer(at(30, 500)), water_layer(), forecast=lee).places.iloc[0]
    assert found["worst_time"].startswith("2026-05-16T07")
    assert (found["wind_mps"], found["gust_mps"]) == (12.0, 15.0)


def test_a_wind_that_varies_is_taken_from_its_worst_bearing():
    places, water = places_layer(at(3000, 500), at(60, 500), at(-500, 1)), water_layer()
    varying = hours((6, 270.0, 4.0, 5.0), (7, np.nan, 4.0, 5.0), (8, 90.0, 4.0, 5.0))
    with pytest.warns(DataWarning, match="1 of 3 places"):
        found = run(places, water, forecast=varying, depth=flat(4.0))
    rows = found.exposure[found.exposure["time"].str.contains("T07")]
    every = hours(*((k, 15.0 * k, 4.0, 5.0) for k in range(24)))
    with pytest.warns(DataWarning, match="1 of 3 places"):
        worst = run(places, water, forecast=every, depth=flat(4.0)).places
    for column in ("wave_m", "wave_high_m", "fetch_m", "fetch_depth_m", "period_s"):
        # Of a varying wind bearings of the grid are tried, here within a tenth of a degree of the true ones.
        np.testing.assert_allclose(rows[column], worst[column], rtol=2e-3)
    assert rows["bank"].isna().all()
    assert rows["wind_from_deg"].isna().all()
    assert rows["wave_method"].str.endswith("worst of 24 bearings").tolist() == [True, True, False]
    for hour in ("T06", "T08"):
        known = found.exposure[found.exposure["time"].str.contains(hour)]
        assert known["bank"].notna().tolist() == [True, True, False]


def test_a_place_off_the_water_has_its_hours_without_figures():
    with pytest.warns(DataWarning, match="1 of 2 places"):
        found = run(places_layer(at(100, 100), at(-500, 100)), water_layer(), forecast=DAY)
    dry = found.exposure[found.exposure["spot_id"] == "s1"]
    assert len(dry) == 4
    assert dry[["fetch_m", "wave_m", "wave_low_m", "wave_high_m", "period_s"]].isna().all().all()
    assert pd.isna(found.places["worst_time"].iloc[1])
    assert np.isnan(found.places["wave_mean_m"].iloc[1])


def test_holds_keep_their_number_and_layers_without_ids_their_row():
    holds = places_layer(at(100, 100), at(200, 100)).assign(spot_id="s0", hold_no=[0, 1])
    found = run(holds, water_layer(), forecast=DAY).exposure
    assert found["hold_no"].tolist() == [0] * 4 + [1] * 4
    bare = places_layer(at(100, 100), at(200, 100)).drop(columns="spot_id")
    assert run(bare, water_layer(), forecast=DAY).exposure["spot_id"].unique().tolist() == ["row 0", "row 1"]


def test_the_contract_of_the_toolbox_is_kept_over_hours():
    check_algorithm(
        run, places_layer(at(10, 10), at(3000, 500)), water_layer(), forecast=DAY, depth=flat(4.0)
    )


def test_a_table_is_read_with_its_columns_units_and_zone():
    table = parse_delimited(b"when,w,g,d\n2026-05-16 06:00,10,15,W\n2026-05-16 07:00,12,18,W\n", "f.csv")
    found = run(
        places_layer(at(3000, 500)),
        water_layer(),
        forecast=table,
        columns=["time=when", "wind=w", "gust=g", "wind_from=d"],
        speed_units=["wind=kn", "gust=kn"],
        zone="America/Chicago",
        first_time="2026-05-16T06:30",
    )
    assert found.exposure["time"].tolist() == ["2026-05-16T07:00:00-05:00"]
    assert found.places["wind_mps"].iloc[0] == pytest.approx(12 * 1852 / 3600)


def test_a_stated_time_of_averaging_changes_the_waves_and_says_so():
    steady = run(places_layer(at(3000, 500)), water_layer(), forecast=DAY)
    short = run(places_layer(at(3000, 500)), water_layer(), forecast=replace(DAY, averaged_s=60.0))
    assert (short.exposure["wave_m"] < steady.exposure["wave_m"]).all()
    assert short.exposure["wave_method"].str.contains("averaged as long as the waves need").all()
    assert not steady.exposure["wave_method"].str.contains("averaged").any()
    assert short.exposure["wind_mps"].tolist() == steady.exposure["wind_mps"].tolist()
    one = wind_exposure(
        places_layer(at(3000, 500)), water_layer(), wind_from_deg=270.0, wind_speed_mps=9.0, averaged_s=60.0
    )
    assert one["wave_m"].iloc[0] == pytest.approx(short.exposure["wave_m"].iloc[2])


def test_a_single_wind_stated_for_another_height_is_brought_to_10_m():
    found = wind_exposure(
        places_layer(at(3000, 500)), water_layer(), wind_from_deg=270.0, wind_speed_mps=8.0, wind_height_m=4.0
    )
    assert found["wind_mps"].iloc[0] == pytest.approx(8.0 * 2.5 ** (1 / 7))  # EM 1110-2-1100 II-2, eq. II-2-9


@pytest.mark.parametrize(
    ("given", "words"),
    [
        ({}, "or hourly winds with forecast"),
        ({"wind_speed_mps": 5.0}, "Give one wind"),
        ({"wind_speed_mps": 5.0, "wind_from_deg": 1.0, "forecast": DAY}, "give one of them"),
        ({"wind_speed_mps": 5.0, "wind_from_deg": 1.0, "zone": "UTC"}, "belong to a forecast"),
        ({"forecast": DAY, "averaged_s": 60.0}, "states its own"),
        ({"forecast": [1, 2]}, "is a list"),
        ({"forecast": DAY, "first_time": "2026-05-17T00:00Z"}, "No hour"),
        ({"forecast": DAY, "last_time": "noon"}, "last-time is 'noon'"),
    ],
)
def test_winds_that_cannot_be_meant_are_refused(given, words):
    with pytest.raises(UsageError, match=words):
        run(places_layer(at(1, 1)), water_layer(), **given)


# On the command line ------------------------------------------------------------------------------------------


@pytest.fixture
def folder(tmp_path):
    write_layers(
        tmp_path / "lake.gpkg", {"spots": places_layer(at(3000, 500), at(60, 500)), "water": water_layer()}
    )
    (tmp_path / "wind.csv").write_text("time,wind_kn,dir\n2026-05-16T06:00Z,8,W\n2026-05-16T07:00Z,9,W\n")
    return tmp_path


def castshed(folder, words):
    given = ["wind-exposure", "lake.gpkg:spots", "lake.gpkg:water", *words.split()]
    return in_process.castshed(*given, cwd=folder)


def test_a_forecast_writes_two_layers_and_a_single_wind_one(folder):
    one = castshed(folder, "--wind-from W --wind-speed 8kn --out one.gpkg:exposure --json")
    assert json.loads(one.stdout)["features"] == {"exposure": 2}
    two = castshed(folder, "--forecast wind.csv --out two.gpkg:windy --json")
    assert json.loads(two.stdout)["features"] == {"windy": 2, "exposure": 4}
    assert json.loads(castshed(folder, "--forecast wind.csv --out three.gpkg --json").stdout)["features"] == {
        "places": 2,
        "exposure": 4,
    }
    # A single wind leaves the layer of hours alone, and minds its own name only.
    assert castshed(folder, "--wind-from W --wind-speed 8kn --out two.gpkg:still").returncode == 0
    refused = castshed(folder, "--forecast wind.csv --out two.gpkg:again")
    assert refused.returncode == 4
    assert "two.gpkg already has exposure" in refused.stderr
    assert sorted(list_layers(folder / "two.gpkg")) == ["exposure", "still", "windy"]


@pytest.mark.parametrize(
    ("words", "code", "said"),
    [
        ("--forecast wind.csv --out x.gpkg:exposure", 2, "give --out another name"),
        ("--forecast gone.csv --out x.gpkg", 3, "gone.csv is not there"),
        ("--forecast lake.gpkg --out x.gpkg", 3, "save a wind forecast as CSV"),
        ("--out x.gpkg", 2, "hourly winds with forecast"),
        ("--forecast wind.csv --columns wind=blow --out x.gpkg", 2, "no column 'blow'"),
    ],
)
def test_what_goes_wrong_is_said_without_a_traceback(folder, words, code, said):
    done = castshed(folder, words)
    assert done.returncode == code
    assert said in done.stderr
    assert "Traceback" not in done.stderr
    assert not (folder / "x.gpkg").exists()


# What the figures promise -------------------------------------------------------------------------------------


def test_a_calm_never_reads_as_safe():
    """No word of comfort beside the smallest figures, on no face: table, help, notes."""
    calm = hours((6, 180.0, 0.0, 0.0), (7, 180.0, 0.2, 0.5))
    with warnings.catch_warnings(record=True) as caught:
        warnings.simplefilter("always")
        found = run(
            places_layer(at(3000, 500), at(10, 10), at(-500, 10)),
            water_layer(),
            forecast=calm,
            depth=flat(3.0),
        )
    assert found.exposure["wave_m"].max() < 0.02
    texts = [str(w.message) for w in caught]
    for layer in found:
        texts += list(map(str, layer.columns))
        texts += [str(v) for c in layer.columns if not is_numeric_dtype(layer[c]) for v in layer[c]]
    texts += [run.spec.summary, run.spec.description, *(p.help for p in run.spec.parameters)]
    comfort = re.compile(
        r"\b(safe|safely|safety|harmless|no danger|fine|good|ok|all clear|calm|flat)\b", re.IGNORECASE
    )
    assert [t for t in texts if comfort.search(t)] == []
    assert "does not say that a boat can go there" in " ".join(run.spec.description.split())


def test_by_width_takes_the_restricted_fetch_where_waves_run_off_the_wind_and_higher():
    # A channel of 20 by 1 km: a wind across it raises more from along it (ACES 1992, restricted fetch); a wind along it
    # has its own fetch.
    water = water_layer(box(0, 0, 20_000, 1000))
    places = places_layer(shapely.Point(WEST + 19_000.0, SOUTH + 500.0))

    def found(fetch, origin):
        given = {} if fetch is None else {"fetch": fetch}
        return wind_exposure(places, water, wind_from_deg=origin, wind_speed_mps=10.0, **given).iloc[0]

    across, straight, narrow = (found(fetch, 330.0) for fetch in (None, "straight", "restricted"))
    assert across["wave_m"] == narrow["wave_m"] > straight["wave_m"]
    assert across["fetch_m"] == narrow["fetch_m"] > straight["fetch_m"]
    assert abs(across["wave_from_deg"] - 330.0) > 7.5
    assert across["wave_high_m"] == straight["wave_high_m"] >= across["wave_m"]
    along, straight = (found(fetch, 270.0) for fetch in (None, "straight"))
    assert (along["wave_m"], along["fetch_m"]) == (straight["wave_m"], straight["fetch_m"])
