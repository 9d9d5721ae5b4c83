"""Hold lines on bottoms whose answer is known: ledges, planes, humps, islands, level ground; and a recheck by other means."""

import warnings

import geopandas as gpd
import numpy as np
import pyproj
import pytest
import shapely
from scipy.interpolate import RegularGridInterpolator

from castshed.algorithms.hold_lines import hold_lines as command
from castshed.toolbox.depth import DepthSurface
from castshed.toolbox.errors import CrsError, DataError, UsageError
from castshed.toolbox.lon_lat import grid_north_deg
from castshed.toolbox.testing import check_algorithm
from castshed.toolbox.water.hold_lines.drawn_lines import COLUMNS, hold_lines
from castshed.toolbox.water.hold_lines.hold_paths import smooth_line
from castshed.toolbox.water.holds.surroundings import Surroundings
from castshed.toolbox.water.level.least_depth import LeastBlocks
from plain_rules import plain_rules

CRS = pyproj.CRS.from_epsg(32615)
X0, Y0 = 500_000.0, 4_000_000.0
CAST = 21.3
RULES = plain_rules(cast_m=CAST)
NEED = RULES.draft_m + RULES.margin_m  # and the depth error of the surface


def surface(depth, *, cell=4.0, cells=150, error_m=0.15, x0=X0, y0=Y0):
    """A square lake whose depth is a function of metres east and north of its corner."""
    along = (np.arange(cells) + 0.5) * cell
    x, y = np.meshgrid(along, along[::-1])
    return DepthSurface(
        np.broadcast_to(depth(x, y), x.shape).astype("f4"), x0, y0 + cells * cell, cell, cell, CRS, error_m
    )


def line(*corners, x0=X0, y0=Y0):
    return shapely.LineString([(x0 + x, y0 + y) for x, y in corners])


def frame(*geometry, **columns):
    ids = [f"s{number}" for number in range(len(geometry))]
    return gpd.GeoDataFrame({"spot_id": ids, **columns}, geometry=list(geometry), crs=CRS)


def ledge(x, y):
    """Three metres west of x = 300, eight east of it, with nothing between."""
    return np.where(x < 300, 3.0, 8.0)


def hump(x, y):
    return 10.0 - 7.0 * np.exp(-((x - 300) ** 2 + (y - 300) ** 2) / (2 * 50.0**2))


NORTH = line((300, 150), (300, 400))


# Exact cases ----------------------------------------------------------------------------------------------
def test_beside_a_vertical_ledge_the_line_is_parallel_one_cast_off_on_the_deep_side():
    (told,) = hold_lines(frame(NORTH), surface(ledge), rules=RULES).lines.itertuples()
    ideal = line((300 + CAST, 150), (300 + CAST, 400))
    assert shapely.hausdorff_distance(told.geometry, ideal, densify=0.01) <= 0.1
    assert told.deep_bearing_deg == pytest.approx(90.0, abs=0.1)
    assert told.cast_m == pytest.approx(CAST, abs=0.1)
    assert told.length_m == pytest.approx(250.0, abs=0.5)
    assert told.heading_deg == pytest.approx(0.0, abs=0.01)  # the grid is turned by 0.002 degrees there
    assert (told.headings, told.cast_side) == ("000 deg 250 m", "port")
    assert told.starts == told.ends == "end of the structure"
    assert (told.least_depth_m, told.most_depth_m) == (8.0, 8.0)


def test_a_ledge_drawn_the_other_way_has_the_same_line_run_the_other_way():
    (told,) = hold_lines(frame(NORTH.reverse()), surface(ledge), rules=RULES).lines.itertuples()
    assert shapely.hausdorff_distance(told.geometry, line((300 + CAST, 150), (300 + CAST, 400))) <= 0.1
    assert told.heading_deg == pytest.approx(180.0, abs=0.01)
    assert told.cast_side == "starboard"


@pytest.mark.parametrize("bearing", [0.0, 30.0, 77.0, 143.0, 256.0])
def test_on_a_plane_bank_the_line_lies_straight_down_the_slope(bearing):
    towards = np.radians(bearing)
    east, north = np.sin(towards), np.cos(towards)
    lake = surface(lambda x, y: 10.0 + 0.02 * ((x - 300) * east + (y - 300) * north))
    contour = line(*[(300 + s * north, 300 - s * east) for s in (-100, 100)])
    (told,) = hold_lines(frame(contour), lake, rules=RULES).lines.itertuples()
    ideal = shapely.affinity.translate(contour, CAST * east, CAST * north)
    assert shapely.hausdorff_distance(told.geometry, ideal, densify=0.01) <= 0.1
    assert abs((told.deep_bearing_deg - bearing + 180) % 360 - 180) <= 0.1
    assert told.least_depth_m == pytest.approx(10.0 + 0.02 * CAST, abs=0.01)


def test_one_deep_hole_does_not_make_its_side_the_deep_one():
    hole = lambda x, y: 20.0 * np.exp(-((x - 280) ** 2 + (y - 280) ** 2) / (2 * 4.0**2))  # noqa: E731
    lake = surface(lambda x, y: 6.0 + 0.05 * (x - 300) + hole(x, y))
    told = hold_lines(frame(NORTH), lake, rules=RULES).lines
    beside = lake.at(X0 + 300 + np.linspace(-27, 27, 109), np.full(109, Y0 + 280))
    assert np.argmax(beside) < 54  # the deepest place within a cast lies to the west
    assert len(told) == 1
    assert told.deep_bearing_deg[0] == pytest.approx(90.0, abs=1.0)
    assert shapely.bounds(told.geometry[0])[0] == pytest.approx(X0 + 300 + CAST, abs=0.1)


