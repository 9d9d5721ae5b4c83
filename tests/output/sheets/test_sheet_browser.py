"""The sheet in a browser, from disk, with the network off: no error, keys and pointer work, phone and paper."""

from __future__ import annotations

import io
import re
import shutil
from itertools import pairwise

import numpy as np
import pytest
from axe_playwright_python.sync_playwright import Axe
from PIL import Image
from playwright.sync_api import sync_playwright

from castshed.algorithms.plan_sheet import plan_sheet

pytestmark = pytest.mark.long
BROWSER = shutil.which("chromium") or shutil.which("chromium-browser")


@pytest.fixture(scope="module")
def browser():
    assert BROWSER, "chromium is not installed (Debian package chromium)"
    with sync_playwright() as play:
        made = play.chromium.launch(executable_path=BROWSER, args=["--no-sandbox"])
        yield made
        made.close()


@pytest.fixture(scope="module")
def sheet(plan, tmp_path_factory):
    layers = {name: frame.copy() for name, frame in plan.items()}
    layers["stops"].loc[1, "name"] = "<script>document.title='broken'</script>"
    file = tmp_path_factory.mktemp("sheet") / "sheet.html"
    file.write_bytes(plan_sheet(layers, level_m=-1.2192, title="Made day")["sheet.html"])
    return file.as_uri()


@pytest.fixture
def opened(browser, sheet, request):
    told = getattr(request, "param", {})
    context = browser.new_context(offline=True, **told)
    page = context.new_page()
    trouble = []
    page.on(
        "console",
        lambda message: trouble.append(message.text) if message.type in {"error", "warning"} else None,
    )
    page.on("pageerror", lambda error: trouble.append(str(error)))
    page.on("requestfailed", lambda failed: trouble.append(failed.url))
    page.goto(sheet)
    yield page
    assert trouble == []
    context.close()


def test_it_opens_from_disk_without_trouble(opened):
    assert opened.title() == "Made day"
    assert opened.locator("table").count() >= 3
    assert opened.locator("svg").count() == 4


def test_pointing_at_a_stop_tells_its_facts(opened):
    spots = opened.locator("button.spot")
    assert spots.count() == 5
    spots.nth(1).scroll_into_view_if_needed()
    spots.nth(1).hover()
    told = opened.locator("#facts").inner_text()
    assert told.startswith("2 ")
    assert "Boat in" in told
    assert opened.locator("tr.lit").count() == 1
    spots.nth(3).click()
    assert opened.locator("#facts").inner_text().startswith("4 ")


def test_it_works_by_keyboard_alone(opened):
    for _ in range(40):
        opened.keyboard.press("Tab")
        if opened.evaluate("document.activeElement.className") == "spot":
            break
    assert opened.locator("#facts").inner_text().startswith("1 ")
    opened.keyboard.press("Tab")
    assert opened.locator("#facts").inner_text().startswith("2 ")
    assert opened.evaluate("getComputedStyle(document.activeElement).outlineStyle") != "none"


def test_layers_can_be_switched(opened):
    count = opened.locator('[id^="map-layer-hazards"]').count()
    assert count >= 2
    assert opened.locator('[id^="map-layer-hazards"]').first.is_visible()
    opened.get_by_label("shallow hazards").uncheck()
    assert opened.evaluate(
        "[...document.querySelectorAll('[id^=\"map-layer-hazards\"]')].every(e => getComputedStyle(e).display === 'none')"
    )
    opened.get_by_label("shallow hazards").check()
    assert opened.locator('[id^="map-layer-hazards"]').first.is_visible()


def test_hover_tap_and_keys_tell_the_same_facts(opened):
    spots = opened.locator("button.spot")
    told = []
    for how in ("hover", "focus", "click"):
        opened.locator("h1").hover()
        getattr(spots.nth(2), how)()
        told.append(opened.locator("#facts").inner_text())
    assert len(set(told)) == 1
    assert "Hold at" in told[0]


def test_every_spot_lies_on_its_mark(opened, plan):
    """The place to point at is where the drawing has the stop, whatever the width of the window."""
    for width in (1280, 390):
        opened.set_viewport_size({"width": width, "height": 900})
        stage = opened.locator(".stage").bounding_box()
        middles = []
        for k in range(5):
            box = opened.locator("button.spot").nth(k).bounding_box()
            middles.append(
                ((box["x"] + box["width"] / 2 - stage["x"]) / stage["width"], (box["y"] + box["height"] / 2 - stage["y"]) / stage["height"])
            )  # fmt: skip
        holds = plan["holds"].geometry
        east = np.array([[x for x, _ in middles], holds.x])
        north = np.array([[-y for _, y in middles], holds.y])
        # one scale and no turning: places on the page are those on the lake
        assert np.corrcoef(east)[0, 1] > 0.999999
        assert np.corrcoef(north)[0, 1] > 0.999999


SHAPES = """() => {
  const seen = e => { const b = e.getBoundingClientRect(), s = getComputedStyle(e);
    return b.width > 0 && b.height > 0 && s.visibility !== 'hidden' && s.display !== 'none'; };
  const boxes = [...document.querySelectorAll('main > *')].filter(seen).map(e => {
    const b = e.getBoundingClientRect(); return [e.tagName, b.left, b.top + scrollY, b.right, b.bottom + scrollY]; });
  const cut = [...document.querySelectorAll('td, tbody th, h1, h2, li, p, label')].filter(seen).filter(e =>
    e.scrollWidth > e.clientWidth + 1 && e.clientWidth > 0 && getComputedStyle(e).display !== 'inline').length;
  const rows = [...document.querySelectorAll('table.wide tbody tr')].map(r =>
    [...r.children].filter(seen).map(c => c.getBoundingClientRect().top));
  const small = [...document.querySelectorAll('td, th, p, li, label')].filter(seen).filter(e =>
    parseFloat(getComputedStyle(e).fontSize) < 12).length;
  return { boxes, cut, rows, small, wide: document.documentElement.scrollWidth };
}"""


