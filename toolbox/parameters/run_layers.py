"""The layers of a run and of its holds: where to lie, ways, stops, legs, the proof, and what was left out."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

from .markers import LINE, POINT, POLYGON, Column, Layer

if TYPE_CHECKING:
    from geopandas import GeoDataFrame as Frame
else:  # at run time the plain type plays no part
    Frame = object

WaysBetween = Annotated[
    Frame,
    Layer(
        "ways",
        LINE,
        needs=(
            Column("from_id", "text"),
            Column("to_id", "text"),
            Column("distance_m"),
            Column("idle_m"),
            Column("slow_m"),
            Column("time_s"),
        ),
    ),
]
Stops = Annotated[
    Frame,
    Layer(
        "stops",
        POINT,
        needs=(
            Column("stop_no"),
            Column("spot_id", "text"),
            Column("name", "text", gaps=True),
            Column("arrive", "text", gaps=True),
            Column("leave", "text", gaps=True),
            Column("wind_mps", gaps=True),
            Column("wave_m", gaps=True),
            Column("reason", "text", gaps=True),
        ),
    ),
]
Legs = Annotated[
    Frame,
    Layer(
        "legs",
        LINE,
        needs=(
            Column("leg_no"),
            Column("part", "text"),
            Column("from_id", "text"),
            Column("to_id", "text"),
            Column("distance_m"),
            Column("slow_m"),
            Column("min_depth_m", gaps=True),
            Column("min_clearance_m", gaps=True),
            Column("time_s"),
        ),
        optional=(
            Column("nearest_hazard", "text", gaps=True),
            Column("hazard_side", "text", gaps=True),
            Column("hazard_at_m", gaps=True),
        ),
    ),
]
Proof = Annotated[
    Frame,
    Layer(
        "proof",
        LINE,
        needs=(
            Column("leg_no"),
            Column("part", "text"),
            Column("from_id", "text"),
            Column("to_id", "text"),
            Column("distance_m"),
            Column("clearance_m", gaps=True),
            Column("needed_clearance_m", gaps=True),
            Column("least_depth_m", gaps=True),
            Column("needed_depth_m", gaps=True),
        ),
    ),
]
LeftOut = Annotated[
    Frame,
    Layer(
        "left_out",
        POINT,
        needs=(
            Column("spot_id", "text"),
            Column("name", "text", gaps=True),
            Column("reason", "text"),
        ),
    ),
]
Answers = Annotated[
    Frame,
    Layer("answers", POINT, needs=(Column("question", "text"), Column("answer", "text"))),
]


CastReach = Annotated[
    Frame,
    Layer(
        "cast_reach",
        POLYGON,
        "spot_id",
        needs=(
            Column("status", "text"),
            Column("reason", "text"),
            Column("area_m2"),
        ),
    ),
]
Holds = Annotated[
    Frame,
    Layer(
        "holds",
        POINT,
        needs=(
            Column("spot_id", "text"),
            Column("hold_no"),
            Column("status", "text"),
            Column("reason", "text"),
            Column("depth_today_m", gaps=True),
            Column("cast_m", gaps=True),
            Column("cast_bearing_deg", gaps=True),
            Column("deep_bearing_deg", gaps=True),
            Column("wind_angle_deg", gaps=True),
        ),
    ),
]
CastLines = Annotated[
    Frame,
    Layer(
        "cast_lines",
        LINE,
        needs=(
            Column("spot_id", "text"),
            Column("hold_no"),
            Column("cast_m"),
            Column("cast_bearing_deg"),
        ),
    ),
]
HoldLines = Annotated[
    Frame,
    Layer(
        "hold_lines",
        LINE,
        needs=(
            Column("spot_id", "text"),
            Column("line_no"),
            Column("length_m"),
            Column("heading_deg", gaps=True),
            Column("headings", "text"),
            Column("cast_side", "text"),
            Column("cast_m"),
            Column("least_depth_m"),
            Column("most_depth_m"),
            Column("deep_bearing_deg", gaps=True),
            Column("wind_angle_deg", gaps=True),
            Column("starts", "text"),
            Column("ends", "text"),
            Column("reason", "text"),
        ),
    ),
]
LineUps = Annotated[
    Frame,
    Layer(
        "line_ups",
        LINE,
        needs=(
            Column("spot_id", "text"),
            Column("hold_no"),
            Column("range_no"),
            Column("landmark_id", "text"),
            Column("behind_id", "text", gaps=True),
            Column("words", "text"),
            Column("bearing_deg"),
            Column("distance_m"),
            Column("open_deg", gaps=True),
            Column("error_m"),
            Column("crossing_deg"),
        ),
    ),
]
Fixes = Annotated[
    Frame,
    Layer(
        "fixes",
        POINT,
        needs=(
            Column("spot_id", "text"),
            Column("hold_no"),
            Column("status", "text"),
            Column("reason", "text"),
            Column("words", "text", gaps=True),
            Column("ranges"),
            Column("crossing_deg", gaps=True),
            Column("error_m", gaps=True),
            Column("bank_bearing_deg", gaps=True),
            Column("bank_m", gaps=True),
            Column("bank_mark", "text", gaps=True),
        ),
    ),
]
