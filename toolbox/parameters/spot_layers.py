"""The layers of spots: gathered, found in the bottom, judged for the day, and how each lies to the wind."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Final

from .markers import ANY, Column, Layer

if TYPE_CHECKING:
    from geopandas import GeoDataFrame as Frame
else:  # at run time the plain type plays no part
    Frame = object

SPOT_COLUMNS: Final = (
    Column("name", "text", gaps=True),
    Column("kind", "text", gaps=True),
    Column("depth_m", gaps=True),
    Column("height_m", gaps=True),
    Column("rating", gaps=True),
    Column("note", "text", gaps=True),
    Column("source", "text", gaps=True),
    Column("surveyed", "text", gaps=True),
    Column("position_error_m", gaps=True),
)
Spots = Annotated[Frame, Layer("spots", ANY, "spot_id", optional=SPOT_COLUMNS)]
Structure = Annotated[
    Frame,
    Layer(
        "structure",
        ANY,
        "spot_id",
        needs=(
            Column("name", "text"),
            Column("kind", "text"),
            Column("description", "text"),
            Column("rank"),
            Column("confidence"),
            Column("depth_m", gaps=True),
            Column("top_today_m", gaps=True),
            Column("base_today_m", gaps=True),
            Column("relief_m", gaps=True),
            Column("slope_deg", gaps=True),
            Column("length_m", gaps=True),
            Column("area_m2", gaps=True),
            Column("deep_bearing_deg", gaps=True),
            Column("bank", "text", gaps=True),
            Column("bank_m", gaps=True),
        ),
    ),
]
Verdicts = Annotated[
    Frame,
    Layer(
        "spots",
        ANY,
        "spot_id",
        needs=(
            Column("depth_today_m", gaps=True),
            Column("top_today_m", gaps=True),
            Column("fishable"),
            Column("reason", "text"),
            Column("margin_m", gaps=True),
            Column("marginal"),
            Column("hours", "text", gaps=True),
        ),
        optional=SPOT_COLUMNS,
    ),
]
HourVerdicts = Annotated[
    Frame,
    Layer(
        "verdicts",
        ANY,
        needs=(
            Column("spot_id", "text"),
            Column("time", "text"),
            Column("fishable"),
            Column("reason", "text"),
            Column("margin_m", gaps=True),
            Column("marginal"),
        ),
        only_with="exposure",
    ),
]
SetAside = Annotated[
    Frame,
    Layer(
        "set_aside",
        ANY,
        needs=(
            Column("source", "text"),
            Column("line"),
            Column("reason", "text"),
            Column("text", "text", gaps=True),
        ),
        may_lack_place=True,
    ),
]
GatheredFrom = Annotated[
    Frame,
    Layer(
        "gathered_from",
        ANY,
        needs=(
            Column("source", "text"),
            Column("day", "text"),
            Column("rows"),
            Column("kept"),
            Column("set_aside"),
            Column("noticed", "text", gaps=True),
        ),
        may_lack_place=True,
    ),
]


EXPOSURE_COLUMNS: Final = (
    Column("fetch_m", gaps=True),
    Column("wave_m", gaps=True),
    Column("wave_low_m", gaps=True),
    Column("wave_high_m", gaps=True),
    Column("period_s", gaps=True),
    Column("wave_method", "text", gaps=True),
    Column("wind_mps", gaps=True),
    Column("wind_from_deg", gaps=True),
    Column("bank", "text", gaps=True),
)
Places = Annotated[Frame, Layer("places", ANY)]
Exposure = Annotated[
    Frame,
    Layer(
        "exposure",
        ANY,
        needs=EXPOSURE_COLUMNS,
        # one row a place and hour: whose, when (ISO text with zone), and the gusts of that hour
        optional=(
            Column("spot_id", "text", gaps=True),
            Column("time", "text", gaps=True),
            Column("gust_mps", gaps=True),
            Column("wave_from_deg", gaps=True),
        ),
    ),
]
HourlyExposure = Annotated[
    Frame,
    Layer(
        "exposure",
        ANY,
        needs=(
            Column("spot_id", "text"),
            Column("time", "text"),
            Column("gust_mps", gaps=True),
            Column("fetch_depth_m", gaps=True),
            *EXPOSURE_COLUMNS,
        ),
        optional=(Column("wave_from_deg", gaps=True),),
        only_with="forecast",
    ),
]
