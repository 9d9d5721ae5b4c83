"""The last check on the order of things: pieces join, numbers lead on, every hold is reached, launches lie at the ends."""

import pytest
import shapely

from castshed.toolbox.water.proof.last_check import Limits
from made_lake import frame
from straight_run import HAIR, A, B, check, hazards, leg, legs, there_and_back

C = (100.0, 80.0)


def rules(*given, **changes):
    return sorted(one.rule for one in check(*given, **changes))


def two_holds(*shapes, ids=("a", "c")):
    return frame([shapely.Point(xy) for xy in shapes], spot_id=list(ids))


def round_trip(**second):
    return legs(
        leg(1, "run", "r", "a", A, B),
        leg(2, "run", "a", "c", B, C) | second,
        leg(3, "run", "c", "r", C, A),
    )


def test_a_run_over_two_holds_passes_whatever_the_order_of_its_rows():
    assert check(round_trip(), holds=two_holds(B, C)) == []
    assert check(round_trip().iloc[::-1], holds=two_holds(C, B, ids=("c", "a"))) == []


def test_pieces_of_one_leg_keep_their_order():
    run = legs(
        leg(1, "run", "r", "a", A, (50, 0)),
        leg(1, "idle", "r", "a", (50, 0), B),
        leg(2, "run", "a", "r", B, A),
    )
    assert check(run) == []
    assert "does not begin where the run had come to" in rules(run.iloc[[1, 0, 2]])


def test_a_gap_of_a_hair_between_pieces_is_seen_and_told():
    for gap, seen in ((5e-7, 0), (HAIR, 1), (0.25, 1)):
        said = check(legs(leg(1, "run", "r", "a", A, B), leg(2, "run", "a", "r", (100 + gap, 0), A)))
        assert [one.rule for one in said] == ["does not begin where the run had come to"] * seen
    assert said[0].by_m == pytest.approx(0.25)
    assert (said[0].x, said[0].y) == (100.25, 0.0)
    away = check(start=shapely.Point(0, -3), end=shapely.Point(0, 4))
    assert [(one.what, one.by_m) for one in away] == [("leg 1 (run, r to a)", 3.0), ("the run", 4.0)]


def test_where_a_run_stops_short_is_told():
    run = legs(leg(1, "run", "r", "a", A, B), leg(2, "run", "a", "r", B, (3, 7)))
    (short,) = check(run, end=shapely.Point(3, 9))
    assert (short.rule, short.x, short.y, short.by_m) == ("does not end at its end", 3.0, 7.0, 2.0)


def test_ids_lead_on_from_leg_to_leg():
    assert rules(round_trip(from_id="b"), holds=two_holds(B, C)) == [
        "begins at b though the run had come to a"
    ]
    within = legs(
        leg(1, "run", "r", "a", A, (50, 0)),
        leg(1, "idle", "x", "a", (50, 0), B),
        leg(2, "run", "a", "r", B, A),
    )
    assert rules(within) == ["goes from x to a within the leg to a"]
    # Where two stops share a place no leg leads between them, and its number is left out.
    skipped = legs(leg(1, "run", "r", "a", A, B), leg(3, "run", "b", "r", B, A))
    assert check(skipped, holds=two_holds(B, B, ids=("a", "b"))) == []


def test_a_hold_that_is_passed_over_or_missed_is_seen():
    assert rules(there_and_back(), holds=two_holds(B, C)) == ["is not reached"]
    (missed,) = check(holds=two_holds((100, 3), ids=("a",)))
    assert (missed.what, missed.rule) == ("the hold of a", "is not where the leg to it ends")
    assert (missed.x, missed.y, missed.by_m) == (100.0, 3.0, pytest.approx(3.0))
    (none,) = check(round_trip(), holds=two_holds(B, ids=("a",)))
    assert (none.what, none.rule, none.x, none.y) == ("the stop c", "has no hold that could be checked", *C)
    # The last leg ends at a ramp, which needs none.
    assert check() == []


def test_a_hold_in_the_place_where_another_leg_ends_counts_as_reached():
    assert check(holds=two_holds(B, B, ids=("a", "twin"))) == []


def test_an_empty_run_reaches_no_hold():
    run = there_and_back().iloc[:0]
    assert rules(run) == ["is not reached"]
    assert rules(run, end=shapely.Point(0, 2), holds=two_holds(ids=())) == ["does not end at its end"]


# --- launches ----------------------------------------------------------------------------------------------------------

RAMP = (0.0, -30.0)


