"""A plan as CSV after RFC 4180: a file for each layer, places as longitude and latitude, shapes as WKT.

CSV holds no words beside its rows. What the tables are, their columns and the cautions go into
``csv-metadata.json`` beside them, after the W3C's Metadata Vocabulary for Tabular Data (2015), which gives that name.
"""

from __future__ import annotations

import csv
import io
import json
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import shapely

from ...level_told import CHART_DATUM, IN_LINEAGE, VERTICAL_DATUM
from ...lineage import lineage_lines
from ...lon_lat import on_earth
from ...text import one_line
from ..words.cautions import caution_text
from ..words.names import PLAIN, NameRule
from .csv_table import harmless
from .tables import tables_of, unlike
from .zip_writing import file_stems

if TYPE_CHECKING:
    from collections.abc import Mapping

    import geopandas as gpd

    from ..words.features import Feature

METADATA: Final = "csv-metadata.json"
_TYPES: Final = {"i": "integer", "f": "double", "O": "string"}


def _cell(value: Any) -> str:
    if value is None or value != value:  # noqa: PLR0124 -- NaN is what differs from itself
        return ""
    return harmless(value) if isinstance(value, str) else repr(value)


def _places(features: list[Feature]) -> dict[str, list[str]]:
    """Longitude and latitude of a point on each geometry; WKT too where one is more than a point."""
    shapes = np.empty(len(features), dtype=object)
    for row, feature in enumerate(features):
        shapes[row] = feature.geometry
    shapes = on_earth(shapes)
    points = shapely.point_on_surface(shapes) if len(shapes) else shapes
    found = {
        name: ["" if np.isnan(value) else f"{value:.7f}" for value in get(points).tolist()]
        for name, get in (("lon", shapely.get_x), ("lat", shapely.get_y))
    }
    kinds = {shape.geom_type for shape in shapes if shape is not None}
    if kinds - {"Point"}:
        texts = shapely.to_wkt(shapes, rounding_precision=7, trim=True)
        found["wkt"] = ["" if text is None else str(text) for text in texts]
    return found


def to_csv_files(
    layers: Mapping[str, gpd.GeoDataFrame],
    *,
    title: str,
    description: str = "",
    level_m: float | None = None,
    date: str | None = None,
    rule: NameRule = PLAIN,
) -> dict[str, bytes]:
    """Write each layer as a table, and one file that says what they are.

    Parameters
    ----------
    layers
        Layers by name, in any reference system.
    title, description, level_m, date, rule
        As for `to_geojson`.

    Returns
    -------
    File name to content in UTF-8. A text that a spreadsheet would work out as a formula, in a cell or as the name
    of a column, has an apostrophe before it. ``lon`` and ``lat`` are in WGS84; of lines and areas they are those
    of a point on them, and ``wkt`` has the whole (OGC Simple Features).
    """
    files: dict[str, bytes] = {}
    about = []
    tables = tables_of(layers, level_m=level_m, rule=rule)
    stems = file_stems(layer for layer, _, _ in tables)
    for layer, frame, features in tables:
        columns = [name for name in frame.columns if name != "geometry"]
        places = _places(features)
        names = [harmless(name) for name in columns]
        names += unlike(places, names)
        cells = [[_cell(value) for value in frame[name].tolist()] for name in columns]
        text = io.StringIO()
        out = csv.writer(text, lineterminator="\r\n")
        out.writerow(names)
        out.writerows(zip(*cells, *places.values(), strict=True))
        name = f"{stems[layer]}.csv"
        files[name] = text.getvalue().encode()
        kinds = [_TYPES[frame[column].dtype.kind] for column in columns]
        kinds += ["string" if place == "wkt" else "double" for place in places]
        schema = [{"titles": column, "datatype": kind} for column, kind in zip(names, kinds, strict=True)]
        about.append({"url": name, "dc:title": layer, "tableSchema": {"columns": schema}})
    told = [one_line(description), caution_text(level_m, date), *lineage_lines(layers)]
    whole: dict[str, Any] = {
        "@context": "http://www.w3.org/ns/csvw",
        "dc:title": one_line(title) or "plan",
        "dc:description": " ".join(part for part in told if part),
        "tables": about,
    }
    if level_m is not None:
        whole["schema:additionalProperty"] = [
            {"schema:name": IN_LINEAGE, "schema:value": float(level_m)},
            {"schema:name": VERTICAL_DATUM, "schema:value": CHART_DATUM},
        ]
    files[METADATA] = json.dumps(whole, ensure_ascii=False, indent=1).encode() + b"\n"
    return files
