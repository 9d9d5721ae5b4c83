"""The layers of wind and waves: places, and how each lies to the wind."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Final

from .markers import ANY, Column, Layer

if TYPE_CHECKING:
    from geopandas import GeoDataFrame as Frame
else:  # at run time the plain type plays no part; the marker does
    Frame = object

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
