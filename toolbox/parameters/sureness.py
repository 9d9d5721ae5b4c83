"""How well depths and places are known, and how far things reach round their marks."""

from __future__ import annotations

from typing import Annotated

from . import defaults
from .markers import Quantity, Shared

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