def launched(ramp=RAMP, afloat=A):
    return legs(
        leg(1, "launch", "r", "a", ramp, afloat),
        leg(1, "run", "r", "a", afloat, B),
        leg(2, "run", "a", "r", B, afloat),
        leg(2, "launch", "a", "r", afloat, ramp),
    )


def at_ramp(ramp=RAMP):
    return {"start": shapely.Point(ramp), "end": shapely.Point(ramp)}


def test_a_launch_may_begin_on_land_and_is_not_held_to_clearance():
    near = frame([shapely.box(-100, -20, 200, 100)])
    assert check(launched(), water=near, **at_ramp()) == []
    # Thin water is what a launch goes through; a charted thing, and what tells no cause, is not.
    there = hazards(shapely.box(-3, -25, 3, -20))
    for cause, seen in (("bottom", 0), ("no depth", 0), ("charted", 2), ("", 2)):
        assert len(check(launched(), hazards=there.assign(cause=cause), **at_ramp())) == seen
    assert len(check(launched(), hazards=there, **at_ramp())) == 2


def test_a_launch_exactly_as_long_as_allowed_passes():
    for length, seen in ((30.0, 0), (30.0 - HAIR, 2)):
        said = check(launched(), limits=Limits(10.0, 4.0, 1.2, 0.8, 0.9, length), **at_ramp())
        assert len(said) == seen
    said = check(launched(), limits=Limits(10.0, 4.0, 1.2, 0.8, 0.9, 25.0), **at_ramp())
    assert [(one.rule, one.by_m) for one in said] == [("is longer than 25 m (82 ft)", pytest.approx(5.0))] * 2
    assert [(one.x, one.y) for one in said] == [RAMP, A]


def test_a_launch_that_was_afloat_and_crosses_land_again_is_seen_both_ways():
    spit = shapely.difference(shapely.box(-100, -25, 200, 100), shapely.box(-100, -18, 50, -12))
    said = check(launched(), water=frame([spit]), **at_ramp())
    assert [(one.rule, one.by_m) for one in said if "land" in one.rule] == [
        ("crosses land", pytest.approx(6.0))
    ] * 2
    assert {round(one.y) for one in said if "land" in one.rule} <= {-18, -12}


def test_a_launch_keeps_out_of_closed_zones_and_may_touch_them():
    inside = frame([shapely.box(-3, -25, 3, -20)], zone=["no_entry"])
    said = check(launched(), zones=inside, **at_ramp())
    assert [one.by_m for one in said if "launch" in one.what] == pytest.approx([5.0, 5.0])
    beside = frame([shapely.box(0, -25, 3, -20)], zone=["slow"])
    assert check(launched(), zones=beside, **at_ramp()) == []


def test_a_launch_in_the_midst_of_a_run_is_seen():
    run = legs(
        leg(1, "run", "r", "a", A, B),
        leg(2, "launch", "a", "c", B, (100, 20)),
        leg(3, "run", "c", "r", (100, 20), A),
    )
    said = rules(run, holds=two_holds(B, (100, 20)))
    assert said == ["is a launch in the midst of the run"]


# --- structures ----------------------------------------------------------------------------------------------------------


def structures(**shapes):
    return frame(shapes.values(), spot_id=list(shapes))


def test_a_hold_lies_on_no_structure_but_a_flat_that_holds_what_is_fished():
    hump = shapely.Point(120, 0)
    wide = shapely.Point(B).buffer(40)
    assert check(structures=structures(a=hump)) == []
    assert check(structures=structures(a=hump, flat=wide)) == []
    assert rules(structures=structures(a=shapely.Point(160, 0), flat=wide)) == ["lies on the structure flat"]
    assert rules(structures=structures(a=wide)) == ["lies on its own structure"]
    assert rules(structures=structures(b=wide)) == ["lies on the structure b"]
    # Half on the flat is not held by it.
    half = shapely.LineString([(120, 0), (160, 0)])
    assert rules(structures=structures(a=half, flat=wide)) == ["lies on the structure flat"]


def test_a_flat_that_is_allowed_hides_no_other_structure():
    wide, beside = shapely.Point(B).buffer(40), shapely.Point(C).buffer(9)
    said = check(
        round_trip(),
        holds=two_holds(B, C),
        structures=structures(a=shapely.Point(110, 0), c=beside, flat=wide),
    )
    assert [(one.what, one.rule) for one in said] == [("the hold of c", "lies on its own structure")]


def test_a_hold_beside_a_structure_passes():
    for gap, seen in ((0.001, []), (0.0, ["lies on the structure b"])):
        box = shapely.box(100 + gap, -3, 110, 3)
        assert rules(structures=structures(a=shapely.Point(90, 20), b=box)) == seen
    assert check(structures=structures().iloc[:0]) == []
