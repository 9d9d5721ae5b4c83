"""The sheet: safe whatever things are called, whole without scripts, pages as many as they should be, the course up."""

from __future__ import annotations

import datetime as dt
import io
import re
import tomllib
from fnmatch import fnmatch
from html.parser import HTMLParser
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import shapely
from matplotlib.colors import to_hex
from matplotlib.patches import PathPatch, Rectangle
from matplotlib.text import Text
from PIL import Image

import in_process
from castshed.algorithms.plan_sheet import FILES, plan_sheet
from castshed.toolbox.depth import DepthSurface
from castshed.toolbox.errors import UsageError
from castshed.toolbox.layers.reading import read_layer
from castshed.toolbox.lon_lat import grid_north_deg
from castshed.toolbox.magnetic import Declination
from castshed.toolbox.output.formats import palette
from castshed.toolbox.output.maps.chart_ground import band_colours
from castshed.toolbox.output.maps.chart_page import Rect, blank_page, by_role
from castshed.toolbox.output.maps.plan_facts import legs_of, stops_of
from castshed.toolbox.output.sheets.course_up import cut_and_turned, north_text, turned_points
from castshed.toolbox.output.sheets.day_timeline import draw_timeline
from castshed.toolbox.output.sheets.sheet_cards import HoldCard, _head, _view, draw_hold_card
from castshed.toolbox.output.sheets.sheet_pages import draw_pages
from castshed.toolbox.output.sheets.sheet_tables import (
    draw_tables,
    legs_on_paper,
    stops_on_paper,
    table_of_left_out,
)
from sheet_looks import words_apart_and_inside

ROOT = Path(__file__).parents[3]
VOID = {"meta", "br", "input", "link", "img", "hr"}


class Reader(HTMLParser):
    """Collects texts, tags, attributes and ids; fails on tags that do not close."""

    def __init__(self, text):
        super().__init__()
        self.open, self.tags, self.texts, self.ids, self.links = [], [], [], [], []
        self.feed(text)
        self.close()
        assert self.open == []

    def handle_starttag(self, tag, attributes):
        self.tags.append((tag, dict(attributes)))
        self.ids += [value for name, value in attributes if name == "id"]
        self.links += [
            value for name, value in attributes if name in {"src", "href", "xlink:href", "action", "data"}
        ]
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag, attributes):
        self.handle_starttag(tag, attributes)
        if tag not in VOID:
            self.open.pop()

    def handle_endtag(self, tag):
        assert self.open.pop() == tag

    def handle_data(self, data):
        self.texts.append(data)


def made_bottom(plan):
    """Depths under a made plan: a slope and a swell, 4 m cells."""
    west, south, east, north = plan["water"].total_bounds
    xs, ys = np.arange(west, east, 4.0) + 2.0, np.arange(north, south, -4.0) - 2.0
    x, y = np.meshgrid(xs, ys)
    depth = 5.0 + (x - west) / 900.0 + 2.5 * np.sin(x / 35.0) * np.cos(y / 45.0)
    return DepthSurface(depth.astype("f4"), west, north, 4.0, 4.0, plan["water"].crs, 0.1)


@pytest.fixture(scope="module")
def files(plan):
    return plan_sheet(plan, level_m=-1.2192, title="Made day", date="2031-05-03")


def test_every_file_is_there_and_is_what_it_says(files, tmp_path):
    assert set(files) == set(FILES)
    for name in ("map.png", "legs.png", "holds.png", "timeline.png"):
        with Image.open(io.BytesIO(files[name])) as image:
            assert "not for navigation" in image.text["Description"]
            colours = image.convert("RGB").resize((200, 200)).getcolors(40_000)
            assert len(colours) > 8
    pdf = files["sheet.pdf"]
    assert pdf.startswith(b"%PDF")
    # For whoever comes along, the map, the tables, the hours, two pages of three legs, two of three and two holds.
    assert len(re.findall(rb"/Type /Page\b", pdf)) == 8
    assert plan_sheet.__doc__


