"""The sheet of the demo's plan: time, size, labels that overlap on made plans and on the demo lake, barriers to access."""

from __future__ import annotations

import importlib.util
import re
import shutil
import statistics
import tempfile
import time
import warnings
import zlib
from pathlib import Path

import numpy as np
from matplotlib.text import Text

from castshed.algorithms.plan import plan
from castshed.algorithms.plan_sheet import plan_sheet
from castshed.toolbox.output.maps.chart import compose
from castshed.toolbox.output.maps.chart_page import by_role
from castshed.toolbox.output.maps.plan_facts import legs_of, stops_of, totals_in_words
from castshed.toolbox.output.sheets.sheet_pages import draw_pages
from castshed.toolbox.plan.day_file import read_day
from sheet_looks import TIMED

HERE = Path(__file__).resolve().parent
LEVEL_M = -1.2192
MOST_STOPS = 25


def _makers():
    """The plans the tests make."""
    spec = importlib.util.spec_from_file_location("made_plan", HERE.parent / "output" / "conftest.py")
    made = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(made)
    return made


def _overlaps(figure):
    """Pairs of labels whose drawn boxes overlap by more than half a pixel."""
    renderer = figure.canvas.get_renderer()
    boxes = np.array(
        [
            one.get_window_extent(renderer).extents
            for one in figure.findobj()
            if str(one.get_gid()).startswith("label:")
        ]
    )
    if len(boxes) < 2:
        return 0
    apart = (boxes[:, None, :2] + 0.5 >= boxes[None, :, 2:]) | (
        boxes[None, :, :2] + 0.5 >= boxes[:, None, 2:]
    )
    return int(np.triu(~apart.any(axis=2), 1).sum())


def _opened(made, file, **told):
    """Open the page with the network off; tells the page and what it asked for or complained of."""
    page = made.new_context(offline=True, **told).new_page()
    trouble = []
    page.on("request", lambda asked: trouble.append(asked.url) if asked.resource_type != "document" else None)
    page.on("pageerror", lambda error: trouble.append(str(error)))
    page.goto(file.as_uri())
    page.wait_for_selector("#drawing[data-ready]", state="attached")
    return page, trouble


def _dragged_ms(page):
    """Milliseconds of each redraw while a finger drags the map, 40 moves at 60 a second."""
    box = page.locator("#hand").bounding_box()
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    page.mouse.move(x, y)
    page.evaluate(TIMED)
    page.mouse.down()
    for k in range(40):
        page.mouse.move(x + 4 * k, y + 2 * k)
        page.wait_for_timeout(16)
    page.mouse.up()
    return page.evaluate("window.took")


def _in_a_browser(page):
    """Serious findings of axe-core, first picture, redraws, requests and sideways scrolling; none without a browser."""
    browser = shutil.which("chromium") or shutil.which("chromium-browser")
    if browser is None:
        return {"axe_serious": None}
    from axe_playwright_python.sync_playwright import Axe
    from playwright.sync_api import sync_playwright

    found, paints, redraws, troubles, sideways = [], [], [], [], 0
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as play:
        file = Path(folder) / "sheet.html"
        file.write_bytes(page)
        made = play.chromium.launch(executable_path=browser, args=["--no-sandbox", "--disable-gpu"])
        for scheme, width in (("light", 1280), ("dark", 390), ("light", 820)):
            opened, trouble = _opened(
                made, file, color_scheme=scheme, viewport={"width": width, "height": 900}
            )
            paints.append(
                opened.evaluate("performance.getEntriesByName('first-contentful-paint')[0].startTime")
            )
            redraws += _dragged_ms(opened)
            found += Axe().run(opened).response["violations"]
            sideways += opened.evaluate("document.documentElement.scrollWidth > innerWidth")
            troubles += trouble
        made.close()
    return {
        "axe_serious": sum(one["impact"] in {"serious", "critical"} for one in found),
        "first_paint_ms": max(paints),
        "redraw_ms": statistics.median(redraws),
        "requests": len(troubles),
        "sideways": sideways,
    }


