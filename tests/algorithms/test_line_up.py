"""Line-ups: the error formulas against simulation, marks that land hides, the choice of sights, the bank behind the spot."""

import warnings
from importlib import resources

import geopandas as gpd
import numpy as np
import pyproj
import pytest
import shapely

from castshed.algorithms.line_up import line_up as command
from castshed.toolbox.errors import ContractError, DataError, UsageError
from castshed.toolbox.testing import check_algorithm
from castshed.toolbox.water.line_ups.sight_choice import SightShore, choose_sights, line_ups
from castshed.toolbox.water.line_ups.sights import (
    Eyes,
    bearing_error_m,
    crossing_deg,
    lines_error_m,
    sights_from,
    two_line_error_m,
)

CRS = pyproj.CRS.from_epsg(32615)
X0, Y0 = 500_000.0, 4_000_000.0
DRAWS = 60_000


def bearing(east, north):
    return np.arctan2(east, north)


def where_bearings_meet(first, second, at_first, at_second):
    """Meet two lines of sight: from marks, back along the bearings seen. Plain geometry, no small errors assumed."""
    u = np.column_stack([np.sin(at_first), np.cos(at_first)])
    v = np.column_stack([np.sin(at_second), np.cos(at_second)])
    gap = np.asarray(second) - np.asarray(first)
    share = (gap[0] * v[:, 1] - gap[1] * v[:, 0]) / (u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0])
    return np.asarray(first) + share[:, None] * u


# Error formulas ---------------------------------------------------------------------------------------------
@pytest.mark.parametrize("crossing", [30.0, 60.0, 90.0, 120.0])
@pytest.mark.parametrize("ranges", [(200.0, 200.0), (150.0, 700.0)])
def test_the_error_of_two_bearings_is_what_simulation_gives(crossing, ranges):
    """s sqrt(R1^2 + R2^2) / sin b (worked) against the scatter of simulated fixes about the boat at (0, 0)."""
    rng = np.random.default_rng(7)
    s = np.radians(0.5)
    turns = np.radians([20.0, 20.0 + crossing])
    marks = [far * np.array([np.sin(turn), np.cos(turn)]) for far, turn in zip(ranges, turns, strict=True)]
    seen = [turn + np.pi + rng.normal(0, s, DRAWS) for turn in turns]
    fixes = where_bearings_meet(*marks, *seen)
    scatter = np.sqrt((fixes**2).sum(axis=1).mean())
    formula = two_line_error_m(*(bearing_error_m(far, 0.5) for far in ranges), crossing)
    assert formula == pytest.approx(s * np.hypot(*ranges) / np.sin(np.radians(crossing)), rel=1e-12)
    assert scatter == pytest.approx(float(formula), rel=0.02)
    # With errors of 95 % (1.96 deviations) the radius holds 95 to 98 of 100 fixes.
    inside = (np.hypot(*fixes.T) <= 1.96 * formula).mean()
    assert 0.945 <= inside <= 0.985


def test_the_crossing_of_lines_knows_no_direction():
    assert crossing_deg(10.0, 130.0) == pytest.approx(60.0)
    assert crossing_deg(350.0, 50.0) == pytest.approx(60.0)
    assert crossing_deg(0.0, 180.0) == pytest.approx(0.0)
    assert crossing_deg(5.0, 275.0) == pytest.approx(90.0)


def test_lines_that_do_not_cross_fix_nothing():
    assert np.isinf(two_line_error_m(5.0, 5.0, 0.0))
    assert np.isinf(lines_error_m(np.array([30.0, 210.0]), np.array([5.0, 1.0]))[0])


@pytest.mark.parametrize(("first", "second"), [(0.0, 90.0), (20.0, 100.0), (300.0, 10.0)])
def test_least_squares_of_two_lines_is_the_formula(first, second):
    error, _ = lines_error_m(np.array([first, second]), np.array([4.0, 9.0]))
    assert error == pytest.approx(float(two_line_error_m(4.0, 9.0, crossing_deg(first, second))))


def test_the_worst_bearing_lies_along_the_sharper_line():
    error, worst = lines_error_m(np.array([40.0, 130.0]), np.array([1.0, 10.0]))
    assert worst == pytest.approx(40.0, abs=1e-6)
    assert error == pytest.approx(np.hypot(1.0, 10.0))


