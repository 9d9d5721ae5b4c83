"""Ledges, bluffs, flats and channel bends against what was planted; seeds that no threshold was chosen on."""

from __future__ import annotations

import functools

import pytest

from castshed.toolbox.water.structure.bluffs import find_bluffs
from castshed.toolbox.water.structure.channel_bends import find_channel_bends
from castshed.toolbox.water.structure.flats import find_flats
from castshed.toolbox.water.structure.ledges import find_ledges
from found_planted import Tally, match
from planted import plant
from planted_contours import from_contours

SEEDS = (221, 222, 223)  # thresholds were chosen on seeds below 200
FINDERS = {"ledge": find_ledges, "bluff": find_bluffs, "flat": find_flats, "channel_bend": find_channel_bends}
# Least recall, least precision, greatest middle error in metres.
BARS = {
    "ledge": (0.85, 0.75, 5.0),
    "bluff": (1.0, 0.9, 5.0),
    "flat": (0.95, 0.95, 15.0),
    "channel_bend": (0.9, 0.85, 15.0),
}


@functools.cache
def bottom(seed):
    return plant(seed, slots=8)


@functools.cache
def redrawn(seed):
    return from_contours(bottom(seed))


def tally(kind, surface_of):
    total = Tally()
    for seed in SEEDS:
        total.add(match(kind, bottom(seed), FINDERS[kind](surface_of(seed)).geometry)[0])
    return total


@pytest.mark.long
@pytest.mark.parametrize("kind", sorted(FINDERS))
@pytest.mark.parametrize(("lines", "less"), [(False, 0.0), (True, 0.1)], ids=["cells", "2 ft contours"])
def test_what_was_planted_is_found_and_little_else(kind, lines, less):
    got = tally(kind, redrawn if lines else lambda seed: bottom(seed).surface)
    recall, precision, error_m = BARS[kind]
    assert got.planted >= 4
    assert got.recall >= recall - less
    assert got.precision >= precision - less
    assert got.median_error_m <= error_m
