"""The map: everything is on it, at its place, nothing covers anything."""

from __future__ import annotations

import io
import itertools
import math
import re
import struct
import time
import warnings

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.patches import FancyBboxPatch, Polygon, Rectangle
from matplotlib.text import Text
from PIL import Image
from scipy import ndimage
from shapely.geometry import LineString, Point, box

from castshed.toolbox.errors import CrsError, DataError, DataWarning, UsageError
from castshed.toolbox.lon_lat import north_of
from castshed.toolbox.output.formats import palette
from castshed.toolbox.output.maps.chart import compose, draw_map
from castshed.toolbox.output.maps.chart_ground import draw_ground
from castshed.toolbox.output.maps.chart_key import nice, wind_of
from castshed.toolbox.output.maps.chart_page import Rect, View, by_role, fit
from castshed.toolbox.output.maps.chart_table import left_out_groups
from castshed.toolbox.output.maps.draughting import dots, outline
from castshed.toolbox.output.words.cautions import CAUTIONS


def drawn(layers, **options):
    figure = compose(
        layers, title="Day run", level_m=-1.2192, date="2031-05-03", **{"width_px": 1300, **options}
    )
    figure.canvas.draw()
    return figure


_PAGES = {}


def page(plan_of, stops=5, **options):
    """A page that several tests look at, drawn once."""
    key = (stops, *sorted(options.items()))
    if key not in _PAGES:
        _PAGES[key] = drawn(plan_of(stops), **options)
    return _PAGES[key]


def words(figure, kind=""):
    return [
        t
        for t in figure.findobj(Text)
        if t.get_text() and str(t.get_gid() or "").startswith(kind) and t.get_visible()
    ]


def extents(figure, artists):
    renderer = figure.canvas.get_renderer()
    return np.array([a.get_window_extent(renderer).extents for a in artists]).reshape(-1, 4)


def overlaps(boxes, slack=0.5):
    found = 0
    for a, b in itertools.combinations(boxes, 2):
        found += a[0] + slack < b[2] and b[0] + slack < a[2] and a[1] + slack < b[3] and b[1] + slack < a[3]
    return found


@pytest.mark.long
@pytest.mark.parametrize(("seed", "naming"), [(1, "own"), (2, "long"), (3, "letters of other scripts")])
def test_no_two_texts_of_the_demo_map_overlap_with_25_stops(demo_day_of, seed, naming):
    figure = drawn(demo_day_of(25, seed, naming))
    labels = [one for one in figure.findobj(FancyBboxPatch) if str(one.get_gid()).startswith("label:stop")]
    assert len(labels) == 26  # 25 stops, and the ramp at both ends
    everything = [one for one in figure.findobj(FancyBboxPatch) if str(one.get_gid()).startswith("label:")]
    assert overlaps(extents(figure, everything)) == 0
    assert overlaps(extents(figure, words(figure))) == 0


@pytest.mark.parametrize("stops", [1, 5, 12, 25])
def test_no_label_of_the_map_covers_another(plan_of, stops):
    figure = page(plan_of, stops)
    grounds = [p for p in figure.findobj(FancyBboxPatch) if str(p.get_gid()).startswith("label:")]
    assert len([p for p in grounds if p.get_gid() == "label:stop"]) == stops + 1  # the ramp is both ends
    assert len([p for p in grounds if p.get_gid() == "label:leg"]) == stops + 1
    assert overlaps(extents(figure, grounds)) == 0


@pytest.mark.long
@pytest.mark.parametrize("stops", [5, 25])
def test_no_two_texts_of_the_page_overlap(plan_of, stops):
    figure = page(plan_of, stops)
    assert overlaps(extents(figure, words(figure))) == 0


@pytest.mark.parametrize("order", ["US", "metric"])
def test_no_depth_and_no_error_of_the_table_is_cut_off(plan_of, order):
    plan = plan_of(5)
    # more than a hundred feet, and an error of two figures, as wide as lakes write them
    plan["holds"] = plan["holds"].assign(depth_today_m=38.7, depth_error_m=3.66)
    figure = drawn(plan, units=order)
    told = [one.get_text() for kind in ("head", "cell") for one in words(figure, kind)]
    depth = "127.0 ± 12.1 (38.7)" if order == "US" else "38.7 ± 3.7 (127.0)"
    assert told.count(depth) == 5
    assert any(one.endswith("± either way") for one in told)