def test_a_third_line_never_makes_a_fix_worse():
    rng = np.random.default_rng(1)
    for _ in range(200):
        lines, errors = rng.uniform(0, 360, 3), rng.uniform(1, 30, 3)
        two, three = lines_error_m(lines[:2], errors[:2])[0], lines_error_m(lines, errors)[0]
        assert three <= two * (1 + 1e-9)


@pytest.mark.parametrize("gap_deg", [0.0, 1.5, -3.0])
def test_the_error_of_a_range_is_what_simulation_gives(gap_deg):
    """Walk across the line of two marks until they stand as seen, for gaps seen with an error; how far is the walk?"""
    rng = np.random.default_rng(3)
    eyes = Eyes(in_line_error_deg=0.2, open_error_share=0.1, bearing_error_deg=1.0)
    front = 300.0 * np.array([np.sin(0.3), np.cos(0.3)])
    rear = 800.0 * np.array([np.sin(0.3 - np.radians(gap_deg)), np.cos(0.3 - np.radians(gap_deg))])
    marks = np.array([front, rear])
    sights = sights_from(marks[:, 0], marks[:, 1], np.zeros(2), np.array([0, 1]), eyes)
    at = int(np.flatnonzero(sights.rear >= 0)[0])
    assert sights.open_deg[at] == pytest.approx(gap_deg, abs=1e-9)
    assert (sights.front[at], sights.rear[at]) == (0, 1)
    s = np.radians(np.hypot(0.2, 0.1 * abs(gap_deg)))
    seen = np.radians(gap_deg) + rng.normal(0, s, DRAWS)
    turn = np.radians(sights.direction_deg[at])
    across = np.array([np.cos(turn), -np.sin(turn)])  # to the right of the line
    walk = np.linspace(-150, 150, 6001)
    place = walk[:, None] * across
    gaps = bearing(*(front - place).T) - bearing(*(rear - place).T)
    order = np.argsort(gaps)
    scatter = np.interp(seen, gaps[order], walk[order])
    assert np.sqrt((scatter**2).mean()) == pytest.approx(sights.error_m[at], rel=0.03)
    if gap_deg == 0.0:  # worked: s R1 R2 / (R2 - R1)
        assert sights.error_m[at] == pytest.approx(s * 300 * 800 / 500, rel=1e-9)
        assert sights.direction_deg[at] == pytest.approx(np.degrees(0.3), abs=1e-6)


def test_marks_that_are_off_themselves_widen_the_error():
    """A bearing on a mark that is 6 m off is off by 6 m; a range by what two simulated marks move its line."""
    rng = np.random.default_rng(9)
    eyes = Eyes(in_line_error_deg=1e-6, open_error_share=0.0, bearing_error_deg=1e-6)
    north = np.array([400.0, 1000.0])
    sights = sights_from(np.zeros(2), north, np.array([6.0, 8.0]), np.array([0, 1]), eyes)
    assert sights.error_m[:2] == pytest.approx([6.0, 8.0], abs=1e-3)
    front, rear = rng.normal(0, 6.0, DRAWS), rng.normal(0, 8.0, DRAWS)
    line = front - (rear - front) * 400 / 600  # where the line through both marks passes the boat
    assert sights.error_m[2] == pytest.approx(line.std(), rel=0.02)


# The choice of sights -----------------------------------------------------------------------------------------
def marks_at(*polar):
    turn, far = np.radians([p[0] for p in polar]), np.array([p[1] for p in polar])
    return far * np.sin(turn), far * np.cos(turn)


def lined_up(*polar, eyes=None, count=2, error_m=2.0):
    east, north = marks_at(*polar)
    rows = np.arange(len(polar))
    sights = sights_from(east, north, np.full(len(polar), error_m), rows, eyes or Eyes())
    return choose_sights(sights, len(polar), count)


