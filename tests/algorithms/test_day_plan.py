"""Day plans: the best of all for few stops, never below greedy, replayed by another hand; every rule and answer asked."""

from __future__ import annotations

import itertools
import warnings
from dataclasses import replace

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely

from castshed.algorithms.day_plan import day_plan
from castshed.algorithms.shallow_hazards import shallow_hazards
from castshed.algorithms.water_today import water_today
from castshed.toolbox.errors import DataError, NoSafeWay, NothingFishable, UsageError
from castshed.toolbox.water.day import day_bound, day_search
from castshed.toolbox.water.day.day_answers import conflict, missed, plan_b, spare_s, swaps
from castshed.toolbox.water.day.day_basis import Burn
from castshed.toolbox.water.day.day_bound import most_worth
from castshed.toolbox.water.day.day_moves import fill, insertions, untangled
from castshed.toolbox.water.day.day_offers import both, spans_of_hours, stays_of, wished_windows, worth_of
from castshed.toolbox.water.day.day_search import best_day, exact_day
from castshed.toolbox.water.day.day_task import FAR, DayTask, merit, timed, whole_up
from castshed.toolbox.water.runs.tours import exact_order
from day_cases import enumerated, made_day, replayed
from made_lake import CRS, X0, Y0, frame, make_lake

START = pd.Timestamp("2031-05-17T06:00-05:00")


@pytest.mark.parametrize("seed", range(30))
def test_few_stops_are_the_best_of_all(seed):
    task = made_day(3 + seed % 4, 500 + seed, hours=2 + seed % 2, fuel=seed % 3 == 0, must=seed % 2,
                    stays=2 if seed % 5 == 0 else 1)  # fmt: skip
    assert merit(task, best_day(task)) == enumerated(task)


@pytest.mark.long
@pytest.mark.parametrize(("count", "days"), [(14, 1), (40, 1), (40, 2)])
def test_many_stops_break_no_rule_and_are_never_below_greedy(count, days):
    for seed in range(3):
        task = made_day(count, 90 + seed, fuel=seed == 1, must=seed, days=days)
        routes = best_day(task, work=1_000_000)
        broken, worth = replayed(task, routes)
        assert broken == []
        assert worth == merit(task, routes)[1]
        assert merit(task, routes) >= merit(task, fill(task, [()] * days))
        assert routes == best_day(task, work=1_000_000)


@pytest.mark.long
def test_search_for_many_finds_what_the_exact_one_finds_for_few(monkeypatch):
    monkeypatch.setattr(day_search, "MOST_STOPS", 2)
    equal = 0
    for seed in range(6):
        task = made_day(10, 700 + seed, hours=4)
        best = merit(task, [exact_day(task)])
        found = best_day(task, work=1_000_000)
        assert replayed(task, found)[0] == []
        assert merit(task, found) <= best
        equal += merit(task, found) == best
    assert equal == 6


def test_a_day_that_is_over_before_it_begins_holds_no_stop(monkeypatch):
    monkeypatch.setattr(day_search, "MOST_STOPS", 2)
    task = made_day(10, 4, windows=False, days=2)
    for over_s in (-1, 0):
        assert best_day(replace(task, over_s=over_s)) == [(), ()]


def test_insertions_agree_with_trying_each_place():
    for seed in range(6):
        task = made_day(20, seed, fuel=seed % 2 == 0)
        route = fill(task, [()])[0][:6]
        offers = np.array([o for o in range(len(task.stop)) if o not in route])
        position, cost = insertions(task, route, offers)
        now = timed(task, route)
        for offer, at, added in zip(offers.tolist(), position.tolist(), cost.tolist(), strict=True):
            tried = [timed(task, (*route[:k], offer, *route[k:])) for k in range(len(route) + 1)]
            extra = [one.travel_s - now.travel_s for one in tried if one is not None]
            assert added == min(extra, default=FAR)
            if extra:
                assert tried[at].travel_s - now.travel_s == added


def test_untangled_is_no_longer_and_keeps_the_stops():
    task = made_day(9, 3, windows=False)
    route = tuple(np.random.default_rng(0).permutation(9)[:8].tolist())
    better = untangled(task, route)
    assert sorted(better) == sorted(route)
    assert timed(task, better).travel_s <= timed(task, route).travel_s