def test_the_page_loads_nothing_and_closes_every_tag(files):
    text = files["sheet.html"].decode("utf-8")
    read = Reader(text)
    assert all(re.match(r"#|geo:-?\d+\.\d+,-?\d+\.\d+$", link) for link in read.links)
    assert not re.search(r"@import|url\((?!#)|https?:(?!//www\.w3\.org)", text)
    policy = next(a["content"] for tag, a in read.tags if tag == "meta" and a.get("http-equiv"))
    assert "default-src 'none'" in policy
    assert len(read.ids) == len(set(read.ids))
    for link in read.links:
        assert link[1:] in read.ids or link.startswith("geo:")
    assert len(text) < 1_500_000


def test_every_part_of_the_page_is_listed_for_a_wheel():
    listed = tomllib.loads((ROOT / "pyproject.toml").read_text())["tool"]["setuptools"]["package-data"]
    home = ROOT / "toolbox" / "output" / "sheets"
    parts = {path.name for path in home.iterdir() if path.is_file() and path.suffix != ".py"}
    assert {"page.css", "page.js", "page_map.js", "sheet.html.jinja"} <= parts
    patterns = listed["castshed.toolbox.output.sheets"]
    assert all(any(fnmatch(name, one) for one in patterns) for name in parts)


def test_everything_is_readable_without_scripts(files, plan):
    read = Reader(files["sheet.html"].decode("utf-8"))
    said = " ".join(read.texts).replace("\xa0", " ")
    for name in plan["stops"]["name"]:
        assert name in said
    for words in (
        "stands dry today",
        "not for navigation",
        "Depths at level -4.0 ft (-1.22 m)",
        "2031-05-03",
        "Least depth today",
    ):
        assert words in said
    within_the_map = {"hidden-warning", "measured", "tip"}
    hidden = [a for tag, a in read.tags if "hidden" in a and a.get("id") not in within_the_map]
    assert all("needs-script" in a["class"] for a in hidden)
    assert sum(tag == "svg" for tag, _ in read.tags) >= 1 + 5 + 6  # the lake, five holds, six legs


@pytest.mark.parametrize("start", [0, pytest.param(8, marks=pytest.mark.long)])
def test_names_are_text_and_never_code(plan_of, hostile_names, start):
    some = [name for name in hostile_names if name.strip()][start : start + 9]
    layers = plan_of(len(some))
    # objects: Arrow, where it is installed, refuses what is no UTF-8
    layers["stops"]["name"] = pd.Series(["Ramp", *some, "Ramp"], dtype=object)
    layers["spots"]["note"] = pd.Series([*some, "x"], dtype=object)
    layers["spots"]["name"] = pd.Series([*some, "x"], dtype=object)
    text = plan_sheet(layers, title=some[0], date=some[1])["sheet.html"].decode("utf-8")
    read = Reader(text)
    assert sum(tag == "script" for tag, _ in read.tags) == 2  # the data and the page's own
    assert not any(name.startswith("on") for _, a in read.tags for name in a)
    assert not re.search("[\x00-\x08\x0b\x0c\x0e-\x1f\ud800-\udfff\ufffe]", text)


def test_the_course_runs_up():
    for course in (0.0, 37.0, 90.0, 251.0):
        ahead = np.array(
            [[10.0 + 500.0 * np.sin(np.radians(course)), 20.0 + 500.0 * np.cos(np.radians(course))]]
        )
        assert turned_points(ahead, (10.0, 20.0), course) == pytest.approx(np.array([[10.0, 520.0]]))
        assert turned_points(
            turned_points(ahead, (10.0, 20.0), course), (10.0, 20.0), -course
        ) == pytest.approx(ahead)


def test_the_boat_is_low_on_the_card_and_the_way_is_on_it():
    rng = np.random.default_rng(1)
    rect = Rect(1.0, 2.0, 2.4, 3.4)
    for _ in range(50):
        way = np.vstack(
            [[0.0, 0.0], rng.uniform((-800, -200), (800, 3000), (4, 2)), [0.0, rng.uniform(50, 4000)]]
        )
        view = _view(rect, way)
        on_page = view.on_page(way)
        assert on_page[0, 1] <= rect.bottom + 0.2 * rect.height
        assert (on_page >= [rect.left - 1e-9, rect.bottom - 1e-9]).all()
        assert (on_page <= [rect.right + 1e-9, rect.top + 1e-9]).all()


