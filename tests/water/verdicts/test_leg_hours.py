"""Seas along legs: what is looked at ahead changes no figure, and the shore is measured once and not once a leg."""

import numpy as np
import pytest
import shapely

from castshed.toolbox.water.verdicts import leg_hours
from castshed.toolbox.water.verdicts.leg_hours import LegHours, LegLimits
from castshed.toolbox.water.verdicts.way_seas import SeaLimits
from castshed.toolbox.water.wind.lake_winds import LakeWinds

LAKE = shapely.box(0.0, 0.0, 9000.0, 4000.0) - shapely.box(3000.0, 1500.0, 3400.0, 2500.0)
LEGS = [
    shapely.LineString([(200.0, 200.0), (2500.0, 3500.0)]),
    shapely.LineString([(2500.0, 3500.0), (8500.0, 3000.0)]),
    None,
    shapely.LineString([(8500.0, 3000.0), (200.0, 200.0)]),
    shapely.LineString([(200.0, 200.0), (2500.0, 3500.0)]),  # patches met before
]


def judge():
    spans = [(3600.0 * k, 3600.0 * (k + 1)) for k in range(4)]
    winds = LakeWinds(
        spans, np.array([4.0, 9.0, 14.0, 11.0]), np.full(4, np.nan), np.array([225.0, 270.0, np.nan, 40.0])
    )
    return LegHours(winds, LegLimits(20.0, 25.0, SeaLimits(0.35, 0.2, 0.35)), LAKE)


@pytest.fixture
def measured(monkeypatch):
    asked = []

    def counted(points, *given, **named):
        asked.append(len(points))
        return expose(points, *given, **named)

    expose = leg_hours.expose
    monkeypatch.setattr(leg_hours, "expose", counted)
    return asked


def test_a_run_looked_at_ahead_is_told_the_same_with_one_measurement_of_the_shore(measured):
    plain, ahead = judge(), judge()
    each = [plain.seas_against([leg]) for leg in LEGS]
    assert any(told for one in each for told in one), "some hour has to be over the limits"
    assert len(measured) > 1
    del measured[:]
    ahead.look_ahead(LEGS)
    assert [ahead.seas_against([leg]) for leg in LEGS] == each
    assert len(measured) == 1


def test_what_was_looked_at_ahead_in_vain_changes_nothing(measured):
    plain, ahead = judge(), judge()
    ahead.look_ahead(LEGS)
    # Another leg through the same patches, met first from its own places.
    other = shapely.LineString([(230.0, 200.0), (2530.0, 3500.0)])
    assert ahead.seas_against([other]) == plain.seas_against([other])
    assert ahead.highest_m(other, 0.0, 7200.0) == plain.highest_m(other, 0.0, 7200.0)