@pytest.mark.parametrize("radius", [60.0, 120.0])
@pytest.mark.parametrize("outside", [True, False])
def test_round_a_bend_every_place_of_the_line_is_one_cast_off(radius, outside):
    def depth(x, y):
        off = np.hypot(x - 300, y - 300) - radius
        return 8.0 + (0.04 if outside else -0.04) * off

    bend = shapely.Point(X0 + 300, Y0 + 300).buffer(radius, quad_segs=64).exterior
    quarter = shapely.ops.substring(bend, 0.1, 0.35, normalized=True)
    (told,) = hold_lines(frame(quarter), surface(depth), rules=RULES).lines.itertuples()
    dense = shapely.get_coordinates(shapely.segmentize(told.geometry, 0.5)) - (X0 + 300, Y0 + 300)
    expected = radius + CAST if outside else radius - CAST
    assert np.abs(np.hypot(*dense.T) - expected).max() <= 0.1


def test_wiggles_of_a_ledge_drawn_by_hand_are_not_followed():
    rng = np.random.default_rng(5)
    drawn = line(*[(300 + rng.normal(0, 0.7), y) for y in np.arange(150, 401, 5.0)])
    (told,) = hold_lines(frame(drawn), surface(ledge), rules=RULES).lines.itertuples()
    dense = shapely.get_coordinates(shapely.segmentize(told.geometry, 1.0))
    assert np.abs(dense[:, 0] - X0 - 300 - CAST).max() <= 1.2
    turns = np.abs(np.diff(np.unwrap(np.arctan2(*np.diff(dense, axis=0).T))))
    assert turns.sum() < np.radians(200)
    by_hand = np.abs(np.diff(np.unwrap(np.arctan2(*np.diff(shapely.get_coordinates(drawn), axis=0).T))))
    assert turns.sum() < 0.4 * by_hand.sum()


@pytest.mark.parametrize("level", [0.0, -0.5, 0.8])
def test_an_isobath_is_followed_at_todays_level(level):
    lake = surface(lambda x, y: y / 20.0)
    bank = line((150, 205), (400, 205))
    follow = 11.0 + level
    (told,) = hold_lines(frame(bank), lake, rules=RULES, level_m=level, follow_m=follow).lines.itertuples()
    dense = shapely.get_coordinates(shapely.segmentize(told.geometry, 1.0))
    # Charted 11 m lies on y = 220 whatever the level; today it holds 11 m and the level.
    assert np.abs(dense[:, 1] - Y0 - 220).max() <= 0.01
    assert (told.least_depth_m, told.most_depth_m) == pytest.approx((follow, follow), abs=1e-3)
    assert told.cast_m == pytest.approx(15.0, abs=0.01)


def test_an_isobath_out_of_a_cast_is_not_followed_and_the_reason_says_so():
    lake = surface(lambda x, y: y / 20.0)
    told = hold_lines(frame(line((150, 200), (400, 200))), lake, rules=RULES, follow_m=15.0)
    assert told.lines.empty
    assert "isobath of today does not pass within a cast" in told.left_out.reason[0]


def test_round_a_hump_a_closed_line_goes_all_round_on_the_outside():
    ring = shapely.Point(X0 + 300, Y0 + 300).buffer(50, quad_segs=32)
    both = frame(shapely.LineString(ring.exterior.coords), ring)
    told = hold_lines(both, surface(hump), rules=RULES).lines
    assert list(told.spot_id) == ["s0", "s1"]
    for one in told.itertuples():
        assert one.geometry.is_closed
        dense = shapely.get_coordinates(shapely.segmentize(one.geometry, 0.5)) - (X0 + 300, Y0 + 300)
        assert np.abs(np.hypot(*dense.T) - 50 - CAST).max() <= 0.1
        assert np.isnan(one.deep_bearing_deg)
        assert np.isnan(one.heading_deg)
        assert "deep all round" in one.reason
        # The structure lies on the inside of the round: to port when it runs counter-clockwise.
        counter = shapely.is_ccw(shapely.LinearRing(one.geometry))
        assert one.cast_side == ("port" if counter else "starboard")


def test_a_weed_bed_on_a_slope_is_worked_along_its_deep_edge_only():
    bed = shapely.Point(X0 + 300, Y0 + 300).buffer(40, quad_segs=32)
    lake = surface(lambda x, y: y / 25.0)
    (told,) = hold_lines(frame(bed), lake, rules=RULES).lines.itertuples()
    dense = shapely.get_coordinates(shapely.segmentize(told.geometry, 1.0)) - (X0 + 300, Y0 + 300)
    assert np.abs(np.hypot(*dense.T) - 40 - CAST).max() <= 0.1
    # The fall one cast off is 0.85 m straight down the slope and passes the depth error up to 80 degrees off it.
    off = np.degrees(np.arctan2(dense[:, 0], dense[:, 1]))
    assert np.abs(off).max() < 95
    assert off.min() < -70
    assert off.max() > 70
    assert abs((told.deep_bearing_deg + 180) % 360 - 180) < 4.0


# Cuts -----------------------------------------------------------------------------------------------------
def test_an_island_on_the_deep_side_cuts_the_line_in_two_numbered_pieces():
    island = (325.0, 250.0)
    lake = surface(lambda x, y: np.where(np.hypot(x - island[0], y - island[1]) < 14, -1.0, ledge(x, y)))
    told = hold_lines(frame(NORTH), lake, rules=RULES).lines
    assert list(told.line_no) == [1, 2]
    assert told.geometry[0].bounds[3] < Y0 + 250 - 14 < Y0 + 250 + 14 < told.geometry[1].bounds[1]
    assert told.starts[0] == told.ends[1] == "end of the structure"
    assert "shallower" in told.ends[0] or "thin" in told.ends[0]
    tall = frame(NORTH, height_m=[7.0])  # so that three metres over the island are deeper than its top
    assert len(hold_lines(tall, lake, rules=RULES, level_m=4.0).lines) == 1


