"""Layers that came of a search: known by name and by columns, named and described for people."""

from __future__ import annotations

import math
import typing

import geopandas as gpd
import pytest
from shapely.geometry import Point

from castshed.toolbox import parameters
from castshed.toolbox.output.words.features import features_of
from castshed.toolbox.output.words.names import role_of, title
from castshed.toolbox.output.words.row_words import describe

# parts of a plan and the contract of the algorithm that makes them
MADE = {
    "hold_lines": parameters.HoldLines,
    "line_ups": parameters.LineUps,
    "fixes": parameters.Fixes,
    "structure": parameters.Structure,
    "ways": parameters.WaysBetween,
    "safe_water": parameters.SafeWaterAreas,
    "verdicts": parameters.HourVerdicts,
    "exposure": parameters.HourlyExposure,
    "answers": parameters.Answers,
    "gathered_from": parameters.GatheredFrom,
    "landmarks": parameters.Landmarks,
    "holds": parameters.Holds,
    "cast_lines": parameters.CastLines,
    "cast_reach": parameters.CastReach,
    "stops": parameters.Stops,
    "legs": parameters.Legs,
    "shallow_hazards": parameters.ShallowHazards,
    "zones": parameters.Zones,
}
ROWS = {
    "hold_lines": {"spot_id": "B1", "line_no": 2, "length_m": 60.96, "headings": "045", "cast_side": "port", "cast_m": 18.288,
                   "least_depth_m": 3.048, "most_depth_m": 6.096, "deep_bearing_deg": 135.0, "reason": "clear all the way"},
    "line_ups": {"spot_id": "B1", "hold_no": 1, "range_no": 1, "landmark_id": "L1", "words": "water tower over the barn",
                 "bearing_deg": 271.4, "distance_m": 1609.344, "error_m": 6.096, "crossing_deg": 80.0},
    "fixes": {"spot_id": "B1", "hold_no": 1, "status": "ok", "reason": "", "words": "two ranges", "ranges": 2, "error_m": 9.144,
              "bank_m": 91.44, "bank_bearing_deg": 90.0, "bank_mark": "leaning pine"},
    "structure": {"spot_id": "F1", "name": "", "kind": "hump", "rank": 1, "confidence": 0.8, "description": "Hump off the bend",
                  "top_today_m": 1.524, "base_today_m": 4.572, "depth_m": 5.0, "slope_deg": 12.0, "deep_bearing_deg": 200.0},
    "ways": {"from_id": "R1", "to_id": "B1", "distance_m": 3218.688, "idle_m": 152.4, "slow_m": 0.0, "time_s": 300.0},
    "safe_water": {"care": "idle", "area_m2": 1.0},
    "verdicts": {"spot_id": "B1", "time": "2031-05-03T09:00:00-05:00", "fishable": 0, "reason": "waves too high", "margin_m": -0.1,
                 "marginal": 1},
    "exposure": {"spot_id": "B1", "time": "2031-05-03T09:00:00-05:00", "fetch_m": 1609.344, "wave_m": 0.12192, "wave_low_m": 0.1,
                 "wave_high_m": 0.15, "wind_mps": 4.4704, "wind_from_deg": 225.0, "gust_mps": 8.9408},
    "answers": {"question": "What does half an hour less cost?", "answer": "One stop"},
    "gathered_from": {"source": "own.csv", "day": "2031-05-03", "rows": 40, "kept": 38, "set_aside": 2, "noticed": "2 rows set aside."},
    "landmarks": {"landmark_id": "L1", "name": "", "kind": "water_tower", "height_m": 30.48},
}  # fmt: skip
# feet are 0.3048 m, miles 1609.344 m, by definition: the figures of the rows are round in them
SAID = {
    "hold_lines": ("Follow this line for 200 ft (61 m), heading 045.", "Cast 60 ft (18 m) to port.", "10.0 ft (3.0 m) to 20.0 ft (6.1 m) deep today", "135°"),
    "line_ups": ("Water tower over the barn.", "bears 271°, 1.00 mi (1.61 km) away", "about 20 ft (6 m)", "at 80°"),
    "fixes": ("Two ranges.", "about 30 ft (9 m)", "Bank 300 ft (91 m) off at 090°, leaning pine above it."),
    "structure": ("Hump off the bend.", "From 5.0 ft (1.5 m) to 15.0 ft (4.6 m) down today.", "Deep side 200°", "confidence 0.80 of 1"),
    "ways": ("Safe way from R1 to B1.", "2.00 mi (3.22 km), 5 min.", "500 ft (152 m) of it at idle."),
    "safe_water": ("deep enough at idle by the estimate", "keep a lookout"),
    "verdicts": ("Left out at 09:00.", "Only just", "waves too high."),
    "exposure": ("At 09:00:", "Wind 10 mph (4.5 m/s) from 225°.", "0.4 ft (0.12 m)", "an estimate", "Gusts 20 mph", "Open water upwind 1.00 mi"),
    "answers": ("What does half an hour less cost?", "One stop."),
    "gathered_from": ("Gathered on 2031-05-03: 38 of 40 rows are in the book.", "2 rows set aside."),
    "landmarks": ("Water tower.", "Stands 100.0 ft (30.5 m) high."),
}  # fmt: skip
TITLES = {
    "hold_lines": "Old hump hold line 2",
    "line_ups": "Old hump: water tower over the barn",
    "fixes": "Old hump marks",
    "structure": "F1",
    "ways": "way R1 to B1",
    "safe_water": "safe water idle",
    "verdicts": "Old hump 2031-05-03 09:00",
    "exposure": "Old hump 2031-05-03 09:00",
    "answers": "What does half an hour less cost?",
    "gathered_from": "own.csv",
    "landmarks": "L1",
}