def test_all_words_stay_on_the_page(plan_of):
    figure = page(plan_of, 25)
    boxes = extents(figure, words(figure))
    assert boxes[:, :2].min() >= 0.0
    assert (boxes[:, 2] <= figure.bbox.width).all()
    assert (boxes[:, 3] <= figure.bbox.height).all()


def test_label_words_stay_inside_their_ground(plan_of):
    figure = page(plan_of, 12)
    grounds = extents(
        figure, [p for p in figure.findobj(FancyBboxPatch) if str(p.get_gid()).startswith("label:")]
    )
    inner = extents(figure, words(figure, "text:"))
    assert (inner[:, 0] >= grounds[:, 0]).all()
    assert (inner[:, 2] <= grounds[:, 2]).all()
    assert (inner[:, 1] >= grounds[:, 1] - 0.5).all()
    assert (inner[:, 3] <= grounds[:, 3] + 0.5).all()


def test_labels_stay_inside_the_map(plan_of):
    figure = page(plan_of, 25)
    frame = figure.axes[0].get_window_extent().extents
    boxes = extents(
        figure, [p for p in figure.findobj(FancyBboxPatch) if str(p.get_gid()).startswith("label:")]
    )
    assert (boxes[:, :2] >= frame[:2]).all()
    assert (boxes[:, 2:] <= frame[2:]).all()


def test_crowded_stops_still_get_labels_apart(plan):
    stops = plan["stops"].copy()
    near = stops.geometry.iloc[1]
    stops.geometry = [Point(near.x + 12.0 * n, near.y) for n in range(len(stops))]
    figure = drawn({"water": plan["water"], "stops": stops})
    grounds = [p for p in figure.findobj(FancyBboxPatch) if p.get_gid() == "label:stop"]
    assert len(grounds) == len(stops)
    assert overlaps(extents(figure, grounds)) == 0


def test_stops_are_named_by_number_and_name(plan_of):
    assert {t.get_text() for t in words(page(plan_of), "text:stop")} == {
        "0·6 Willow ramp", "1 Old hump", "2 Heron brush", "3 Tin Barn ledge", "4 Long rocks", "5 Church point"
    }  # fmt: skip


def test_the_table_has_every_stop_in_order(plan_of):
    plan = plan_of(25)
    plan["stops"] = plan["stops"].sample(frac=1.0, random_state=2)
    cells = [t.get_text() for t in words(drawn(plan), "cell")]
    at = [cells.index(str(number)) for number in range(27)]
    assert at == sorted(at)


def test_the_table_tells_depth_and_cast_in_both_units(plan, plan_of):
    cells = [t.get_text() for t in words(page(plan_of), "cell")]
    hold = plan["holds"].iloc[0]
    assert f"{hold.depth_today_m / 0.3048:.1f} ({hold.depth_today_m:.1f})" in cells
    assert f"{hold.cast_m / 0.3048:.0f} ({hold.cast_m:.0f}) {hold.cast_bearing_deg:03.0f}°" in cells
    metric = [t.get_text() for t in words(page(plan_of, units="metric"), "cell")]
    assert f"{hold.depth_today_m:.1f} ({hold.depth_today_m / 0.3048:.1f})" in metric


def test_spots_left_out_are_listed_with_the_reason(plan_of):
    cells = [t.get_text() for t in words(page(plan_of), "cell")]
    assert cells[cells.index("Dry & high") + 1] == "stands dry today"


def test_many_left_out_are_counted(plan):
    many = gpd.GeoDataFrame(
        {"spot_id": [f"X{n}" for n in range(300)], "name": [f"Reef {n}" for n in range(300)], "reason": [f"dry by {n} ft" for n in range(300)]},
        geometry=[plan["left_out"].geometry.iloc[0]] * 300, crs=plan["left_out"].crs,
    )  # fmt: skip
    figure = drawn({**plan, "left_out": many})
    (more,) = [t.get_text() for t in words(figure, "cell") if t.get_text().startswith("and ")]
    shown = len([t for t in words(figure, "cell") if re.match(r"dry by|stands dry today", t.get_text())])
    assert (
        more == f"and {301 - shown} more left out, with reasons, in the plan's files"
    )  # one more is among the spots
    assert overlaps(extents(figure, words(figure))) == 0


