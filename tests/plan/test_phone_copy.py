"""The copy for a phone: small, the run whole, hazards never smaller than they are and water never wider."""

from __future__ import annotations

from xml.etree import ElementTree as ET

import numpy as np
import shapely

from castshed.toolbox.layers.reading import read_layer
from castshed.toolbox.plan import plan_folder as place
from castshed.toolbox.plan.plan_folder import phone_copy

KML = "{http://www.opengis.net/kml/2.2}"
NAMES = (
    "stops", "legs", "holds", "cast_lines", "spots", "ramps", "shallow_hazards", "zones", "water", "left_out", "cast_reach",
    "depth_bands", "dry_ground",
)  # fmt: skip


def of_day(home):
    return {name: read_layer(f"{home / 'my_day' / 'plan.gpkg'}:{name}") for name in NAMES}


def test_hazards_only_grow_and_water_only_shrinks_and_neither_by_much(planned_demo_day):
    plan = of_day(planned_demo_day)
    made, by_m = phone_copy(plan)
    assert by_m in place._TOLERANCES_M
    for name, less, more in (("shallow_hazards", plan, made), ("water", made, plan)):
        small, large = (one[name].geometry.union_all() for one in (less, more))
        assert shapely.area(shapely.difference(small, large)) < 1e-6
        # a place of the larger is at most two tolerances, and what a mitre adds to a sharp corner, off the smaller
        corners = shapely.points(shapely.get_coordinates(large))
        assert np.quantile(shapely.distance(corners, small), 0.99) < 2.5 * by_m
    for name in ("stops", "legs", "ramps", "zones"):
        assert made[name].geometry.equals(plan[name].geometry)
    chosen = set(plan["stops"]["spot_id"])
    assert (
        set(made["holds"]["spot_id"])
        == chosen & set(plan["holds"]["spot_id"])
        < set(plan["holds"]["spot_id"])
    )


def test_a_lake_of_few_points_stays_as_it_is(planned_demo_day):
    plan = of_day(planned_demo_day)
    part = shapely.box(*shapely.buffer(plan["stops"].geometry.iloc[0], 400.0).bounds)
    plan = plan | {name: plan[name].clip(part) for name in ("shallow_hazards", "water", "cast_reach")}
    made, by_m = phone_copy(plan)
    assert by_m == 0.0
    assert made["shallow_hazards"].geometry.equals(plan["shallow_hazards"].geometry)


def test_the_file_of_the_demo_day_is_small_and_shows_the_run_first(planned_demo_day):
    content = (planned_demo_day / "my_day" / "plan.kml").read_bytes()
    assert len(content) < 1_000_000
    folders = ET.fromstring(content).findall(f"{KML}Document/{KML}Folder")
    shown = [one.findtext(f"{KML}name") for one in folders if one.findtext(f"{KML}visibility") == "1"]
    assert shown[:2] == ["stops", "legs"]
    assert not {"left out", "cast reach", "depth bands"} & set(shown)
    marks = {one.findtext(f"{KML}name"): len(one.findall(f"{KML}Placemark")) for one in folders}
    assert marks["holds"] == marks["spots"] == marks["stops"] - 2  # a ramp at either end
