"""Ledges, bluffs, flats and channel bends against what was planted; seeds that no threshold was chosen on."""

from __future__ import annotations

import pytest

from castshed.toolbox.water.forms.bluffs import find_bluffs
from castshed.toolbox.water.forms.channel_bends import find_channel_bends
from castshed.toolbox.water.forms.flats import find_flats
from castshed.toolbox.water.forms.ledges import find_ledges
from found_planted import Tally, match
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


@pytest.mark.parametrize("kind", sorted(FINDERS))
def test_what_was_planted_is_found_and_little_else(bottoms, kind):
    tally = Tally()
    for bottom in bottoms:
        tally.add(match(kind, bottom, FINDERS[kind](bottom.surface).geometry)[0])
    recall, precision, error_m = BARS[kind]
    assert tally.planted >= 4
    assert tally.recall >= recall
    assert tally.precision >= precision
    assert tally.median_error_m <= error_m
