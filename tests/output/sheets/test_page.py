"""The page's map as it is written: outlines and places as true as told, the hours, nothing of it code but the page's own."""

from __future__ import annotations

import base64
import hashlib
import json
import re

import numpy as np
import pandas as pd
import pyproj
import pytest
import shapely

from castshed.toolbox.output.formats.palette import contrast
from castshed.toolbox.output.maps.chart_page import by_role
from castshed.toolbox.output.maps.plan_facts import legs_of, stops_of
from castshed.toolbox.output.sheets.page_hours import hours_of_page
from castshed.toolbox.output.sheets.page_looks import _DARK, _LIGHT, looks
from castshed.toolbox.output.sheets.page_map import ground_of, lon_lat_terms, outlines, packed
from castshed.toolbox.output.sheets.page_pictures import Frame, hold_picture, leg_frame, path_of
from castshed.toolbox.output.sheets.sheet_html import to_html


def unpacked(text):
    """Read the numbers back, by the description alone: seven bits a byte, sign in the lowest bit."""
    found, value, bits = [], 0, 0
    for byte in base64.b64decode(text):
        value |= (byte & 127) << bits
        bits += 7
        if byte < 128:
            found.append(-(value + 1) // 2 if value & 1 else value // 2)
            value, bits = 0, 0
    assert bits == 0
    return found


def rings_of(text, ground):
    """Rings in metres of the plan's system."""
    numbers, at, rings = unpacked(text), np.zeros(2), []
    while numbers:
        count, numbers = numbers[0], numbers[1:]
        steps = np.array(numbers[: 2 * count], dtype=float).reshape(-1, 2)
        numbers = numbers[2 * count :]
        ring = at + np.cumsum(steps, axis=0)
        at = ring[-1]
        rings.append(ring * ground.step_m + (ground.west, ground.south))
    return rings


def area_of(text, ground):
    """Water within rings by the rule of odd crossings: what two rings share counts for none."""
    whole = shapely.Polygon()
    for ring in rings_of(text, ground):
        if len(ring) > 2:
            whole = shapely.symmetric_difference(whole, shapely.make_valid(shapely.Polygon(ring)))
    return whole


@pytest.fixture(scope="module")
def frames(plan):
    return by_role(plan)


def page_of(plan):
    """The page alone, without the papers."""
    frames = by_role(plan)
    stops = stops_of(frames, metric=False)
    legs = legs_of(frames, {stop.spot_id: stop.name for stop in stops}, metric=False)
    return to_html(
        frames, title="Made day", level="Depths.", north="North.", totals=[("Stops", "5")], stops=stops, legs=legs,
        left_out=[], questions=[], hours={}, level_m=-1.2192, metric=False,
    )  # fmt: skip


@pytest.fixture(scope="module")
def page(plan):
    return page_of(plan)


@pytest.fixture(scope="module")
def data(page):
    return json.loads(re.search(r'<script type="application/json" id="data">(.*?)</script>', page)[1])


@pytest.mark.parametrize("values", [[], [0], [-1, 1, 63, -64, 64, 127, 128], [2**33, -(2**33), 8191, -8192]])
def test_numbers_come_back_as_they_were_packed(values):
    assert unpacked(packed(values)) == values


def test_outlines_are_as_near_as_told(frames):
    ground = ground_of(frames)
    assert ground.off_m == 1.0
    drawn = area_of(outlines(ground.water[0], ground), ground)
    given = frames["water"].geometry.iloc[0]
    # thinned by as much as told, and each place by half a step more
    assert shapely.hausdorff_distance(drawn.boundary, given.boundary) <= ground.off_m + ground.step_m


def test_what_to_keep_out_of_is_never_drawn_smaller(frames):
    ground = ground_of(frames)
    for given, made in zip(frames["shallow_hazards"].geometry, ground.hazards, strict=True):
        drawn = area_of(outlines(made, ground), ground)
        # a whole step may take half a step's width off again
        assert shapely.difference(given, drawn.buffer(0.5 * ground.step_m)).area < 1e-6 * given.area
        assert drawn.area < given.buffer(3.0 * ground.off_m).area


def test_the_bands_together_are_the_water_by_depth(frames):
    """Each outline holds all that is as deep or deeper, so that what lies between two of them is one band."""
    ground = ground_of(frames)
    given = frames["depth_bands"].geometry
    for k in range(len(given)):
        deeper = ground.deeper[k + 1] if k + 1 < len(given) else shapely.Polygon()
        between = shapely.difference(shapely.make_valid(ground.deeper[k]), shapely.make_valid(deeper))
        missed = shapely.symmetric_difference(between, shapely.make_valid(given.iloc[k])).area
        assert missed <= 2.0 * ground.off_m * given.iloc[k].length


def test_large_waters_are_drawn_more_coarsely_and_it_is_told(frames, monkeypatch):
    from castshed.toolbox.output.sheets import page_map

    monkeypatch.setattr(page_map, "_MOST_POINTS", 900)
    ground = ground_of(frames)
    assert ground.off_m > 1.0
    assert sum(shapely.get_num_coordinates(one).sum() for one in (ground.water, ground.deeper)) <= 900


@pytest.mark.parametrize("epsg", [32615, 26915, 2180, 5070])
def test_degrees_are_those_of_the_projection(frames, epsg):
    """Against PROJ at places between those of the fit, over a lake of 60 km."""
    ground = ground_of(frames)
    wide = type(ground)(
        480_000.0, 400_000.0 if epsg in (2180, 5070) else 4_100_000.0, 540_000.0, 430_000.0 if epsg in (2180, 5070) else 4_130_000.0,
        1.0, 1.0, *[np.empty(0, dtype=object)] * 2, [], *[np.empty(0, dtype=object)] * 2,
    )  # fmt: skip
    fit = lon_lat_terms(pyproj.CRS.from_epsg(epsg), wide)
    go = pyproj.Transformer.from_crs(epsg, 4326, always_xy=True)
    rng = np.random.default_rng(3)
    for x, y in rng.uniform((wide.west, wide.south), (wide.east, wide.north), (200, 2)):
        u, v = (x - 510_000.0) / fit["half"], (y - (wide.south + wide.north) / 2.0) / fit["half"]
        powers = [(i, j) for i in range(fit["powers"] + 1) for j in range(fit["powers"] + 1 - i)]
        made = [
            sum(f * u**i * v**j for f, (i, j) in zip(fit[name], powers, strict=True))
            for name in ("lon", "lat")
        ]
        metres = pyproj.Geod(ellps="WGS84").inv(*made, *go.transform(x, y))[2]
        assert metres < 0.05
    assert fit["off_m"] < 0.05


def test_every_cast_and_stop_is_that_of_its_layer(data, plan, frames):
    ground = ground_of(frames)
    casts = plan["cast_lines"].set_index("spot_id").geometry
    ids = plan["stops"]["spot_id"].to_list()
    checked = 0
    for stop, spot in zip(data["stops"], ids, strict=True):
        at = np.add(stop["at"], (ground.west, ground.south))
        assert shapely.Point(at).distance(plan["stops"].geometry.iloc[checked]) < 0.02
        checked += 1
        if not stop["ramp"]:
            drawn = np.add(stop["cast"], (ground.west, ground.south))
            assert np.abs(drawn - shapely.get_coordinates(casts[spot])).max() < 0.02
    assert checked == 7


def test_legs_keep_every_turn(data, plan, frames):
    ground = ground_of(frames)
    for leg in data["legs"]:
        own = plan["legs"][plan["legs"]["leg_no"] == leg["number"]]
        for piece, line, seconds, given in zip(
            leg["pieces"], own.geometry, own["time_s"], leg["seconds"], strict=True
        ):
            assert (
                np.abs(
                    np.add(piece["line"], (ground.west, ground.south)) - shapely.get_coordinates(line)
                ).max()
                < 0.02
            )
            assert given == pytest.approx(seconds, abs=0.05)


def test_only_the_pages_own_script_and_style_are_allowed(page):
    """Digests worked out here from what stands in the page: whatever else got in would not run."""
    policy = re.search(r'Content-Security-Policy" content="([^"]*)"', page)[1].replace("&#39;", "'")
    for tag, part in (("script", r"<script>(.*?)</script>"), ("style", r"<style>(.*?)</style>")):
        (inside,) = re.findall(part, page, flags=re.DOTALL)
        digest = base64.b64encode(hashlib.sha256(inside.encode()).digest()).decode()
        assert f"{tag}-src 'sha256-{digest}'" in policy
    assert "unsafe" not in policy
    assert "default-src 'none'" in policy
    assert not re.search(r'\sstyle="|\son[a-z]+="', page)
    script = re.findall(r"<script>(.*?)</script>", page, flags=re.DOTALL)[0]
    assert "'use strict'" in script
    for word in ("eval(", "Function(", "innerHTML", "outerHTML", "insertAdjacentHTML", "document.write", "fetch(", "XMLHttp",
                 "geolocation", "import(", "WebSocket", "localStorage"):  # fmt: skip
        assert word not in script


def test_hostile_names_stay_text_within_the_data(plan_of):
    names = ["</script><script>document.title='broken'</script>", "<!--", "]]>&amp;", "a\u2028b\x00c\ud800"]
    layers = plan_of(4)
    layers["stops"]["name"] = pd.Series(["Ramp", *names, "Ramp"], dtype=object)
    layers["spots"]["name"] = pd.Series([*names, "x"], dtype=object)
    text = page_of(layers)
    text.encode("utf-8")
    raw = re.search(r'id="data">(.*?)</script>', text)[1]
    assert not set("<>&\u2028\u2029") & set(raw)
    told = json.loads(raw)
    assert told["stops"][1]["name"] == names[0]
    assert text.count("<script") == 2


def test_the_hours_are_minutes_of_the_first_day(plan):
    facts = stops_of(by_role(plan), metric=False)
    told = hours_of_page(plan["stops"], facts, {}, metric=False)
    # 06:00 is 360 minutes after midnight; stops are left and reached at whole twenty minutes
    assert told["times"][0] == [None, 360.0]
    assert told["times"][1] == [380.0, 380.0]
    assert (told["begin"], told["end"], told["offset"], told["date"]) == (360.0, 480.0, -300.0, "2031-05-03")
    assert hours_of_page(plan["stops"].assign(arrive="", leave=""), facts, {}, metric=False) == {}


def test_weather_and_verdict_by_the_hour_are_those_of_the_tables(plan):
    facts = stops_of(by_role(plan), metric=True)
    spot = facts[1].spot_id
    rows = {
        "spot_id": [spot, spot, "other"],
        "time": ["2031-05-03T06:00:00-05:00", "2031-05-03T07:00:00-05:00"] * 1
        + ["2031-05-03T06:00:00-05:00"],
    }
    exposure = pd.DataFrame(
        rows
        | {
            "wind_mps": [5.0, 6.0, 9.0],
            "wind_from_deg": [90.0, 100.0, 0.0],
            "wave_m": [0.1, 0.2, 0.9],
            "wave_high_m": [0.12, 0.25, 1.0],
        }
    )
    verdicts = pd.DataFrame(rows | {"fishable": [1, 0, 0], "reason": ["fine", "waves too high", "x"]})
    at = [shapely.Point(0.0, 0.0)] * 3
    import geopandas as gpd

    tables = {
        "exposure": gpd.GeoDataFrame(exposure, geometry=at),
        "verdicts": gpd.GeoDataFrame(verdicts, geometry=at),
    }
    (six, first), (seven, second) = hours_of_page(plan["stops"], facts, tables, metric=True)["hours"]
    assert (six, seven) == (360.0, 420.0)
    assert first == {
        "1": {
            "weather": "wind 5.0 m/s (11 mph) from 090°, waves to 0.12 m (0.4 ft)",
            "fish": True,
            "why": "fine",
        }
    }
    assert second["1"]["fish"] is False
    assert second["1"]["why"] == "waves too high"


def test_a_path_draws_what_it_is_given():
    frame = Frame(400.0, 300.0, (1000.0, 2000.0), 2.0)
    square = shapely.box(990.0, 1990.0, 1010.0, 2010.0)
    # 20 m at two pixels a metre and four units a pixel: 160 units, round the middle at 800, 600
    numbers = re.fullmatch(r"M(\d+) (\d+)l([-\d ]+)z", path_of(square, frame))
    steps = np.array([int(one) for one in re.findall(r"-?\d+", numbers[3])]).reshape(-1, 2)
    at = np.vstack(
        [
            [int(numbers[1]), int(numbers[2])],
            np.array([int(numbers[1]), int(numbers[2])]) + np.cumsum(steps, axis=0),
        ]
    )
    assert (at.min(axis=0).tolist(), at.max(axis=0).tolist()) == ([720, 520], [880, 680])
    assert path_of(shapely.box(0.0, 0.0, 1.0, 1.0), frame) == ""


@pytest.mark.parametrize("course", [0.0, 75.0, 190.0, 301.0])
def test_a_leg_runs_up_its_picture_and_stays_in_it(course):
    turn = np.radians(course)
    along, side = np.array([np.sin(turn), np.cos(turn)]), np.array([np.cos(turn), -np.sin(turn)])
    way = np.array([along * 0.0, along * 700.0 + side * 200.0, along * 1500.0])
    frame = leg_frame(shapely.LineString(way), course)
    on_page = frame.placed(way)
    assert (on_page > 0.0).all()
    assert (on_page < (frame.wide, frame.high)).all()
    assert on_page[0, 1] > on_page[1, 1] > on_page[2, 1]
    assert on_page[1, 0] > on_page[0, 0] + 10.0  # what lies to starboard stays to the right
    assert on_page[2, 0] == pytest.approx(on_page[0, 0], abs=1e-6)


@pytest.mark.parametrize("look", [_LIGHT, _DARK])
def test_words_and_marks_stand_out_by_day_and_by_night(look):
    """WCAG 2.1: 4.5 to 1 for words, 3 to 1 for what must be seen."""
    for ink, ground in (("ink", "paper"), ("quiet", "paper"), ("mark", "paper"), ("ink", "band"), ("quiet", "band"), ("warn", "paper"),
                        ("zone", "paper"), ("ramp", "paper"), ("casing", "run")):  # fmt: skip
        assert contrast(look[ink], look[ground]) >= 4.5, (ink, ground)
    for mark, ground in (
        ("thin", "thinground"),
        ("run", "casing"),
        ("cast", "casing"),
        ("known", "casing"),
        ("drydots", "dry"),
    ):
        assert contrast(look[mark], look[ground]) >= 3.0, (mark, ground)


@pytest.mark.parametrize("count", [0, 1, 8])
def test_deeper_water_is_darker_by_day_and_by_night(count):
    from castshed.toolbox.output.formats.palette import luminance

    day, night, *_ = looks(count).split("@media")
    for text in (day, night):
        shades = [luminance(colour) for _, colour in re.findall(r"--w(\d+):(#[0-9a-f]{6})", text)]
        assert len(shades) == max(count, 1)
        assert shades == sorted(shades, reverse=True)


@pytest.mark.parametrize("gone", ["water", "depth_bands", "cast_lines", "everything"])
def test_a_page_is_made_of_what_there_is(plan, gone):
    """Stops, legs, holds and spots alone will do; so will stops without times."""
    needed = {"stops", "legs", "holds", "spots"}
    layers = {
        name: frame
        for name, frame in plan.items()
        if name != gone and (gone != "everything" or name in needed)
    }
    layers["stops"] = layers["stops"].assign(arrive="", leave="")
    text = page_of(layers)
    told = json.loads(re.search(r'id="data">(.*?)</script>', text)[1])
    assert [stop["name"] for stop in told["stops"]] == plan["stops"]["name"].to_list()
    assert all(stop["ramp"] or len(stop["cast"]) == 2 for stop in told["stops"])
    assert (told["bands"] == []) == (gone in {"depth_bands", "everything"})
    assert told["clock"] == {}
    assert 'id="hour"' not in text


def test_shapes_that_are_no_coverage_are_drawn_all_the_same(plan):
    """Bands that overlap and one that crosses itself: no error, and nothing of the deep lost."""
    frames = dict(by_role(plan))
    bands = frames["depth_bands"].copy()
    bow = shapely.Polygon(
        [(480_000, 4_100_000), (480_300, 4_100_300), (480_300, 4_100_000), (480_000, 4_100_300)]
    )
    bands.geometry = [*bands.geometry[:3], bow, bands.geometry.iloc[4].buffer(40.0)]
    ground = ground_of(frames | {"depth_bands": bands})
    assert shapely.is_valid(ground.deeper[-1])
    assert ground.deeper[0].area >= bands.geometry.iloc[4].area * 0.99


def test_days_that_number_their_stops_alike_are_told_apart(plan):
    """Two days in one plan: every stop has a key of its own, and its own facts under it."""
    second = plan["stops"].assign(
        spot_id=plan["stops"]["spot_id"].to_numpy()[::-1], name=plan["stops"]["name"].to_numpy()[::-1]
    )
    both = pd.concat([plan["stops"], second], ignore_index=True)
    text = page_of(plan | {"stops": both})
    told = json.loads(re.search(r'id="data">(.*?)</script>', text)[1])
    keys = [stop["key"] for stop in told["stops"]]
    assert len(set(keys)) == 14
    named = dict(
        re.findall(
            r'data-key="(stop:\d+)"><summary><span class="no">\d+</span> <span class="name">([^<]*)', text
        )
    )
    assert named == {stop["key"]: stop["name"] for stop in told["stops"]}


@pytest.mark.parametrize(("deep", "north"), [(90.0, 0.0), (90.0, 10.0), (200.0, -7.0)])
def test_true_bearings_are_turned_by_the_grids_north_on_the_drawing(deep, north):
    """Grid north bears 10 degrees true: what bears 90 true lies 80 to the right of the grid's up."""
    hold = shapely.Point(0.0, 0.0)
    cast = shapely.LineString([(0.0, 0.0), (0.0, 20.0)])
    text = hold_picture(
        [], Frame(400.0, 300.0, (0.0, 0.0), 3.0), hold=hold, spot=shapely.Point(0.0, 20.0), cast=cast, isobaths=None,
        deep_deg=deep, wind_from_deg=float("nan"), north_deg=north, metric=True, said="x",
    )  # fmt: skip
    x, y, u, v = (float(one) for one in re.search(r'class="deep" d="M([-\d ]+)"', text)[1].split())
    turn = np.degrees(np.arctan2(u - x, y - v)) - (deep - north)
    assert abs((turn + 180.0) % 360.0 - 180.0) < 0.5
    assert f"deep {deep:03.0f}°" in text


def test_the_time_of_a_leg_is_shared_out_over_the_pieces_of_its_route(plan):
    """A route with few turns has other pieces than the leg: the parts keep their times, and the whole its own."""
    legs = plan["legs"]
    pieces = []
    for part, line in zip(legs["part"], legs.geometry, strict=True):
        (x, y), *_, (u, v) = line.coords
        pieces += [
            (part, shapely.LineString([(x, y), ((x + 2 * u) / 3, (y + 2 * v) / 3)])),
            (part, shapely.LineString([((x + 2 * u) / 3, (y + 2 * v) / 3), (u, v)])),
        ]
    rows = [number for number in legs["leg_no"] for _ in range(2)]
    route = type(legs)(
        {"leg_no": rows, "part": [part for part, _ in pieces], "from_id": "", "to_id": "", "turns": 2},
        geometry=[line for _, line in pieces],
        crs=legs.crs,
    )
    told = json.loads(re.search(r'id="data">(.*?)</script>', page_of(plan | {"route": route}))[1])
    for leg in told["legs"]:
        own = legs[legs["leg_no"] == leg["number"]]
        assert len(leg["pieces"]) == len(leg["seconds"]) == 2 * len(own)
        for part in ("run", "idle"):
            given = own.loc[own["part"] == part, "time_s"].sum()
            shares = [
                seconds
                for piece, seconds in zip(leg["pieces"], leg["seconds"], strict=True)
                if piece["part"] == part
            ]
            assert sum(shares) == pytest.approx(given, abs=0.2)
            assert shares[0] == pytest.approx(2.0 * shares[1], abs=0.2)
