"""Hours that are kept, with and without an end of the day: gales, ends and gaps of forecasts, dark, clocks put on.

Times of gales and ends are those written into the forecast; dawn and dusk by the almanac's formulas; how long a boat
takes by the run itself.
"""

from __future__ import annotations

import datetime as dt
import re
import warnings
import zoneinfo

import geopandas as gpd
import pandas as pd
import pytest
import shapely

from almanac import sun_by_almanac
from castshed.algorithms.day_plan import day_plan
from castshed.algorithms.fishable import fishable
from castshed.algorithms.prove_run import prove_run
from castshed.algorithms.shallow_hazards import shallow_hazards
from castshed.algorithms.shortest_run import shortest_run
from castshed.algorithms.water_today import water_today
from castshed.algorithms.wind_exposure import wind_exposure
from castshed.toolbox.errors import CastshedError, NoSafeWay, NothingFishable, UsageError
from castshed.toolbox.water.day import day_search
from castshed.toolbox.water.verdicts.reach import commonest
from castshed.toolbox.water.wind.forecast import Forecast
from hours_checker import Checker
from made_lake import CRS, X0, Y0, frame, make_lake

CHICAGO = zoneinfo.ZoneInfo("America/Chicago")
POINTS = [(200, 200), (800, 200), (200, 800), (800, 800), (440, 500), (740, 640)]
MPH = 0.44704


@pytest.fixture(scope="module")
def made():
    lake = make_lake()
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        today = water_today(lake.depth, lake.shoreline)
        hazards = shallow_hazards(lake.depth, today.water, known_hazards=lake.known_hazards)
    count = len(POINTS)
    points = [shapely.Point(X0 + x, Y0 + y) for x, y in POINTS]
    ids = [f"s{k}" for k in range(count)]
    number = dict.fromkeys(
        ("cast_m", "cast_bearing_deg", "deep_bearing_deg", "wind_angle_deg"), [20.0] * count
    )
    holds = frame(
        points, spot_id=ids, name=[f"Spot {k}" for k in range(count)], hold_no=[1] * count, status=["ok"] * count,
        reason=["made"] * count, depth_today_m=[6.0] * count, rating=[5.0, 4.0, 3.0, 2.0, 4.0, 1.0], **number,
    )  # fmt: skip
    spots = frame(
        points, spot_id=ids, name=[f"Spot {k}" for k in range(count)], kind=["hump"] * count, depth_m=[6.0] * count,
        height_m=[0.0] * count, rating=[5.0, 4.0, 3.0, 2.0, 4.0, 1.0],
    )  # fmt: skip
    return lake, today.water, hazards, holds, spots


def hourly(made, winds, *, date="2031-05-17", origin=225.0, wave_limit_m=0.6):
    """Exposure and verdicts of hours: hour of the day -> wind in mph."""
    _, water, _, holds, spots = made
    start = dt.datetime.fromisoformat(f"{date}T00:00-05:00")
    told = Forecast(
        tuple(start + dt.timedelta(hours=hour) for hour in winds),
        [speed * MPH for speed in winds.values()],
        [float("nan")] * len(winds),
        [origin] * len(winds),
    )
    exposure = wind_exposure(holds, water, forecast=told).exposure
    verdicts = fishable(
        spots, water, holds=holds, exposure=exposure, wave_limit_m=wave_limit_m, time_zone="America/Chicago"
    ).verdicts
    return {"exposure": exposure, "verdicts": verdicts}


def ask(made, how, caught=None, **given):
    lake, water, hazards, holds, _ = made
    told = {"depart": "2031-05-17T06:00-05:00", "hazards": hazards, "zones": lake.zones} | given
    if how is day_plan:
        told.setdefault("back_by", "12:00")
    with warnings.catch_warnings(record=True) as seen:
        warnings.simplefilter("always")
        run = how(told.pop("holds", holds), lake.ramps, water, **told)
    if caught is not None:
        caught += [str(one.message) for one in seen]
    return run


def moments(run):
    left = [dt.datetime.fromisoformat(text) for text in run.stops["leave"] if text]
    came = [dt.datetime.fromisoformat(text) for text in run.stops["arrive"] if text]
    return left[0], came[-1]


