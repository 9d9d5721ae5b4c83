"""A book and its past in one GeoPackage: spots as they are, as they were before each change, and what changed when."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Final

if TYPE_CHECKING:
    from pathlib import Path

    from geopandas import GeoDataFrame

HISTORY: Final = "history"


@dataclass(frozen=True)
class BookChange:
    """What an algorithm would change in a book."""

    layers: Mapping[str, GeoDataFrame]  # layer name -> frame: the book as it would be, and what goes with it
    earlier: GeoDataFrame  # the spots as they are now, kept under the name ``spots_`` and the day
    history: GeoDataFrame  # lines to add to the layer of what changed when
    day: str  # day of the change, ISO text
    said: tuple[str, ...] = ()  # lines for people, printed at the end of the command
    figures: Mapping[str, Any] = field(default_factory=dict)  # the few numbers that matter, for the report


def _free_name(day: str, taken: set[str]) -> str:
    stem = f"spots_{day.replace('-', '_')}"
    name, number = stem, 2
    while name in taken:
        name, number = f"{stem}_{number}", number + 1
    return name


def write_book(path: Path, change: BookChange, *, lineage: str, words: str) -> dict[str, int]:
    """Write a book with its past, all layers or none.

    Parameters
    ----------
    path
        The GeoPackage; made when it is not there. Its layer ``history`` grows; earlier states in it stay.
    change
        What to write.
    lineage, words
        See `castshed.toolbox.layers.write_layers`.

    Returns
    -------
    Layer name -> number of rows.
    """
    import pandas as pd

    from . import geopackage
    from .reading import read_layer
    from .reference import Reference
    from .writing import write_layers

    there = set(geopackage.contents(path)) if path.exists() else set()
    history = change.history
    if HISTORY in there:
        before = read_layer(Reference(path, HISTORY), crs=str(history.crs))
        if len(before):
            history = pd.concat([before, history], ignore_index=True) if len(history) else before
    layers = {**change.layers, _free_name(change.day, there): change.earlier, HISTORY: history}
    write_layers(
        path, layers, replace=True, lineage=lineage, words=words, types=dict.fromkeys(layers, ("Point",))
    )
    return {name: len(frame) for name, frame in layers.items()}
