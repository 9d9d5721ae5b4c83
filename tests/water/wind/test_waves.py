"""Waves against published examples, worked formulas and another library."""

import numpy as np
import pytest
import scientimate
from hypothesis import given
from hypothesis import strategies as st

from castshed.toolbox.errors import UsageError
from castshed.toolbox.water.wind.waves import (
    METHOD_TITLES,
    WAVE_METHODS,
    aces_wind_stress_factor,
    beaufort,
    breaking_limit,
    duration_needed,
    wave_band,
    wave_height,
    wind_stress_factor,
)

FOOT, MILE, KNOT, MPH = 0.3048, 1609.344, 1852.0 / 3600.0, 0.44704

# Lake scale: wind m/s, fetch m, mean depth m.
WINDS = np.array([2.0, 4.0, 6.0, 8.0, 10.0, 13.0, 17.0])
FETCHES = np.array([150.0, 400.0, 1000.0, 2500.0, 6000.0, 10000.0])
DEPTHS = np.array([1.0, 2.0, 4.0, 8.0, 15.0, 40.0])


def grid(winds=WINDS, fetches=FETCHES, depths=DEPTHS):
    return np.meshgrid(winds, fetches, depths, indexing="ij")


# Published examples -----------------------------------------------------------------------------------------


def test_aces_example_of_shallow_growth():
    # ACES User's Guide v1.07, US Army CERC 1992, p. 1-1-17 (read): Ue 46.42 mph, fetch 26 mi, depth 13 ft.
    wind = 46.42 * MPH
    assert float(aces_wind_stress_factor(wind)) / MPH == pytest.approx(67.92, abs=0.011)
    height, period = wave_height("aces-1992", wind, 26 * MILE, 13 * FOOT)
    assert float(height) / FOOT == pytest.approx(4.23, abs=0.005)
    assert float(period) == pytest.approx(4.77, abs=0.005)


def test_aces_example_limited_by_duration():
    # Same, p. 1-1-18 (read): Ue 27.71 kn, fetch 60 mi, 3 h.
    wind = 27.71 * KNOT
    assert float(aces_wind_stress_factor(wind)) / KNOT == pytest.approx(36.18, abs=0.005)
    height, period = wave_height("aces-1992", wind, 60 * MILE, None, 3 * 3600)
    assert float(height) / FOOT == pytest.approx(4.74, abs=0.006)
    assert float(period) == pytest.approx(4.65, abs=0.006)


def test_hurdle_and_stive_case():
    # A public implementation's report (read): U10 25 m/s, F 45 km, d 10 m: UA 37.22, Hs 2.85 m, Ts 7.12 s.
    assert float(wind_stress_factor(25.0)) == pytest.approx(37.22, abs=0.005)
    height, period = wave_height("hurdle-stive-1989", 25.0, 45_000.0, 10.0)
    assert float(height) == pytest.approx(2.85, abs=0.005)
    assert float(period) == pytest.approx(7.12, abs=0.005)


# Worked from the named formulas -----------------------------------------------------------------------------


def test_spm_1984_in_deep_water():
    # SPM 1984 ch. 3, worked: U 10 m/s, F 5 km: 0.4355 m, 2.445 s, 68.3 min.
    height, period = wave_height("spm-1984", 10.0, 5000.0)
    assert float(height) == pytest.approx(0.4355, abs=5e-5)
    assert float(period) == pytest.approx(2.445, abs=5e-4)
    assert float(duration_needed(10.0, 5000.0)) / 60.0 == pytest.approx(68.3, abs=0.05)


@pytest.mark.parametrize(
    ("wind", "fetch", "depth", "height_m", "period_s"),
    [(10.0, 5000.0, 10.0, 0.4245, 2.306), (5.0, 2000.0, 5.0, 0.1154, 1.275)],
)
def test_spm_1984_in_shallow_water(wind, fetch, depth, height_m, period_s):
    # SPM 1984 ch. 3, worked; package scientimate gives the same.
    height, period = wave_height("spm-1984", wind, fetch, depth)
    assert float(height) == pytest.approx(height_m, abs=5e-5)
    assert float(period) == pytest.approx(period_s, abs=5e-4)


def test_spm_1984_duration_in_shallow_water():
    # SPM 1984 ch. 3, worked: U 10, F 5000, d 10: 47.8 min.
    assert float(duration_needed(10.0, 5000.0, 10.0)) / 60.0 == pytest.approx(47.8, abs=0.05)


