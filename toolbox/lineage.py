"""Where layers came from, in sentences, and the level they were made at: no step mixes two of them.

The level is kept in the ``attrs`` of a frame, and in the lineage of its layer in a GeoPackage. Loads no GIS library.
"""

from __future__ import annotations

import json
import math
import numbers
import re
from collections.abc import Collection, Mapping
from typing import TYPE_CHECKING, Any, Final

from .errors import DataError
from .text import one_line, shortened

if TYPE_CHECKING:
    import geopandas as gpd

ATTRIBUTE: Final = "castshed_lineage"
"""Key of a frame's ``attrs`` under which the lineage JSON of its layer is kept while it is read and written again."""

_LONGEST: Final = 400


def _file_only(text: str) -> str:
    """Leave the folders of a path out: they are nobody's business but the maker's."""
    return re.sub(r"\S*[/\\]", "", text)


def _pairs(told: Any) -> str:
    if not isinstance(told, Mapping):
        return ""
    return ", ".join(
        f"{one_line(key)} {_file_only(one_line(value))}"
        for key, value in told.items()
        if value not in (None, "", [])
    )


def lineage_lines(layers: Mapping[str, gpd.GeoDataFrame]) -> list[str]:
    """One sentence for each layer whose making is known.

    Parameters
    ----------
    layers
        Layers by name; the lineage is the JSON that castshed keeps with a layer in a GeoPackage.
    """
    said = []
    for name, frame in layers.items():
        try:
            told = json.loads(frame.attrs.get(ATTRIBUTE) or "null")
        except (TypeError, ValueError):
            continue
        if not isinstance(told, Mapping) or not told.get("made_by"):
            continue
        version, moment = one_line(told.get("version")), one_line(told.get("time"))
        sources, parameters = _pairs(told.get("inputs")), _pairs(told.get("parameters"))
        words = (
            f"Layer {one_line(name)} was made by {one_line(told['made_by'])}"
            + (f" {version}" if version else "")
            + (f" at {moment}" if moment else "")
            + (f" from {sources}" if sources else "")
            + (f" with {parameters}" if parameters else "")
        )
        said.append(shortened(words, _LONGEST) + ".")
    return said


LEVEL: Final = "castshed_level_m"
"""Key of a frame's ``attrs``: today's surface minus chart datum, in metres, that its rows were made at."""
IN_LINEAGE: Final = "level_m"
"""What the level is called in a lineage, in a column of a layer and in files of other formats."""
VERTICAL_DATUM: Final = "vertical_datum"
CHART_DATUM: Final = "chart datum (normal pool)"
"""What a level and charted depths are measured from, and what files call that."""
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
        "route",
        "isobaths",
    }
)
"""Layers that hold for one level only; depths below chart datum, such as soundings read from a log, do not."""
SAME_LEVEL_M: Final = 0.005
"""Levels that differ by no more are one: they are written in hundredths of a foot or a metre."""


def _number(told: Any) -> float | None:
    sound = isinstance(told, numbers.Real) and not isinstance(told, bool) and math.isfinite(told)
    return float(told) if sound else None


def level_of_layer(value: Any) -> float | None:
    """Tell the level a layer is marked with in its ``attrs``; None where it is not, or with nothing sensible."""
    return _number(getattr(value, "attrs", {}).get(LEVEL))


def told_level(value: Any, *, column: bool = True) -> float | None:
    """Tell the level a layer was made at: by its mark, its lineage, and its column ``level_m``; None: nowhere told.

    Not a number where these differ, or rows do: no level that is asked for is the same then. Without ``column`` a
    column of that name is something else.
    """
    attrs = getattr(value, "attrs", {})
    lineage = attrs.get(ATTRIBUTE)
    told = [level_of_layer(value), level_in_lineage(lineage), _asked_for(lineage)]
    if column and IN_LINEAGE in getattr(value, "columns", ()):
        told += [level_of_text(one) for one in value[IN_LINEAGE].dropna().unique().tolist()]
    known = [level for level in told if level is not None]
    if not known:
        return None
    return known[0] if same_level(min(known), max(known)) else math.nan


def level_of_text(value: Any) -> float | None:
    """Read a level that a file gives as a number or as a text; None where it is neither."""
    if isinstance(value, str):
        try:
            value = float(value)
        except ValueError:
            return None
    return _number(value)