def test_the_pair_with_the_least_error_is_chosen():
    rng = np.random.default_rng(2)
    for _ in range(40):
        polar = list(zip(rng.uniform(0, 360, 7), rng.uniform(60, 1500, 7), strict=True))
        found = lined_up(*polar, eyes=Eyes(most_open_deg=0.0))
        turn, far = np.array(polar).T
        errors = {
            (i, j): float(two_line_error_m(np.hypot(np.radians(2.0) * far[i], 2.0), np.hypot(np.radians(2.0) * far[j], 2.0), cross))
            for i in range(7)
            for j in range(i + 1, 7)
            if (cross := crossing_deg(turn[i], turn[j])) >= 60.0
        }  # fmt: skip
        if not errors:
            assert not found.good
            continue
        best = min(errors, key=errors.get)
        assert {int(one) for one in found.sights.front} == set(best)
        assert found.error_m == pytest.approx(errors[best], rel=1e-9)
        assert found.crossing_deg >= 60.0


def test_two_marks_in_line_are_preferred_to_a_bearing_of_either():
    found = lined_up((10, 200), (10, 900), (100, 300), (100, 1000))
    assert list(found.sights.rear >= 0) == [True, True]
    assert found.crossing_deg == pytest.approx(90.0, abs=1e-6)
    alone = lined_up((10, 200), (100, 300))
    assert (alone.sights.rear < 0).all()
    assert found.error_m < alone.error_m


def test_no_mark_serves_two_sights():
    rng = np.random.default_rng(8)
    for _ in range(30):
        polar = list(zip(rng.uniform(0, 360, 90), rng.uniform(50, 1500, 90), strict=True))
        found = lined_up(*polar, count=5)
        used = [*found.sights.front, *found.sights.rear[found.sights.rear >= 0]]
        assert len(used) == len(set(used))
        assert len(found.sights) == 5


def test_a_bearing_and_a_gap_of_the_same_mark_are_not_two_sights():
    # The gap of two marks side by side tells how far they are: it crosses their bearings squarely, and hangs on both.
    assert len(lined_up((0, 300), (3.5, 310)).sights) == 0
    assert lined_up((0, 300), (3.5, 310)).seen == 2


def test_narrow_crossings_are_weak_and_hopeless_ones_none():
    weak = lined_up((0, 300), (40, 300))
    assert not weak.good
    assert len(weak.sights) == 2
    assert weak.crossing_deg == pytest.approx(40.0)
    assert len(lined_up((0, 300), (8, 900)).sights) == 0
    assert len(lined_up((0, 300), (180, 900)).sights) == 0
    assert len(lined_up((0, 300)).sights) == 0
    assert lined_up().seen == 0


def test_marks_too_near_or_too_far_are_not_taken():
    eyes = Eyes(least_range_m=50.0, most_range_m=500.0)
    found = lined_up((0, 49.0), (90, 501.0), (20, 60.0), (110, 480.0), eyes=eyes)
    assert set(found.sights.front.tolist()) == {2, 3}


def test_marks_in_one_place_or_side_by_side_do_not_stop_the_choice():
    found = lined_up((0, 300), (0, 300), (1, 300), (90, 300), (90, 300))
    assert np.isfinite(found.error_m)
    assert found.good


@pytest.mark.parametrize("turn", [17.0, 90.0, 233.0])
def test_turning_and_moving_everything_changes_no_error(turn):
    rng = np.random.default_rng(6)
    polar = list(zip(rng.uniform(0, 360, 12), rng.uniform(50, 1500, 12), strict=True))
    here = lined_up(*polar, count=3)
    there = lined_up(*[(one + turn, far) for one, far in polar], count=3)
    assert there.error_m == pytest.approx(here.error_m, rel=1e-9)
    assert list(there.sights.front) == list(here.sights.front)
    gone = (there.sights.bearing_deg - here.sights.bearing_deg - turn + 180) % 360 - 180
    assert np.abs(gone).max() < 1e-6


# What land hides -----------------------------------------------------------------------------------------------
def bay():
    """A square lake of a kilometre with a square island of 100 m in its middle and a spit from the north shore."""
    lake = shapely.box(X0, Y0, X0 + 1000, Y0 + 1000)
    land = shapely.union(
        shapely.box(X0 + 450, Y0 + 450, X0 + 550, Y0 + 550),
        shapely.box(X0 + 200, Y0 + 700, X0 + 203, Y0 + 1000),
    )
    return shapely.difference(lake, land)  # fmt: skip