def test_many_left_out_for_one_reason_are_told_together(plan):
    names = [f"Reef {n}" for n in range(4)]
    many = gpd.GeoDataFrame(
        {"spot_id": names, "name": names, "reason": ["no time left"] * 4},
        geometry=[plan["left_out"].geometry.iloc[0]] * 4, crs=plan["left_out"].crs,
    )  # fmt: skip
    for count, cells in ((3, ["Reef 2", "no time left"]), (4, ["4 spots", "no time left"])):
        figure = drawn({**plan, "left_out": many.iloc[:count]})
        assert [t.get_text() for t in words(figure, "cell")][-2:] == cells
    groups = left_out_groups(by_role({**plan, "left_out": many}), metric_first=False)
    assert groups[-1] == (names, "no time left")


def test_reasons_name_the_wanted_units_first(plan):
    told = plan["left_out"].assign(reason="0.3 m (1.0 ft) too shallow, wind 8.9 m/s (20 mph)", spot_id="Z")
    for units, said in (
        ("US", "1.0 ft (0.3 m) too shallow, wind 20 mph (8.9 m/s)"),
        ("metric", "0.3 m (1.0 ft) too shallow, wind 8.9 m/s (20 mph)"),
    ):
        cells = [t.get_text() for t in words(drawn({**plan, "left_out": told}, units=units), "cell")]
        assert said in cells


def test_a_wave_is_never_told_as_nothing(plan):
    # 0.004 m is a ripple and 0 m an estimate without wind: neither is still water (a caution of the sheet says why)
    for wave in (0.0, 0.004, 0.012):
        layers = {**plan, "stops": plan["stops"].assign(wave_m=wave)}
        cells = [t.get_text() for t in words(drawn(layers), "cell")]
        told = [cell for cell in cells if cell.startswith("<0.1 (")]
        assert told == [f"<0.1 ({'0.01' if wave > 0.005 else '<0.01'})"] * len(plan["stops"])
        assert not any(re.match(r"0\.0 \(|.*\(0\.00?\)", cell) for cell in cells)


def test_the_totals_are_on_the_map(plan, plan_of):
    (said,) = [t.get_text() for t in words(page(plan_of), "totals")]
    metres = float(plan["legs"]["distance_m"].sum())
    assert f"Distance {metres / 1609.344:.2f} mi ({metres / 1000.0:.2f} km)" in said
    assert said.startswith("Stops 5 · Away from the ramp 06:00 to 08:00")


def test_level_and_date_and_every_caution_are_on_the_page(plan_of):
    figure = page(plan_of)
    assert (
        words(figure, "level")[0].get_text()
        == "Depths at level -4.0 ft (-1.22 m) from chart datum on 2031-05-03."
    )
    foot = " ".join(t.get_text() for t in words(figure, "caution"))
    assert all(caution in foot for caution in CAUTIONS)


def test_an_unknown_level_is_said(plan):
    figure = compose(plan, title="x", level_m=None)
    assert "Level not stated" in words(figure, "level")[0].get_text()


def test_the_map_is_true_to_scale_in_both_directions(plan_of):
    axes = page(plan_of).axes[0]
    place = axes.get_window_extent()
    west, east = axes.get_xlim()
    south, north = axes.get_ylim()
    assert place.width / (east - west) == pytest.approx(place.height / (north - south), rel=1e-9)
    assert south < north
    assert west < east


@pytest.mark.parametrize("grow", [0.01, 0.1, 1.0, 7.0, 60.0])
def test_scale_bars_are_as_long_as_they_say(plan, grow):
    layers = {}
    for name in ("water", "stops"):
        layer = plan[name].copy()
        layer.geometry = layer.geometry.scale(grow, grow, origin=(480_000.0, 4_100_000.0))
        layers[name] = layer
    figure = drawn(layers)
    axes = figure.axes[0]
    metres_per_px = (axes.get_xlim()[1] - axes.get_xlim()[0]) / axes.get_window_extent().width
    pieces = [p for p in figure.findobj(Rectangle) if p.get_gid() == "bar"]
    unit_m = {"mi": 1609.344, "ft": 0.3048, "km": 1000.0, "m": 1.0}
    for bar, said in zip((pieces[:4], pieces[4:]), words(figure, "scale"), strict=True):
        boxes = extents(figure, bar)
        number, unit = said.get_text().split(" ")
        assert (boxes[:, 2].max() - boxes[:, 0].min()) * metres_per_px == pytest.approx(
            float(number) * unit_m[unit], rel=1e-6
        )