def test_land_between_boat_and_structure_cuts_the_line():
    lake = surface(lambda x, y: np.where((np.abs(x - 310) < 4) & (np.abs(y - 260) < 30), -2.0, ledge(x, y)))
    told = hold_lines(frame(NORTH), lake, rules=RULES).lines
    assert len(told) == 2
    assert "line of cast" in told.ends[0]
    assert told.geometry[0].bounds[3] <= Y0 + 233
    assert told.geometry[1].bounds[1] >= Y0 + 286


def test_the_line_breaks_where_the_water_gets_thin_and_says_so():
    lake = surface(lambda x, y: np.where(np.abs(y - 280) < 25, 1.05, 1.6) + np.where(x > 300, 0.1, -0.4))
    told = hold_lines(frame(NORTH), lake, rules=RULES).lines
    assert len(told) == 2
    for one in told.itertuples():
        assert one.least_depth_m >= NEED + lake.error_m
    assert "too thin" in told.ends[0]
    assert "too thin" in told.starts[1]


def test_a_hazard_and_another_structure_cut_the_line():
    both = frame(NORTH, shapely.Point(X0 + 322, Y0 + 340))
    stump = shapely.Point(X0 + 318, Y0 + 220)
    around = Surroundings(
        both.geometry.to_numpy(), np.array([8.0, 8.0]), np.array([stump], dtype=object), np.array([4.0])
    )
    told = hold_lines(both, surface(ledge), rules=RULES, surroundings=around)
    assert len(told.lines) == 3
    assert list(told.lines.ends[:2]) == ["a hazard is too near", "another structure is too near"]
    every = shapely.union_all(told.lines.geometry.to_numpy())
    assert shapely.distance(every, stump) > 4.0 + RULES.drift_m
    assert shapely.distance(every, both.geometry[1]) >= 8.0
    assert list(told.left_out.spot_id) == ["s1"]


def test_where_the_deep_side_changes_another_line_begins_on_the_other_side():
    lake = surface(lambda x, y: 8.0 + np.tanh((x - 300) / 10.0) * np.where(y < 280, 3.0, -3.0))
    told = hold_lines(frame(line((300, 100), (300, 460))), lake, rules=RULES).lines
    assert len(told) == 2
    assert told.ends[0] == told.starts[1] == "the deep side is the other one"
    west, _, east, _ = told.total_bounds
    assert (west, east) == pytest.approx((X0 + 300 - CAST, X0 + 300 + CAST), abs=0.2)
    assert list(told.cast_side) == ["port", "starboard"]
    assert told.geometry[0].bounds[3] == pytest.approx(Y0 + 280, abs=CAST)


# Wind -----------------------------------------------------------------------------------------------------
@pytest.mark.parametrize(
    ("wind", "heading"), [(0, 0), (45, 0), (180, 180), (200, 180), (320, 0), (90, 0), (None, 0)]
)
def test_the_boat_runs_with_its_bow_into_the_wind(wind, heading):
    rules = plain_rules(cast_m=CAST, wind_from_deg=wind)
    (told,) = hold_lines(frame(NORTH), surface(ledge), rules=rules).lines.itertuples()
    assert told.heading_deg == pytest.approx(heading, abs=0.01)
    assert told.cast_side == ("port" if heading == 0 else "starboard")
    if wind is None:
        assert np.isnan(told.wind_angle_deg)
        assert "no wind given" in told.reason
    else:
        assert told.wind_angle_deg == pytest.approx(abs((heading - wind + 180) % 360 - 180))
        assert told.wind_angle_deg <= 90
        assert ("into the wind" in told.reason) == (wind != 90)


def test_pieces_are_numbered_in_the_direction_of_travel():
    lake = surface(lambda x, y: np.where(np.hypot(x - 325, y - 250) < 14, -1.0, ledge(x, y)))
    told = hold_lines(frame(NORTH), lake, rules=plain_rules(cast_m=CAST, wind_from_deg=180)).lines
    assert list(told.line_no) == [1, 2]
    assert told.geometry[0].bounds[1] > told.geometry[1].bounds[3]
    assert list(told.heading_deg) == pytest.approx([180.0, 180.0], abs=0.01)


@pytest.mark.parametrize(("wind", "side"), [(90.0, -1), (270.0, 1)])
def test_on_level_ground_the_wind_sets_the_boat_off_the_structure(wind, side):
    rules = plain_rules(cast_m=15.0, wind_from_deg=wind)
    (told,) = hold_lines(frame(NORTH), surface(lambda x, y: 6.0), rules=rules).lines.itertuples()
    assert told.geometry.centroid.x == pytest.approx(X0 + 300 + side * 15.0, abs=0.1)
    assert "level ground, no deep side" in told.reason
    assert np.isnan(told.deep_bearing_deg)


def test_a_line_whose_casts_go_against_the_wind_lies_within_the_casts_that_carry():
    rules = plain_rules(cast_m=26.0, most_cast_m=27.4, wind_from_deg=270.0, upwind_factor=0.7)
    (told,) = hold_lines(frame(NORTH), surface(ledge), rules=rules).lines.itertuples()
    longest = 0.7 * 27.4  # from the deep side, to the east, a cast goes straight upwind
    assert longest - 1.0 < told.cast_m <= longest
    lee = plain_rules(cast_m=26.0, most_cast_m=27.4, wind_from_deg=90.0)
    assert hold_lines(frame(NORTH), surface(ledge), rules=lee).lines.cast_m[0] == pytest.approx(26.0, abs=0.1)


# Drawn down, edges, nothing to draw ----------------------------------------------------------------------------
def test_a_bank_that_lies_dry_is_cast_to_at_the_waters_edge():
    lake = surface(lambda x, y: (x - 300) * 0.35)
    told = hold_lines(frame(NORTH), lake, rules=RULES, level_m=-2.0).lines
    assert len(told) == 1
    edge = 2.0 / 0.35  # metres off the bank at which the water begins
    assert told.cast_m[0] == pytest.approx(CAST - edge, abs=0.6)
    bed = shapely.box(X0 + 270, Y0 + 150, X0 + 300, Y0 + 400)
    assert "line of cast" in hold_lines(frame(bed), lake, rules=RULES, level_m=-2.0).left_out.reason[0]


