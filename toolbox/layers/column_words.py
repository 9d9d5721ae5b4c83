"""What the layers and columns of a plan say, kept in its GeoPackage as the schema extension of the standard asks.

OGC 12-128r19 (GeoPackage 1.4), annex F.9: table ``gpkg_data_columns``. Other programs show title and description beside
a column; its name tells the unit as it does everywhere here.
"""

from __future__ import annotations

import contextlib
import sqlite3
from collections.abc import Iterable
from pathlib import Path
from typing import Final

LAYERS: Final[dict[str, str]] = {
    "shoreline": "Water's edge at chart datum, the level the charted depths refer to.",
    "water": "Water at today's level.",
    "depth_bands": "Today's water by depth.",
    "depth_today": "Depth below today's surface in metres, positive down; no value: not known.",
    "isobaths": "Lines of equal depth below today's surface.",
    "dry_ground": "Ground within the shoreline that stands out of today's water.",
    "shallow_hazards": "Where the boat has too little water, errors counted: to run on plane, or even at idle.",
    "known_hazards": "Charted hazards, as the lake's own layers name them.",
    "zones": "Zones with a rule: slow, no_entry, no_motor.",
    "ramps": "Ramps.",
    "spots": "Spots and structures with today's verdict.",
    "cast_reach": "Water from which each spot is within a cast.",
    "holds": "Where the boat sits for each spot, and why.",
    "cast_lines": "From each hold to the point that is cast to.",
    "stops": "Stops of the run in order, ramps included.",
    "legs": "The run as it was found and proved, by pieces: run, idle, launch.",
    "route": "The run with few turns, as a device follows it, proved like the legs.",
    "left_out": "Spots the run does not stop at, and why.",
    "set_aside": "Rows of lists that could not be used, and why.",
    "gathered_from": "Where the spots came from.",
    "verdicts": "Whether each spot can be fished, by the hour.",
    "exposure": "Wind and waves at each place, by the hour.",
    "answers": "Questions about the day, answered.",
    "contradictions": "Where contours and soundings contradict each other.",
}

_TRUE: Final = "degrees clockwise from true north"
COLUMNS: Final[dict[str, str]] = {
    "age_years": "Years since cover was placed.",
    "answer": "Answer.",
    "area_m2": "Area in square metres.",
    "arrive": "Time of arrival, with its zone.",
    "bank": "Bank it lies under in this wind: lee, windward or open.",
    "care": "What the water is too thin for: run (on plane) or idle.",
    "cast_bearing_deg": f"Bearing of the cast, boat to spot, {_TRUE}.",
    "cast_m": "Length of the cast in metres.",
    "cause": "What makes it a hazard.",
    "day": "Day it was gathered.",
    "deep_bearing_deg": f"Bearing to the deeper water, {_TRUE}; empty where no side is clearly deeper.",
    "depth_error_m": "How far the depth may be off either way in metres (95 %).",
    "depth_m": "Depth below chart datum in metres, positive down; of isobaths, below today's surface.",
    "depth_least_m": "Least depth a list names, in metres below chart datum.",
    "depth_most_m": "Greatest depth a list names, in metres below chart datum.",
    "depth_text": "Depth as the list writes it.",
    "depth_today_m": "Depth below today's surface in metres.",
    "directionality": "How clear the deep side is, 0 to 1.",
    "distance_m": "Length in metres.",
    "fetch_depth_m": "Mean depth along the fetch in metres.",
    "fetch_m": "Open water upwind in metres.",
    "fishable": "1 where the spot can be fished today, else 0.",
    "from_id": "Stop it leads from.",
    "from_m": "Upper limit of the band in metres below today's surface.",
    "gust_mps": "Gusts in metres a second.",
    "hazard_at_m": "How far along the piece the nearest hazard is passed, in metres.",
    "hazard_side": "Side on which the nearest hazard is passed: port, starboard, ahead or astern.",
    "height_m": "How far it stands off the bottom in metres.",
    "hold_no": "Number of the hold of a spot; 0: none.",
    "hours": "Hours in which it can be fished.",
    "kind": "Kind of spot, structure or hazard.",
    "least_depth_m": "Least depth there today in metres.",
    "leave": "Time of departure, with its zone.",
    "leg_no": "Number of the leg: from one stop to the next.",
    "level_m": "Today's surface minus chart datum in metres.",
    "margin_m": "Water to spare in metres.",
    "marginal": "1 where the verdict hangs on less than the errors.",
    "min_clearance_m": "Least distance to what is kept off, in metres, from the middle of the boat.",
    "min_depth_m": "Least depth today along it in metres.",
    "min_level_m": "Level down to which the ramp can be used, in metres from chart datum.",
    "name": "Name.",
    "nearest_hazard": "What is passed nearest.",
    "needed_depth_m": "Depth the boat needs there in metres, errors counted.",
    "note": "Note of a list.",
    "part": "How the piece is run: run (on plane), idle, launch.",
    "period_s": "Peak period of the waves in seconds.",
    "place": "Place in degrees and minutes of WGS84.",
    "position_error_m": "How far the mark may be off in metres (95 %).",
    "question": "Question.",
    "radius_m": "Radius to keep off in metres.",
    "rating": "Rating, 0 to 5.",
    "reason": "Why it is so.",
    "remark": "What was repaired in the row of a list.",
    "run_note": "Why the run does not stop there.",
    "search_radius_m": "How far off spot and boat may lie together, in metres.",
    "slow_m": "Length within slow zones in metres.",
    "source": "List it came from.",
    "speed_mps": "Greatest speed allowed in metres a second.",
    "spot_id": "Id of the spot.",
    "status": "ok, or none where there is none.",
    "stop_no": "Number of the stop in order; 0: the ramp it starts from, -1: no stop.",
    "surveyed": "When it was surveyed.",
    "time": "Hour, with its zone.",
    "time_s": "Time it takes in seconds.",
    "to_id": "Stop it leads to.",
    "to_m": "Lower limit of the band in metres below today's surface; empty: none.",
    "top_depth_m": "Depth of its top below chart datum in metres.",
    "top_today_m": "Depth of its top below today's surface in metres.",
    "turns": "Turns within the piece.",
    "wave_from_deg": f"Where the waves come from, {_TRUE}.",
    "wave_high_m": "Greatest wave height of all methods in metres.",
    "wave_low_m": "Least wave height of all methods in metres.",
    "wave_m": "Significant wave height in metres.",
    "wave_method": "Published method of the wave height.",
    "wind_angle_deg": "Angle between the cast and where the wind comes from, 0 straight into it, 180 with it.",
    "wind_from_deg": f"Where the wind comes from, {_TRUE}.",
    "wind_mps": "Wind at 10 m in metres a second.",
    "zone": "Rule of the zone: slow, no_entry or no_motor.",
}
"""What a column says; columns of one name say the same in every layer."""