def test_nice_numbers_are_one_two_or_five():
    assert [
        nice(value) for value in (0.0123, 0.99, 1.0, 1.9999, 2.0, 4.9, 5.0, 99.0, 1234.5)
    ] == pytest.approx([0.01, 0.5, 1.0, 1.0, 2.0, 2.0, 5.0, 50.0, 1000.0])


@pytest.mark.parametrize(
    ("coming", "words_said"), [(0.0, "N (000°)"), (225.0, "SW (225°)"), (270.0, "W (270°)")]
)
def test_the_wind_arrow_flies_away_from_where_the_wind_comes_from(plan, coming, words_said):
    holds = plan["holds"].assign(wind_mps=4.4704, wind_from_deg=coming)
    figure = drawn({**plan, "holds": holds})
    (head,) = [p for p in figure.findobj(Polygon) if p.get_gid() == "wind arrow"]
    tip, base = head.get_xy()[0], head.get_xy()[1:3].mean(axis=0)
    flying = math.degrees(math.atan2(*(tip - base))) % 360.0
    grid = north_of(plan["water"])  # up on the page is north of the grid
    assert flying == pytest.approx((coming - grid + 180.0) % 360.0, abs=0.05)
    said = [t.get_text() for t in words(figure, "wind")]
    assert said == [f"Wind from {words_said}", "10 mph (4.5 m/s)"]


def test_winds_on_both_sides_of_north_average_to_north():
    frame = gpd.GeoDataFrame(
        {"spot_id": ["a", "b"], "wind_mps": [5.0, 5.0], "wind_from_deg": [350.0, 10.0]},
        geometry=[Point(0, 0)] * 2,
    )
    low, high, coming = wind_of({"holds": frame})
    assert (low, high) == (5.0, 5.0)
    assert math.cos(math.radians(coming)) == pytest.approx(1.0)


def test_without_wind_the_map_says_so(plan_of):
    assert [t.get_text() for t in words(page(plan_of), "wind")] == ["Wind not given"]


def test_the_key_names_only_what_is_shown(plan, plan_of):
    few = {name: plan[name] for name in ("water", "stops", "legs")}
    assert [t.get_text() for t in words(drawn(few), "key")] == ["leg, running", "leg, idling or launching"]
    assert "too thin even at idle" in [t.get_text() for t in words(page(plan_of), "key")]


def test_depth_bands_are_painted_in_their_colours_at_their_place(plan):
    layers = {"water": plan["water"], "depth_bands": plan["depth_bands"]}
    figure = drawn(layers)
    pixels = np.asarray(figure.canvas.buffer_rgba())
    colours = palette.depth_colours(5)
    for band, colour in zip(plan["depth_bands"].geometry, colours, strict=True):
        inner = shapely.maximum_inscribed_circle(band, tolerance=5.0).coords[0]
        x, y = figure.axes[0].transData.transform(inner)
        found = pixels[int(pixels.shape[0] - y), int(x), :3] / 255.0
        assert found == pytest.approx(palette.rgb(colour), abs=0.01)


def test_land_is_painted_outside_the_water_and_on_islands(plan):
    figure = drawn({"water": plan["water"], "depth_bands": plan["depth_bands"]})
    pixels = np.asarray(figure.canvas.buffer_rgba())
    island = shapely.Polygon(plan["water"].geometry.iloc[0].interiors[0]).centroid
    x, y = figure.axes[0].transData.transform((island.x, island.y))
    assert pixels[int(pixels.shape[0] - y), int(x), :3] / 255.0 == pytest.approx(
        palette.rgb(palette.LAND), abs=0.01
    )


