"""The casts, and the wind they are made in."""

from __future__ import annotations

from typing import Annotated

from . import defaults
from .markers import Choice, Number, Quantity, Shared

LeastCast = Annotated[
    float,
    Quantity("length", 0.0, 1.0e6),
    Shared(
        "least_cast_m",
        "Least cast; the boat never comes nearer to the spot (common practice).",
        defaults.LEAST_CAST_M,
    ),
]
Cast = Annotated[
    float,
    Quantity("length", 0.0, 1.0e6),
    Shared("cast_m", "Preferred cast (common practice).", defaults.CAST_M),
]
MostCast = Annotated[
    float,
    Quantity("length", 0.0, 1.0e6),
    Shared("most_cast_m", "Most comfortable cast (common practice).", defaults.MOST_CAST_M),
]
UpwindFactor = Annotated[
    float,
    Number(),
    Shared(
        "upwind_factor",
        "The most cast straight upwind as a share of the most cast, 0.5 to 1; it shrinks with the cosine of the "
        "angle to the wind (common practice; the angler's own to state).",
        defaults.UPWIND_FACTOR,
    ),
]
WindFrom = Annotated[
    float,
    Quantity("bearing", 0.0, 360.0),
    Shared(
        "wind_from_deg", "Where the wind comes from, clockwise from north (grid north of the layers).", None
    ),
]
WindOver = Annotated[
    str,
    Choice(("water", "land")),
    Shared(
        "wind_over",
        "Where the wind was measured or is forecast for: a wind over land is brought to one over water by 1.2.",
        defaults.WIND_OVER,
    ),
]
WindSpeed = Annotated[
    float,
    Quantity("speed", 0.0, 100.0),
    Shared("wind_speed_mps", "Sustained speed of a single wind; not gusts.", None),
]
