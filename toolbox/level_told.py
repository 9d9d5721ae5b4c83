"""The level travels with the layers: what was made at a level says so, and no step mixes two of them.

The level is kept in the ``attrs`` of a frame, and in the lineage of its layer in a GeoPackage. Loads no GIS library.
"""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from typing import Any, Final

from .errors import DataError

LEVEL: Final = "castshed_level_m"
"""Key of a frame's ``attrs``: today's surface minus chart datum, in metres, that its rows were made at."""
IN_LINEAGE: Final = "level_m"
OF_A_LEVEL: Final = frozenset(
    {
        "water",
        "depth_bands",
        "dry_ground",
        "shallow_hazards",
        "safe_water",
        "holds",
        "hold_lines",
        "cast_lines",
        "stops",
        "legs",
    }
)
"""Layers that hold for one level only; depths below chart datum, such as soundings read from a log, do not."""
_SAME_M: Final = 0.005


def level_of_layer(value: Any) -> float | None:
    """Tell the level a layer was made at; None where it does not say, or says nothing sensible."""
    told = getattr(value, "attrs", {}).get(LEVEL)
    if isinstance(told, bool) or not isinstance(told, int | float) or not math.isfinite(told):
        return None
    return float(told)


def mark_level(name: str, value: Any, level_m: float) -> None:
    """Let a layer say at which level it was made, if layers of that name depend on it."""
    if name in OF_A_LEVEL and hasattr(value, "attrs"):
        value.attrs[LEVEL] = float(level_m)


def level_in_lineage(text: str | None) -> float | None:
    """Read the level out of a lineage text; None where there is none."""
    try:
        told = json.loads(text or "null")
    except ValueError:
        return None
    level = told.get(IN_LINEAGE) if isinstance(told, Mapping) else None
    if isinstance(level, bool) or not isinstance(level, int | float) or not math.isfinite(level):
        return None
    return float(level)


def with_level(lineage: str, level_m: float) -> str:
    """Put the level into a lineage text."""
    try:
        told = json.loads(lineage or "{}")
    except ValueError:
        told = {}
    return json.dumps(
        {**(told if isinstance(told, dict) else {}), IN_LINEAGE: level_m}, ensure_ascii=False, indent=1
    )


def _words(level_m: float) -> str:
    from .units import in_words

    return in_words(level_m, "length")


def settled_level(layers: Mapping[str, Any], given_m: float | None) -> float | None:
    """Settle the level of a step from what was given and what its layers say.

    Parameters
    ----------
    layers
        Inputs by name.
    given_m
        The level as given; None where it was left out.

    Returns
    -------
    The level given, else that of the layers, else None.

    Raises
    ------
    DataError
        Two of them differ; the message names both.
    """
    told = [(name, level) for name, one in layers.items() if (level := level_of_layer(one)) is not None]
    if given_m is not None:
        told.insert(0, ("the step", float(given_m)))
    if not told:
        return None
    first, level = told[0]
    for name, other in told[1:]:
        if abs(other - level) > _SAME_M:
            said = (
                f"level is {_words(level)}" if given_m is not None else f"{first} was made at {_words(level)}"
            )
            raise DataError(
                f"{said}, but the layer {name} was made at a level of {_words(other)}. Make {name} again at the level "
                "of today, or give the level it was made at."
            )
    return level
