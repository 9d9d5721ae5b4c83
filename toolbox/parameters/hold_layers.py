"""The layers round a boat hold: where a spot is in reach, where to lie, and by which marks to find the place again."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

from .markers import LINE, POINT, POLYGON, Column, Layer

if TYPE_CHECKING:
    from geopandas import GeoDataFrame as Frame
else:  # at run time the plain type plays no part; the marker does
    Frame = object

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
