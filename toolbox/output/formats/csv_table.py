"""CSV: rows of a layer that spreadsheets open without harm, and a plan after RFC 4180, a file for each layer.

CSV holds no words beside its rows. What the tables are, their columns and the cautions go into
``csv-metadata.json`` beside them, after the W3C's Metadata Vocabulary for Tabular Data (2015), which gives that name.
"""

from __future__ import annotations

import csv
import io
import json
import math
import re
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import pandas as pd
import shapely

from ...lineage import CHART_DATUM, IN_LINEAGE, VERTICAL_DATUM, lineage_lines
from ...lon_lat import on_earth
from ...text import one_line
from ..words.cautions import caution_text
from ..words.features import to_lon_lat
from ..words.names import PLAIN, NameRule
from .prepared_features import tables_of, unlike
from .xml_zip_writing import file_stems

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    import geopandas
    import geopandas as gpd

    from ...arrays import Geometries
    from ..words.features import Feature

# What a spreadsheet takes for the start of a formula, with what may stand before it.
_FORMULA: Final = re.compile(r"'*\s*[=+\-@＝＋－＠]")
_NUMBER: Final = re.compile(r"[-+]?\d+(?:\.\d+)?(?:[eE][-+]?\d+)?")


def harmless(text: str) -> str:
    """Put an apostrophe before a text that a spreadsheet would take for a formula; the readers take it off again.

    Examples
    --------
    >>> harmless("=1+1"), harmless("-85.2"), harmless("- deep")
    ("'=1+1", '-85.2', "'- deep")
    """
    return f"'{text}" if _FORMULA.match(text) and not _NUMBER.fullmatch(text) else text


def _cell(value: Any) -> str:
    if value is None or (not isinstance(value, (str, bytes)) and bool(pd.isna(value))):
        return ""
    if isinstance(value, (bytes, bytearray)):
        return value.hex()
    if isinstance(value, (float, np.floating)):
        return repr(float(value)) if math.isfinite(value) else ""
    return harmless(str(value).replace("\x00", ""))


def to_csv(frame: geopandas.GeoDataFrame, layer: str) -> bytes:
    """Write a layer as CSV (RFC 4180) in UTF-8 with its mark, which spreadsheets need to know it by.

    Parameters
    ----------
    frame
        Any layer.
    layer
        Its name, for messages.

    Returns
    -------
    All columns as they are called, depths in metres; then ``lon`` and ``lat`` in WGS84, of lines and areas those of
    a point on them. Numbers have all their digits. But for the mark this is the form of `to_csv_files`.
    """
    columns = [str(c) for c in frame.columns if c != frame.geometry.name]
    cells = [[_cell(v) for v in frame[c].tolist()] for c in columns]
    shapes = np.array(to_lon_lat(frame, layer), dtype=object).reshape(len(frame))
    for name, values in _points(shapes).items():
        columns.append(name if name not in columns else f"{name}_wgs84")
        cells.append(values)
    return _table(columns, cells, encoding="utf-8-sig")


def _points(shapes: Geometries) -> dict[str, list[str]]:
    """Longitude and latitude of a point on each geometry, to a millimetre."""
    points = shapely.point_on_surface(shapes) if len(shapes) else shapes
    return {
        name: [f"{value:.8f}" if math.isfinite(value) else "" for value in get(points).tolist()]
        for name, get in (("lon", shapely.get_x), ("lat", shapely.get_y))
    }


def _table(names: Sequence[str], cells: Sequence[Sequence[str]], *, encoding: str) -> bytes:
    """Write columns as a table after RFC 4180."""
    text = io.StringIO()
    out = csv.writer(text, lineterminator="\r\n")
    out.writerow(names)
    out.writerows(zip(*cells, strict=True))
    return text.getvalue().encode(encoding)


METADATA: Final = "csv-metadata.json"
_TYPES: Final = {"i": "integer", "f": "double", "O": "string"}


def _places(features: list[Feature]) -> dict[str, list[str]]:
    """Longitude and latitude of a point on each geometry; WKT too where one is more than a point."""
    shapes = np.empty(len(features), dtype=object)
    for row, feature in enumerate(features):
        shapes[row] = feature.geometry
    shapes = on_earth(shapes)
    found = _points(shapes)
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
        name = f"{stems[layer]}.csv"
        files[name] = _table(names, [*cells, *places.values()], encoding="utf-8")
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