def test_a_drawdown_moves_the_line_off_water_that_has_become_thin():
    lake = surface(lambda x, y: np.where(x < 300, 1.0, np.where(y < 280, 1.8, 6.0)))
    full = hold_lines(frame(NORTH), lake, rules=RULES).lines
    down = hold_lines(frame(NORTH), lake, rules=RULES, level_m=-4 * 0.3048)
    assert full.length_m.sum() == pytest.approx(250.0, abs=1.0)
    assert down.lines.total_bounds[1] > Y0 + 280
    assert down.lines.least_depth_m.min() >= NEED + lake.error_m


def test_the_edge_of_the_data_ends_a_line():
    def depth(x, y):
        return np.where(y > 300, np.nan, ledge(x, y))

    told = hold_lines(frame(NORTH), surface(depth), rules=RULES).lines
    assert len(told) == 1
    assert told.geometry[0].bounds[3] <= Y0 + 300 - RULES.drift_m
    outside = hold_lines(frame(line((5000, 0), (5000, 200))), surface(ledge), rules=RULES)
    assert outside.lines.empty
    assert "no depth is known" in outside.left_out.reason[0]


@pytest.mark.parametrize(
    ("geometry", "words"),
    [
        (shapely.Point(X0 + 300, Y0 + 300), "a point has no line"),
        (shapely.MultiPoint([(X0 + 300, Y0 + 300), (X0 + 310, Y0 + 300)]), "a point has no line"),
        (line((300, 300), (300, 308)), "is the least wanted"),
    ],
)
def test_what_has_no_line_is_left_out_with_the_reason(geometry, words):
    told = hold_lines(frame(geometry), surface(ledge), rules=RULES)
    assert told.lines.empty
    assert list(told.lines.columns) == [*COLUMNS, "geometry"]
    assert words in told.left_out.reason[0]


def test_water_too_thin_all_along_is_told_with_what_is_needed():
    told = hold_lines(frame(NORTH), surface(lambda x, y: np.where(x < 300, 0.3, 0.9)), rules=RULES)
    assert told.lines.empty
    assert told.left_out.reason[0].startswith("too thin: 0.9 m (3.0 ft) is the deepest a cast off and 1.2 m")


def test_every_structure_has_a_line_or_a_reason():
    rng = np.random.default_rng(3)
    shapes = [line(*rng.uniform(-50, 650, (4, 2))) for _ in range(40)]
    shapes += [
        shapely.Point(X0 + x, Y0 + y).buffer(r) for x, y, r in rng.uniform(5, 600, (10, 3)) / (1, 1, 8)
    ]
    lake = surface(lambda x, y: 4.0 + 4.0 * np.sin(x / 60.0) * np.cos(y / 45.0))
    told = hold_lines(frame(*shapes), lake, rules=RULES)
    named = set(told.lines.spot_id) | set(told.left_out.spot_id)
    assert named == {f"s{n}" for n in range(50)}
    assert not set(told.lines.spot_id) & set(told.left_out.spot_id)
    assert (told.left_out.reason != "").all()


@pytest.mark.parametrize(
    "geometry",
    [
        shapely.MultiLineString([NORTH, line((300, 420), (300, 520))]),
        shapely.MultiPolygon([shapely.box(X0 + 280, Y0 + 150, X0 + 300, Y0 + 250), shapely.box(X0 + 280, Y0 + 330, X0 + 300, Y0 + 430)]),
        line((300, 150), (340, 300), (260, 300), (300, 150), (300, 400)),  # crosses itself
        line((300, 150), (300, 400), (300, 150)),  # there and back
        line((300, 150), (300, 150), (300, 400), (300, 400)),  # repeated corners
        shapely.LineString([(X0 + 300, Y0 + 150), (X0 + 300, Y0 + 400)]).segmentize(0.05),
        shapely.Polygon(shapely.Point(X0 + 250, Y0 + 300).buffer(60).exterior, [shapely.Point(X0 + 250, Y0 + 300).buffer(40).exterior]),
    ],
    ids=["lines", "polygons", "self-crossing", "there and back", "repeated", "5,001 corners", "hole"],
)  # fmt: skip
def test_odd_geometry_gives_lines_that_keep_the_rules(geometry):
    told = hold_lines(frame(geometry), surface(ledge), rules=RULES)
    assert len(told.lines) + len(told.left_out) >= 1
    recheck(told.lines, frame(geometry), surface(ledge), RULES)


def test_lake_without_structures():
    told = hold_lines(frame(), surface(ledge), rules=RULES)
    assert told.lines.empty
    assert told.left_out.empty
    assert list(told.lines.columns) == [*COLUMNS, "geometry"]


@pytest.mark.parametrize(
    ("call", "error"),
    [
        ({"level_m": np.nan}, UsageError),
        ({"level_m": np.inf}, UsageError),
        ({"follow_m": 0.0}, UsageError),
        ({"follow_m": np.nan}, UsageError),
        ({"follow_m": -3.0}, UsageError),
    ],
)
def test_numbers_that_mean_nothing_are_refused(call, error):
    with pytest.raises(error):
        hold_lines(frame(NORTH), surface(ledge), rules=RULES, **call)


def test_layers_that_do_not_fit_are_refused():
    with pytest.raises(CrsError):
        hold_lines(frame(NORTH).to_crs(32616), surface(ledge))
    with pytest.raises(DataError):
        hold_lines(frame(NORTH, None), surface(ledge))
    with pytest.raises(DataError, match="height_m is -1"):
        command(frame(NORTH, height_m=[-1.0]), surface(ledge))
    with pytest.raises(UsageError, match="each must be no longer"):
        command(frame(NORTH), surface(ledge), least_cast_m=30.0)