GALE = {hour: 5.0 if hour < 8 else 34.0 for hour in range(24)}
BOTH = pytest.mark.parametrize("how", [shortest_run, day_plan])


@BOTH
def test_nobody_is_out_in_a_gale_and_the_way_home_is_over_before_it(made, how):
    said = []
    run = ask(made, how, said, **hourly(made, GALE))
    left, home = moments(run)
    assert left >= dt.datetime.fromisoformat("2031-05-17T06:00-05:00")
    assert home <= dt.datetime.fromisoformat("2031-05-17T08:00-05:00")
    assert 2 <= len(run.stops) - 2 < len(POINTS)
    assert run.left_out["reason"].str.contains("08:00-").all()
    assert run.left_out["reason"].str.contains("wind 15.2 m/s").all()
    if how is shortest_run:
        assert any("wind 15.2 m/s (34.0 mph)" in text and "left out" in text for text in said)
    else:
        told = dict(zip(run.answers["question"], run.answers["answer"], strict=True))
        assert "less than by the clock alone" in told["what the hours cost"]
        back = [dt.datetime.fromisoformat(text) for text in run.stops["turn_back"] if text]
        assert all(moment < dt.datetime.fromisoformat("2031-05-17T08:00-05:00") for moment in back)


@BOTH
def test_out_after_the_gale_where_that_is_worth_more(made, how):
    winds = {hour: 34.0 if hour < 9 else 5.0 for hour in range(24)}
    left, _ = moments(ask(made, how, **hourly(made, winds)))
    assert left >= dt.datetime.fromisoformat("2031-05-17T09:00-05:00")


@BOTH
def test_the_end_of_a_forecast_is_its_end(made, how):
    said = []
    run = ask(made, how, said, **hourly(made, dict.fromkeys(range(8), 5.0)))
    assert moments(run)[1] <= dt.datetime.fromisoformat("2031-05-17T08:00-05:00")
    gap = next(text for text in said if text.startswith("The forecast ends at 08:00"))
    assert re.search(r"By the clock alone Spot \d.* would have been", gap)


@pytest.mark.long
@BOTH
def test_a_long_gap_is_a_gap_and_a_short_one_has_the_worse_of_its_neighbours(made, how):
    calm_then_gale = dict.fromkeys(range(9), 2.0) | dict.fromkeys(range(14, 24), 30.0)
    run = ask(made, how, **hourly(made, calm_then_gale))
    assert moments(run)[1] <= dt.datetime.fromisoformat("2031-05-17T09:00-05:00")
    # Two hours missing: bridged where both sides are calm, shut where one is not.
    calm = {hour: 2.0 for hour in range(24) if hour not in (7, 8)}
    assert len(ask(made, how, **hourly(made, calm)).stops) - 2 == len(POINTS)
    rough = calm | dict.fromkeys(range(9, 24), 30.0)
    assert moments(ask(made, how, **hourly(made, rough)))[1] <= dt.datetime.fromisoformat(
        "2031-05-17T07:00-05:00"
    )
    # Three hours missing are a gap: nothing is planned in it.
    gone = {hour: 2.0 for hour in range(24) if hour not in (7, 8, 9)}
    run = ask(made, how, **hourly(made, gone))
    left, home = moments(run)
    assert home <= dt.datetime.fromisoformat("2031-05-17T07:00-05:00") or left >= dt.datetime.fromisoformat(
        "2031-05-17T10:00-05:00"
    )


@BOTH
def test_no_hour_at_all_is_refused_with_hour_and_cause(made, how):
    with pytest.raises(NothingFishable, match=r"\d\d:\d\d.*wind 15\.2 m/s"):
        ask(made, how, **hourly(made, dict.fromkeys(range(24), 34.0)))
    with pytest.raises(NothingFishable, match=r"06:00.*after the end of the forecast"):
        ask(made, how, **hourly(made, dict.fromkeys(range(6), 2.0)))


