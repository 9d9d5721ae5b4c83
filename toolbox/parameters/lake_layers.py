"""The layers of a lake: shore, depths, rules and marks as they are given, the water and its hazards as made."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

from .markers import ANY, LINE, POINT, POLYGON, Column, Layer

if TYPE_CHECKING:
    from geopandas import GeoDataFrame as Frame
else:  # at run time the plain type plays no part; the marker does
    Frame = object

Shoreline = Annotated[Frame, Layer("shoreline", POLYGON, may_be_empty=False)]
Contours = Annotated[Frame, Layer("contours", LINE, needs=(Column("depth_m"),))]
Soundings = Annotated[Frame, Layer("soundings", POINT, needs=(Column("depth_m"),))]
Ramps = Annotated[
    Frame,
    Layer(
        "ramps",
        POINT,
        "ramp_id",
        optional=(Column("name", "text", gaps=True), Column("min_level_m", gaps=True)),
        may_be_empty=False,
    ),
]
Zones = Annotated[
    Frame,
    Layer(
        "zones",
        POLYGON,
        needs=(Column("zone", "text"),),
        optional=(Column("speed_mps", gaps=True), Column("reason", "text", gaps=True)),
        repair="keep out",
    ),
]
KnownHazards = Annotated[
    Frame,
    Layer(
        "known_hazards",
        ANY,
        optional=(
            Column("kind", "text", gaps=True),
            Column("top_depth_m", gaps=True),
            Column("radius_m", gaps=True),
            Column("position_error_m", gaps=True),
        ),
        repair="keep out",
    ),
]
Landmarks = Annotated[
    Frame,
    Layer(
        "landmarks",
        POINT,
        "landmark_id",
        optional=(
            Column("name", "text", gaps=True),
            Column("kind", "text", gaps=True),
            Column("height_m", gaps=True),
            Column("position_error_m", gaps=True),
        ),
    ),
]
Water = Annotated[
    Frame,
    Layer(
        "water",
        POLYGON,
        "water_id",
        optional=(Column("area_m2", gaps=True), Column("level_m", gaps=True)),
        may_be_empty=False,
        repair="water",
    ),
]
DepthBands = Annotated[
    Frame, Layer("depth_bands", POLYGON, needs=(Column("from_m"), Column("to_m", gaps=True)))
]
DryGround = Annotated[
    Frame,
    Layer(
        "dry_ground",
        POLYGON,
        needs=(Column("area_m2"),),
        optional=(Column("level_m", gaps=True),),
        repair="keep out",
    ),
]
Contradictions = Annotated[
    Frame,
    Layer(
        "contradictions",
        POINT,
        needs=(
            Column("difference_m"),
            Column("charted_m"),
            Column("sounded_m"),
            Column("depth_m", gaps=True),
            Column("believed", "text", gaps=True),
        ),
        optional=(Column("source", "text", gaps=True), Column("surveyed", "text", gaps=True)),
    ),
]
ShallowHazards = Annotated[
    Frame,
    Layer(
        "shallow_hazards",
        POLYGON,
        "hazard_id",
        needs=(
            Column("care", "text"),
            Column("reason", "text"),
            Column("least_depth_m", gaps=True),
        ),
        optional=(
            Column("needed_depth_m", gaps=True),
            Column("cause", "text"),
            Column("level_m", gaps=True),
        ),
        repair="keep out",
    ),
]
SafeWaterAreas = Annotated[
    Frame,
    Layer("safe_water", POLYGON, needs=(Column("care", "text"), Column("area_m2"))),
]