# Laws -----------------------------------------------------------------------------------------------------
def wavy(x, y):
    return (
        7.0
        + 2.0 * np.tanh((x - 300 - 20 * np.sin(y / 60.0)) / 8.0)
        + 0.4 * np.sin(x / 13.0) * np.cos(y / 17.0)
    )


WAVE = line(*[(300 + 20 * np.sin(y / 60.0), y) for y in np.arange(120, 480, 6.0)])


def test_moving_the_lake_moves_the_lines_and_nothing_else():
    here = hold_lines(frame(WAVE), surface(wavy), rules=RULES).lines
    east, north = 123_456.0, 4_321_000.0
    there = hold_lines(
        frame(shapely.affinity.translate(WAVE, east, north)),
        surface(wavy, x0=X0 + east, y0=Y0 + north),
        rules=RULES,
    ).lines
    assert len(here) == len(there) >= 1
    back = shapely.transform(there.geometry.to_numpy(), lambda xy: xy - (east, north))
    assert shapely.hausdorff_distance(here.geometry.to_numpy(), back).max() < 1e-3
    assert np.allclose(here.least_depth_m, there.least_depth_m, atol=1e-3)
    # Headings are true, and the grid of the other place is turned more.
    turn = grid_north_deg(CRS, X0 + east, Y0 + north)[0] - grid_north_deg(CRS, X0, Y0)[0]
    assert abs(turn) > 1.0
    own, other = (
        np.array(
            [part.split(" deg ") for text in lines.headings for part in text.removesuffix(" m").split(" m, ")]
        )
        for lines in (here, there)
    )
    off = other[:, 0].astype(float) - own[:, 0].astype(float) - turn
    assert np.abs((off + 180.0) % 360.0 - 180.0).max() <= 1.0
    assert own[:, 1].tolist() == other[:, 1].tolist()


@pytest.mark.parametrize("turns", [1, 2, 3])
def test_turning_the_lake_turns_the_lines(turns):
    lake = surface(wavy)
    turned = DepthSurface(np.rot90(lake.depth_m, turns), lake.west_m, lake.north_m, 4.0, 4.0, CRS, 0.15)
    middle = (X0 + 300, Y0 + 300)
    other = shapely.affinity.rotate(WAVE, 90 * turns, origin=middle)
    here = hold_lines(frame(WAVE), lake, rules=RULES).lines
    there = hold_lines(frame(other), turned, rules=RULES).lines
    assert len(here) == len(there) >= 1
    back = [shapely.affinity.rotate(one, -90 * turns, origin=middle) for one in there.geometry]
    assert shapely.hausdorff_distance(here.geometry.to_numpy(), np.array(back)).max() < 0.05
    gone = (here.deep_bearing_deg - 90 * turns - there.deep_bearing_deg + 180) % 360 - 180
    assert np.abs(gone).max() < 0.2


def test_the_order_of_rows_plays_no_part():
    shapes = [WAVE, NORTH, line((200, 200), (380, 420))]
    lake = surface(wavy)
    there = hold_lines(frame(*shapes), lake, rules=RULES).lines
    turned = hold_lines(frame(*shapes).iloc[::-1].reset_index(drop=True), lake, rules=RULES).lines
    for one in ("s0", "s1", "s2"):
        left, right = there[there.spot_id == one], turned[turned.spot_id == one]
        assert shapely.equals_exact(left.geometry.to_numpy(), right.geometry.to_numpy(), 1e-9).all()


def test_more_draft_or_less_water_never_lengthens_the_lines():
    lake = surface(lambda x, y: 0.55 * wavy(x, y) - 3.0)
    lengths = [
        hold_lines(
            frame(WAVE), lake, rules=plain_rules(draft_m=draft), least_length_m=0.0
        ).lines.length_m.sum()
        for draft in (0.2, 0.6, 1.0, 1.6)
    ]
    assert lengths == sorted(lengths, reverse=True)
    assert lengths[0] > lengths[-1]


@pytest.mark.parametrize("width", [2.0, 5.0])
def test_smoothing_leaves_straight_lines_and_wide_bends_in_place(width):
    straight = line((0, 0), (300, 120))
    assert shapely.hausdorff_distance(smooth_line(straight, width), straight, densify=0.01) < 1e-6
    radius = 60.0
    ring = shapely.Point(X0, Y0).buffer(radius, quad_segs=400).exterior
    smooth = shapely.get_coordinates(smooth_line(ring, width)) - (X0, Y0)
    # worked: a mode of n waves passes the kernel 2G - G*G with 1 - (1 - exp(-(n width / radius)**2 / 2))**2.
    expected = radius * (1 - (1 - np.exp(-((width / radius) ** 2) / 2)) ** 2)
    assert np.abs(np.hypot(*smooth.T) - expected).max() < 0.02