def hatched(areas, care="run"):
    """Pixels of a drawing of hazards alone that are as dark as hatch lines, and those inside the areas."""
    frame = gpd.GeoDataFrame({"care": [care] * len(areas)}, geometry=areas, crs="EPSG:32615")
    figure = Figure((4, 4), dpi=200)
    axes = figure.add_axes((0, 0, 1, 1), xlim=(-200, 200), ylim=(-200, 200))
    axes.set_axis_off()
    draw_ground(axes, {"shallow_hazards": frame}, View(Rect(0, 0, 4, 4), -200, -200, 100.0))
    canvas = FigureCanvasAgg(figure)
    canvas.draw()
    pixels = np.asarray(canvas.buffer_rgba())[::-1, :, :3] / 255.0
    x, y = np.meshgrid(np.linspace(-200, 200, 800), np.linspace(-200, 200, 800))
    inside = shapely.contains_xy(shapely.union_all(areas), x, y)
    return np.abs(pixels - palette.rgb(palette.HAZARD)).max(axis=2) < 0.35, inside


@pytest.mark.parametrize("care", ["run", "idle"])
def test_hatching_fills_an_area_and_nothing_else(care):
    ring = Point(0.0, 0.0).buffer(150.0).difference(Point(20.0, 0.0).buffer(60.0))
    dark, inside = hatched([ring], care)
    edge = ndimage.binary_dilation(inside ^ ndimage.binary_erosion(inside), iterations=4)
    assert not dark[~inside & ~edge].any()
    # everywhere inside a line is near: none is farther from the next than 0.05 inch, ten pixels
    near = ndimage.binary_dilation(dark, iterations=10)
    assert near[inside].all()
    # one way for running, the other for idling: what is moved along the lines is dark again
    lean = np.roll(dark, (10, 10 if care == "run" else -10), axis=(0, 1))
    across = np.roll(dark, (10, -10 if care == "run" else 10), axis=(0, 1))
    deep = inside & ~edge
    assert (dark & lean)[deep].sum() > 1.5 * (dark & across)[deep].sum()


def test_hatching_of_areas_that_overlap_is_hatching_of_their_union():
    areas = [Point(0.0, 0.0).buffer(100.0), Point(60.0, 20.0).buffer(100.0), box(-30.0, -30.0, 30.0, 30.0)]
    dark, inside = hatched(areas)
    assert ndimage.binary_dilation(dark, iterations=10)[inside].all()


def test_dots_lie_inside_and_are_as_many_as_the_area_holds():
    area = Point(500.0, 500.0).buffer(200.0).difference(box(480.0, 480.0, 560.0, 560.0))
    at = dots(np.array([area], dtype=object), 8.0)
    assert shapely.intersects_xy(area.buffer(1e-9), at[:, 0], at[:, 1]).all()
    assert len(at) == pytest.approx(area.area / 64.0, rel=0.03)


def test_an_outline_keeps_the_area_and_the_holes():
    area = (
        Point(0.0, 0.0).buffer(1000.0, quad_segs=400).difference(Point(0.0, 0.0).buffer(400.0, quad_segs=400))
    )
    path = outline(np.array([area], dtype=object), 0.5)
    rings = path.to_polygons(closed_only=True)
    assert len(rings) == 2
    assert sum(
        shapely.Polygon(ring).area * (-1 if n else 1) for n, ring in enumerate(rings)
    ) == pytest.approx(area.area, rel=1e-3)
    # filled by winding: the hole must turn the other way round
    assert [shapely.LinearRing(ring).is_ccw for ring in rings] == [True, False]
    assert len(path.vertices) < 400


def test_idle_parts_are_dashed_and_running_parts_are_not(plan, plan_of):
    figure = page(plan_of)
    styles = {}
    for strokes in figure.axes[0].collections:
        if strokes.get_zorder() == 4.1:
            styles[strokes.get_linestyle()[0][1] is None] = len(strokes.get_paths())
    assert styles == {
        True: (plan["legs"]["part"] == "run").sum(),
        False: (plan["legs"]["part"] == "idle").sum(),
    }


def test_arrows_point_along_the_legs(plan):
    legs = plan["legs"].iloc[:1].copy()
    legs.geometry = [LineString([(478_500.0, 4_100_000.0), (481_500.0, 4_101_000.0)])]
    figure = drawn({"water": plan["water"], "legs": legs})
    (heads,) = [c for c in figure.axes[0].collections if c.get_zorder() == 4.3]
    for path in heads.get_paths():
        tip, back = path.vertices[0], path.vertices[1:3].mean(axis=0)
        assert math.degrees(math.atan2(*(tip - back))) == pytest.approx(
            math.degrees(math.atan2(3000.0, 1000.0)), abs=1e-6
        )