@pytest.mark.parametrize(
    ("boat", "mark", "hidden"),
    [
        ((500, 200), (500, 1010), True),  # the island lies between
        ((400, 200), (400, 1010), False),
        ((500, 200), (500, 450), False),  # a mark on the island's near edge
        ((500, 200), (500, 500), False),  # in its middle, 50 m from the water
        ((100, 850), (400, 850), False),  # over a spit of three metres: to its far water
        ((500, 900), (500, 1200), False),  # 200 m ashore, straight in
        ((500, 100), (1150, 130), False),  # 150 m ashore, a little on the slant
        ((990, 10), (1010, 700), True),  # along the shore: ten metres off the water, but behind 340 m of land
    ],
)
def test_land_hides_what_lies_behind_it(boat, mark, hidden):
    shore = SightShore(np.array([bay()], dtype=object))
    ends = [np.array([float(v)]) for v in (X0 + boat[0], Y0 + boat[1], X0 + mark[0], Y0 + mark[1])]
    assert shore.hidden(*ends)[0] == hidden


def test_crossings_of_the_shore_are_those_shapely_finds():
    rng = np.random.default_rng(4)
    blobs = [
        shapely.Point(X0 + x, Y0 + y).buffer(r) for x, y, r in rng.uniform(50, 950, (12, 3)) / (1, 1, 12)
    ]
    lake = shapely.difference(shapely.box(X0, Y0, X0 + 1000, Y0 + 1000), shapely.union_all(blobs))
    shore = SightShore(np.array([lake], dtype=object))
    x0, y0, x1, y1 = np.array([[X0], [Y0], [X0], [Y0]]) + rng.uniform(-100, 1100, (4, 300))
    row, share = shore.crossings(x0, y0, x1, y1)
    for one in range(300):
        way = shapely.LineString([(x0[one], y0[one]), (x1[one], y1[one])])
        expected = sorted(
            way.project(p) / way.length
            for p in shapely.get_parts(shapely.intersection(way, lake.boundary))
            if not p.is_empty
        )
        assert share[row == one] == pytest.approx(expected, abs=1e-9)


def test_tall_marks_are_seen_over_land_and_low_ones_not():
    shore = SightShore(np.array([bay()], dtype=object))
    x, y = np.array([X0 + 500.0]), np.array([Y0 + 200.0])
    mark_x, mark_y = X0 + np.array([500.0, 1010.0]), Y0 + np.array([1010.0, 200.0])

    def chosen(height):
        return line_ups(x, y, mark_x, mark_y, mark_error_m=np.zeros(2), mark_height_m=np.array([height, 5.0]), eyes=Eyes(), shore=shore)[0]  # fmt: skip

    assert chosen(40.0).seen == 2
    assert chosen(6.0).seen == 1
    assert chosen(np.nan).seen == 1


def test_from_a_place_off_the_water_land_is_not_looked_for_and_the_reason_says_so():
    (fix,) = command(holds((500, 500)), MARKS, water=WATER).fixes.itertuples()
    assert "land on the sight lines was not looked for" in fix.reason
    (afloat,) = command(holds((300, 300)), MARKS, water=WATER).fixes.itertuples()
    assert "not looked for" not in afloat.reason


@pytest.mark.parametrize(
    ("turn", "expected"), [(0.0, 250.0), (90.0, 500.0), (180.0, 200.0), (225.0, 200 * 2**0.5)]
)
def test_the_bank_behind_the_spot_is_where_the_bearing_leaves_the_water(turn, expected):
    shore = SightShore(np.array([bay()], dtype=object))
    found = shore.bank_m(np.array([X0 + 500.0]), np.array([Y0 + 200.0]), np.array([turn]), 3000.0)
    assert found[0] == pytest.approx(expected, abs=1e-6)


def test_a_bank_beyond_reach_or_a_boat_ashore_has_no_distance():
    shore = SightShore(np.array([bay()], dtype=object))
    x, y = X0 + np.array([500.0, 500.0, 500.0]), Y0 + np.array([200.0, 500.0, 200.0])
    found = shore.bank_m(x, y, np.array([90.0, 0.0, np.nan]), 400.0)
    assert np.isnan(found).all()


