"""The sheet on paper, by reading the PDF: one size, letters one can read, no word on another, no card alone."""

from __future__ import annotations

import io
import re
import zlib

import numpy as np
import pytest
import shapely
from matplotlib.text import Text
from PIL import Image

from castshed.algorithms.plan_sheet import plan_sheet
from castshed.toolbox.output.formats import palette
from castshed.toolbox.output.maps.chart_page import PAPERS, by_role, paper_of
from castshed.toolbox.output.maps.plan_facts import legs_of, stops_of, totals_in_words
from castshed.toolbox.output.sheets.sheet_pages import balanced, draw_pages, pdf_of
from sheet_looks import words_apart_and_inside

POINTS = 72.0
LEAST = {"fact": 9.0, "turn": 9.0, "card": 9.0, "cell": 8.0, "head": 8.0, "caution": 7.0}


def facts(plan, units="US"):
    frames = by_role(plan)
    metric = units == "metric"
    stops = stops_of(frames, metric=metric)
    legs = legs_of(frames, {stop.spot_id: stop.name for stop in stops}, metric=metric)
    return stops, legs, totals_in_words(frames, metric=metric)


def pages_of(plan, units="US", paper="letter"):
    stops, legs, totals = facts(plan, units)
    return draw_pages(
        plan, stops, legs, title="Made day", level_m=-1.2192, date="2031-05-03", units=units, totals=totals,
        paper=PAPERS[paper],
    )  # fmt: skip


def read_pdf(data):
    """Page sizes, and the sizes of letters in the streams of a PDF, by its own operators (ISO 32000-1, 9.3.1: Tf)."""
    sizes = [
        tuple(float(n) for n in found.split()) for found in re.findall(rb"/MediaBox \[ ?([\d. ]+?) ?\]", data)
    ]
    letters = []
    for stream in re.findall(rb"stream\r?\n(.*?)\r?\nendstream", data, re.DOTALL):
        try:
            text = zlib.decompress(stream)
        except zlib.error:
            continue
        letters += [float(size) for size in re.findall(rb"/\S+ ([\d.]+) Tf", text)]
    return sizes, letters


@pytest.mark.parametrize(
    ("units", "paper", "word"), [("US", None, "letter"), ("metric", None, "a4"), ("US", "a4", "a4")]
)
def test_a_document_has_one_size_and_no_letter_below_seven_points(plan, units, paper, word):
    files = plan_sheet(plan, level_m=-1.2192, title="Made day", date="2031-05-03", units=units, paper=paper)
    sizes, letters = read_pdf(files["sheet.pdf"])
    # ANSI Letter 8.5 by 11 inches; A4 210 by 297 mm (ISO 216)
    wanted = (8.5 * POINTS, 11.0 * POINTS) if word == "letter" else (210 / 25.4 * POINTS, 297 / 25.4 * POINTS)
    assert len(sizes) >= 6
    assert len(letters) > 100
    for _, _, wide, high in sizes:
        assert (wide, high) == pytest.approx(wanted, abs=1.0)
    assert min(letters) >= 7.0


@pytest.mark.parametrize("units", ["US", "metric"])
def test_words_of_every_page_are_large_enough_and_stand_apart_and_inside(plan, units):
    paper = "letter" if units == "US" else "a4"
    pages = pages_of(plan, units, paper)
    for figure in (pages.summary, pages.map, *pages.legs, *pages.holds):
        texts = [one for one in figure.findobj(Text) if one.get_text() and one.get_visible()]
        for one in texts:
            assert one.get_fontsize() >= LEAST.get(str(one.get_gid()), 7.0), one.get_text()
        words_apart_and_inside(figure, texts)
        assert not [one.get_text() for one in texts if "…" in one.get_text()]


def test_turns_are_numbered_on_the_drawing_as_in_the_table(plan):
    _, legs, _ = facts(plan)
    pages = pages_of(plan)
    for leg in legs:
        assert [turn.number for turn in leg.turns] == [*map(str, range(1, len(leg.turns))), ""]
    drawn = [
        one.get_text() for figure in pages.legs for one in figure.findobj(Text) if one.get_gid() == "number"
    ]
    wanted = [turn.number for leg in legs for turn in leg.turns if turn.number]
    assert sorted(drawn) == sorted(wanted)
    told = " ".join(
        one.get_text() for figure in pages.legs for one in figure.findobj(Text) if one.get_gid() == "turn"
    )
    for leg in legs:
        for turn in leg.turns:
            assert turn.course in told
            assert turn.distance in told


@pytest.mark.parametrize("count", range(2, 60))
def test_no_page_has_one_card_where_others_could_spare_some(count):
    sizes = [len(one) for one in balanced(count)]
    assert sum(sizes) == count
    assert len(sizes) == -(-count // 4)
    assert min(sizes) >= 2
    assert max(sizes) - min(sizes) <= 1


def test_the_page_for_whoever_comes_along_tells_when_where_and_what(plan):
    pages = pages_of(plan)
    said = " ".join(one.get_text() for one in pages.summary.findobj(Text))
    stops, _, totals = facts(plan)
    for stop in stops:
        assert stop.name[:8] in said
    for what, value in totals:
        assert what in said
        assert value in said
    assert f"Meet at {stops[0].name}" in said


def test_hazards_keep_apart_from_water_without_colour(plan):
    """On a printer without colour a hazard is told by its lines, not by its red: dark strokes on a pale ground."""
    pages = pages_of(plan)
    pages.map.canvas.draw()
    grey = np.asarray(Image.fromarray(np.asarray(pages.map.canvas.buffer_rgba())).convert("L"), dtype=float)
    axes = pages.map.axes[0]
    area = max(plan["shallow_hazards"].geometry, key=lambda one: one.area)
    inside = shapely.buffer(area, -0.2 * np.sqrt(area.area / np.pi))
    west, south, east, north = (inside if not inside.is_empty else area).bounds
    (left, low), (right, top) = axes.transData.transform([(west, south), (east, north)])
    high = grey.shape[0]
    patch = grey[int(high - top) : int(high - low) + 1, int(left) : int(right) + 1]
    assert patch.size > 30
    assert patch.max() - patch.min() > 60.0
    assert len({palette.HATCH_WIDTH["run"], palette.HATCH_WIDTH["idle"]}) >= 1


def test_the_same_pages_give_the_same_pdf(plan):
    one, other = (pdf_of(pages_of(plan).legs, title="x", description="y") for _ in range(2))
    assert one == other
    assert io.BytesIO(one).read(5) == b"%PDF-"


def test_paper_follows_the_units():
    assert paper_of(None, "US") == paper_of("letter", "metric") == PAPERS["letter"]
    assert paper_of("", "metric") == paper_of("a4", "US") == PAPERS["a4"]