def test_rounding_up_keeps_what_is_true():
    given = np.array([[0.0, 1.2, np.inf], [1.7, 0.0, 3.0], [np.inf, 3.0, 0.0]])
    assert whole_up(given).tolist() == [[0, 2, FAR], [2, 0, 3], [FAR, 3, 0]]
    assert whole_up(given, symmetric=True)[0, 1] == 2
    with pytest.raises(UsageError, match="0 or more"):
        whole_up([[0.0, -1.0], [1.0, 0.0]])


@pytest.mark.long
def test_answers_are_true():
    task = made_day(25, 11)
    routes = best_day(task, work=1_000_000)
    now = merit(task, routes)
    assert spare_s(task, routes) == task.over_s - timed(task, routes[0]).over_s
    taken = {int(task.stop[o]) for o in routes[0]}
    told = missed(task, routes)
    assert {one.place for one in told} == set(task.offers_of) - taken
    # With as much more time as is said, the stop can indeed be put in.
    for one in [one for one in told if one.adds_s < FAR][:5]:
        longer = replace(task, over_s=task.over_s + one.adds_s)
        _, cost = insertions(longer, routes[0], task.offers_of[one.place])
        assert cost.min() == one.detour_s
    for swap in swaps(task, routes):
        assert swap.out in taken
        assert swap.into not in taken
        tried = []
        for offer in task.offers_of[swap.into]:
            rest = tuple(o for o in routes[0] if int(task.stop[o]) != swap.out)
            for k in range(len(rest) + 1):
                found = timed(task, (*rest[:k], int(offer), *rest[k:]))
                if found is not None:
                    tried.append((found.worth - now[1], found.travel_s + now[2]))
        assert (swap.worth, swap.travel_s) in tried
    less = best_day(replace(task, over_s=task.over_s - 1800), work=1_000_000)
    assert timed(task, less[0]).over_s <= task.over_s - 1800
    assert merit(task, less)[1] <= now[1]


def test_smallest_conflict_is_one_and_no_more():
    task = made_day(5, 8, windows=False, hours=2)
    assert conflict(replace(task, must=frozenset({2}))) == []
    # Five stops of at least 15 minutes and their ways do not fit into half an hour.
    tight = replace(task, must=frozenset(range(2, 7)), over_s=1800, closes_s=np.full(5, 1800))
    rules = conflict(tight)
    assert "hours" in rules
    assert "fuel" not in rules
    for rule in rules:
        if rule.startswith("must"):
            left = replace(
                tight, must=frozenset(int(r.split()[1]) for r in rules if r.startswith("must") and r != rule)
            )
            assert conflict(left) == []
    thirsty = replace(task, must=frozenset({2, 3}), fuel_limit_ml=1)
    assert set(conflict(thirsty)) & {"fuel"} == {"fuel"}


def test_hours_become_stretches():
    hours = [START + pd.Timedelta(hours=k) for k in (0, 1, 2, 4, 5)]
    assert spans_of_hours(hours, [True, True, False, True, True], START) == [
        (0.0, 7200.0),
        (14400.0, 21600.0),
    ]
    # A gap of up to two hours is bridged by the worse of its neighbours; a longer one is not fishable.
    assert spans_of_hours([hours[2], hours[3]], [True, True], START) == [(7200.0, 18000.0)]
    assert spans_of_hours([hours[2], hours[3]], [True, False], START) == [(7200.0, 10800.0)]
    assert spans_of_hours([hours[2], hours[3]], [False, True], START) == [(14400.0, 18000.0)]
    assert spans_of_hours([hours[0], hours[3]], [True, True], START) == [(0.0, 3600.0), (14400.0, 18000.0)]
    assert both([(0.0, 5.0), (7.0, 9.0)], [(3.0, 8.0)]) == [(3.0, 5.0), (7.0, 8.0)]


def test_wishes_are_read_and_bad_ones_refused():
    find = {"gull rock": "a", "a": "a", "b": "b"}
    found = wished_windows(["Gull Rock before 09:00", "b 10:00-11:30", "a after 07:00"], find, START)
    assert found["a"] == [(3600.0, 10800.0)]
    assert found["b"] == [(14400.0, 19800.0)]
    for wish in ("nobody before 09:00", "b 11:00-10:00", "b sometime", "b before 29:00", "b before 9"):
        with pytest.raises(UsageError):
            wished_windows([wish], find, START)


