"""What is typed as it is, and how lists are read and results are worded: columns, units, days, zones, titles."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Annotated

from .markers import Choice, Flag, Many, Number, Quantity, Shared, Text

Columns = Annotated[
    Sequence[str],
    Many(Text()),
    Shared(
        "columns",
        "Which column is what, as role=Header, such as depth='Bottom (ft)'; goes before what the header tells.",
        (),
    ),
]
SpeedUnits = Annotated[
    Sequence[str],
    Many(Text()),
    Shared(
        "speed_units",
        "Units of speed, where header and cells name none: wind=mph, gust=kn.",
        (),
    ),
]
DepthUnit = Annotated[
    str,
    Choice(("ft", "m")),
    Shared(
        "depth_unit",
        "Unit of depths and heights that name none in their cell or their column; without it such figures are "
        "not used.",
        None,
    ),
]
DayOf = Annotated[
    str,
    Text(),
    Shared("date", "Day that what is read or made is of, such as 2026-05-16.", ""),
]
ZoneOfTimes = Annotated[
    str,
    Text(),
    Shared("zone", "Zone of times that name none, from the IANA database, such as America/Chicago.", ""),
]
LakeZone = Annotated[
    str,
    Text(),
    Shared(
        "time_zone",
        "Time zone of the lake, such as America/Chicago, in which hours are told; by default that of the times.",
        "",
    ),
]
Title = Annotated[
    str,
    Text(),
    Shared("title", "Title of what is made; by default what it is.", ""),
]
UnitSystem = Annotated[
    str,
    Choice(("US", "metric")),
    Shared("units", "Units that are written, or that come first where both are.", "US"),
]
PaperSize = Annotated[
    str,
    Choice(("letter", "a4")),
    Shared(
        "paper", "Paper it is laid out for; by default letter with US units and A4 with metric ones.", None
    ),
]


Level = Annotated[float, Quantity("length", -200.0, 200.0)]
Length = Annotated[float, Quantity("length", 0.0, 1.0e6)]
SignedLength = Annotated[float, Quantity("length", -1.0e6, 1.0e6)]
Speed = Annotated[float, Quantity("speed", 0.0, 100.0)]
Duration = Annotated[float, Quantity("time", 0.0, 864000.0)]
Bearing = Annotated[float, Quantity("bearing", 0.0, 360.0)]
Volume = Annotated[float, Quantity("volume", 0.0, 1.0e6)]
Flow = Annotated[float, Quantity("flow", 0.0, 1.0e6)]
Count = Annotated[int, Number(0, 1_000_000_000, whole=True)]
Plain = Annotated[float, Number()]
Share = Annotated[float, Number(0.0, 1.0)]
YesNo = Annotated[bool, Flag()]
Words = Annotated[str, Text()]
Lengths = Annotated[Sequence[float], Many(Quantity("length", -1.0e6, 1.0e6))]
WordList = Annotated[Sequence[str], Many(Text())]