# The command -----------------------------------------------------------------------------------------------------
def holds(*places, status="ok", bearing_deg=0.0):
    count = len(places)
    return gpd.GeoDataFrame(
        {
            "spot_id": [f"s{n}" for n in range(count)],
            "hold_no": [1] * count,
            "status": [status] * count,
            "reason": ["made"] * count,
            "depth_today_m": [5.0] * count,
            "cast_m": [20.0] * count,
            "cast_bearing_deg": [bearing_deg] * count,
            "deep_bearing_deg": [180.0] * count,
            "wind_angle_deg": [np.nan] * count,
        },
        geometry=[shapely.Point(X0 + x, Y0 + y) for x, y in places],
        crs=CRS,
    )


def landmarks(*places, **columns):
    return gpd.GeoDataFrame(
        {"landmark_id": [f"m{n}" for n in range(len(places))], **columns},
        geometry=[shapely.Point(X0 + x, Y0 + y) for x, y in places],
        crs=CRS,
    )


MARKS = landmarks(
    (300, 1010), (300, 1300), (1010, 300), (1400, 300), (-10, 800),
    name=["Boathouse", "Tower", "White barn", "", "Oak"],
    kind=["", "", "", "silo", ""],
    height_m=[5.0, 40.0, 8.0, 20.0, 14.0],
    position_error_m=[2.0, 2.0, 2.0, np.nan, 2.0],
)  # fmt: skip
WATER = gpd.GeoDataFrame({"water_id": ["w"]}, geometry=[bay()], crs=CRS)


def test_a_hold_on_two_ranges_is_told_in_words():
    told = command(holds((300, 300)), MARKS, water=WATER)
    (fix,) = told.fixes.itertuples()
    assert fix.status == "ok"
    assert "Boathouse in line with Tower, towards 000 deg" in fix.words
    assert "White barn in line with silo m3, towards 090 deg" in fix.words
    assert "bank behind the spot bears 000 deg, 700 m (2297 ft) off, under Boathouse" in fix.words
    assert fix.crossing_deg == pytest.approx(90.0)
    assert (fix.bank_m, fix.bank_mark) == (pytest.approx(700.0), "Boathouse")
    # worked: s = 0.25 deg, marks 2 m off (the silo 5): e = sqrt(s^2 + (m1/R1)^2 + (m2/R2)^2) R1 R2 / (R2 - R1)
    s = np.radians(0.25)
    north = np.sqrt(s**2 + (2 / 710) ** 2 + (2 / 1000) ** 2) * 710 * 1000 / 290
    east = np.sqrt(s**2 + (2 / 710) ** 2 + (5 / 1100) ** 2) * 710 * 1100 / 390
    assert fix.error_m == pytest.approx(np.hypot(north, east), rel=1e-6)
    assert sorted(told.line_ups.error_m) == pytest.approx(sorted([north, east]), rel=1e-6)
    assert set(zip(told.line_ups.landmark_id, told.line_ups.behind_id, strict=True)) == {
        ("m0", "m1"),
        ("m2", "m3"),
    }
    for one in told.line_ups.itertuples():  # drawn from the hold to the farther mark
        (x, y), (mark_x, mark_y) = one.geometry.coords
        assert (x, y) == (X0 + 300, Y0 + 300)
        assert shapely.Point(mark_x, mark_y) in set(MARKS.geometry)
    assert list(told.line_ups.range_no) == [1, 2]


def test_a_boat_off_the_line_sees_which_way_the_marks_open():
    east = command(holds((310, 300)), MARKS, most_open_deg=5.0).line_ups
    west = command(holds((290, 300)), MARKS, most_open_deg=5.0).line_ups
    pair = lambda lines: lines[lines.behind_id == "m1"].iloc[0]  # noqa: E731
    gap = np.degrees(np.arctan2(10, 710) - np.arctan2(10, 1000))
    assert pair(east).open_deg == pytest.approx(-gap)  # from the east the nearer mark stands to the left
    assert "Boathouse open 0.2 deg left of Tower" in pair(east).words
    assert pair(west).open_deg == pytest.approx(gap)
    assert "right of Tower" in pair(west).words