def test_value_is_an_expression_of_columns_and_nothing_else():
    table = frame([shapely.Point(0, 0)] * 2, spot_id=["a", "b"], rating=[3.0, np.nan], height_m=[1.0, 2.0])
    assert worth_of(table, "rating").tolist() == [3.0, 1.0]
    assert worth_of(table, "2 * (rating + height_m) / 4 - 0.5").tolist() == [1.5, 1.0]
    assert worth_of(table, "7").tolist() == [7.0, 7.0]
    for wrong in (
        "__import__('os')",
        "rating.sum()",
        "rating ** 9",
        "rating if 1 else 2",
        "",
        "'a'",
        "no_such",
        "True",
    ):
        with pytest.raises(UsageError):
            worth_of(table, wrong)
    for wrong in ("-rating", "rating / 0"):
        with pytest.raises(DataError, match="0 or more"):
            worth_of(table, wrong)


def test_longer_stays_are_worth_more_but_each_minute_less():
    assert stays_of(1500.0, 0.0) == [(1500.0, 1.0)]
    (a, one), (b, two), (c, three) = stays_of(1500.0, 4500.0)
    assert (a, b, c) == (1500.0, 3000.0, 4500.0)
    assert one == 1.0
    assert 0 < three - two < two - one


# On a made lake -----------------------------------------------------------------------------------------------
POINTS = [(200, 200), (800, 200), (200, 800), (800, 800), (440, 500), (740, 650)]


@pytest.fixture(scope="module")
def made():
    lake = make_lake()
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        today = water_today(lake.depth, lake.shoreline)
        hazards = shallow_hazards(lake.depth, today.water, known_hazards=lake.known_hazards)
    holds = frame(
        [shapely.Point(X0 + x, Y0 + y) for x, y in POINTS],
        spot_id=[f"s{k}" for k in range(6)], name=[f"Spot {k}" for k in range(6)], hold_no=[1] * 6,
        status=["ok"] * 6, reason=["deep side"] * 6, depth_today_m=[4.0] * 6, cast_m=[20.0] * 6, cast_bearing_deg=[0.0] * 6,
        deep_bearing_deg=[0.0] * 6, wind_angle_deg=[90.0] * 6, rating=[5.0, 4.0, 3.0, 2.0, 4.0, 1.0],
        kind=["hump", "point", "hump", "flat", "ledge", "hump"], bank=["open", "lee", "open", "lee", "open", "open"],
    )  # fmt: skip
    return lake, holds, {"water": today.water, "hazards": hazards, "zones": lake.zones, "depth": lake.depth}


def ask(made, **more):
    lake, holds, layers = made
    given = {"depart": "2031-05-17T06:00-05:00", "back_by": "08:00"} | layers | more
    return day_plan(given.pop("holds", holds), lake.ramps, given.pop("water"), **given)


def times(plan, column):
    return [pd.Timestamp(text) for text in plan.stops[column] if text]


def test_the_plan_keeps_its_hours_and_says_everything(made):
    plan = ask(made)
    arrive, leave = times(plan, "arrive"), times(plan, "leave")
    assert leave[0] >= START
    assert arrive[-1] <= START + pd.Timedelta(hours=2)
    assert all(a >= b for a, b in zip(arrive, leave, strict=True))
    assert 3 <= len(plan.stops) - 2 <= 4
    spots = set(plan.stops["spot_id"]) - {"r1"}
    assert spots | set(plan.left_out["spot_id"]) == set(made[1]["spot_id"])
    assert {"s0", "s1"} <= spots
    assert plan.left_out["reason"].str.contains("adding it would take").all()
    told = dict(zip(plan.answers["question"], plan.answers["answer"], strict=True))
    assert {"30 minutes less", "30 minutes more", "worth", "sun dawn", "sun dusk"} <= set(told)
    assert float(told["worth"]) == plan.stops["worth"].sum()
    inner = plan.stops.iloc[1:-1]
    assert all(
        pd.Timestamp(back) >= pd.Timestamp(left)
        for back, left in zip(inner["turn_back"], inner["leave"], strict=True)
    )
    assert set(inner["plan_b"]) <= set(made[1]["spot_id"]) - spots
    travel = plan.legs.groupby("leg_no")["time_s"].sum()
    for number, (left, came) in enumerate(zip(leave, arrive, strict=True), start=1):
        assert (came - left).total_seconds() >= travel[number] - 1e-6


