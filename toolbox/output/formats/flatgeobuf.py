"""A plan as FlatGeobuf: a file for each layer, in the layer's own reference system, words in its head."""

from __future__ import annotations

from typing import TYPE_CHECKING

from ...layers.single_files import to_flatgeobuf
from ...lineage import lineage_lines
from ...text import one_line
from ..words.cautions import caution_text
from ..words.names import PLAIN, NameRule
from .tables import tables_of
from .zip_writing import file_stems

if TYPE_CHECKING:
    from collections.abc import Mapping

    import geopandas as gpd


def to_flatgeobuf_files(
    layers: Mapping[str, gpd.GeoDataFrame],
    *,
    title: str,
    description: str = "",
    level_m: float | None = None,
    date: str | None = None,
    rule: NameRule = PLAIN,
) -> dict[str, bytes]:
    """Write each layer as a FlatGeobuf file; rows stand in the order of the layer.

    Parameters
    ----------
    layers
        Layers by name.
    title, description, level_m, date, rule
        As for `to_geojson`.
    """
    tables = tables_of(layers, level_m=level_m, rule=rule)
    stems = file_stems(layer for layer, _, _ in tables)
    head = [one_line(description), caution_text(level_m, date)]
    files = {}
    for layer, frame, _ in tables:
        own = lineage_lines({name: f for name, f in layers.items() if one_line(name) == layer})
        words = " ".join(part for part in (*head, *own) if part)
        name = f"{one_line(title) or 'plan'}: {layer}"
        files[f"{stems[layer]}.fgb"] = to_flatgeobuf(frame, stems[layer], title=name, words=words)
    return files