# A recheck by other means ---------------------------------------------------------------------------------------
def recheck(lines, structures, lake, rules, level_m=0.0):
    """Every half metre of every line against every rule, with another interpolator and no code of the toolbox."""
    # Cell centres, and the outermost values repeated to the edge of the grid.
    z = np.pad(lake.depth_m.astype(float), 1, mode="edge")
    west, south, east, north = lake.bounds
    ys, xs = np.r_[north, lake.ys, south][::-1], np.r_[west, lake.xs, east]
    read = RegularGridInterpolator((ys, xs), z[::-1], bounds_error=False, fill_value=np.nan)
    depth = lambda x, y: read(np.stack([y, x], axis=-1)) + level_m  # noqa: E731
    need = rules.draft_m + rules.margin_m + lake.error_m
    shape = dict(zip(structures["spot_id"], structures.geometry, strict=True))
    angle = np.radians(np.arange(0, 360, 10))
    for one in lines.itertuples():
        at = shapely.get_coordinates(shapely.segmentize(one.geometry, 0.5))
        assert (depth(*at.T) >= need - 1e-5).all()
        for share in (0.5, 0.99):
            rim = at[:, None] + share * rules.drift_m * np.column_stack([np.sin(angle), np.cos(angle)])
            assert (depth(rim[..., 0], rim[..., 1]) >= need - 1e-5).all()
        near = shapely.get_coordinates(shapely.shortest_line(shapely.points(at), shape[one.spot_id]))
        aims = near.reshape(-1, 2, 2)[:, 1]
        share = np.linspace(0.0, 1.0, 120)
        along = aims[:, None] + share[:, None] * (at - aims)[:, None]
        wet = depth(along[..., 0], along[..., 1]) > 0
        cast = np.hypot(*(at - aims).T)
        if "Line" in shape[one.spot_id].geom_type:
            # A line that lies dry is cast to at the water's edge: the way from there is wet, and the cast that long.
            dry = np.where(wet[:, 0], 0.0, share[wet.argmax(axis=1)])
            wet |= share < dry[:, None]
            cast *= 1 - dry
        assert wet.all()
        grain = 0.5 + cast.max() / 119  # of the search for the edge, there and here
        assert (
            cast >= rules.least_cast_m - np.where(wet_from_edge(shape[one.spot_id], aims, depth), 1e-6, grain)
        ).all()
        assert (cast <= rules.most_cast_m + 1e-6).all()


def wet_from_edge(structure, aims, depth):
    """Whether each cast goes to the structure itself, and not to a water's edge whose place is known to half a metre."""
    return (structure.geom_type == "Polygon") | (depth(*aims.T) > 0)


@pytest.mark.parametrize("level", [0.0, -1.2192])
@pytest.mark.parametrize("follow", [None, 4.0])
def test_no_half_metre_of_any_line_breaks_a_rule(level, follow):
    rng = np.random.default_rng(11)

    def rough(x, y):
        waves = sum(
            np.sin((x * np.cos(a) + y * np.sin(a)) / w + p)
            for a, w, p in zip(
                rng.uniform(0, 6.28, 12), rng.uniform(9, 45, 12), rng.uniform(0, 6.28, 12), strict=True
            )
        )
        return 3.5 + 1.1 * waves

    lake = surface(rough, cells=200)
    shapes = []
    for _ in range(50):
        x, y, turn = rng.uniform(60, 740), rng.uniform(60, 740), rng.uniform(0, 6.28)
        s = np.linspace(0, 120, 13)
        course = turn + np.cumsum(rng.normal(0, 0.12, 13))
        shapes.append(
            line(
                *np.column_stack([x + np.cumsum(np.sin(course)) * 10, y + np.cumsum(np.cos(course)) * 10])
                + 0 * s[:, None]
            )
        )
    shapes += [
        shapely.Point(X0 + x, Y0 + y).buffer(r) for x, y, r in rng.uniform(60, 700, (15, 3)) / (1, 1, 18)
    ]
    structures = frame(*shapes)
    told = hold_lines(structures, lake, rules=RULES, level_m=level, follow_m=follow).lines
    assert told.length_m.sum() > (500 if follow is None else 150)
    assert told.spot_id.nunique() >= 10
    recheck(told, structures, lake, RULES, level)


def test_the_command_keeps_the_contract_of_the_toolbox(lake):
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        result = check_algorithm(
            command,
            lake.spots,
            lake.depth,
            level_m=-0.3048,
            known_hazards=lake.known_hazards,
            zones=lake.zones,
        )
    assert set(result.hold_lines.spot_id) == {"ledge"}
    assert set(result.left_out.spot_id) == {"hump", "west", "south", "island"}


def test_the_command_keeps_off_closed_zones_hazards_and_other_spots(lake):
    spots = lake.spots[lake.spots.spot_id == "ledge"].reset_index(drop=True)
    bare = command(spots, lake.depth).hold_lines
    at = bare.geometry[0].centroid
    closed = lake.zones.iloc[:1].assign(zone="no_motor").set_geometry([at.buffer(10)], crs=spots.crs)
    rock = lake.known_hazards.set_geometry([at], crs=spots.crs)
    for call in ({"zones": closed}, {"known_hazards": rock}):
        told = command(spots, lake.depth, least_length_m=5.0, **call).hold_lines
        assert len(told) == 2
        assert "a hazard is too near" in told.ends[0]
    deep = rock.assign(top_depth_m=6.0)
    assert len(command(spots, lake.depth, known_hazards=deep).hold_lines) == 1


def test_lines_lie_only_where_safe_water_leads(lake):
    spots = lake.spots[lake.spots.spot_id == "ledge"].reset_index(drop=True)
    bare = command(spots, lake.depth).hold_lines.geometry[0]
    water = gpd.GeoDataFrame({"water_id": ["w"]}, geometry=[bare.buffer(60.0)], crs=spots.crs)
    assert len(command(spots, lake.depth, water=water).hold_lines) == 1
    at = bare.interpolate(0.5, normalized=True)
    split = shapely.difference(bare.buffer(130.0), shapely.box(at.x - 2, at.y - 200, at.x + 2, at.y + 200))
    parts = gpd.GeoDataFrame({"water_id": ["a", "b"]}, geometry=list(split.geoms), crs=spots.crs)
    told = command(
        spots, lake.depth, water=parts, beam_m=0.0, fix_error_m=0.0, idle_clearance_m=5.0
    ).hold_lines
    assert list(told.ends) == ["no safe water leads there from a ramp", "end of the structure"]
    west = shapely.Point(split.bounds[0] + 6.0, at.y)  # farther off the other part than a launch may be
    ramp = lake.ramps.iloc[:1].set_geometry([west], crs=spots.crs)
    one = command(
        spots, lake.depth, water=parts, ramps=ramp, beam_m=0.0, fix_error_m=0.0, idle_clearance_m=5.0
    ).hold_lines
    assert len(one) == 1
    assert one.total_bounds[2] < at.x
    with pytest.raises(UsageError, match="no water to reach the lines by"):
        command(spots, lake.depth, ramps=lake.ramps)


