"""Rows of a layer as CSV that spreadsheets open without harm: a text that looks like a formula stays a text."""

from __future__ import annotations

import csv
import io
import math
import re
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import pandas as pd
import shapely

from ..words.features import to_lon_lat

if TYPE_CHECKING:
    import geopandas

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
    All columns as they are called, depths in metres; then ``lat`` and ``lon`` in WGS84, of lines and areas those of
    a point on them. Numbers have all their digits.
    """
    columns = [str(c) for c in frame.columns if c != frame.geometry.name]
    cells = [[_cell(v) for v in frame[c].tolist()] for c in columns]
    shapes = np.array(to_lon_lat(frame, layer), dtype=object).reshape(len(frame))
    points = shapely.point_on_surface(shapes)
    for get, name in ((shapely.get_y, "lat"), (shapely.get_x, "lon")):
        columns.append(name if name not in columns else f"{name}_wgs84")
        cells.append([f"{value:.8f}" if math.isfinite(value) else "" for value in get(points).tolist()])
    text = io.StringIO()
    out = csv.writer(text, lineterminator="\r\n")
    out.writerow(columns)
    out.writerows(zip(*cells, strict=True))
    return text.getvalue().encode("utf-8-sig")
