"""The boat: what it draws, how wide it is, how surely it knows its place, how fast it goes; and the casts from it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Annotated

from . import defaults
from .markers import Choice, Flag, Many, Number, Quantity, Shared, Text

Draft = Annotated[
    float,
    Quantity("length", 0.0, 1.0e6),
    Shared(
        "draft_m",
        "Water the boat draws at idle with its motors down, to the skeg; 12 to 24 in (common practice).",
        defaults.DRAFT_M,
    ),
]
RunningDepth = Annotated[
    float,
    Quantity("length", 0.0, 1.0e6),
    Shared(
        "running_depth_m",
        "Water needed to run and to get on plane; 24 to 36 in (common practice). Not less than the draft.",
        defaults.RUNNING_DEPTH_M,
    ),
]
Margin = Annotated[
    float,
    Quantity("length", 0.0, 1.0e6),
    Shared(
        "margin_m",
        "Water wanted under the boat beyond what it draws; 12 to 18 in (common practice).",
        defaults.MARGIN_M,
    ),
]
Beam = Annotated[
    float,
    Quantity("length", 0.0, 1.0e6),
    Shared("beam_m", "Width of the boat.", defaults.BEAM_M),
]
FixError = Annotated[
    float,
    Quantity("length", 0.0, 1.0e6),
    Shared(
        "fix_error_m",
        "How far the boat may be from where it seems to be (95 %): the error of its own position.",
        defaults.FIX_ERROR_M,
    ),
]
Clearance = Annotated[
    float,
    Quantity("length", 0.0, 1.0e6),
    Shared(
        "clearance_m",
        "Free water wanted beside the running boat, from its side to hazards, land and closed zones; half the "
        "beam and the fix error come on top.",
        defaults.CLEARANCE_M,
    ),
]
IdleClearance = Annotated[
    float,
    Quantity("length", 0.0, 1.0e6),
    Shared(
        "idle_clearance_m",
        "Free water wanted beside the boat at idle; half the beam and the fix error come on top.",
        defaults.IDLE_CLEARANCE_M,
    ),
]
RunSpeed = Annotated[
    float,
    Quantity("speed", 0.0, 100.0),
    Shared("run_speed_mps", "Speed on plane.", defaults.RUN_SPEED_MPS),
]
IdleSpeed = Annotated[
    float,
    Quantity("speed", 0.0, 100.0),
    Shared(
        "idle_speed_mps", "Speed at idle, and within slow zones that state none.", defaults.IDLE_SPEED_MPS
    ),
]
LaunchReach = Annotated[
    float,
    Quantity("length", 0.0, 1.0e6),
    Shared("launch_m", "How far from the ramp the water that the boat can use may begin.", defaults.LAUNCH_M),
]
Drift = Annotated[
    float,
    Quantity("length", 0.0, 1.0e6),
    Shared(
        "drift_m",
        "How far the boat may be set off its place to any side while it is fished from.",
        defaults.DRIFT_M,
    ),
]
WaveLimit = Annotated[
    float,
    Quantity("length", 0.0, 1.0e6),
    Shared(
        "wave_limit_m",
        "Greatest wave at the hold, against the upper end of the band (common practice for small open boats; "
        "know your own).",
        defaults.WAVE_LIMIT_M,
    ),
]
WaveSpeeds = Annotated[
    Sequence[str],
    Many(Text()),
    Shared(
        "wave_speeds",
        "What the boat keeps of its speed on plane in waves: a height, then percent in head, beam and following seas, "
        'such as "1ft 75 85 95"; none: waves do not slow it (common practice; know your own boat).',
        defaults.WAVE_SPEEDS,
    ),
]
WindLimit = Annotated[
    float,
    Quantity("speed", 0.0, 100.0),
    Shared("wind_limit_mps", "Greatest wind (common practice; know your own boat).", defaults.WIND_LIMIT_MPS),
]
GustLimit = Annotated[
    float,
    Quantity("speed", 0.0, 150.0),
    Shared(
        "gust_limit_mps", "Greatest gust, where gusts are told (common practice).", defaults.GUST_LIMIT_MPS
    ),
]
HeadLimit = Annotated[
    float,
    Quantity("length", 0.0, 1.0e6),
    Shared(
        "head_limit_m",
        "Greatest wave to run into, against the upper end of the band (common practice; know your own boat).",
        defaults.HEAD_LIMIT_M,
    ),
]
BeamLimit = Annotated[
    float,
    Quantity("length", 0.0, 1.0e6),
    Shared(
        "beam_limit_m",
        "Greatest wave to run with on the beam, more than 45 degrees off bow and stern (common practice).",
        defaults.BEAM_LIMIT_M,
    ),
]
FollowingLimit = Annotated[
    float,
    Quantity("length", 0.0, 1.0e6),
    Shared("following_limit_m", "Greatest wave to run before (common practice).", defaults.FOLLOWING_LIMIT_M),
]
Night = Annotated[
    bool,
    Flag(),
    Shared("night", "Be out in the dark as well; without it every minute afloat lies in daylight.", False),
]
EngineHp = Annotated[
    int,
    Number(0, 1_000_000_000, whole=True),
    Shared(
        "engine_hp",
        "Rated horsepower, to estimate what the engine burns (common practice); 0 where it is not told.",
        0,
    ),
]
FuelOnBoard = Annotated[
    float,
    Quantity("volume", 0.0, 1.0e6),
    Shared(
        "fuel_l",
        "Fuel on board at the start of the day; the ways between what is done are taken off. Without it fuel "
        "plays no part.",
        None,
    ),
]


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
        "wind_from_deg", "Where the wind comes from, clockwise from true north, as forecasts tell it.", None
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