def test_tall_cover_in_the_line_of_cast_cuts_the_line():
    timber = shapely.box(X0 + 308, Y0 + 260, X0 + 312, Y0 + 290)
    both = frame(NORTH, timber, kind=["ledge", "standing_timber"], height_m=[0.0, np.nan])
    told = command(both, surface(ledge), cast_m=CAST, footprint_m=0.0, spot_error_m=0.0, fix_error_m=0.0)
    mine = told.hold_lines[told.hold_lines.spot_id == "s0"]
    assert len(mine) == 2
    assert "tall cover lies in the line of cast" in mine.ends.iloc[0]
    # Casts go straight across, so that the line breaks where the timber begins and goes on where it ends.
    assert mine.geometry.iloc[0].bounds[3] == pytest.approx(Y0 + 260, abs=3.1)
    assert mine.geometry.iloc[1].bounds[1] == pytest.approx(Y0 + 290, abs=3.1)


def test_errors_of_level_and_depth_are_joined_by_the_root_of_the_sum_of_squares():
    lake = surface(lambda x, y: np.where(x < 300, 0.8, 1.40), error_m=0.15)
    need = lambda level_error: NEED + np.hypot(0.15, level_error)  # noqa: E731
    assert need(0.2) < 1.40 < need(0.4)
    told = [
        command(frame(NORTH), lake, draft_m=0.6, margin_m=0.45, level_error_m=error) for error in (0.2, 0.4)
    ]
    assert [len(one.hold_lines) for one in told] == [1, 0]


def test_a_hooked_ledge_shorter_than_a_cast_has_a_line():
    hook = line((300, 200), (284, 185), (290, 185.5))
    told = hold_lines(frame(hook), surface(lambda x, y: 8.0 + 0.1 * (y - 200)), rules=RULES)
    assert len(told.lines) == 1
    recheck(told.lines, frame(hook), surface(lambda x, y: 8.0 + 0.1 * (y - 200)), RULES)


def test_round_a_flat_of_which_one_edge_is_shallow_the_rest_counts_as_level():
    bed = shapely.Point(X0 + 300, Y0 + 300).buffer(40)
    lake = surface(lambda x, y: 6.0 - 0.03 * np.maximum(x - 345, 0.0), error_m=0.15)
    told = hold_lines(frame(bed), lake, rules=RULES).lines
    assert len(told) == 1
    assert told.length_m[0] > 0.6 * 2 * np.pi * (40 + CAST)
    assert "level ground, no deep side" in told.reason[0]
    east = np.degrees(np.arctan2(*(shapely.get_coordinates(told.geometry[0]) - (X0 + 300, Y0 + 300)).T))
    assert np.abs(east - 90).min() > 20


def test_a_structure_in_a_hollow_has_no_deep_side_round_it():
    bowl = surface(lambda x, y: 10.0 - 0.05 * np.hypot(x - 300, y - 300))
    told = hold_lines(frame(shapely.Point(X0 + 300, Y0 + 300).buffer(40)), bowl, rules=RULES)
    assert "in a hollow" in told.left_out.reason[0]


@pytest.mark.parametrize("cell", [1.0, 2.0, 5.0, 10.0])
def test_a_rough_bottom_on_a_slope_of_two_in_a_hundred_leads_to_the_same_line(cell):
    rng = np.random.default_rng(int(cell))
    for _ in range(8):
        towards = rng.uniform(0, 2 * np.pi)
        east, north = np.sin(towards), np.cos(towards)
        cells = int(500 / cell)
        rough = rng.standard_normal((cells, cells)) * 0.1
        x, y = np.meshgrid((np.arange(cells) + 0.5) * cell, (cells - np.arange(cells) - 0.5) * cell)
        depth = 10 + 0.02 * ((x - 250) * east + (y - 250) * north) + rough
        lake = DepthSurface(depth.astype("f4"), X0, Y0 + 500, cell, cell, CRS, 0.15)
        contour = line(*[(250 + t * north, 250 - t * east) for t in (-100, 100)])
        (told,) = hold_lines(frame(contour), lake, rules=RULES).lines.itertuples()
        ideal = shapely.affinity.translate(contour, CAST * east, CAST * north)
        assert shapely.hausdorff_distance(told.geometry, ideal) <= 0.1


def test_a_spike_narrower_than_the_marks_are_apart_still_cuts_the_line():
    rows = np.arange(160.5, 396.0, 23.7)

    def depth(x, y):
        spike = np.zeros_like(x, dtype=bool)
        for one in rows:
            spike |= (np.abs(x - 310.5) < 0.1) & (
                np.abs(y - np.floor(one) - 0.5) < 0.1
            )  # one cell of a metre
        return np.where(spike, -3.0, ledge(x, y))

    lake = surface(depth, cell=1.0, cells=600)
    told = hold_lines(frame(NORTH), lake, rules=RULES, least_length_m=5.0).lines
    assert len(told) == len(rows) + 1
    for one in rows:
        across = line((290, np.floor(one) + 0.5), (340, np.floor(one) + 0.5))
        assert not shapely.intersects(told.geometry.to_numpy(), across).any()
    assert set(told.ends[:-1]) == {"land, dry ground or tall cover lies in the line of cast"}