def _paper(pdf):
    """Least size of letters and the page sizes of a PDF, by its own operators (ISO 32000-1, 9.3.1)."""
    letters = []
    for stream in re.findall(rb"stream\r?\n(.*?)\r?\nendstream", pdf, re.DOTALL):
        try:
            letters += re.findall(rb"/\S+ ([\d.]+) Tf", zlib.decompress(stream))
        except zlib.error:
            continue
    boxes = {tuple(map(float, one.split())) for one in re.findall(rb"/MediaBox \[ ?([\d. ]+?) ?\]", pdf)}
    return min(map(float, letters)), [[round(side / 72.0, 2) for side in box[2:]] for box in boxes]


def _words(figures):
    """Pairs of texts that overlap, texts cut short, and texts over the edge, over pages."""
    overlaps = cut = over = 0
    for figure in figures:
        render = figure.canvas.get_renderer()
        texts = [one for one in figure.findobj(Text) if one.get_text() and one.get_visible()]
        boxes = np.array([one.get_window_extent(render).extents for one in texts])
        apart = (boxes[:, None, :2] + 1.0 >= boxes[None, :, 2:]) | (
            boxes[None, :, :2] + 1.0 >= boxes[:, None, 2:]
        )
        overlaps += int(np.triu(~apart.any(axis=2), 1).sum())
        cut += sum("…" in one.get_text() for one in texts)
        over += int(
            ((boxes[:, :2] < 0.0) | (boxes[:, 2:] > figure.canvas.get_width_height())).any(axis=1).sum()
        )
    return overlaps, cut, over


def _pages(layers, day):
    frames = by_role(layers)
    stops = stops_of(frames, metric=False)
    legs = legs_of(frames, {stop.spot_id: stop.name for stop in stops}, metric=False)
    pages = draw_pages(
        layers, stops, legs, title=day.title, level_m=LEVEL_M, date=None, units="US",
        totals=totals_in_words(frames, metric=False), today=day.layers.depth.shifted(LEVEL_M),
    )  # fmt: skip
    return [pages.summary, pages.map, *pages.legs, *pages.holds]


def measure(seed: int, quick: bool) -> dict:
    """Measure all; see the functions above."""
    day = read_day(HERE.parents[1] / "demo_layers" / "day.toml")
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        contents = plan(day)
        layers = {
            name: frame
            for name, frame in contents.layers["plan.gpkg"].items()
            if name != "depth_today" and len(frame)
        }
        took, cpu = [], []
        for _ in range(1 if quick else 3):
            start, worked = time.perf_counter(), time.process_time()
            files = plan_sheet(layers, depth=day.layers.depth, level_m=LEVEL_M, title=day.title)
            took.append(time.perf_counter() - start)
            cpu.append(time.process_time() - worked)
        made, overlaps, maps = _makers(), 0, 0
        for stops in (10, MOST_STOPS) if quick else range(5, MOST_STOPS + 1, 5):
            overlaps += _overlaps(compose(made.make_plan(stops, seed + stops), title="made", level_m=LEVEL_M))
            maps += 1
        demo_overlaps = 0
        for order, naming in enumerate(made.NAMINGS):
            for stops in (MOST_STOPS,) if quick else range(5, MOST_STOPS + 1, 5):
                run = made.demo_day(stops, 100 * seed + 10 * order + stops, naming)
                demo_overlaps += _overlaps(compose(run, title="demo", level_m=LEVEL_M))
                maps += 1
        words = _words(_pages(layers, day))
    opened = _in_a_browser(files["sheet.html"])
    least, papers = _paper(files["sheet.pdf"])
    return {
        "seconds": statistics.median(took),
        "processor_s": statistics.median(cpu),
        "html_mb": len(files["sheet.html"]) / 1e6,
        "pdf_pages": len(re.findall(rb"/Type /Page\b", files["sheet.pdf"])),
        "pdf_mb": len(files["sheet.pdf"]) / 1e6,
        "least_letter_pt": least,
        "papers_in": papers,
        "words_overlapping": words[0],
        "words_cut": words[1],
        "words_over_the_edge": words[2],
        "route_points": contents.files["run.gpx"].count(b"<rtept"),
        "way_points": contents.files["run.gpx"].count(b"<wpt"),
        "kml_mb": len(contents.files["plan.kml"]) / 1e6,
        "maps": maps,
        "label_overlaps": overlaps,
        "label_overlaps_demo_lake": demo_overlaps,
        **opened,
        "note": "" if opened["axe_serious"] is not None else "chromium is not installed",
    }