def test_spm_1984_stops_at_the_fully_developed_sea():
    # SPM 1984: g H / UA^2 = 0.2433, g T / UA = 8.134.
    stress = 0.71 * 5.0**1.23
    height, period = wave_height("spm-1984", 5.0, 1e7)
    assert float(height) == pytest.approx(0.2433 * stress**2 / 9.81, rel=1e-9)
    assert float(period) == pytest.approx(8.134 * stress / 9.81, rel=1e-9)


@pytest.mark.parametrize(("depth", "height_m", "period_s"), [(10.0, 0.3462, 2.485), (3.0, 0.3241, 2.421)])
def test_young_and_verhagen_1996(depth, height_m, period_s):
    # Young and Verhagen, Coastal Engineering 29 (1996), worked: U 10, F 5000.
    height, period = wave_height("young-verhagen-1996", 10.0, 5000.0, depth)
    assert float(height) == pytest.approx(height_m, abs=5e-5)
    assert float(period) == pytest.approx(period_s, abs=5e-4)


# Another library ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("method", "other", "deep"),
    [
        ("spm-1984", "spmshallow", False),
        ("young-verhagen-1996", "young", False),
        ("spm-1984", "spmdeep", True),
        ("cem-2002", "cem", True),
    ],
)
def test_scientimate_agrees_within_half_a_percent(method, other, deep):
    # scientimate 2.0 (MIT) adds a limit of its own to the shallow SPM for strong winds over 1-2 m of water; the grid
    # stays where that does not act.
    wind, fetch, depth = (a.ravel() for a in grid(WINDS[:-1], FETCHES[:-1], DEPTHS[1:]))
    if deep:
        expected = scientimate.parametricwavedeep(wind, fetch, other, "no")
        height, period = wave_height(method, wind, fetch)
    else:
        expected = scientimate.parametricwaveshallow(wind, fetch, depth, other, "no")
        height, period = wave_height(method, wind, fetch, depth)
    np.testing.assert_allclose(height, expected[0], rtol=5e-3)
    np.testing.assert_allclose(period, expected[1], rtol=5e-3)


@pytest.mark.parametrize(("method", "other"), [("spm-1984", "spmdeep"), ("cem-2002", "cem")])
def test_a_short_wind_raises_the_waves_of_scientimates_equivalent_fetch(method, other):
    for wind, duration in ((6.0, 900.0), (10.0, 1800.0), (15.0, 3600.0)):
        fetch, _ = scientimate.equivalentfetchdeep(wind, duration, other)
        limited = wave_height(method, wind, 1e6, None, duration)
        np.testing.assert_allclose(limited, wave_height(method, wind, fetch[0]), rtol=1e-9)


def test_a_short_wind_over_shallow_water_raises_the_waves_of_scientimates_equivalent_fetch():
    for wind, depth, duration in ((6.0, 5.0, 900.0), (10.0, 10.0, 1800.0), (15.0, 20.0, 3600.0)):
        fetch, _ = scientimate.equivalentfetchshallow(wind, depth, duration, "spmshallow")
        limited = wave_height("spm-1984", wind, 1e6, depth, duration)
        np.testing.assert_allclose(limited, wave_height("spm-1984", wind, fetch[0], depth), rtol=1e-9)


# Laws -----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("method", WAVE_METHODS)
def test_waves_grow_with_wind_fetch_and_depth(method):
    height, period = wave_height(method, *grid())
    for axis in range(3):
        assert (np.diff(height, axis=axis) >= -1e-12).all()
        assert (np.diff(period, axis=axis) >= -1e-12).all()
    assert (np.diff(height, axis=0) > 0).all()
    assert (np.diff(height, axis=1) > -1e-12).all()


@pytest.mark.parametrize("method", WAVE_METHODS)
def test_waves_in_shallow_water_are_never_above_those_in_deep(method):
    wind, fetch, depth = grid()
    shallow, deep = wave_height(method, wind, fetch, depth), wave_height(method, wind, fetch)
    assert (shallow[0] <= deep[0] + 1e-12).all()
    assert (shallow[1] <= deep[1] + 1e-12).all()


@pytest.mark.parametrize("method", WAVE_METHODS)
def test_waves_grow_with_the_winds_duration_up_to_the_fetch_limit(method):
    durations = np.array([60.0, 300.0, 900.0, 1800.0, 3600.0, 7200.0, 36_000.0])
    height, _ = wave_height(method, 8.0, 3000.0, 6.0, durations)
    steady, _ = wave_height(method, 8.0, 3000.0, 6.0)
    assert (np.diff(height) >= 0).all()
    assert height[0] < 0.5 * float(steady)
    assert height[-1] == pytest.approx(float(steady))


