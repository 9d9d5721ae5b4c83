"""How lists are read and how results are worded: columns, units, days, zones, titles."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Annotated

from .markers import Choice, Many, Shared, Text

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
