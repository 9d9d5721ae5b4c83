"""What structure is looked for in the depths: of which kinds, in which window of depths, how many of each."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Annotated

from . import defaults
from .markers import Choice, Many, Number, Quantity, Shared

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