def test_what_is_cut_out_is_what_the_window_shows(plan):
    frames = by_role(plan)
    centre = (480_000.0, 4_100_000.0)
    window = (centre[0] - 300.0, centre[1] - 100.0, centre[0] + 300.0, centre[1] + 700.0)
    near = cut_and_turned(frames, window, centre, 120.0, 0.01)
    shown = shapely.box(*window)
    for role in ("water", "shallow_hazards"):
        mine = shapely.intersection(shapely.union_all(near[role].geometry.to_numpy()), shown).area
        turned = shapely.transform(
            frames[role].geometry.to_numpy(), lambda xy: turned_points(xy, centre, 120.0)
        )
        assert mine == pytest.approx(shapely.intersection(shapely.union_all(turned), shown).area, rel=1e-3)


def test_facts_are_those_of_the_layers(plan):
    frames = by_role(plan)
    stops = stops_of(frames, metric=False)
    assert [stop.name for stop in stops] == plan["stops"]["name"].to_list()
    assert stops[0].ramp
    assert not stops[1].ramp
    assert stops[1].kind == "hump"
    assert stops[2].kind == "conifer brush"
    legs = legs_of(frames, {stop.spot_id: stop.name for stop in stops}, metric=True)
    assert len(legs) == 6
    first = plan["legs"][plan["legs"]["leg_no"] == 1]
    assert f"{first['distance_m'].sum() / 1000:.2f} km" in legs[0].distance
    assert legs[0].start == "Willow ramp"
    assert any("(idle)" in course for course in legs[0].courses)


@pytest.mark.parametrize("missing", ["stops", "legs", "holds", "spots"])
def test_what_a_sheet_needs_is_named(plan, missing):
    with pytest.raises(UsageError, match=missing):
        plan_sheet({name: frame for name, frame in plan.items() if name != missing})


def test_bands_on_a_card_have_the_colours_of_the_map(plan):
    frames = by_role(plan)
    whole = band_colours(frames["depth_bands"])
    deep = {**frames, "depth_bands": frames["depth_bands"].iloc[[3]]}
    stop = stops_of(frames, metric=False)[1]
    figure, pen = blank_page(8.5, 850)
    figure.set_size_inches(8.5, 11.0)
    hold = frames["holds"].geometry.iloc[0]
    mark = frames["spots"].geometry.iloc[0]
    card = HoldCard(hold, mark, shapely.shortest_line(hold, mark), 90.0, 45.0)
    middle = shapely.Point(hold.x, hold.y).buffer(500.0)
    deep["depth_bands"] = deep["depth_bands"].set_geometry([middle], crs=frames["depth_bands"].crs)
    draw_hold_card(pen, Rect(1.0, 1.0, 4.0, 3.0), stop, card, deep, whole, metric=False)
    fills = {to_hex(one.get_facecolor()) for one in figure.axes[0].findobj(PathPatch)}
    assert whole[3][2] in fills
    assert not fills & {
        colour for k, (_, _, colour) in enumerate(whole) if k not in {0, 3}
    }  # thin ground lies below


@pytest.mark.parametrize("units", ["US", "metric"])
def test_words_on_a_hold_card_stand_apart_and_inside(plan, units):
    """Every word of every card: none on another, none over the edge of its page."""
    metric = units == "metric"
    frames = by_role(plan)
    stops = stops_of(frames, metric=metric)
    legs = legs_of(frames, {stop.spot_id: stop.name for stop in stops}, metric=metric)
    pages = draw_pages(
        plan, stops, legs, title="Made day", level_m=-1.2192, date=None, units=units, today=made_bottom(plan)
    )
    labelled = 0
    for figure in (*pages.legs, *pages.holds):
        texts = [one for one in figure.findobj(Text) if one.get_text() and one.get_visible()]
        labelled += sum(one.get_gid() == "isobath" for one in texts)
        words_apart_and_inside(figure, texts)
    assert labelled >= 5