@pytest.mark.long
def test_half_an_hour_less_than_a_shorter_day_is_no_day(made, monkeypatch):
    monkeypatch.setattr(day_search, "MOST_STOPS", 2)
    plan = ask(made, back_by="06:25", at_each_s=300.0, setup_s=0.0)
    told = dict(zip(plan.answers["question"], plan.answers["answer"], strict=True))
    names = ", ".join(sorted(plan.stops["name"].iloc[1:-1]))
    assert told["30 minutes less"] == f"without {names}; worth -{told['worth']} to the day"


def test_a_spot_on_land_is_left_out_without_a_warning(made):
    _, holds, _ = made
    dry = holds.iloc[:1].assign(
        spot_id="dry", name="Dry", geometry=[shapely.Point(X0 + 650, Y0 + 650)], rating=9.0
    )
    plan = ask(made, holds=pd.concat([holds, dry], ignore_index=True), engine_hp=100, fuel_l=40.0)
    why = dict(zip(plan.left_out["spot_id"], plan.left_out["reason"], strict=True))
    assert why["dry"].startswith("out of reach: off today's water")


def test_plan_b_is_the_nearest_open_hold_left(made):
    holds = made[1].drop(columns="bank")
    time_s = np.hypot(*(np.array(POINTS)[:, None] - POINTS).T)
    assert plan_b(holds, {0, 1}, range(6), time_s) == {0: 4, 1: 5}
    assert plan_b(holds, {0, 1}, {0, 1, 2}, time_s) == {0: 2, 1: 2}
    assert plan_b(holds, {0, 1}, {0, 1}, time_s) == {}
    time_s[0, 2:] = np.inf
    assert plan_b(holds, {0, 1}, range(6), time_s) == {1: 5}


def test_burn_from_horsepower():
    # Common practice: full throttle burns a tenth of the horsepower in US gallons (3.785411784 L) an hour; some 45 %
    # of it at cruise.
    burn = Burn.of_engine(150)
    assert burn.run_lph == pytest.approx(15 * 3.785411784 * 0.45)
    assert 0.0 < burn.idle_lph < burn.run_lph / 5
    assert Burn.of_engine(150, 30.0, 1.5) == Burn(30.0, 1.5)
    assert Burn.of_engine(0) == Burn(0.0, 0.0)


def test_plan_b_lies_in_the_lee_where_one_is_left(made):
    plan = ask(made, never=["s1"], must=["s0"], back_by="07:10")
    inner = plan.stops.iloc[1:-1]
    assert set(inner["plan_b"]) <= {"s3"}


def test_must_never_and_windows(made):
    plan = ask(made, must=["Spot 5"], never=["s0"], windows=["s1 after 07:00"], back_by="09:00")
    spots = plan.stops["spot_id"].to_list()
    assert "s5" in spots
    assert "s0" not in spots
    at = dict(zip(spots, plan.stops["arrive"], strict=True))
    assert pd.Timestamp(at["s1"]) >= START + pd.Timedelta(hours=1)
    why = dict(zip(plan.left_out["spot_id"], plan.left_out["reason"], strict=True))
    assert why["s0"] == "not wanted"


def test_verdicts_by_hour_are_kept(made):
    _, holds, _ = made
    hours = [START + pd.Timedelta(hours=k) for k in range(4)]
    rows = [(spot, at, int(spot != "s0" and not (spot == "s1" and k < 2))) for spot in holds["spot_id"]
            for k, at in enumerate(hours)]  # fmt: skip
    verdicts = gpd.GeoDataFrame(
        {"spot_id": [r[0] for r in rows], "time": [r[1].isoformat() for r in rows], "fishable": [r[2] for r in rows],
         "reason": ["x"] * len(rows), "margin_m": 0.0, "marginal": 0},
        geometry=[shapely.Point(X0, Y0)] * len(rows), crs=CRS,
    )  # fmt: skip
    plan = ask(made, verdicts=verdicts, back_by="10:00")
    at = dict(zip(plan.stops["spot_id"], plan.stops["arrive"], strict=True))
    assert "s0" not in at
    assert pd.Timestamp(at["s1"]) >= hours[2]
    why = dict(zip(plan.left_out["spot_id"], plan.left_out["reason"], strict=True))
    assert why["s0"] == "no hour of the day allows it: 06:00-10:00 x"


