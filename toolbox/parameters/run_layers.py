"""The layers of a run: ways, stops, legs, the proof, and what was left out or asked."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

from .markers import LINE, POINT, Column, Layer

if TYPE_CHECKING:
    from geopandas import GeoDataFrame as Frame
else:  # at run time the plain type plays no part; the marker does
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
