"""A run proved by its own command: what holds is measured, what does not is refused, whoever changed it."""

import numpy as np
import pytest
import shapely

import in_process
from castshed.algorithms.prove_run import prove_run
from castshed.toolbox.errors import DataError, NoSafeWay
from castshed.toolbox.layers import list_layers, write_layers
from castshed.toolbox.testing import check_algorithm


@pytest.fixture
def day(chain_made):
    return chain_made


def prove(day, **changes):
    given = {"stops": day.run.stops, "legs": day.run.legs, "holds": day.holds} | changes
    options = {k: given.pop(k) for k in list(given) if k not in ("stops", "legs", "holds")}
    return prove_run(*given.values(), day.today.water, **(day.around | {"spots": day.spots} | options))


def test_a_sound_run_is_proved_and_what_it_has_to_spare_is_told(day):
    run = (day.run.stops, day.run.legs, day.holds, day.today.water)
    proof = check_algorithm(prove_run, *run, rows="spots", spots=day.spots, **day.around)
    assert len(proof) == len(day.run.legs)
    running = proof[proof["part"] == "run"]
    assert len(running) > 2
    # half of 8 ft, 10 ft, and 20 ft of clearance
    assert running["needed_clearance_m"].to_numpy() == pytest.approx(34 * 0.3048, abs=1e-9)
    # 36 in to run and 18 in of margin, with 0.1 m of depth error and 4 in of level error
    assert running["needed_depth_m"].to_numpy() == pytest.approx(
        54 * 0.0254 + np.hypot(0.1, 4 * 0.0254), abs=1e-9
    )
    assert (running["clearance_m"] >= running["needed_clearance_m"] - 1e-6).all()
    assert (running["least_depth_m"] >= running["needed_depth_m"]).all()
    # measured against shapely: the nearest edge of the water and the nearest hazard
    edges = [
        *day.today.water.boundary,
        *day.hazards.geometry,
        *day.zones[day.zones["zone"] != "slow"].geometry,
    ]
    for row in running.itertuples():
        assert row.clearance_m == pytest.approx(min(shapely.distance(row.geometry, edges)), abs=1e-6)


def changed(frame, row, **cells):
    made = frame.copy()
    for column, value in cells.items():
        made.loc[made.index[row], column] = value
    return made


def swapped(stops):
    return changed(changed(stops, 1, stop_no=stops["stop_no"].iloc[2]), 2, stop_no=stops["stop_no"].iloc[1])


def bent(legs, through):
    row = int(np.flatnonzero(legs["part"] == "run")[1])
    line = legs.geometry.iloc[row]
    made = legs.copy()
    way = shapely.LineString([line.coords[0], through, line.coords[-1]])
    made.loc[made.index[row], "geometry"] = way
    made.loc[made.index[row], "distance_m"] = way.length
    return made


@pytest.mark.parametrize(
    ("change", "says"),
    [
        (
            lambda k: {"legs": bent(k.run.legs, (500_650.0, 4_000_650.0))},
            "leaves today's water",
        ),  # over the island
        (lambda k: {"legs": bent(k.run.legs, (500_400.0, 4_000_700.0))}, "hazard"),  # over the shoal
        (lambda k: {"legs": bent(k.run.legs, (500_930.0, 4_000_930.0))}, "zone"),  # into the closed corner
        (lambda k: {"legs": k.run.legs.drop(index=k.run.legs.index[2])}, "does not begin where"),
        (lambda k: {"legs": changed(k.run.legs, 1, distance_m=1.0)}, "1 m is stated"),
        (lambda k: {"stops": swapped(k.run.stops)}, "leads to"),
        (lambda k: {"holds": k.holds.assign(geometry=k.holds.translate(2.0))}, "is not where the leg"),
        (lambda k: {"holds": k.holds.assign(status="none")}, "no hold that could be checked"),
        (lambda k: {"clearance_m": 60.0}, "must be kept"),
        (lambda k: {"running_depth_m": 3.0}, "is needed"),
        (lambda k: {"depth_error_m": 2.0}, "is needed"),
    ],
)
def test_a_changed_run_that_breaks_a_rule_is_refused_by_what_it_breaks(day, change, says):
    with pytest.raises(NoSafeWay, match=says):
        prove(day, **change(day))


def test_a_run_is_not_proved_at_another_level_than_its_own(day):
    with pytest.raises(DataError, match=r"-3 m .* was made at a level of -0.3048 m"):
        prove(day, level_m=-3.0)


def test_a_stop_nothing_leads_to_is_a_fault(day):
    import pandas as pd

    extra = day.run.stops.iloc[[1]].assign(stop_no=99, spot_id="nowhere")
    stops = pd.concat([day.run.stops.iloc[:-1], extra, day.run.stops.iloc[[-1]].assign(stop_no=100)])
    with pytest.raises(NoSafeWay, match="nowhere"):
        prove(day, stops=stops)


def test_of_several_holds_of_a_spot_the_one_the_run_stops_at_is_proved(day):
    import pandas as pd

    other = day.holds.assign(hold_no=2, geometry=day.holds.translate(0.0, 9.0))
    assert len(prove(day, holds=pd.concat([other, day.holds], ignore_index=True))) == len(day.run.legs)


def test_a_run_without_stops_is_refused(day):
    with pytest.raises(DataError, match="stops has no row"):
        prove(day, stops=day.run.stops.iloc[:0])


def test_the_command_ends_with_5_and_writes_nothing(day, tmp_path):
    legs = bent(day.run.legs, (500_650.0, 4_000_650.0))
    layers = {"stops": day.run.stops, "legs": legs, "holds": day.holds, "water": day.today.water}
    write_layers(tmp_path / "day.gpkg", layers)
    done = in_process.castshed("prove-run", *["day.gpkg"] * 4, "--out", "day.gpkg:proof", cwd=tmp_path)
    assert done.returncode == 5, done.stderr
    assert "leaves today's water" in done.stderr
    assert set(list_layers(tmp_path / "day.gpkg")) == set(layers)