@BOTH
def test_one_wind_puts_nothing_into_the_dark(made, how):
    _, water, _, holds, _ = made
    windy = wind_exposure(holds, water, wind_from_deg=200.0, wind_speed_mps=4.0).places
    run = (
        ask(made, how, holds=windy, depart="2031-12-10T06:00-06:00", back_by="12:00")
        if how is day_plan
        else ask(made, how, holds=windy, depart="2031-12-10T06:00-06:00")
    )
    left, _ = moments(run)
    # The lake lies at 36.1 N, 93 W; the almanac has civil dawn near 06:44 there on that day.
    assert sun_by_almanac(left, 36.14, -93.0)[1] >= -6.1
    assert left > dt.datetime.fromisoformat("2031-12-10T06:30-06:00")
    with pytest.raises(NothingFishable, match="dark"):
        ask(made, shortest_run, holds=windy, depart="2031-12-10T20:00-06:00")


@BOTH
def test_night_only_when_it_is_asked_for_and_with_its_cautions(made, how):
    said = []
    more = {"back_by": "23:30"} if how is day_plan else {}
    run = ask(made, how, said, depart="2031-05-17T20:30-05:00", night=True, **more)
    assert len(run.stops) - 2 >= 4
    assert any("lies in the dark" in text and "lights" in text for text in said)
    short = ask(made, how, depart="2031-05-17T19:30-05:00", **({"back_by": "23:30"} if more else {}))
    _, home = moments(short)
    assert sun_by_almanac(home, 36.14, -93.0)[1] >= -6.1


def test_a_run_through_the_change_of_the_clocks_is_told_by_the_new_one(made):
    # 8 March 2026: the clocks of Chicago go from 02:00 -06:00 to 03:00 -05:00.
    run = ask(
        made,
        shortest_run,
        depart="2026-03-08T01:30",
        time_zone="America/Chicago",
        night=True,
        at_each_s=1500.0,
    )
    for text in [*run.stops["arrive"], *run.stops["leave"]]:
        if text:
            moment = dt.datetime.fromisoformat(text)
            assert moment.utcoffset() == moment.astimezone(CHICAGO).utcoffset()
            assert not dt.time(2) <= moment.time() < dt.time(3)
    left, home = moments(run)
    assert left.utcoffset() == dt.timedelta(hours=-6)
    assert home.utcoffset() == dt.timedelta(hours=-5)
    for how, more in ((shortest_run, {}), (day_plan, {"back_by": "05:00"})):
        with pytest.raises(
            UsageError, match=r"which the clocks of America/Chicago skip; write 01:30 or 03:30"
        ):
            ask(made, how, depart="2026-03-08T02:30", time_zone="America/Chicago", night=True, **more)
    with pytest.raises(UsageError, match="skip"):
        ask(
            made,
            day_plan,
            depart="2026-03-08T01:00",
            back_by="02:30",
            time_zone="America/Chicago",
            night=True,
        )


@BOTH
def test_seas_over_the_limit_keep_a_leg_from_being_run(made, how):
    given = hourly(made, dict.fromkeys(range(24), 15.0), origin=0.0, wave_limit_m=1.0)
    free = ask(made, how, **given)
    # Wind from the north: a kilometre of fetch at the south ramp, far less off the north bank.
    tight = {"head_limit_m": 0.05, "beam_limit_m": 0.05, "following_limit_m": 0.05}
    assert len(free.stops) > 2
    with pytest.raises(NothingFishable, match=r"\d\d:\d\d.*seas up to"):
        ask(made, how, **given, **tight)
    late = {hour: 2.0 if hour < 8 else 15.0 for hour in range(24)}
    run = ask(made, how, **hourly(made, late, origin=0.0, wave_limit_m=1.0), **tight)
    assert moments(run)[1] <= dt.datetime.fromisoformat("2031-05-17T08:00-05:00")


def test_one_wind_whose_seas_are_too_high_on_every_way_is_refused(made):
    _, water, _, holds, _ = made
    windy = wind_exposure(holds, water, wind_from_deg=0.0, wind_speed_mps=8.0).places
    tight = {"head_limit_m": 0.02, "beam_limit_m": 0.02, "following_limit_m": 0.02}
    with pytest.raises(NothingFishable, match="seas up to"):
        ask(made, shortest_run, holds=windy, depart="", **tight)


