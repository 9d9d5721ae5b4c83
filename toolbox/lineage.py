"""Where layers came from, in sentences: what made them, from what, with which parameters, and when."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any, Final

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