@pytest.mark.parametrize("part", MADE)
def test_a_layer_with_the_columns_of_its_contract_is_known_whatever_it_is_called(part):
    marker = typing.get_args(MADE[part])[1]
    columns = [column.name for column in marker.needs] + ([marker.id] if marker.id else [])
    frame = gpd.GeoDataFrame({name: [] for name in columns}, geometry=[], crs=32615)
    assert role_of(part, frame) == part
    assert role_of("something else", frame) == part


@pytest.mark.parametrize("part", ROWS)
def test_a_row_is_described_in_both_unit_systems(part):
    said = " ".join(describe(part, ROWS[part], -1.2192))
    assert [wanted for wanted in SAID[part] if wanted not in said] == []
    assert "nan" not in said


@pytest.mark.parametrize("part", ROWS)
def test_a_row_is_named_for_people(part):
    assert title(part, ROWS[part], {"B1": "Old hump"}, 1) == TITLES[part]


@pytest.mark.parametrize("part", ROWS)
def test_a_row_with_nothing_but_gaps_still_has_a_name_and_no_nan(part):
    gaps = {column: None if isinstance(value, str) else math.nan for column, value in ROWS[part].items()}
    name, said = title(part, gaps, {}, 7), " ".join(describe(part, gaps, None))
    assert name.strip()
    assert "nan" not in (name + said).lower()
    assert "None" not in name + said


def test_structure_says_nothing_twice():
    said = describe("structure", ROWS["structure"], -1.2192)
    assert len(said) == len(set(said))
    assert any(line.startswith("Bottom ") for line in said)


def test_hourly_rows_have_keys_of_place_and_hour():
    rows = [{**ROWS["verdicts"], "time": f"2031-05-03T{hour:02d}:00:00-05:00"} for hour in (9, 10)]
    frame = gpd.GeoDataFrame(rows, geometry=[Point(480_000, 4_100_000)] * 2, crs=32615)
    assert [f.key for f in features_of({"verdicts": frame})] == [
        "verdicts/B1/2031-05-03T09:00:00-05:00",
        "verdicts/B1/2031-05-03T10:00:00-05:00",
    ]