def test_isobaths_say_the_depth_they_stand_for(plan):
    frames = by_role(plan)
    stops = stops_of(frames, metric=False)
    surface = made_bottom(plan)
    pages = draw_pages(plan, stops, [], title="x", level_m=0.0, date=None, units="US", today=surface)
    checked = 0
    for figure, axes in [(page, axes) for page in pages.holds for axes in page.axes]:
        box = axes.get_position()
        for text in figure.findobj(Text):
            x, y = np.array(text.get_position()) / figure.get_size_inches()
            if text.get_gid() == "isobath" and box.x0 <= x <= box.x1 and box.y0 <= y <= box.y1:
                (west, east), (south, north) = axes.get_xlim(), axes.get_ylim()
                at = (
                    west + (x - box.x0) / box.width * (east - west),
                    south + (y - box.y0) / box.height * (north - south),
                )
                depth = float(surface.at(*at))
                assert depth / 0.3048 == pytest.approx(float(text.get_text()), abs=0.35)
                checked += 1
    assert checked >= 5


def test_a_long_title_of_a_card_gets_smaller_before_it_is_cut():
    figure, pen = blank_page(8.5, 1300)
    sizes = {}
    for title in ("A to B", "Sedgewick Landing to Old Roadbed", "L" + "o" * 200 + "ng to B"):
        _head(pen, Rect(1.0, 1.0, 3.2, 3.0), "1", title)
        (text,) = [one for one in figure.texts if one.get_gid() == "card"] or [
            one for one in figure.findobj(Text) if one.get_gid() == "card"
        ][-1:]
        sizes[title] = (text.get_text(), text.get_fontsize())
        for one in figure.findobj(Text):
            if one.get_gid() == "card":
                one.remove()
    assert [size for _, size in sizes.values()] == sorted((size for _, size in sizes.values()), reverse=True)
    assert sizes["Sedgewick Landing to Old Roadbed"][0] == "Sedgewick Landing to Old Roadbed"
    assert sizes["L" + "o" * 200 + "ng to B"][0].endswith("…")


def test_pages_say_from_which_north_bearings_are():
    assert north_text() == "Bearings are true; a compass differs by its declination and deviation."
    day = dt.date(2026, 5, 16)
    told = north_text(Declination(3.04, "WMM-2025", day, dt.date(2025, 1, 1), dt.date(2029, 12, 31)))
    assert "Bearings are true." in told
    assert "3.0° E on 2026-05-16" in told
    assert "WMM-2025, valid to 2029-12-31" in told


def test_tables_on_paper_hold_every_word_and_stay_in_their_columns(plan_of):
    plan = plan_of(25)
    frames = by_role(plan)
    stops = stops_of(frames, metric=False)
    legs = legs_of(frames, {stop.spot_id: stop.name for stop in stops}, metric=False)
    groups = [(["Dry"], "stands dry"), ([f"LM-{n}" for n in range(900)], "not among the best")]
    tables = [stops_on_paper(stops), legs_on_paper(legs), table_of_left_out(groups)]
    pages = draw_tables(tables, title="Made", level="Depths.", totals=[("Stops", "25")])
    said = " ".join(text.get_text() for page in pages for text in page.findobj(Text))
    cells = [text.get_text() for page in pages for text in page.findobj(Text) if text.get_gid() == "cell"]
    heads = [text.get_text() for page in pages for text in page.findobj(Text) if text.get_gid() == "head"]
    assert not any("…" in text for text in (*cells, *heads))
    for table in tables:
        for row in table.rows:
            assert row[0] in cells
            for cell in row:
                for word in cell.split():
                    assert word in said
        for head in table.heads:
            assert head.split()[0] in " ".join(heads).split()
    # 27 stops and 26 legs: every number stands in its column
    for number in range(1, 27):
        assert cells.count(str(number)) >= 2
    assert heads.count("No") >= 2
    for page in pages:
        render = page.canvas.get_renderer()
        texts = [one for one in page.findobj(Text) if one.get_text()]
        boxes = np.array([one.get_window_extent(render).extents for one in texts])
        apart = (boxes[:, None, :2] + 1.0 >= boxes[None, :, 2:]) | (
            boxes[None, :, :2] + 1.0 >= boxes[:, None, 2:]
        )
        both = np.argwhere(np.triu(~apart.any(axis=2), 1))
        assert not len(both), [(texts[a].get_text(), texts[b].get_text()) for a, b in both]
    assert len(pages) >= 3