def test_a_mark_that_stands_before_the_bank_or_far_behind_it_does_not_stand_over_it():
    def mark_over(north):
        return command(
            holds((300, 300)), landmarks((300, north), name=["Mark"]), water=WATER
        ).fixes.bank_mark[0]

    assert mark_over(1010) == "Mark"  # the bank lies at 1,000
    assert mark_over(600) == ""  # a dock or buoy half-way
    assert mark_over(2300) == ""  # a hill behind


def test_bearings_alone_are_weak_when_their_error_is_wider_than_a_long_cast():
    far = landmarks((300, 1900), (1900, 300))
    (fix,) = command(holds((300, 300)), far).fixes.itertuples()
    assert fix.status == "weak"
    assert fix.error_m == pytest.approx(np.hypot(*[np.hypot(np.radians(2.0) * 1600, 5.0)] * 2))
    assert "more than 27.43 m (90 ft)" in fix.reason
    assert "mark m0 bears 000 deg" in fix.words
    (near,) = command(holds((300, 300)), landmarks((300, 450), (450, 300))).fixes.itertuples()
    assert near.status == "ok"


def test_what_cannot_be_lined_up_keeps_its_row_with_the_reason():
    (fix,) = command(holds((300, 300)), landmarks((300, 400))).fixes.itertuples()
    assert (fix.status, fix.ranges) == ("none", 0)
    assert "one mark only is in sight" in fix.reason
    assert "land on the sight lines was not looked for" in fix.reason
    told = command(holds((300, 300), status="none"), MARKS, water=WATER)
    assert told.line_ups.empty
    assert told.fixes.reason[0] == "no hold: made"
    assert np.isnan(told.fixes.bank_m[0])
    empty = command(holds((300, 300)), landmarks(), water=WATER)
    assert empty.fixes.reason[0].startswith("no mark is in sight")


@pytest.mark.parametrize(
    "call",
    [
        {"ranges": 1},
        {"ranges": 7},
        {"bearing_error_deg": 0.0},
        {"bearing_error_deg": 90.0},
        {"in_line_error_deg": 0.0},
        {"least_range_m": 500.0, "most_range_m": 400.0},
        {"open_error": -0.1},
    ],
)
def test_errors_and_ranges_that_mean_nothing_are_refused(call):
    with pytest.raises(UsageError):
        command(holds((300, 300)), MARKS, **call)


def test_landmarks_that_break_their_contract_are_refused():
    with pytest.raises(DataError, match="position_error_m is -1"):
        command(holds((300, 300)), landmarks((0, 0), position_error_m=[-1.0]))
    with pytest.raises(ContractError, match="unique"):
        command(holds((300, 300)), landmarks((0, 0), (1, 1)).assign(landmark_id="m"))
    with pytest.raises(ContractError, match="must hold Point"):
        command(holds((300, 300)), MARKS.set_geometry(MARKS.buffer(1.0)))


def test_the_command_keeps_the_contract_of_the_toolbox():
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        result = check_algorithm(
            command, holds((300, 300), (600, 200), (500, 700)), MARKS, water=WATER, ranges=3
        )
    assert len(result.fixes) == 3


@pytest.mark.long
def test_the_landmarks_of_the_demo_lake_are_those_its_generator_makes():
    from castshed.demo_layers.landmarks import make_landmarks
    from castshed.toolbox.layers import read_layer

    path = resources.files("castshed.demo_layers") / "reservoir.gpkg"
    lake = read_layer(f"{path}:shoreline").geometry.iloc[0]
    kept = read_layer(f"{path}:landmarks")
    made = make_landmarks(np.random.default_rng([12, 11]), lake)
    assert list(kept.name) == list(made.name)
    assert shapely.equals_exact(kept.geometry.to_numpy(), made.geometry.to_numpy(), 1e-6).all()
    off = shapely.distance(lake, kept.geometry.to_numpy())
    points = (kept.kind == "point_of_land").to_numpy()
    assert (off[points] < 0.1).all()
    assert (off[~points] >= 2.0).all()
