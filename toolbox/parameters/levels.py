"""The level of the water, and what it is worked out from."""

from __future__ import annotations

from typing import Annotated

from .markers import Choice, Quantity, Shared, Text

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