_TABLES: Final = """
CREATE TABLE IF NOT EXISTS gpkg_data_columns (
  table_name TEXT NOT NULL, column_name TEXT NOT NULL, name TEXT, title TEXT, description TEXT, mime_type TEXT,
  constraint_name TEXT, CONSTRAINT pk_gdc PRIMARY KEY (table_name, column_name),
  CONSTRAINT gdc_tn UNIQUE (table_name, name));
CREATE TABLE IF NOT EXISTS gpkg_data_column_constraints (
  constraint_name TEXT NOT NULL, constraint_type TEXT NOT NULL, value TEXT, min NUMERIC, min_is_inclusive BOOLEAN,
  max NUMERIC, max_is_inclusive BOOLEAN, description TEXT,
  CONSTRAINT gdcc_ntv UNIQUE (constraint_name, constraint_type, value));
"""


def _title(column: str) -> str:
    """Name a column for people: without its unit, which the description tells.

    Examples
    --------
    >>> _title("depth_today_m"), _title("to_id")
    ('Depth today', 'To id')
    """
    for unit in ("_m2", "_mps", "_deg", "_m", "_s"):
        if column.endswith(unit) and len(column) > len(unit) + 1:
            column = column.removesuffix(unit)
            break
    return column.replace("_", " ").capitalize()


def write_column_words(path: Path, names: Iterable[str]) -> None:
    """Keep in a GeoPackage what the columns of some of its layers say.

    Parameters
    ----------
    path
        The GeoPackage.
    names
        Layers in it; columns without a known meaning are left out.
    """
    with contextlib.closing(sqlite3.connect(path)) as db, db:
        db.executescript("BEGIN;" + _TABLES)
        for table in ("gpkg_data_columns", "gpkg_data_column_constraints"):
            db.execute(
                "INSERT OR IGNORE INTO gpkg_extensions SELECT ?, NULL, 'gpkg_schema', "
                "'http://www.geopackage.org/spec140/#extension_schema', 'read-write' WHERE NOT EXISTS "
                "(SELECT 1 FROM gpkg_extensions WHERE table_name = ? AND extension_name = 'gpkg_schema')",
                (table, table),
            )
        for name in names:
            there = [str(row[1]) for row in db.execute("SELECT * FROM pragma_table_info(?)", (name,))]
            db.execute("DELETE FROM gpkg_data_columns WHERE table_name = ?", (name,))
            db.executemany(
                "INSERT INTO gpkg_data_columns (table_name, column_name, name, title, description) "
                "VALUES (?, ?, ?, ?, ?)",
                [
                    (name, column, column, _title(column), COLUMNS[column])
                    for column in there
                    if column in COLUMNS
                ],
            )