@pytest.mark.long
def test_the_same_plan_gives_the_same_bytes(plan, files):
    again = plan_sheet(plan, level_m=-1.2192, title="Made day", date="2031-05-03")
    for name in FILES:
        assert again[name] == files[name], name


@pytest.mark.long
def test_the_command_writes_it(plan, tmp_path):
    from castshed.toolbox.layers import write_layers

    write_layers(tmp_path / "p.gpkg", {name: frame for name, frame in plan.items() if len(frame)})
    done = in_process.castshed("plan-sheet", tmp_path / "p.gpkg", "--out", tmp_path / "sheet")
    assert done.returncode == 0, done.stderr
    assert {p.name for p in (tmp_path / "sheet").iterdir()} == set(FILES)


@pytest.mark.long
def test_without_times_there_is_no_timeline(plan):
    layers = plan | {"stops": plan["stops"].assign(arrive="", leave="")}
    files = plan_sheet(layers)
    assert set(files) == set(FILES) - {"timeline.png"}
    assert b"over its hours" not in files["sheet.html"]


def test_bars_lie_where_the_hours_say(plan):
    given = plan["stops"].copy()
    given["leave"] = [
        text[:14] + f"{int(text[14:16]) + 15:02d}" + text[16:] if text else text for text in given["leave"]
    ]
    figure = draw_timeline({"stops": given}, title="x")
    bars = [
        one
        for one in figure.findobj(Rectangle)
        if to_hex(one.get_facecolor()) == palette.HOLD and one.get_zorder() > 1.1
    ]
    stops = given.iloc[1:-1]
    assert len(bars) == len(stops)
    hours = {
        text.get_text(): text.get_position()[0] for text in figure.findobj(Text) if text.get_gid() == "hour"
    }
    for bar, arrive, leave in zip(bars, stops["arrive"], stops["leave"], strict=True):
        for x, text in ((bar.get_x(), arrive), (bar.get_x() + bar.get_width(), leave)):
            whole = f"{text[11:13]}:00"
            per_hour = (hours["08:00"] - hours["06:00"]) / 2.0
            assert x == pytest.approx(hours[whole] + per_hour * int(text[14:16]) / 60.0, abs=0.01)


def test_every_hold_card_of_the_demo_day_draws_the_cast_of_the_layer(planned_demo_day):
    """Measured on the drawing: from boat to aim as long and in the direction that hold and text say."""
    plan = {
        name: read_layer(f"{planned_demo_day / 'my_day' / 'plan.gpkg'}:{name}")
        for name in ("stops", "legs", "holds", "cast_lines", "spots", "water", "depth_bands")
    }
    stops = stops_of(plan, metric=True)
    pages = draw_pages(
        plan, stops, [], title="Day", level_m=-1.2192, date="2026-05-16", units="metric", width_px=600
    )
    drawn = [
        np.asarray(lines.get_segments()[0])
        for figure in pages.holds
        for axes in figure.axes
        for lines in axes.collections
        if lines.get_gid() == "cast"
    ][::2]  # each is stroked twice: its casing, then its colour
    holds = plan["holds"].set_index("spot_id")
    fished = [stop.spot_id for stop in stops if not stop.ramp]
    assert len(drawn) == len(fished) > 5
    for line, spot_id in zip(drawn, fished, strict=True):
        east, north = line[-1] - line[0]
        hold = holds.loc[spot_id]
        assert np.hypot(east, north) == pytest.approx(hold["cast_m"], abs=1.0)
        grid = grid_north_deg(plan["holds"].crs, *line[0])[0]
        turn = np.degrees(np.arctan2(east, north)) + grid - hold["cast_bearing_deg"]
        assert abs((turn + 180.0) % 360.0 - 180.0) < 0.1
