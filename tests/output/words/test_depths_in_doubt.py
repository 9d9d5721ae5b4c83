"""How far a depth may be off is told beside it in every file, on the map's table and on the cards of the sheet."""

from castshed.algorithms.export import export
from castshed.toolbox.output.maps.chart_table import stop_table
from castshed.toolbox.output.maps.plan_facts import legs_of, stops_of

FOOT = 0.3048


def told(plan):
    holds = plan["holds"].assign(depth_today_m=8.2 * FOOT, depth_error_m=2.0 * FOOT)
    return {**plan, "holds": holds, "legs": plan["legs"].assign(min_depth_m=2.4, min_depth_error_m=0.31)}


def test_files_say_depth_and_error(plan):
    files = export(told(plan), formats=["gpx", "kml", "geojson", "csv"], level_m=0.0)
    for name in ("run.gpx", "plan.kml", "plan.geojson", "plan-holds.csv"):
        text = files[name].decode("utf-8-sig")
        assert "Boat in 8.2 ft, 2.0 either way (2.5 m, 0.7 either way) of water today." in text, name
    assert "depth_error_m" in files["plan-holds.csv"].decode().splitlines()[0]
    # 0.31 m is 1.02 ft: an error is never rounded down
    assert (
        "Least depth today 7.9 ft, 1.1 either way (2.4 m, 0.4 either way)." in files["plan-legs.csv"].decode()
    )


def test_cards_and_the_table_of_the_map_say_it_too(plan):
    frames = told(plan)
    stop = next(one for one in stops_of(frames, metric=False) if not one.ramp)
    assert stop.hold == "8.2 ft, 2.0 either way (2.5 m, 0.7 either way)"
    table = stop_table(frames, metric_first=False)
    assert ("Hold depth", "ft (m), ± either way") in table.heads
    assert "8.2 ± 2.0 (2.5)" in {row[4] for row in table.rows}
    assert "2.5 ± 0.7 (8.2)" in {row[4] for row in stop_table(frames, metric_first=True).rows}
    assert ("Hold depth", "ft (m)") in stop_table(plan, metric_first=False).heads


def test_a_leg_of_several_pieces_tells_what_may_be_counted_on_anywhere(plan):
    legs = plan["legs"]
    first = legs["leg_no"] == legs["leg_no"].iloc[0]
    # the thinnest piece is sure, the other may have as little as 3.0 - 2.0 m
    legs = legs.assign(
        min_depth_m=[2.0 if part == "idle" else 3.0 for part in legs["part"]],
        min_depth_error_m=[0.1 if part == "idle" else 2.0 for part in legs["part"]],
    )
    assert first.sum() == 2
    assert legs_of({**plan, "legs": legs}, {}, metric=True)[0].depth.startswith("2.0 m, 1.0 either way")