def test_a_calm_day_is_the_shortest_run_by_the_clock_alone(made):
    by_clock = ask(made, shortest_run)
    calm = ask(made, shortest_run, **hourly(made, dict.fromkeys(range(24), 3.0)))
    assert list(calm.stops["spot_id"]) == list(by_clock.stops["spot_id"])
    assert list(calm.stops["arrive"]) == list(by_clock.stops["arrive"])


def test_hours_without_a_departure_are_refused(made):
    with pytest.raises(UsageError, match="without depart"):
        ask(made, shortest_run, depart="", **hourly(made, GALE))


def test_the_checker_finds_what_a_run_by_the_clock_alone_breaks(made):
    water = made[1]
    given = hourly(made, GALE)
    run = ask(made, shortest_run)
    hours = {
        dt.datetime.fromisoformat(f"2031-05-17T{hour:02d}:00-05:00"): (speed * MPH, float("nan"), 225.0)
        for hour, speed in GALE.items()
    }
    limits = {"wind": 8.9408, "gust": 11.176, "head": 0.6, "beam": 0.45, "following": 0.6}
    rows = given["verdicts"][["spot_id", "time", "fishable", "reason"]].itertuples(index=False)
    checker = Checker(
        shapely.union_all(water.geometry.to_numpy()),
        (X0 + 500.0, Y0 + 500.0),
        CRS,
        hours,
        limits,
        False,
        None,
        rows,
    )
    broken = checker.run(run.stops, run.legs)
    assert any(what.startswith("leg wind") for what, _, _ in broken)
    assert any(what.startswith("stop wind") for what, _, _ in broken)
    kept = ask(made, shortest_run, **given)
    assert checker.run(kept.stops, kept.legs) == []


def test_the_proof_looks_at_the_hours_too(made):
    lake, water, hazards, holds, _ = made
    given = hourly(made, GALE)
    layers = {"hazards": hazards, "zones": lake.zones, "ramps": lake.ramps}
    kept = ask(made, shortest_run, **given)
    proof = prove_run(kept.stops, kept.legs, holds, water, **layers, **given)
    assert len(proof) == len(kept.legs)
    by_clock = ask(made, shortest_run)
    prove_run(by_clock.stops, by_clock.legs, holds, water, **layers)
    with pytest.raises(NoSafeWay, match=r"wind of 15\.2 m/s"):
        prove_run(by_clock.stops, by_clock.legs, holds, water, **layers, **given)
    ends = dict.fromkeys(range(8), 5.0)
    with pytest.raises(NoSafeWay, match="the forecast says nothing"):
        prove_run(
            by_clock.stops, by_clock.legs, holds, water, **layers, exposure=hourly(made, ends)["exposure"]
        )
    shut = given["verdicts"].assign(fishable=0, reason="waves up to 0.9 m")
    with pytest.raises(NoSafeWay, match="its verdict forbids"):
        prove_run(kept.stops, kept.legs, holds, water, **layers, verdicts=shut)
    late = ask(made, shortest_run, depart="2031-05-17T19:30-05:00", night=True)
    with pytest.raises(NoSafeWay, match="in the dark"):
        prove_run(late.stops, late.legs, holds, water, **layers)
    prove_run(late.stops, late.legs, holds, water, **layers, night=True)


def test_counted_reasons_keep_their_words():
    wind = "wind 9.4 m/s (21.0 mph), Beaufort 5, 0.4 m/s (1.0 mph) over the limit"
    said = commonest([wind] * 3 + ["not on today's water, 12.1 m (39.7 ft) from it"])
    assert said == f"3 x wind over the limit ({wind}); 1 x not on today's water"


def test_a_plan_b_is_open_in_the_very_hour(made):
    run = ask(made, day_plan, **hourly(made, GALE))
    end = pd.Timestamp("2031-05-17T08:00-05:00")
    for spot, arrive in zip(run.stops["plan_b"], run.stops["arrive"], strict=True):
        if spot:
            assert pd.Timestamp(arrive) + pd.Timedelta(minutes=28) <= end


def test_a_limit_below_zero_is_refused(made):
    for how in (shortest_run, day_plan):
        with pytest.raises(CastshedError):
            ask(made, how, wind_limit_mps=-1.0)
    assert isinstance(made[3], gpd.GeoDataFrame)