@pytest.mark.parametrize(
    ("opened", "stacked"),
    [
        ({"viewport": {"width": 1280, "height": 900}}, False),
        ({"viewport": {"width": 390, "height": 844}, "has_touch": True, "is_mobile": True}, True),
        ({"viewport": {"width": 320, "height": 640}, "is_mobile": True}, True),
    ],
    indirect=["opened"],
)
def test_structure_of_the_page_at_desktop_and_phone_width(opened, stacked):
    """Parts follow each other down the page, none over another, no words cut; rows of tables stand as wide as can be."""
    told = opened.evaluate(SHAPES)
    width = opened.viewport_size["width"]
    assert told["wide"] <= width
    assert [name for name, *_ in told["boxes"]][:3] == ["H1", "P", "UL"]
    assert [name for name, *_ in told["boxes"]].count("H2") == 4
    for (_, left, top, right, bottom), (_, _, below, _, _) in pairwise(told["boxes"]):
        assert left >= -0.5
        assert right <= width + 0.5
        assert bottom > top
        assert below >= bottom - 1.0
    assert told["cut"] == 0
    assert told["small"] == 0
    for row in told["rows"]:
        assert (len(set(row)) > 3) == stacked
    picture = opened.screenshot(full_page=True)
    with Image.open(io.BytesIO(picture)) as image:
        shade = np.asarray(image.convert("L"), dtype=float)
    # a picture of it is no blank: ink on every screenful
    for top in range(0, shade.shape[0] - 300, 300):
        assert np.ptp(shade[top : top + 300]) > 60.0


def test_a_phone_tells_what_each_figure_is(opened):
    opened.set_viewport_size({"width": 390, "height": 844})
    cell = opened.locator('#stop-1 td[data-head="Boat in"]')
    assert cell.evaluate("e => getComputedStyle(e, '::before').content").startswith('"Boat in')
    assert opened.locator("#stop-1").get_attribute("role") == "row"


@pytest.mark.parametrize("opened", [{"viewport": {"width": 360, "height": 740}}], indirect=True)
def test_a_phone_scrolls_within_parts_and_never_the_page_sideways(opened):
    assert opened.evaluate("document.documentElement.scrollWidth") <= 360
    assert opened.evaluate("document.querySelector('.stage').clientWidth") > 360


@pytest.mark.parametrize("opened", [{"java_script_enabled": False}], indirect=True)
def test_with_scripts_off_all_is_there_and_nothing_dead_is_shown(opened):
    assert opened.locator("table").first.is_visible()
    assert opened.locator("svg").first.is_visible()
    assert not opened.locator(".switches").is_visible()
    assert not opened.locator("#facts").is_visible()


@pytest.mark.parametrize(
    "opened",
    [
        {"color_scheme": "light"},
        {"color_scheme": "dark"},
        {"viewport": {"width": 390, "height": 844}},
        {"color_scheme": "dark", "viewport": {"width": 390, "height": 844}},
    ],
    indirect=True,
)
def test_no_barrier_to_access_in_light_and_dark_on_desk_and_phone(opened):
    found = Axe().run(opened, options={"runOnly": ["wcag2a", "wcag2aa", "wcag21aa", "best-practice"]})
    serious = [one for one in found.response["violations"] if one["impact"] in {"serious", "critical"}]
    assert serious == [], [(one["id"], one["nodes"][0]["html"][:200]) for one in serious]


def test_a_hostile_name_is_shown_as_text_and_never_run(opened):
    name = "<script>document.title='broken'</script>"
    assert opened.title() == "Made day"
    assert opened.locator("#stop-1 td").first.inner_text() == name
    opened.locator("button.spot").nth(0).focus()
    assert name in opened.locator("#facts").inner_text()
    assert opened.title() == "Made day"
    assert opened.locator("script").count() == 1


def test_it_prints_the_expected_pages_with_every_column(opened, tmp_path):
    """Words and tables, then a page each for the hours, leg cards and hold cards; nothing past the edge of the paper."""
    for paper in ("Letter", "A4"):
        pdf = opened.pdf(path=str(tmp_path / "p.pdf"), format=paper, prefer_css_page_size=True)
        # two pages of map and tables for five stops, then three of cards
        assert len(re.findall(rb"/Type /Page\b", pdf)) == 5
    opened.emulate_media(media="print")
    opened.set_viewport_size({"width": 720, "height": 960})  # 7.5 inches at 96 to the inch
    wide = opened.evaluate(
        "Math.max(...[...document.querySelectorAll('table')].map(e => e.getBoundingClientRect().right))"
    )
    assert wide <= 721
    for part in (".switches", "#facts", "button.spot"):
        assert not opened.locator(part).first.is_visible()


def test_the_pdf_has_the_expected_pages(plan, tmp_path):
    """Counted by what is on them: map, tables, hours, six leg cards to a page, six hold cards to a page."""
    file = tmp_path / "sheet.pdf"
    file.write_bytes(plan_sheet(plan, level_m=-1.2192, title="Made day")["sheet.pdf"])
    pages = [
        [float(x) for x in found.split()]
        for found in re.findall(rb"/MediaBox \[ ?([\d. ]+?) ?\]", file.read_bytes())
    ]
    assert len(pages) == 5
    portrait = [box for box in pages if box[2:] == [612.0, 792.0]]  # letter, in points
    landscape = [box for box in pages if box[2:] == [792.0, 612.0]]
    assert (len(portrait), len(landscape)) == (2, 1)
