"""Humps, saddles, points and pockets on planted bottoms that no threshold was chosen on."""

import functools

import numpy as np
import pytest

from castshed.toolbox.water.structure.humps import find_humps
from castshed.toolbox.water.structure.noses import find_pockets, find_points
from castshed.toolbox.water.structure.saddles import find_saddles
from found_planted import Tally, match
from planted import plant
from planted_contours import from_contours

SEEDS = (301, 302, 303)  # thresholds were chosen on 1 to 9
FINDERS = {"hump": find_humps, "saddle": find_saddles, "point": find_points, "pocket": find_pockets}
RECALL = {"hump": 0.90, "saddle": 0.95, "point": 0.85, "pocket": 0.95}
PRECISION = {"hump": 0.90, "saddle": 0.80, "point": 0.75, "pocket": 0.75}


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
@pytest.mark.parametrize("kind", FINDERS)
def test_planted_structure_is_found_and_little_else(kind):
    got = tally(kind, lambda seed: bottom(seed).surface)
    assert got.planted >= 5
    assert got.recall >= RECALL[kind]
    assert got.precision >= PRECISION[kind]
    assert np.median(got.errors_m) <= 5.0


@pytest.mark.long
@pytest.mark.parametrize("kind", FINDERS)
def test_on_2_ft_contours_a_tenth_less_at_most(kind):
    got = tally(kind, redrawn)
    assert got.recall >= RECALL[kind] - 0.1
    assert got.precision >= PRECISION[kind] - 0.1
    assert np.median(got.errors_m) <= 5.0