def test_an_isobath_is_left_where_it_runs_out_of_a_cast():
    lake = surface(lambda x, y: 6.0 + 0.05 * (y - 215 - 0.15 * (x - 150)))
    told = hold_lines(frame(line((150, 200), (400, 200))), lake, rules=RULES, follow_m=6.0).lines
    assert len(told) == 1
    assert told.ends[0] == "the structure is out of a cast"
    end = np.array(told.geometry[0].coords[-1]) - (X0, Y0)
    assert RULES.most_cast_m - 0.6 < end[1] - 200 <= RULES.most_cast_m
    windy = plain_rules(cast_m=CAST, wind_from_deg=180.0)  # casts from the isobath go straight upwind
    told = hold_lines(frame(line((150, 200), (400, 200))), lake, rules=windy, follow_m=6.0).lines
    assert told.ends[0] == "a cast that long falls short against the wind"
    end = np.array(told.geometry[0].coords[-1]) - (X0, Y0)
    assert end[1] - 200 <= 0.7 * RULES.most_cast_m + 1e-6


def test_no_boat_sits_over_ground_that_is_higher_than_the_structure():
    trench = surface(lambda x, y: np.where(np.abs(x - 300) < 9, 8.0, 5.0))
    told = hold_lines(frame(NORTH), trench, rules=RULES)
    assert "shallower than the structure" in told.left_out.reason[0]
    tall = frame(NORTH, height_m=[4.0])
    assert len(hold_lines(tall, trench, rules=RULES).lines) == 1
    charted = frame(NORTH, depth_m=[4.0])
    assert len(hold_lines(charted, trench, rules=RULES).lines) == 1


def test_in_a_hairpin_the_water_beyond_the_other_leg_is_not_taken_for_a_side():
    def depth(x, y):  # a spit of three metres between two ledges, deep water all round
        return np.where((np.abs(x - 300) < 10) & (y < 400), 3.0, 8.0)

    hairpin = line((290, 150), (290, 395), (300, 400), (310, 395), (310, 150))
    told = hold_lines(frame(hairpin), surface(depth, cell=2.0, cells=300), rules=RULES).lines
    assert len(told) == 1
    assert told.length_m[0] > 480
    dense = shapely.get_coordinates(shapely.segmentize(told.geometry[0], 1.0)) - (X0, Y0)
    assert ((np.abs(dense[:, 0] - 300) > 25) | (dense[:, 1] > 400)).all()


@pytest.mark.parametrize(("wind", "east"), [(270.0, -1), (90.0, 1)])
def test_the_edge_of_a_weed_bed_is_run_into_the_wind_as_well(wind, east):
    bed = shapely.Point(X0 + 300, Y0 + 300).buffer(40, quad_segs=32)
    rules = plain_rules(cast_m=15.0, wind_from_deg=wind)
    (told,) = hold_lines(frame(bed), surface(lambda x, y: y / 25.0), rules=rules).lines.itertuples()
    (x0, _), *_, (x1, _) = told.geometry.coords
    assert np.sign(x1 - x0) == east
    assert told.wind_angle_deg < 20
    assert told.cast_side == ("port" if east < 0 else "starboard")


def test_a_line_beside_a_bend_runs_from_square_off_one_end_to_square_off_the_other():
    bend = shapely.Point(X0 + 300, Y0 + 300).buffer(80, quad_segs=64).exterior
    arc = shapely.ops.substring(bend, 0.1, 0.3, normalized=True)
    lake = surface(lambda x, y: 8.0 + 0.04 * (np.hypot(x - 300, y - 300) - 80))
    (told,) = hold_lines(frame(arc), lake, rules=RULES).lines.itertuples()
    # Smoothing straightens the last metres of a bend, so that square off its ends is a metre or so off.
    assert told.length_m == pytest.approx(0.2 * 2 * np.pi * (80 + CAST), abs=2.0)


def test_water_beyond_the_other_leg_that_is_deeper_still_does_not_turn_the_side():
    def depth(x, y):
        return np.select([x < 290, x < 310], [8.0, 3.0], 14.0)

    hairpin = line((290, 150), (290, 395), (300, 400), (310, 395), (310, 150))
    told = hold_lines(frame(hairpin), surface(depth, cell=2.0, cells=300), rules=RULES).lines
    west = shapely.box(X0, Y0 + 170, X0 + 290, Y0 + 350)
    assert told.intersection(west).length.sum() == pytest.approx(180.0, abs=4.0)


def test_blocks_are_deep_only_where_all_water_in_the_box_is():
    rng = np.random.default_rng(12)
    for cell_x, cell_y, shape in ((1.0, 1.0, (61, 47)), (3.0, 5.0, (23, 31)), (12.0, 9.0, (9, 7))):
        depth = np.full(shape, 5.0)
        depth.flat[rng.choice(depth.size, 4, replace=False)] = [1.0, np.nan, 1.0, np.nan]
        depth[-1, -1] = 1.0  # in the last block, which is not a whole one
        lake = DepthSurface(depth, X0, Y0, cell_x, cell_y, CRS)
        west, south, east, north = lake.bounds
        x = np.sort(rng.uniform(west - 5, east + 5, (1500, 2)), axis=1)
        y = np.sort(rng.uniform(south - 5, north + 5, (1500, 2)), axis=1)
        x[:, 1], y[:, 1] = np.minimum(x[:, 1], x[:, 0] + 9), np.minimum(y[:, 1], y[:, 0] + 9)
        found = LeastBlocks(lake).deep(x[:, 0], y[:, 0], x[:, 1], y[:, 1], 4.0)
        share = np.linspace(0, 1, 41)
        for at in np.flatnonzero(found):
            grid = np.meshgrid(x[at, 0] + share * np.ptp(x[at]), y[at, 0] + share * np.ptp(y[at]))
            assert (lake.at(*grid) >= 4.0).all()
        assert found.any()
    calm = DepthSurface(np.full((61, 47), 5.0), X0, Y0, 1.0, 1.0, CRS)
    inside = np.array([X0 + 30.0]), np.array([Y0 - 59.0]), np.array([X0 + 46.0]), np.array([Y0 - 40.0])
    assert LeastBlocks(calm).deep(*inside, 5.0).all()
    assert not LeastBlocks(calm).deep(*inside, 5.1).any()