def test_wide_and_tall_lakes_fill_the_page(plan):
    for wide, high in ((4.0, 0.5), (0.5, 4.0), (1.0, 1.0)):
        layers = {}
        for name, layer in plan.items():
            stretched = layer.copy()
            stretched.geometry = layer.geometry.scale(wide, high, origin=(480_000.0, 4_100_000.0))
            layers[name] = stretched
        figure = drawn(layers)
        texts = extents(figure, words(figure))
        assert overlaps(texts) == 0
        assert texts.min() >= 0.0
        assert (texts[:, 2:].max(axis=0) <= [figure.bbox.width, figure.bbox.height]).all()


def test_hostile_names_are_drawn_as_text(plan, hostile_names):
    count = len(hostile_names)
    hostile_names = pd.Series(
        hostile_names, dtype=object
    )  # else Arrow, where installed, refuses what is no UTF-8
    stops = gpd.GeoDataFrame(
        {"stop_no": range(count), "spot_id": [f"S{n}" for n in range(count)], "name": hostile_names, "arrive": hostile_names, "leave": ""},
        geometry=[Point(479_000.0 + 110.0 * n, 4_100_000.0) for n in range(count)], crs=plan["water"].crs,
    )  # fmt: skip
    for title in (
        hostile_names[10],
        hostile_names[12],
        hostile_names[7],
    ):  # formula, very long, lone surrogate
        figure = compose({"water": plan["water"], "stops": stops}, title=title, level_m=0.0, width_px=900)
        figure.canvas.draw()
    assert "<script>alert(1)</script>" in [t.get_text() for t in words(figure, "cell")]
    assert overlaps(extents(figure, words(figure))) == 0


def test_the_picture_is_a_png_of_the_width_asked_for(plan):
    picture = draw_map(plan, title="Day & run", level_m=-1.2, width_px=1500)
    assert picture[:8] == b"\x89PNG\r\n\x1a\n"
    assert struct.unpack(">I", picture[16:20]) == (1500,)


def test_the_picture_carries_title_and_cautions_as_text(plan, hostile_names):
    for title in ("Day & run", *hostile_names[3:12:2]):
        told = Image.open(
            io.BytesIO(draw_map({"water": plan["water"]}, title=title, level_m=-1.2, width_px=600))
        ).text
        assert all(caution in told["Description"] for caution in CAUTIONS)
        assert "\x00" not in told["Title"]
    assert told["Software"] == "castshed"


def test_the_same_plan_makes_the_same_picture(plan):
    assert draw_map(plan, title="x", level_m=-1.2, width_px=800) == draw_map(
        plan, title="x", level_m=-1.2, width_px=800
    )


def test_the_input_is_not_changed(plan):
    before = {name: layer.copy() for name, layer in plan.items()}
    draw_map(plan, title="x", level_m=-1.2, width_px=600)
    assert all(layer.equals(before[name]) for name, layer in plan.items())


@pytest.mark.parametrize(
    "name", ["water", "stops", "holds", "spots", "legs", "ramps", "zones", "dry_ground", "known_hazards"]
)
def test_each_layer_can_be_drawn_alone(plan, name):
    assert draw_map({name: plan[name]}, title="x", level_m=None, width_px=600)


def test_empty_layers_beside_others_draw_nothing(plan, empty_layers):
    assert draw_map({**empty_layers, "water": plan["water"]}, title="x", level_m=None, width_px=600)


def test_nothing_to_draw_is_refused(empty_layers):
    with pytest.raises(DataError, match="nothing to draw"):
        draw_map(empty_layers, title="x", level_m=None)
    with pytest.raises(DataError, match="nothing to draw"):
        draw_map({}, title="x", level_m=None)


def test_rows_without_geometry_are_passed_over(plan):
    holds = plan["holds"].copy()
    holds.geometry = [None, Point(), *holds.geometry.iloc[2:]]
    assert draw_map({**plan, "holds": holds}, title="x", level_m=None, width_px=600)


def test_degrees_are_drawn_in_metres(plan):
    figure = drawn({"water": plan["water"].to_crs(4326)})
    west, east = figure.axes[0].get_xlim()
    assert 5000.0 < east - west < 8000.0  # the made-up lake is about 5.4 km wide


