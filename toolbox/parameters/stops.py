"""The stops of a run, and what structure is looked for: how many of each, and within which bounds."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Annotated

from . import defaults
from .markers import Choice, Many, Number, Quantity, Shared, Text

StartRamp = Annotated[
    str,
    Text(),
    Shared("start", "Name or id of the ramp to start from; by default the first.", ""),
]
EndRamp = Annotated[
    str,
    Text(),
    Shared("end", "Name or id of the ramp to end at; by default the start.", ""),
]
AtMost = Annotated[
    int,
    Number(0, 1_000_000_000, whole=True),
    Shared("at_most", "Greatest number of stops; 0 takes every hold.", defaults.AT_MOST),
]
AtEach = Annotated[
    float,
    Quantity("time", 0.0, 864000.0),
    Shared("at_each_s", "Usual time fished at a stop.", defaults.AT_EACH_S),
]
LongestAtEach = Annotated[
    float,
    Quantity("time", 0.0, 864000.0),
    Shared(
        "longest_at_each_s",
        "Longest time fished at a stop, each further minute worth less; 0 for the usual time only.",
        0.0,
    ),
]
StaysByKind = Annotated[
    Sequence[str],
    Many(Text()),
    Shared("stays", 'Usual time by kind, such as "hump 40min"; needs a column kind.', ()),
]
Depart = Annotated[
    str,
    Text(),
    Shared(
        "depart",
        "Earliest start from the ramp, with its zone, such as 2026-05-16T06:00-05:00; in a day file the clock "
        "time will do.",
        "",
    ),
]
BackBy = Annotated[
    str,
    Text(),
    Shared("back_by", "Latest time back at the ramp, such as 14:00.", ""),
]
StopValue = Annotated[
    str,
    Text(),
    Shared("value", "Value of a stop: a column, or columns, numbers, + - * / and brackets.", defaults.VALUE),
]
MustStops = Annotated[
    Sequence[str],
    Many(Text()),
    Shared("must", "Spots, by id or name, that have to be in the plan.", ()),
]
NeverStops = Annotated[
    Sequence[str],
    Many(Text()),
    Shared("never", "Spots that must not be.", ()),
]
Windows = Annotated[
    Sequence[str],
    Many(Text()),
    Shared(
        "windows", 'Wishes of your own: "NAME before 09:00", "NAME after 14:00" or "NAME 09:00-11:00".', ()
    ),
]
LeastDepth = Annotated[
    float,
    Quantity("length", 0.0, 1.0e6),
    Shared(
        "least_depth_m",
        "Least depth today over the bottom of a spot (common practice).",
        defaults.LEAST_DEPTH_M,
    ),
]
MostDepth = Annotated[
    float,
    Quantity("length", 0.0, 1.0e6),
    Shared("most_depth_m", "Greatest depth today; without it no limit.", None),
]
TopMargin = Annotated[
    float,
    Quantity("length", 0.0, 1.0e6),
    Shared(
        "top_margin_m",
        "Least water over the top of what stands there (common practice). Timber, docks, vegetation and bluffs "
        "stand out of the water by nature and are not held to it.",
        defaults.TOP_MARGIN_M,
    ),
]
LeastRating = Annotated[
    float,
    Number(),
    Shared(
        "least_rating",
        "Spots rated lower are not taken; a spot without a rating counts as 0.",
        defaults.LEAST_RATING,
    ),
]


StructureKinds = Annotated[
    Sequence[str],
    Many(Choice(defaults.STRUCTURE_KINDS)),
    Shared("kinds", "What to list; repeat the option for several.", defaults.STRUCTURE_KINDS),
]
WindowTop = Annotated[
    float,
    Quantity("length", 0.0, 1.0e6),
    Shared("from_m", "Shallow end of the depth window today.", defaults.WINDOW_FROM_M),
]
WindowBottom = Annotated[
    float,
    Quantity("length", 0.0, 1.0e6),
    Shared("to_m", "Deep end of the depth window today.", defaults.WINDOW_TO_M),
]
MostOfAKind = Annotated[
    int,
    Number(0, 1_000_000_000, whole=True),
    Shared("most", "At most so many of each kind, the best first; 0 lists all.", defaults.MOST_OF_A_KIND),
]
Apart = Annotated[
    float,
    Quantity("length", 0.0, 1.0e6),
    Shared(
        "spacing_m",
        "Of two findings of one kind nearer to each other than this, the better one is listed.",
        defaults.SPACING_M,
    ),
]
ContourInterval = Annotated[
    float,
    Quantity("length", 0.0, 1.0e6),
    Shared(
        "interval_m",
        "Contour interval of the chart the depths were drawn from; 0 for dense soundings.",
        0.0,
    ),
]