def mark_from_column(frame: Any) -> None:
    """Let a layer out of a file that keeps no lineage say the level that its column ``level_m`` tells.

    Where rows differ nothing is marked; a step whose layer must be of one level looks at the column itself.
    """
    if IN_LINEAGE not in getattr(frame, "columns", ()):
        return
    told = {level for one in frame[IN_LINEAGE].tolist() if (level := level_of_text(one)) is not None}
    if told and same_level(min(told), max(told)):
        frame.attrs[LEVEL] = told.pop()


def require_charted(layers: Mapping[str, Any]) -> None:
    """Refuse layers of today's depths where charted ones are needed: their level would be counted twice.

    Raises
    ------
    DataError
        A layer says it was made at a level other than chart datum.
    """
    for name, frame in layers.items():
        level = level_of_layer(frame)
        if level is not None and not same_level(level, 0.0):
            raise DataError(
                f"The layer {name} was made at a level of {level_words(level)}; depths below chart datum are needed "
                "here. Give the layer they were charted in, or make it again at the level 0."
            )


def stating_level(
    layers: Mapping[str, Any], roles: Mapping[str, str], level_m: float | None
) -> dict[str, Any]:
    """Give every layer that holds for one level a column that says which, for files that keep nothing else with it.

    Parameters
    ----------
    layers, roles
        Layers by name, and which part of a plan each is.
    level_m
        The level of those that tell none; None where it is not known.
    """
    made = {}
    for name, frame in layers.items():
        level = level_of_layer(frame)
        level = level_m if level is None else level
        whose = roles[name] in OF_A_LEVEL and level is not None and IN_LINEAGE not in frame.columns
        made[name] = frame.assign(**{IN_LINEAGE: level}) if whose else frame
    return made


def same_level(one_m: float, other_m: float) -> bool:
    """Tell whether two levels are the same one but for rounding; what is not a number is the same as none."""
    return abs(one_m - other_m) <= SAME_LEVEL_M


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
    return _number(told.get(IN_LINEAGE)) if isinstance(told, Mapping) else None


def _asked_for(text: str | None) -> float | None:
    """Read the level that whatever made a layer was given."""
    try:
        given = json.loads(text or "null")["parameters"]
    except (TypeError, ValueError, KeyError):
        return None
    return _number(given.get(IN_LINEAGE)) if isinstance(given, Mapping) else None


def with_level(lineage: str, level_m: float) -> str:
    """Put the level into a lineage text."""
    try:
        told = json.loads(lineage or "{}")
    except ValueError:
        told = {}
    return json.dumps(
        {**(told if isinstance(told, dict) else {}), IN_LINEAGE: level_m}, ensure_ascii=False, indent=1
    )


def level_words(level_m: float) -> str:
    """Write a level for people, or that there are several."""
    from .units import in_words

    return "several levels" if math.isnan(level_m) else in_words(level_m, "length")


def settled_level(
    layers: Mapping[str, Any], given_m: float | None, in_column: Collection[str] = ()
) -> float | None:
    """Settle the level of a step from what was given and what its layers say.

    Parameters
    ----------
    layers
        Inputs by name.
    given_m
        The level as given; None where it was left out.
    in_column
        Layers that tell it in a column too.

    Returns
    -------
    The level given, else that of the layers, else None.

    Raises
    ------
    DataError
        Two of them differ; the message names both.
    """
    told = [
        (name, level)
        for name, one in layers.items()
        if (level := told_level(one, column=name in in_column)) is not None
    ]
    if given_m is not None:
        told.insert(0, ("the step", float(given_m)))
    if not told:
        return None
    first, level = told[0]
    if math.isnan(level):
        raise DataError(f"The layer {first} was made at several levels. Make it again at the level of today.")
    for name, other in told[1:]:
        if not same_level(other, level):
            said = (
                f"level is {level_words(level)}"
                if given_m is not None
                else f"{first} was made at {level_words(level)}"
            )
            raise DataError(
                f"{said}, but the layer {name} was made at a level of {level_words(other)}. Make {name} again at the "
                "level of today, or give the level it was made at."
            )
    return level
