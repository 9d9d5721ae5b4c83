"""The sheet in a browser, from disk, with the network off: no error, keys and pointer work, phone and paper."""

from __future__ import annotations

import re
import shutil

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import sync_playwright

from castshed.algorithms.plan_sheet import plan_sheet

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


@pytest.mark.parametrize("opened", [{"color_scheme": "light"}, {"color_scheme": "dark"}], indirect=True)
def test_no_barrier_to_access_in_light_and_dark(opened):
    found = Axe().run(opened, options={"runOnly": ["wcag2a", "wcag2aa", "best-practice"]})
    serious = [one for one in found.response["violations"] if one["impact"] in {"serious", "critical"}]
    assert serious == [], [(one["id"], one["nodes"][0]["html"][:200]) for one in serious]


def test_it_prints(opened, tmp_path):
    pdf = opened.pdf(path=str(tmp_path / "p.pdf"), format="Letter")
    pages = len(re.findall(rb"/Type /Page\b", pdf))
    assert 4 <= pages <= 10