def test_stops_done_are_counted_along_the_plan_that_keeps_its_hours(made):
    given = hourly(made, GALE)
    whole = ask(made, day_plan, **given)
    first = list(whole.stops["spot_id"])[1]
    again = ask(made, day_plan, done=["1"], at="06:45", **given)
    assert again.stops["spot_id"].iloc[0] == first
    assert moments(again)[1] <= dt.datetime.fromisoformat("2031-05-17T08:00-05:00")


def test_a_boat_quicker_than_planned_is_not_there_before_its_hour(made):
    lake, water, hazards, holds, _ = made
    # Dawn is at 06:49; a leg may be run from then on, but no hour that is not light all through allows a stop.
    given = hourly(made, dict.fromkeys(range(24), 5.0), date="2026-01-26")
    # A minute to get on plane is planned; without it the boat would come a minute before the stop is open.
    run = ask(made, day_plan, plane_s=60.0, depart="2026-01-26T06:00-06:00", back_by="10:00", **given)
    first = run.legs[run.legs["leg_no"] == 1]["time_s"].sum()
    left = dt.datetime.fromisoformat(run.stops["leave"].iloc[0])
    opens = dt.datetime.fromisoformat("2026-01-26T07:00-06:00")
    assert opens - dt.timedelta(minutes=5) < left < opens
    assert left + dt.timedelta(seconds=float(first)) >= opens - dt.timedelta(seconds=1)
    layers = {"hazards": hazards, "zones": lake.zones, "ramps": lake.ramps}
    prove_run(run.stops, run.legs, holds, water, **layers, **given)


def test_the_proof_looks_at_the_seas_on_the_legs(made):
    lake, water, hazards, holds, _ = made
    layers = {"hazards": hazards, "zones": lake.zones, "ramps": lake.ramps}
    by_clock = ask(made, shortest_run)
    given = hourly(made, dict.fromkeys(range(24), 8.0), wave_limit_m=9.0)
    prove_run(by_clock.stops, by_clock.legs, holds, water, **layers, **given)
    low = {"head_limit_m": 0.02, "beam_limit_m": 0.02, "following_limit_m": 0.02}
    with pytest.raises(NoSafeWay, match=r"leg \d+ meets (head|beam|following) seas of 0\.\d+ m"):
        prove_run(by_clock.stops, by_clock.legs, holds, water, **layers, **given, **low)
    # By the law of the Shore Protection Manual 3.6 m/s raise 0.065 m over 1.4 km, the lake from corner to corner.
    high = dict.fromkeys(low, 0.07)
    prove_run(by_clock.stops, by_clock.legs, holds, water, **layers, **given, **high)
    calm = hourly(made, dict.fromkeys(range(24), 0.2), wave_limit_m=9.0)
    prove_run(by_clock.stops, by_clock.legs, holds, water, **layers, **calm, **low)


def test_waves_slow_a_run_and_a_boat_that_none_slows_is_as_quick_as_by_the_clock_alone(made):
    given = hourly(made, dict.fromkeys(range(24), 8.0), wave_limit_m=9.0)
    told = ("0.05ft 40 50 60",)
    for how in (shortest_run, day_plan):
        quick = ask(made, how, **given, wave_speeds=("none",))
        slow = ask(made, how, **given, wave_speeds=told)
        by_leg = [run.legs.groupby("leg_no")["time_s"].sum() for run in (quick, slow)]
        length = [run.legs.groupby("leg_no")["distance_m"].sum() for run in (quick, slow)]
        assert by_leg[1].sum() / length[1].sum() > 1.2 * by_leg[0].sum() / length[0].sum()
        arrive, leave = (
            [pd.Timestamp(t) if t else None for t in slow.stops[name]] for name in ("arrive", "leave")
        )
        for leg, takes in by_leg[1].items():
            assert (arrive[leg] - leave[leg - 1]).total_seconds() >= takes - 1.0
    assert "what the waves cost" in set(slow.answers["question"])


def told_of(run):
    return dict(zip(run.answers["question"], run.answers["answer"], strict=True))


def stops_of(run):
    return set(run.stops["spot_id"]) - {""} if run is not None else set()


