"""Restricted fetch against the published example, geometry, and the band that must not flatter."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from castshed.toolbox.errors import UsageError
from castshed.toolbox.water.wind.exposure import expose
from castshed.toolbox.water.wind.fetch import fetch_lengths
from castshed.toolbox.water.wind.restricted import (
    Restricted,
    each_degree,
    over_arcs,
    restricted_fetch,
    restricted_waves,
)
from castshed.toolbox.water.wind.waves import wave_height

MILE, FOOT, MPH = 1609.344, 0.3048, 0.44704


def test_the_example_of_restricted_fetch():
    # ACES User's Guide v1.07, US Army CERC 1992, p. 1-1-19 to 1-1-21 (read): fetch 26.61 mi, waves from 93 degrees,
    # 7.80 ft, 5.74 s.
    miles = np.array([3.7, 12.3, 13.4, 12.2, 13.2, 36.0, 35.6, 28.7, 26.8, 13.0, 10.4, 10.1, 6.4, 5.7])
    degrees = over_arcs(each_degree(miles * MILE, np.arange(0.0, 157.0, 12.0)))
    fetch, origin = restricted_fetch(degrees, 125.0)
    assert fetch[0] / MILE == pytest.approx(26.61, rel=0.01)
    assert origin[0] == pytest.approx(93.0, abs=1.0)
    height, period = restricted_waves(44.0 * MPH, fetch[0], origin[0] - 125.0)
    assert float(height) / FOOT == pytest.approx(7.80, rel=0.005)
    assert float(period) == pytest.approx(5.74, rel=0.005)
    # By the straight line the same water is calmer: 6.08 ft of the old estimate, whose band ended at 6.1.
    straight = each_degree(miles * MILE, np.arange(0.0, 157.0, 12.0))[0, 125]
    assert float(wave_height("aces-1992", 44.0 * MPH, straight)[0]) / FOOT < 6.2


def test_in_the_middle_of_a_disc_waves_run_with_the_wind():
    disc = shapely.Point(0.0, 0.0).buffer(3000.0, quad_segs=256)
    around = Restricted(np.zeros((1, 2)), disc)
    for wind in (0.0, 77.0, 300.0):
        fetch, origin = around.of(wind)
        assert fetch[0] == pytest.approx(3000.0, rel=1e-3)
        assert origin[0] == pytest.approx(wind, abs=2.0)


def test_on_a_channel_waves_run_along_it():
    channel = shapely.box(-250.0, -8000.0, 250.0, 8000.0)
    fetch, origin = Restricted(np.zeros((1, 2)), channel).of(45.0)
    assert fetch[0] > 1500.0
    assert abs(origin[0]) < 15.0
    straight = fetch_lengths([(0.0, 0.0)], channel, [45.0])[0, 0]
    assert straight == pytest.approx(250.0 * np.sqrt(2.0))
    found = expose(np.zeros((1, 2)), channel, [45.0], [15.0])
    height, _ = restricted_waves(15.0, fetch, origin - 45.0)
    assert found.wave_high_m[0, 0] >= height[0] > found.wave_m[0, 0]
    assert found.wave_from_deg[0, 0] == origin[0]
    chosen = expose(np.zeros((1, 2)), channel, [45.0], [15.0], restricted=True)
    assert chosen.wave_m[0, 0] == pytest.approx(height[0])
    assert chosen.fetch_m[0, 0] == pytest.approx(fetch[0])
    assert chosen.wave_high_m[0, 0] == found.wave_high_m[0, 0]


def test_the_band_holds_every_form_on_a_crooked_water():
    rng = np.random.default_rng(5)
    line = shapely.LineString(np.cumsum(rng.uniform((200.0, -700.0), (900.0, 700.0), (20, 2)), axis=0))
    water = line.buffer(300.0)
    inside = shapely.get_coordinates(line.interpolate(np.linspace(0.05, 0.95, 25), normalized=True))
    winds = np.arange(0.0, 360.0, 30.0)
    speeds = np.full(winds.size, 12.0)
    forms = [
        expose(inside, water, winds, speeds, effective=effective, restricted=restricted)
        for effective, restricted in ((False, False), (True, False), (False, True))
    ]
    for form in forms:
        assert (form.wave_low_m <= form.wave_m + 1e-12).all()
        assert (form.wave_high_m >= form.wave_m - 1e-12).all()
    assert (forms[0].wave_high_m >= forms[2].wave_m - 1e-12).all()
    # Measured all round at every degree, as another would, the wave lies in the band too.
    dense = over_arcs(fetch_lengths(inside, water, np.arange(360.0)))
    share = []
    for column, wind in enumerate(winds):
        fetch, origin = restricted_fetch(dense, float(wind))
        height, _ = restricted_waves(12.0, fetch, origin - wind)
        share += list(height <= forms[0].wave_high_m[:, column] + 1e-9)
    assert np.mean(share) >= 0.99


def test_waves_grow_with_wind_and_fetch_and_are_none_without():
    heights = restricted_waves(np.array([2.0, 6.0, 12.0]), 3000.0, 10.0)[0]
    assert (np.diff(heights) > 0).all()
    assert float(restricted_waves(0.0, 3000.0, 0.0)[0]) == 0.0
    assert float(restricted_waves(10.0, 0.0, 0.0)[1]) == 0.0
    assert np.isnan(restricted_waves(10.0, np.nan, 0.0)[0])


def test_radials_that_are_none_are_refused():
    with pytest.raises(UsageError, match="rising"):
        each_degree([[1.0, 2.0]], [90.0, 10.0])


def test_radials_of_the_winds_asked_for_give_what_radials_all_round_give():
    water = shapely.union_all(
        [shapely.box(-4000.0, -300.0, 4000.0, 300.0), shapely.box(-200.0, -3000.0, 200.0, 2000.0)]
    )
    places = np.array([(0.0, 0.0), (3000.0, 100.0), (-100.0, -2500.0)])
    around = Restricted(places, water)
    for wind in (0.0, 1.5, 44.9, 90.0, 201.3, 359.9):
        own = Restricted(places, water, [wind, 60.0])
        for arcs in (True, False):
            for one, other in zip(own.of(wind, arcs=arcs), around.of(wind, arcs=arcs), strict=True):
                assert (one == other).all()