def test_a_layer_without_reference_system_is_refused(plan):
    with pytest.raises(CrsError, match="'water' has no reference system"):
        draw_map({"water": plan["water"].set_crs(None, allow_override=True)}, title="x", level_m=None)


@pytest.mark.parametrize(
    ("option", "value", "said"),
    [("units", "imperial", "US, metric"), ("width_px", 10, "600"), ("width_px", 10**6, "12000")],
)
def test_wrong_options_are_refused(plan, option, value, said):
    with pytest.raises(UsageError, match=said):
        draw_map(plan, title="x", level_m=None, **{option: value})


def test_labels_without_room_are_said(plan):
    ramp = plan["ramps"].geometry.iloc[0]
    count = 150
    stops = gpd.GeoDataFrame(
        {"stop_no": range(count), "spot_id": [str(n) for n in range(count)], "name": "Long name of a spot", "arrive": "", "leave": ""},
        geometry=[Point(ramp.x + n * 0.5, ramp.y) for n in range(count)], crs=plan["water"].crs,
    )  # fmt: skip
    with pytest.warns(DataWarning, match="labels found no free place"):
        draw_map({"water": plan["water"], "stops": stops}, title="x", level_m=None, width_px=600)


def test_a_window_shows_its_bounds_centred():
    view = fit((0.0, 0.0, 1000.0, 500.0), Rect(1.0, 2.0, 5.0, 5.0))
    corners = view.on_page(np.array([(0.0, 0.0), (1000.0, 500.0)]))
    assert corners.mean(axis=0) == pytest.approx([3.5, 4.5])
    assert (corners >= [1.0, 2.0]).all()
    assert (corners <= [6.0, 7.0]).all()


def test_a_single_point_gets_a_window_too():
    west, east, _, _ = fit((5.0, 5.0, 5.0, 5.0), Rect(0.0, 0.0, 5.0, 5.0)).limits
    assert east - west > 100.0


@pytest.mark.long
def test_a_lake_of_many_corners_is_drawn_in_time(plan_of):
    plan = plan_of(25)
    rough = plan["depth_bands"].copy()
    fine = shapely.segmentize(rough.geometry.to_numpy(), 1.0)
    # shaken by where a corner lies, so that rings stay closed
    rough.geometry = shapely.transform(fine, lambda at: at + 0.5 * np.sin(at[:, ::-1] * 7.3))
    assert shapely.get_num_coordinates(rough.geometry.to_numpy()).sum() > 50_000
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", DataWarning)
        draw_map(plan, title="warm", level_m=-1.2, width_px=600)
        began = time.process_time()
        draw_map({**plan, "depth_bands": rough}, title="x", level_m=-1.2)
    assert time.process_time() - began < 6.0  # half of it on an idle machine


@pytest.mark.parametrize(
    ("known", "crosses", "said"),
    [(True, 1, "spot not fishable today"), (False, 3, "spot left out of the run")],
)
def test_a_cross_is_a_spot_not_fishable_where_verdicts_are_known(plan, known, crosses, said):
    spots = plan["spots"] if known else plan["spots"].drop(columns="fishable")
    columns = {"spot_id": ["a", "b", "c"], "name": "x", "reason": "y"}
    left_out = gpd.GeoDataFrame(columns, geometry=[plan["ramps"].geometry.iloc[0]] * 3, crs=spots.crs)
    figure = drawn({**plan, "spots": spots, "left_out": left_out})
    (marks,) = [c for c in figure.axes[0].collections if c.get_zorder() == 4.5]
    assert len(marks.get_offsets()) == crosses
    assert [t.get_text() for t in words(figure, "key")][-1] == said


def test_spots_not_fishable_come_first_among_those_left_out(plan):
    columns = {"spot_id": ["Q"], "name": ["Quiet ledge"], "reason": ["no time left"]}
    left_out = gpd.GeoDataFrame(
        columns, geometry=plan["spots"].geometry.iloc[:1].to_numpy(), crs=plan["spots"].crs
    )
    cells = [t.get_text() for t in words(drawn({**plan, "left_out": left_out}), "cell")]
    assert cells[-4:] == ["Dry & high", "stands dry today", "Quiet ledge", "no time left"]
