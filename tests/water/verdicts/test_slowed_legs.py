"""Legs in waves: how long they take by the hour, that nobody overtakes, and what a table of a boat may say."""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely

from castshed.toolbox.errors import UsageError
from castshed.toolbox.parameters import defaults
from castshed.toolbox.water.verdicts.leg_hours import LegHours, LegLimits
from castshed.toolbox.water.verdicts.wave_speeds import SlowedLegs, wave_speeds_of
from castshed.toolbox.water.verdicts.way_seas import PATCH_M, SeaLimits
from castshed.toolbox.water.wind.lake_winds import LakeWinds, one_wind, stretches

LIMITS = LegLimits(99.0, 99.0, SeaLimits(9.0, 9.0, 9.0))
RUN, IDLE = 13.4, 2.2
LINES = (
    [("idle", [(200, 200), (260, 220)]), ("run", [(260, 220), (3000, 900), (7500, 6000)])],
    [("run", [(7500, 6000), (900, 7000)]), ("idle", [(900, 7000), (850, 7100)])],
    [("run", [(4000, 7800), (4000, 300)])],
)


def _legs(winds, told=defaults.WAVE_SPEEDS, until=36_000.0):
    hours = LegHours(winds, LIMITS, shapely.box(0.0, 0.0, 8000.0, 8000.0))

    def parts(one, other):
        assert other == one + 1
        return [(part, np.array(xy, dtype=float)) for part, xy in LINES[one]]

    return SlowedLegs(hours, wave_speeds_of(told), RUN, IDLE, parts, 0.0, until)


def _winds(seed):
    rng = np.random.default_rng(seed)
    count = 10
    from_deg = rng.uniform(0.0, 360.0, count)
    from_deg[rng.integers(count)] = np.nan
    at = 3600.0 * np.arange(count)
    return LakeWinds(stretches(at), rng.uniform(0.0, 16.0, count), np.full(count, np.nan), from_deg)


def _seconds(legs, leg, leave):
    """Run a leg second by second, the speed by the wind of the second and the place: a reckoning of its own."""
    winds, table = legs.hours.winds, legs.speeds
    clock, total, calm = float(leave), 0.0, 0.0
    for part, xy in LINES[leg]:
        for (x0, y0), (x1, y1) in zip(xy, xy[1:], strict=False):
            length = math.hypot(x1 - x0, y1 - y0)
            heading = math.degrees(math.atan2(x1 - x0, y1 - y0)) % 360.0
            pieces = math.ceil(length / 200.0)
            calm += length / (RUN if part == "run" else IDLE)
            for p in range(pieces):
                share = (p + 0.5) / pieces
                middle = np.array([[x0 + share * (x1 - x0), y0 + share * (y1 - y0)]])
                wave = legs.hours.waves_at(middle)[0]
                comes = legs.hours._comes[tuple(float(one) for one in np.floor(middle[0] / PATCH_M))]
                left = length / pieces
                while left > 0.0:
                    hour = min(int(clock // 3600), len(winds.spans) - 1)
                    speed = RUN
                    if clock >= winds.spans[-1][1] or part == "idle":
                        speed = RUN if part == "run" else IDLE
                    else:
                        seas = set(range(3))  # from anywhere
                        if not math.isnan(winds.from_deg[hour]):
                            # By the wind, and by its waves, which run off it where the fetch is longer there.
                            offs = [
                                abs((bearing - heading + 180.0) % 360.0 - 180.0)
                                for bearing in (winds.from_deg[hour], comes[hour])
                            ]
                            seas = {0 if off <= 45.0 else 1 if off < 135.0 else 2 for off in offs}
                        heights, kept = [0.0, *table.height_m], [(1.0, 1.0, 1.0), *table.share]
                        speed = RUN * min(
                            np.interp(wave[hour], heights, [row[sea] for row in kept]) for sea in seas
                        )
                        speed = max(speed, IDLE)
                    left -= speed
                    clock += 1.0 if left >= 0.0 else 1.0 + left / speed
    total = clock - leave
    return total - calm


@pytest.mark.parametrize("seed", range(2))
def test_a_leg_takes_as_long_as_run_second_by_second(seed):
    legs = _legs(_winds(seed))
    rng = np.random.default_rng(seed)
    for leg in range(3):
        for leave in rng.uniform(0.0, 30_000.0, 4):
            own = _seconds(legs, leg, leave)
            # Steps of a second on pieces of a quarter of a minute, and a straight line between minutes.
            assert legs.longer_s(leg, leg + 1, leave) == pytest.approx(own, abs=20.0 + 0.02 * own)


def test_nobody_overtakes_in_10_000_departures():
    rng = np.random.default_rng(4)
    tried = 0
    slowed = 0
    for seed in range(10):
        legs = _legs(_winds(seed))
        for leg in range(3):
            leave = np.sort(rng.uniform(-3600.0, 40_000.0, 340).round())
            arrive = np.array([at + legs.longer_s(leg, leg + 1, at) for at in leave])
            assert (np.diff(arrive) >= 0.0).all()
            tried += len(leave)
            slowed += int((arrive > leave).sum())
    assert tried >= 10_000
    assert slowed > 2_000


def test_without_waves_nothing_changes():
    calm = _legs(
        LakeWinds(stretches([0.0, 3600.0]), np.full(2, 1.0), np.full(2, np.nan), np.array([10.0, 200.0]))
    )
    assert not any(calm.more_s(leg, leg + 1).any() for leg in range(3))


def test_head_seas_cost_more_than_following_ones():
    north, south = (_legs(one_wind(12.0, math.nan, bearing)) for bearing in (0.0, 180.0))
    head, following = south.longer_s(2, 3, 0.0), north.longer_s(2, 3, 0.0)  # the leg runs due south
    assert head > following > 0
    varies = _legs(one_wind(12.0, math.nan, math.nan))
    assert varies.longer_s(2, 3, 0.0) >= head


def test_no_wave_brings_a_boat_below_its_idle_speed():
    gale = _legs(one_wind(40.0, math.nan, 180.0), ["1ft 1 1 1"])
    assert gale.longer_s(2, 3, 0.0) <= math.ceil(7500.0 / IDLE - 7500.0 / RUN)


@pytest.mark.parametrize(
    ("told", "words"),
    [
        (["1ft 80 90"], "a height and three percentages"),
        (["80 90 100"], "a height and three percentages"),
        (["1 80 90 100"], "1"),
        (["1ft 80 90 120"], "above 0 to 100"),
        (["1ft 0 90 90"], "above 0 to 100"),
        (["1ft nan 90 90"], "above 0 to 100"),
        (["2ft 80 90 95", "1ft 70 80 90"], "rise"),
        (["1ft 80 90 95", "2ft 85 80 90"], "faster"),
        (["none", "1ft 80 90 95"], "none"),
    ],
)
def test_a_table_of_another_form_is_refused(told, words):
    with pytest.raises(UsageError, match=words):
        wave_speeds_of(told)


@pytest.mark.parametrize("told", [[], ["none"], ["None "], ["1ft 100 100% 100"]])
def test_a_boat_that_no_wave_slows(told):
    assert wave_speeds_of(told) is None