def test_nothing_before_dawn(made):
    plan = ask(made, depart="2031-05-17T03:00-05:00", back_by="07:00")
    told = dict(zip(plan.answers["question"], plan.answers["answer"], strict=True))
    dawn = pd.Timestamp(f"2031-05-17T{told['sun dawn']}-05:00")
    assert times(plan, "arrive")[0] >= dawn
    early = ask(made, depart="2031-05-17T03:00-05:00", back_by="07:00", night=True)
    assert times(early, "arrive")[0] < dawn


def test_fuel_and_its_reserve(made):
    free = ask(made, back_by="10:00", run_burn_lph=40.0, idle_burn_lph=4.0)
    burnt = float(
        dict(zip(free.answers["question"], free.answers["answer"], strict=True))["fuel"].split(" L")[0]
    )
    tight = ask(made, back_by="10:00", run_burn_lph=40.0, idle_burn_lph=4.0, fuel_l=burnt, reserve=0.5)
    assert len(tight.stops) < len(free.stops)
    with pytest.raises(UsageError, match="engine"):
        ask(made, fuel_l=20.0)


def test_planned_again_from_the_water(made):
    plan = ask(made, done=["Spot 4"], at="06:40")
    assert plan.stops["spot_id"].iloc[0] == "s4"
    assert plan.stops["spot_id"].iloc[-1] == "r1"
    assert "s4" not in set(plan.stops["spot_id"].iloc[1:])
    assert times(plan, "leave")[0] >= START + pd.Timedelta(minutes=40)
    assert dict(zip(plan.left_out["spot_id"], plan.left_out["reason"], strict=True))["s4"] == "done"


def test_a_number_of_stops_done_is_counted_along_the_plan(made):
    first = ask(made)
    done = list(first.stops["spot_id"].iloc[1:3])
    by_number, by_name = ask(made, done=["2"], at="07:00"), ask(made, done=done, at="07:00")
    pd.testing.assert_frame_equal(by_number.stops, by_name.stops)
    assert by_number.stops["spot_id"].iloc[0] == done[-1]
    left = dict(zip(by_number.left_out["spot_id"], by_number.left_out["reason"], strict=True))
    assert [left[spot] for spot in done] == ["done", "done"]
    told = dict(zip(by_number.answers["question"], by_number.answers["answer"], strict=True))
    assert told["done"] == ", ".join(first.stops["name"].iloc[1:3])
    none = ask(made, done=["0 stops"], at="06:30")
    assert none.stops["spot_id"].iloc[0] == "r1"


def test_a_number_of_stops_done_that_cannot_be_counted(made):
    with pytest.raises(UsageError, match=r"the plan has \d stops"):
        ask(made, done=["50"], at="07:00")
    with pytest.raises(UsageError, match="mixes"):
        ask(made, done=["2", "Spot 4"], at="07:00")
    with pytest.raises(UsageError, match="no spot '-1'"):
        ask(made, done=["-1"], at="07:00")


def test_a_spot_called_by_a_number_comes_before_a_count(made):
    holds = made[1].assign(name=made[1]["name"].replace("Spot 4", "2"))
    plan = ask(made, holds=holds, done=["2"], at="06:40")
    assert plan.stops["spot_id"].iloc[0] == "s4"
    counted = ask(made, holds=holds, done=["2 stops"], at="07:00")
    assert list(counted.left_out["reason"]).count("done") == 2


def test_a_must_that_is_done_is_met(made):
    plan = ask(made, done=["Spot 4"], at="06:40", must=["Spot 4"])
    assert plan.stops["spot_id"].iloc[0] == "s4"


