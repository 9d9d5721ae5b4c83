"""Features of a GeoJSON file (RFC 7946; the ``crs`` member of its 2008 forerunner is honoured)."""

from __future__ import annotations

import json
from typing import Any, Final, NoReturn

from ..errors import DataError
from .delimited import MOST_ROWS, decode
from .source_table import SourceTable, cell_text

_MOST_PARTS: Final = 4_000_000


def _no_constant(word: str) -> NoReturn:
    raise ValueError(f"{word} is not a number of JSON")


def _geometry(feature: dict[str, Any]) -> tuple[Any, str]:
    import numpy as np
    import shapely

    given = feature.get("geometry")
    if given is None:
        return None, ""
    shape = shapely.from_geojson(json.dumps(given), on_invalid="ignore")
    if shape is None:
        return None, "its geometry cannot be read"
    if not np.isfinite(shapely.get_coordinates(shape)).all():
        return None, "its geometry has coordinates that are not numbers"
    return shape, ""


def _cell(value: Any) -> str:
    return json.dumps(value, ensure_ascii=False) if isinstance(value, (dict, list)) else cell_text(value)


def _crs(document: dict[str, Any], name: str) -> str:
    import pyproj

    from ..layers.kinds_of_file import SYSTEM_NAME

    member = document.get("crs")
    if member is None:
        return "OGC:CRS84"
    try:
        named = str(member["properties"]["name"])
        # An address is not followed, and other words would be searched for, which takes a second and more.
        pyproj.CRS.from_user_input(named if SYSTEM_NAME.fullmatch(named) else "EPSG:0")
    except (KeyError, TypeError, pyproj.exceptions.CRSError) as fault:
        raise DataError(
            f"{name} names a coordinate reference system that is not known; write it again in WGS84."
        ) from fault
    return named


def read_geojson(data: bytes, name: str) -> SourceTable:
    """Read a GeoJSON file.

    Parameters
    ----------
    data
        The file's bytes.
    name
        What the source is called.

    Returns
    -------
    One row a feature, counted from 1; nested properties as JSON text.

    Raises
    ------
    DataError
        It is not JSON, not GeoJSON, or has too many features.
    """
    text, said = decode(data, name)
    if text.count("{") + text.count("[") > _MOST_PARTS:
        raise DataError(
            f"{name} has more than {_MOST_PARTS:,} parts, too many for a list of spots; split it."
        )
    try:
        document = json.loads(text, parse_constant=_no_constant)
    except RecursionError as fault:
        raise DataError(f"{name} nests its JSON too deeply to be a list of spots.") from fault
    except ValueError as fault:
        raise DataError(f"{name} is not JSON: {fault}.") from fault
    if isinstance(document, dict) and document.get("type") == "Feature":
        document = {"type": "FeatureCollection", "features": [document]}
    features = document.get("features") if isinstance(document, dict) else None
    if (
        not isinstance(document, dict)
        or document.get("type") != "FeatureCollection"
        or not isinstance(features, list)
    ):
        raise DataError(f"{name} is JSON but not a GeoJSON FeatureCollection.")
    if len(features) > MOST_ROWS:
        raise DataError(
            f"{name} has more than {MOST_ROWS:,} features, too many for a list of spots; split it."
        )
    rows: list[dict[str, str]] = []
    shapes: list[Any] = []
    problems: list[str] = []
    for feature in features:
        sound = isinstance(feature, dict)
        properties = feature.get("properties") if sound else None
        cells = {str(k): _cell(v) for k, v in properties.items()} if isinstance(properties, dict) else {}
        if sound and feature.get("id") is not None:
            cells.setdefault("id", _cell(feature["id"]))
        shape, problem = _geometry(feature) if sound else (None, "it is not a feature")
        rows.append(cells)
        shapes.append(shape)
        problems.append(problem)
    return SourceTable.make(
        name,
        "geojson",
        rows,
        line=range(1, len(rows) + 1),
        counted="feature",
        text=[json.dumps(feature, ensure_ascii=False)[:500] for feature in features],
        problem=problems,
        geometry=shapes,
        crs=_crs(document, name),
        said=said,
    )
