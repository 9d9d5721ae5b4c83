"""Ledges, bluffs, flats and channel bends against what was planted; seeds that no threshold was chosen on."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from castshed.toolbox.water.forms.bluffs import find_bluffs
from castshed.toolbox.water.forms.channel_bends import find_channel_bends
from castshed.toolbox.water.forms.flats import find_flats
from castshed.toolbox.water.forms.ledges import find_ledges
from planted import plant

SEEDS = (131, 132, 133)  # thresholds were chosen on 1 to 9
FINDERS = {"ledge": find_ledges, "bluff": find_bluffs, "flat": find_flats, "channel_bend": find_channel_bends}
# Least recall, least precision, greatest middle error in metres.
BARS = {
    "ledge": (0.85, 0.75, 5.0),
    "bluff": (1.0, 0.9, 5.0),
    "flat": (0.95, 0.95, 15.0),
    "channel_bend": (0.9, 0.85, 15.0),
}


@pytest.fixture(scope="module")
def bottoms():
    return [plant(seed, slots=8) for seed in SEEDS]


def error_of(kind, found, truth):
    """Distance of a finding from what was planted, NaN when it is another thing."""
    if kind == "flat":
        share = found.intersection(truth).area / found.union(truth).area
        return found.centroid.distance(truth.centroid) if share >= 0.5 else np.nan
    if kind == "channel_bend":
        apart = found.interpolate(0.5, normalized=True).distance(truth)
        return apart if apart <= 35.0 else np.nan
    # Both run along each other over more than half their length.
    away = shapely.distance(shapely.points(shapely.get_coordinates(found.segmentize(3.0))), truth)
    back = shapely.distance(shapely.points(shapely.get_coordinates(truth.segmentize(3.0))), found)
    return float(np.median(away)) if np.mean(away < 10) > 0.5 and np.mean(back < 10) > 0.5 else np.nan


@pytest.mark.parametrize("kind", sorted(FINDERS))
def test_what_was_planted_is_found_and_little_else(bottoms, kind):
    planted = found = right = met = 0
    errors = []
    for bottom in bottoms:
        truths = [truth.place for truth in bottom.truths if truth.kind == kind]
        table = FINDERS[kind](bottom.surface)
        shapes = [shape for shape in table.geometry if shape.centroid.within(bottom.judged)]
        error = np.array([[error_of(kind, shape, truth) for truth in truths] for shape in shapes])
        planted, found = planted + len(truths), found + len(shapes)
        if error.size:
            good = np.isfinite(error)
            right, met = right + good.any(axis=1).sum(), met + good.any(axis=0).sum()
            errors += error[good].tolist()
    recall, precision, middle = BARS[kind]
    assert planted >= 4
    assert met >= recall * planted
    assert right >= precision * found
    assert np.median(errors) <= middle