def test_fuel_of_the_way_so_far_is_spent(made):
    burns = {"run_burn_lph": 400.0, "idle_burn_lph": 40.0, "reserve": 0.0}
    whole = ask(made, **burns)
    told = dict(zip(whole.answers["question"], whole.answers["answer"], strict=True))
    tank = float(told["fuel"].split(" L")[0])
    later = {"at": "07:00", "back_by": "10:00"} | burns
    assert len(ask(made, fuel_l=tank, **later).stops) > 2
    done = list(whole.stops["spot_id"].iloc[1:-1])
    assert len(ask(made, fuel_l=20.0 * tank, done=done, **later).stops) > 2
    with pytest.raises(NothingFishable):  # there is time, but the tank has been used for the way so far
        ask(made, fuel_l=tank, done=done, **later)


def test_stays_by_kind(made):
    plan = ask(made, back_by="12:00", stays=["hump 40min", "flat 10min"])
    stay = dict(zip(plan.stops["spot_id"], plan.stops["stay_s"], strict=True))
    assert stay["s0"] == 40 * 60 + 180
    assert stay["s3"] == 10 * 60 + 180
    assert stay["s1"] == 1500 + 180


def test_the_low_sun_has_its_bearing(made):
    told = dict(zip(*(ask(made).answers[c] for c in ("question", "answer")), strict=True))
    # In May at 36 N the sun rises north of east and sets north of west (common knowledge of the seasons).
    assert 55 < float(told["sun rise"].split("at ")[1].split(" deg")[0]) < 75
    assert 285 < float(told["sun set"].split("at ")[1].split(" deg")[0]) < 305


@pytest.mark.long
def test_days_share_the_stops(made):
    plan = ask(made, days=2, back_by="07:20")
    inner = plan.stops[plan.stops["reason"] == "hold"]
    assert inner["spot_id"].is_unique
    assert set(plan.stops["day"]) == {1, 2}
    for _, own in plan.stops.groupby("day"):
        assert own["spot_id"].iloc[0] == own["spot_id"].iloc[-1] == "r1"


def test_longer_stays_fill_a_day_with_few_stops(made):
    short = ask(made, back_by="12:00")
    long_ = ask(made, back_by="12:00", longest_at_each_s=3600.0)
    assert long_.stops["stay_s"].max() > short.stops["stay_s"].max()
    assert long_.stops["worth"].sum() > short.stops["worth"].sum()


def test_what_cannot_be_names_the_rules_in_conflict(made):
    with pytest.raises(NothingFishable, match=r"back by 06:50") as caught:
        ask(made, must=["s0", "s3"], back_by="06:50")
    assert "Spot 0" in str(caught.value)
    assert caught.value.exit_code == 5
    with pytest.raises(NothingFishable, match=r"start at 06:00; back by 05:00"):
        ask(made, back_by="05:00")
    with pytest.raises(NothingFishable, match="No stop fits"):
        ask(made, back_by="06:05")
    with pytest.raises(NothingFishable, match="windows"):
        ask(made, must=["s0"], windows=["s0 before 06:01"])
    with pytest.raises(DataError, match=r"-5 m .* water was made at a level of 0 m"):
        ask(made, level_m=-5.0)


@pytest.mark.parametrize(
    ("wrong", "words"),
    [
        ({"stays": ["40min"]}, "no stay"),
        ({"stays": ["hump 40"]}, "unit"),
        ({"stays": ["wreck 40min"]}, "kinds there are"),
        ({"back_by": "noon"}, "back-by"),
        ({"depart": "2031-05-17 06:00"}, "zone"),
        ({"must": ["nobody"]}, "no spot"),
        ({"must": ["s1"], "never": ["s1"]}, "decide"),
        ({"days": 0}, "days"),
        ({"days": 2, "done": ["s1"]}, "days"),
        ({"value": "rating.sum()"}, "allowed"),
        ({"at_each_s": 0.0}, "above 0"),
        ({"start": "nowhere"}, "no such ramp"),
    ],
)  # fmt: skip
def test_wrong_words_are_refused(made, wrong, words):
    with pytest.raises(UsageError, match=words):
        ask(made, **wrong)


