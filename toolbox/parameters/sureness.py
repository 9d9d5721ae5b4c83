"""The level of the water, how well depths and places are known, and how far things reach round their marks."""

from __future__ import annotations

from typing import Annotated

from . import defaults
from .markers import Choice, Quantity, Shared, Text

DepthError = Annotated[
    float,
    Quantity("length", 0.0, 1.0e6),
    Shared(
        "depth_error_m",
        "Half-width within which the true depth lies (95 %); by default that of the coverage, or of what it is "
        "made from.",
        None,
    ),
]
LevelError = Annotated[
    float,
    Quantity("length", 0.0, 1.0e6),
    Shared(
        "level_error_m",
        "Half-width within which the true level lies (95 %): gauge, wind set-up, hours since the reading.",
        defaults.LEVEL_ERROR_M,
    ),
]
SpotError = Annotated[
    float,
    Quantity("length", 0.0, 1.0e6),
    Shared(
        "spot_error_m",
        "Position error (95 %) of spots that do not tell their own. The default is the figure of the GPS "
        "standard positioning service for 2020, a global average.",
        defaults.SPOT_ERROR_M,
    ),
]
HazardRadius = Annotated[
    float,
    Quantity("length", 0.0, 1.0e6),
    Shared("hazard_radius_m", "Radius of a known hazard that has none.", defaults.HAZARD_RADIUS_M),
]
HazardError = Annotated[
    float,
    Quantity("length", 0.0, 1.0e6),
    Shared(
        "hazard_error_m",
        "Position error (95 %) of known hazards that do not tell their own. The default is the figure of the "
        "GPS standard positioning service for 2020.",
        defaults.HAZARD_ERROR_M,
    ),
]
Footprint = Annotated[
    float,
    Quantity("length", 0.0, 1.0e6),
    Shared(
        "footprint_m",
        "How far a structure reaches round the point or line it is marked by; other spots are kept off by it "
        "and by the position errors.",
        defaults.FOOTPRINT_M,
    ),
]
BoxMargin = Annotated[
    float,
    Quantity("length", 0.0, 1.0e6),
    Shared(
        "outside_m",
        "How far outside the shoreline's box a row or reading may lie and still be kept.",
        defaults.OUTSIDE_M,
    ),
]
CellSize = Annotated[
    float,
    Quantity("length", 0.0, 1.0e6),
    Shared(
        "cell_m",
        "Size of a cell; by default 5 m, or the raster's own cells. A million cells take about 50 MB of memory.",
        None,
    ),
]


TodaysLevel = Annotated[
    float,
    Quantity("length", -200.0, 200.0),
    Shared(
        "level_m",
        "The surface minus chart datum on the day in question, today's if nothing else is said; four feet down "
        "is -4ft.",
        0.0,
    ),
]
LevelItself = Annotated[
    float,
    Quantity("length", -200.0, 200.0),
    Shared("today_m", "The level itself; four feet down is -4ft.", None),
]
PoolElevation = Annotated[
    float,
    Quantity("length", -1.0e6, 1.0e6),
    Shared("pool_m", "Elevation of today's surface.", None),
]
NormalPool = Annotated[
    float,
    Quantity("length", -1.0e6, 1.0e6),
    Shared("normal_pool_m", "Elevation of the surface that charted depths refer to.", None),
]
PoolDatum = Annotated[
    str,
    Text(),
    Shared("datum", "Vertical datum of the pool, where a table does not name it, such as NAVD88.", ""),
]
NormalDatum = Annotated[
    str,
    Text(),
    Shared("normal_datum", "Vertical datum of the normal pool.", ""),
]
ReadOffTime = Annotated[
    str,
    Text(),
    Shared(
        "time",
        "When to read the table off, such as 2026-05-16T06:00-05:00; by default its newest reading, in a day "
        "file the time of departure.",
        "",
    ),
]
BeyondReadings = Annotated[
    str,
    Choice(("refuse", "hold", "trend")),
    Shared("beyond", "What to do after the last reading of a table.", "refuse"),
]
ElevationUnit = Annotated[
    str,
    Text(),
    Shared("unit", "Unit of the elevations of a CSV whose header names none: ft, ftUS or m.", ""),
]
ParameterCode = Annotated[
    str,
    Text(),
    Shared("parameter", "Parameter code, or words of what was observed, where a table has several.", ""),
]