def test_what_would_buy_one_more_stop_is_what_such_a_day_gives(made):
    # A gale from 08:00 on: nobody gains by coming home later, and by an earlier start what half an hour holds.
    given = hourly(made, GALE)
    run = ask(made, day_plan, **given, depart="2031-05-17T06:45-05:00")
    told = told_of(run)["one more stop"]
    assert "half an hour later home: none" in told
    sooner = ask(made, day_plan, **given, depart="2031-05-17T06:15-05:00")
    gained = len(sooner.stops) - len(run.stops)
    assert gained > 0
    assert f"half an hour earlier out: {gained} stop" in told
    for name in set(sooner.stops["name"]) - set(run.stops["name"]):
        assert name in told
    # A steady day that is too short: half an hour more at either end does the same.
    late = {"depart": "2031-05-17T07:00-05:00"}
    short = ask(made, day_plan, back_by="08:30", **late)
    longer = ask(made, day_plan, back_by="09:00", **late)
    gained = len(longer.stops) - len(short.stops)
    assert gained > 0
    assert f"half an hour later home: {gained} stop" in told_of(short)["one more stop"]
    assert f"half an hour earlier out: {gained} stop" in told_of(short)["one more stop"]
    assert "wave limit" not in told_of(short)["one more stop"]


def test_a_wider_wave_limit_buys_what_a_day_with_it_gives(made):
    # Waves of some stops lie between the limit and a quarter above it.
    winds = dict.fromkeys(range(24), 14.0)
    high = hourly(made, winds)["exposure"]["wave_high_m"]
    limit = float(high.max()) / 1.2
    seas = {"head_limit_m": 9.0, "beam_limit_m": 9.0, "following_limit_m": 9.0}
    run = ask(made, day_plan, **hourly(made, winds, wave_limit_m=limit), **seas)
    wide = ask(made, day_plan, **hourly(made, winds, wave_limit_m=1.25 * limit), **seas)
    gained = len(wide.stops) - len(run.stops)
    assert gained > 0
    assert f"a wave limit wider by a quarter: {gained} stop" in told_of(run)["one more stop"]
    # Legs as well: where the seas on the ways alone are in the way.
    given = hourly(made, winds, wave_limit_m=9.0)
    least = float(hourly(made, winds, wave_limit_m=9.0)["exposure"]["wave_high_m"].max()) / 1.15
    run, wide = (
        ask(made, day_plan, **given, **dict.fromkeys(seas, limit)) for limit in (least, 1.25 * least)
    )
    gained = len(wide.stops) - len(run.stops)
    if gained > 0:
        assert f"a wave limit wider by a quarter: {gained} stop" in told_of(run)["one more stop"]


def test_when_to_turn_home_is_before_what_shuts_the_way(made):
    run = ask(made, day_plan, **hourly(made, GALE))
    told = told_of(run)["turn home"]
    last = run.stops.iloc[-2]
    assert f"leave {last['name']} by {last['turn_back'][11:16]} at the latest" in told
    assert "08:00-12:00 wind 15.2 m/s" in told
    takes = run.legs[run.legs["leg_no"] == run.legs["leg_no"].max()]["time_s"].sum()
    back = dt.datetime.fromisoformat(last["turn_back"]) + dt.timedelta(seconds=float(takes))
    assert abs((back - dt.datetime.fromisoformat("2031-05-17T08:00-05:00")).total_seconds()) < 90.0


@pytest.mark.long
def test_a_gale_at_noon_leaves_every_stop_two_windows_of_a_searched_day(made, monkeypatch):
    monkeypatch.setattr(day_search, "MOST_STOPS", 2)
    winds = {hour: 34.0 if hour in (9, 10) else 5.0 for hour in range(24)}
    run = ask(made, day_plan, **hourly(made, winds), back_by="14:00")
    gale = [dt.datetime.fromisoformat(f"2031-05-17T{hour}:00-05:00") for hour in ("09", "11")]
    for arrive, leave in zip(run.stops["arrive"].iloc[1:-1], run.stops["leave"].iloc[1:-1], strict=True):
        came, left = dt.datetime.fromisoformat(arrive), dt.datetime.fromisoformat(leave)
        assert left <= gale[0] or came >= gale[1]
    assert "what the hours cost" in told_of(run) or len(run.stops) - 2 == len(POINTS)