def test_no_usable_hold_is_told(made):
    _, holds, _ = made
    with pytest.raises(NoSafeWay, match="no hold"):
        ask(made, holds=holds.assign(status="none"))


@pytest.mark.parametrize("seed", range(12))
def test_no_plan_is_worth_more_than_the_bound(seed, monkeypatch):
    task = made_day(4 + seed % 3, 800 + seed, hours=2 + seed % 2, fuel=seed % 3 == 0, must=seed % 2,
                    stays=2 if seed % 5 == 0 else 1)  # fmt: skip
    best = enumerated(task)[1]
    assert most_worth(task, best_day(task)) == best
    monkeypatch.setattr(day_bound, "MOST_STOPS", 0)  # by prices alone, as for many stops
    assert most_worth(task, [()]) >= best
    assert most_worth(task, best_day(task)) >= best


def test_the_bound_of_many_stops_holds_and_is_near():
    # Stops on a line, 600 s apart, 60 s each; the day is long enough for nine and the way back, not for the tenth.
    count = 30
    at = np.array([0, 0, *range(600, 600 * count + 1, 600)])
    travel = np.abs(at[:, None] - at[None])
    worth = np.full(count, 100)
    open_s, over = np.zeros(count, dtype=np.int64), 2 * 600 * 9 + 60 * 9 + 599
    task = DayTask(travel, np.zeros_like(travel), np.arange(2, count + 2), np.full(count, 60), open_s,
                   np.full(count, over), worth, frozenset(), 0, over)  # fmt: skip
    routes = best_day(task, work=1_000_000)
    assert merit(task, routes) == (0, 900, -2 * 600 * 9)
    assert 900 <= most_worth(task, routes) <= 1000
    two = replace(task, days=2)
    assert most_worth(two, best_day(two, work=1_000_000)) >= 900


def test_fourteen_stops_are_the_best_of_all():
    # All fit in any order: what is best is the shortest way by all, as the exact order of a tour finds it.
    task = made_day(14, 3, windows=False, hours=9)
    routes = best_day(task)
    places = [0, *range(2, 16), 1]
    cost = task.travel_s[np.ix_(places, places)]
    order = exact_order(cost)
    shortest = int(sum(cost[a, b] for a, b in itertools.pairwise(order)))
    assert merit(task, routes) == (0, int(task.worth.sum()), -shortest)


@pytest.mark.parametrize("seed", range(4))
def test_two_boats_share_few_stops_as_well_as_can_be(seed):
    task = made_day(5, 600 + seed, hours=2, fuel=seed == 1, days=2)
    stops = sorted(task.offers_of)
    best = (0, 0)
    for count in range(len(stops) + 1):
        for own in itertools.combinations(stops, count):
            others = [stop for stop in stops if stop not in own]
            one, other = enumerated(task.without(others)), enumerated(task.without(own))
            best = max(best, (one[1] + other[1], one[2] + other[2]))
    routes = best_day(task, work=1_000_000)
    assert replayed(task, routes)[0] == []
    assert merit(task, routes)[1:] == best


@pytest.mark.long
def test_a_plan_to_begin_with_is_not_made_worse():
    task = made_day(40, 21)
    plan = best_day(task, work=2_000_000)
    longer = replace(task, over_s=task.over_s + 1800)
    assert merit(longer, best_day(longer, work=10_000, start=plan)) >= merit(longer, plan)
    tight = replace(task, over_s=task.over_s - 3600)
    assert replayed(tight, best_day(tight, work=10_000, start=plan))[0] == []


def test_a_plan_tells_how_near_the_best_it_is(made):
    told = dict(zip(*(ask(made).answers[c] for c in ("question", "answer")), strict=True))
    assert told["best possible"] == "no plan of this day is worth more"


def test_a_search_from_many_beginnings_is_the_same_each_time_and_no_worse_than_what_it_began_with():
    task = made_day(60, 3, hours=7, must=2, fuel=True)
    begin = fill(task, [()])
    found = day_search.searched_from_many(task, begin, seed=4, work=12_000_000)
    assert found == day_search.searched_from_many(task, begin, seed=4, work=12_000_000)
    assert merit(task, found) >= merit(task, begin)
    assert merit(task, found)[0] == 2
    assert not replayed(task, found)[0]
