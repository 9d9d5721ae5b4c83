"""Light by the sun's height, against the almanac's formulas, where days have no dawn or no dusk."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pytest

from almanac import sun_by_almanac
from castshed.toolbox.water.light.sun import darkness, is_light, light_spans

UTC = dt.UTC
PLACES = {
    "Saimaa": (61.2, 28.5),
    "Anchorage": (61.2, -149.9),
    "Fairbanks": (64.8, -147.7),
    "Ushuaia": (-54.8, -68.3),
}


@pytest.mark.parametrize("place", PLACES)
def test_noon_is_light_on_every_day_of_the_year(place):
    # Noon lies above 90 - latitude - 23.44 = 1.7 degrees at least at 64.8 N: geometry.
    latitude, longitude = PLACES[place]
    zone = dt.timezone(dt.timedelta(hours=round(longitude / 15.0)))
    for day in range(0, 365, 3):
        noon = dt.datetime(2026, 1, 1, 12, tzinfo=zone) + dt.timedelta(days=day)
        assert darkness(noon, noon + dt.timedelta(hours=1), zone, latitude, longitude) == ""
        assert is_light(noon, latitude, longitude)


@pytest.mark.parametrize("place", PLACES)
def test_stretches_of_light_are_those_of_the_almanac(place):
    latitude, longitude = PLACES[place]
    for day in range(0, 365, 17):
        start = dt.datetime(2026, 1, 1, tzinfo=UTC) + dt.timedelta(days=day)
        spans = light_spans(start, start + dt.timedelta(days=2), latitude, longitude)
        for seconds in range(0, 2 * 86_400, 1201):
            height = sun_by_almanac(start + dt.timedelta(seconds=seconds), latitude, longitude)[1]
            if abs(height + 6.0) > 0.1:
                assert any(a <= seconds <= b for a, b in spans) == (height > -6.0)


def test_white_nights_have_no_dark_and_the_polar_night_no_light():
    start = dt.datetime(2026, 6, 21, tzinfo=UTC)
    assert light_spans(start, start + dt.timedelta(days=1), 61.2, 28.5) == ((0.0, 86_400.0),)
    start = dt.datetime(2026, 12, 21, tzinfo=UTC)
    assert light_spans(start, start + dt.timedelta(days=1), 82.0, 28.5) == ()


def test_a_dip_between_two_looks_is_found():
    # The first nights of July at 61.2 N in which the sun dips below 6 degrees, some for minutes only.
    dips = []
    for day in range(184, 206):
        start = dt.datetime(2026, 1, 1, 12, tzinfo=UTC) + dt.timedelta(days=day)
        spans = light_spans(start, start + dt.timedelta(days=1), 61.2, 28.5)
        dark = 86_400.0 - sum(b - a for a, b in spans)
        minutes = np.arange(0, 86_400, 20)
        low = min(sun_by_almanac(start + dt.timedelta(seconds=int(s)), 61.2, 28.5)[1] for s in minutes[::9])
        if abs(low + 6.0) > 0.02:
            assert (dark > 0.0) == (low < -6.0)
        dips.append(dark)
    assert 0.0 in dips
    assert max(dips) > 0.0
