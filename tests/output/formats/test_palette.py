"""The map's colours: order by lightness, contrast of words, hazards told apart by every kind of eye."""

from __future__ import annotations

import io
import itertools

import numpy as np
import pytest
from colorspacious.cvd import machado_et_al_2009_matrix
from PIL import Image

from castshed.toolbox.output.formats import palette

# Simulation of dichromacy, severity 1.0: G. M. Machado, M. M. Oliveira, L. A. F. Fernandes, "A physiologically-based
# model for simulation of color vision deficiency", IEEE TVCG 15(6), 2009, table of matrices (each row
# must sum to 1, so that greys stay grey). Applied in linear light.
DEFICIENCY = {
    "protanopia": [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216], [-0.003882, -0.048116, 1.051998]],
    "deuteranopia": [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413], [-0.011820, 0.042940, 0.968881]],
    "tritanopia": [[1.255528, -0.076749, -0.178779], [-0.078411, 0.930809, 0.147602], [0.004733, 0.691367, 0.303900]],
}  # fmt: skip


def seen(colour, kind):
    light = palette.linear(palette.rgb(colour))
    if kind is not None:
        light = np.clip(np.array(DEFICIENCY[kind]) @ light, 0.0, 1.0)
    return light


def lab(light):
    # CIE 1976 L*a*b* from linear sRGB, white point D65 (IEC 61966-2-1)
    matrix = np.array([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]])
    xyz = matrix @ light / (matrix @ np.ones(3))
    f = np.where(xyz > (6 / 29) ** 3, np.cbrt(xyz), xyz / (3 * (6 / 29) ** 2) + 4 / 29)
    return np.array([116 * f[1] - 16, 500 * (f[0] - f[1]), 200 * (f[1] - f[2])])


def apart(one, other, kind):
    return float(np.linalg.norm(lab(seen(one, kind)) - lab(seen(other, kind))))


def test_contrast_is_that_of_the_standard():
    # WCAG 2.1: black on white is 21; #767676 on white is the classic just-passing grey, 4.54
    assert palette.contrast("#000000", "#ffffff") == pytest.approx(21.0)
    assert palette.contrast("#767676", "#ffffff") == pytest.approx(4.54, abs=0.005)


@pytest.mark.parametrize("count", range(1, 13))
def test_depth_bands_get_darker_with_depth(count):
    light = [palette.luminance(colour) for colour in palette.depth_colours(count)]
    assert all(deep < shallow for shallow, deep in itertools.pairwise(light))
    assert len(light) == count


@pytest.mark.parametrize("kind", DEFICIENCY)
@pytest.mark.parametrize("count", [4, 6, 8])
def test_depth_bands_keep_their_order_for_every_eye(kind, count):
    light = [lab(seen(colour, kind))[0] for colour in palette.depth_colours(count)]
    assert all(deep < shallow - 1.0 for shallow, deep in itertools.pairwise(light))


def test_simulation_keeps_greys_grey():
    for matrix in DEFICIENCY.values():
        assert np.array(matrix).sum(axis=1) == pytest.approx([1.0, 1.0, 1.0], abs=2e-6)


@pytest.mark.parametrize(
    ("ink", "ground"),
    [
        (palette.INK, palette.PAPER),
        (palette.INK, palette.BAND),
        (palette.QUIET, palette.PAPER),
        (palette.ZONE, palette.PAPER),
        (palette.RAMP, palette.PAPER),
        (palette.CASING, palette.RUN),
    ],
)
def test_words_stand_out_from_their_ground(ink, ground):
    # WCAG 2.1 success criterion 1.4.3
    assert palette.contrast(ink, ground) >= 4.5


@pytest.mark.parametrize("kind", [None, *DEFICIENCY])
def test_hazards_are_told_from_water_land_zones_and_the_run(kind):
    # 20 is far beyond what is just noticeable (about 2.3, Mahy et al. 1994)
    others = [
        *palette.depth_colours(6),
        palette.LAND,
        palette.DRY,
        palette.ZONE,
        palette.RUN,
        palette.HAZARD_GROUND,
    ]
    assert min(apart(palette.HAZARD, other, kind) for other in others) > 20.0


BANDS = [colour for count in range(1, 13) for colour in palette.depth_colours(count)]
GROUNDS = [*BANDS, palette.DRY, palette.LAND]


def over(top, below, opacity):
    """Colour of a translucent one over another, mixed in sRGB as drawing programs do."""
    mixed = opacity * palette.rgb(top) + (1.0 - opacity) * palette.rgb(below)
    return "#" + "".join(f"{round(float(value) * 255):02x}" for value in mixed)


def light_of(colour, kind):
    """Relative luminance a kind of eye sees; grey print keeps the luminance."""
    return float(seen(colour, kind) @ np.array([0.2126, 0.7152, 0.0722]))


def test_the_simulation_is_that_of_its_authors():
    # the table of matrices at severity 1.0 as the package colorspacious carries it
    for kind, name in (
        ("protanopia", "protanomaly"),
        ("deuteranopia", "deuteranomaly"),
        ("tritanopia", "tritanomaly"),
    ):
        assert np.array(DEFICIENCY[kind]) == pytest.approx(machado_et_al_2009_matrix(name, 100), abs=1e-6)


@pytest.mark.parametrize("kind", [None, *DEFICIENCY])
def test_hatching_stands_out_from_its_ground_on_every_depth_for_every_eye(kind):
    """WCAG 2.1 success criterion 1.4.11: graphics need 3 to 1; the same holds in grey, where luminance is all there is."""
    for below in GROUNDS:
        ground = over(palette.HAZARD_GROUND, below, 0.6)
        light, dark = sorted((light_of(ground, kind), light_of(palette.HAZARD, kind)), reverse=True)
        assert (light + 0.05) / (dark + 0.05) >= 3.0, below
        assert apart(palette.HAZARD, below, kind) > 20.0, below


@pytest.mark.parametrize("kind", [None, *DEFICIENCY])
def test_known_hazards_stand_out_from_every_ground_for_every_eye(kind):
    for below in [*GROUNDS, over(palette.HAZARD_GROUND, palette.DEEP, 0.6)]:
        light, dark = sorted((light_of(below, kind), light_of(palette.KNOWN, kind)), reverse=True)
        assert (light + 0.05) / (dark + 0.05) >= 3.0, below


def test_hatching_shows_in_grey_as_drawn(plan):
    """A drawn piece of hatched water has dark lines on pale ground, and no other water has them."""
    from castshed.toolbox.output.maps.chart import draw_map

    layers = {name: plan[name] for name in ("water", "depth_bands", "shallow_hazards")}
    shades = {}
    for name, some in (
        ("with", layers),
        ("without", {n: f for n, f in layers.items() if n != "shallow_hazards"}),
    ):
        with Image.open(io.BytesIO(draw_map(some, title="", level_m=0.0, width_px=2400))) as image:
            shades[name] = np.asarray(image.convert("L"), dtype=float)[:1200, :1400]
    changed = shades["with"][:, :] != shades["without"][: shades["with"].shape[0], :]
    rows, columns = np.nonzero(changed)
    inner = shades["with"][rows.min() : rows.max(), columns.min() : columns.max()]
    here = inner[changed[rows.min() : rows.max(), columns.min() : columns.max()]]
    assert np.percentile(here, 90) - np.percentile(here, 10) > 60.0


@pytest.mark.parametrize("kind", [None, *DEFICIENCY])
def test_dry_ground_is_told_from_water_and_land(kind):
    others = [*palette.depth_colours(6), palette.LAND]
    assert min(apart(palette.DRY, other, kind) for other in others) > 10.0