def test_a_wind_that_blows_as_long_as_needed_raises_the_full_wave():
    for depth in (None, 6.0):
        needed = float(duration_needed(8.0, 3000.0, depth))
        steady, _ = wave_height("spm-1984", 8.0, 3000.0, depth)
        just, _ = wave_height("spm-1984", 8.0, 3000.0, depth, needed)
        short, _ = wave_height("spm-1984", 8.0, 3000.0, depth, needed * 0.8)
        assert float(just) == pytest.approx(float(steady), rel=1e-3)
        assert float(short) < 0.95 * float(steady)


@given(
    st.sampled_from(sorted(WAVE_METHODS)),
    st.floats(0.0, 60.0),
    st.floats(0.0, 1e6),
    st.floats(-5.0, 300.0),
    st.floats(0.0, 1e6),
)
def test_any_sound_input_gives_a_finite_wave_inside_its_band(method, wind, fetch, depth, duration):
    waves = wave_band(method, wind, fetch, depth, duration)
    assert all(np.isfinite(value) and value >= 0.0 for value in waves)
    assert waves.low_m <= waves.height_m <= waves.high_m


def test_the_spread_of_the_methods_is_about_a_third_on_a_lake():
    # Worked: about -30 % to +30 % at lake scale.
    waves = wave_band("spm-1984", *grid(WINDS[2:], FETCHES[1:], DEPTHS[2:]))
    assert np.median(waves.low_m / waves.height_m) == pytest.approx(0.8, abs=0.1)
    assert (waves.low_m / waves.height_m).min() > 0.6
    assert (waves.high_m / waves.height_m).max() < 1.4


def test_the_band_works_the_coastal_engineering_manual_from_the_straight_fetch():
    # EM 1110-2-1100 II-2 (read): do not combine averaged fetch with its growth laws.
    straight, _ = wave_height("cem-2002", 10.0, 9000.0)
    band = wave_band("spm-1984", 10.0, 500.0, straight_fetch_m=9000.0)
    assert float(band.high_m) == pytest.approx(float(straight))
    assert float(wave_band("spm-1984", 10.0, 500.0).high_m) < float(straight)


# Edges -----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("method", WAVE_METHODS)
def test_nothing_grows_without_wind_fetch_depth_or_time(method):
    for case in (
        (0.0, 5000.0, 5.0),
        (1e-300, 5000.0, 5.0),
        (8.0, 0.0, 5.0),
        (8.0, 5000.0, 0.0),
        (8.0, 5000.0, -2.0),
    ):
        assert [float(v) for v in wave_height(method, *case)] == [0.0, 0.0]
    assert [float(v) for v in wave_height(method, 8.0, 5000.0, 5.0, 0.0)] == [0.0, 0.0]


@pytest.mark.parametrize("method", WAVE_METHODS)
def test_unknown_stays_unknown_and_unknown_depth_counts_as_deep(method):
    assert np.isnan(wave_height(method, np.nan, 1000.0)).all()
    assert np.isnan(wave_height(method, 8.0, np.nan, 4.0)).all()
    assert np.isnan(wave_height(method, 0.0, np.nan, 4.0)).all()  # off the water is not calm
    np.testing.assert_array_equal(wave_height(method, 8.0, 1000.0, np.nan), wave_height(method, 8.0, 1000.0))


def test_what_cannot_be_is_refused():
    with pytest.raises(UsageError, match="choose one of: spm-1984"):
        wave_height("wilson", 8.0, 1000.0)
    with pytest.raises(UsageError, match="wind_mps is -1"):
        wave_height("spm-1984", -1.0, 1000.0)
    with pytest.raises(UsageError, match="fetch_m is -5"):
        wave_height("spm-1984", 8.0, [10.0, -5.0, np.nan])


def test_every_method_has_a_title_with_its_year():
    assert METHOD_TITLES.keys() == WAVE_METHODS.keys()
    for name, title in METHOD_TITLES.items():
        assert title.split()[-1] == name.rsplit("-", 1)[1]


def test_breaking_limit_is_078_of_the_depth():
    # SPM 1984 ch. 2: a solitary wave breaks at 0.78 of the depth.
    assert breaking_limit([2.0, 0.0, -1.0]).tolist() == [1.56, 0.0, 0.0]
    assert np.isinf(breaking_limit(np.nan))


def test_beaufort_classes_in_knots():
    # WMO table (read): 1-3, 4-6, 7-10, 11-16, 17-21, 22-27, 28-33, 34-40 kn are force 1 to 8.
    limits = [(1, 3), (4, 6), (7, 10), (11, 16), (17, 21), (22, 27), (28, 33), (34, 40)]
    for force, (least, most) in enumerate(limits, start=1):
        assert beaufort(np.array([least, most]) * KNOT).tolist() == [force, force]
    assert int(beaufort(0.2)) == 0
