"""Layers through a pipe: GeoJSON text sequences (RFC 8142), with the reference system stated and coordinates exact.

Each text stands between a record separator and a line feed. A layer begins with an empty feature collection that tells
its name, its reference system, the kinds of its columns and the level it was made at; then comes one feature a row.
GeoJSON (RFC 7946) knows degrees on WGS 84 only, in which a metre is not kept exactly. So ``geometry`` holds those, to
seven decimals, for any reader of GeoJSON, and the members ``place`` and ``coordRefSys`` of OGC Features and Geometries
JSON (OGC 21-045r1), which RFC 7946 counts as foreign members, hold the same place in the layer's own system, bit for
bit. ``featureType`` names the layer. What reads it here takes ``place`` where there is one, else ``geometry``.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterator, Mapping, Sequence
from typing import IO, TYPE_CHECKING, Any, Final

from ..errors import CrsError, DataError
from ..lineage import CHART_DATUM, IN_LINEAGE, LEVEL, VERTICAL_DATUM, level_of_layer, level_of_text

if TYPE_CHECKING:
    import pyproj
    from geopandas import GeoDataFrame
    from numpy.typing import NDArray

SEPARATOR: Final = b"\x1e"
_EPSG: Final = re.compile(
    r"(?:https?://www\.opengis\.net/def/crs/EPSG/[^/]+/|urn:ogc:def:crs:EPSG:[^:]*:|EPSG:)(\d+)"
)
_EPSG_URI: Final = "http://www.opengis.net/def/crs/EPSG/0/{}"
_HEAD: Final = "castshed"
_DEGREES: Final = "OGC:CRS84"  # what RFC 7946 takes for granted: longitude before latitude
_DEGREE_DECIMALS: Final = 7


def _system(crs: pyproj.CRS) -> Any:
    """Write a system as a URI of the OGC register, or where that does not hold all of it, as PROJJSON."""
    import pyproj

    code = crs.to_epsg()
    if code is not None and pyproj.CRS.from_epsg(code) == crs:
        return _EPSG_URI.format(code)
    return crs.to_json_dict()


def _read_system(told: Any, where: str) -> pyproj.CRS:
    import pyproj

    try:
        if isinstance(told, str) and (found := _EPSG.fullmatch(told)):
            return pyproj.CRS.from_epsg(int(found.group(1)))
        if isinstance(told, dict):
            return pyproj.CRS.from_json_dict(told)
        return pyproj.CRS.from_user_input(told)
    except (pyproj.exceptions.CRSError, TypeError, ValueError) as error:
        raise CrsError(
            f"{where} states a reference system that is not known ({str(told)[:80]}); write "
            f"{_EPSG_URI.format(32615)} for instance."
        ) from error


def _north_first(crs: pyproj.CRS) -> bool:
    """Whether the system itself writes north before east; a pair in ``place`` follows the system."""
    axes = [axis.direction for axis in crs.axis_info[:2]]
    return axes == ["north", "east"]


def _turned(geometry: NDArray[Any]) -> NDArray[Any]:
    import numpy as np
    import shapely

    return np.asarray(shapely.transform(geometry, lambda pairs: pairs[:, ::-1]), dtype=object)


def _kind(values: Any) -> str:
    import pandas as pd

    for kind, test in (
        ("yes_no", pd.api.types.is_bool_dtype),
        ("whole", pd.api.types.is_integer_dtype),
        ("number", pd.api.types.is_float_dtype),
        ("time", pd.api.types.is_datetime64_any_dtype),
    ):
        if test(values.dtype):
            return kind
    return "text"


def _cells(values: Any, kind: str) -> list[Any]:
    if kind == "time":
        return [None if v is None or v != v else v.isoformat() for v in values]  # noqa: PLR0124  # not-a-time
    found = [v.item() if hasattr(v, "item") else v for v in values]
    # not-a-number and infinity have no word in JSON; what is no text, number or yes and no is written as text
    return [
        None
        if v is None or v != v or v in (float("inf"), float("-inf"))  # noqa: PLR0124
        else (v if isinstance(v, str | int | float) else str(v))
        for v in found
    ]


def _record(text: str) -> bytes:
    return SEPARATOR + text.encode() + b"\n"


def _dumps(value: Any) -> str:
    return json.dumps(value, ensure_ascii=False, allow_nan=False)


def _layer_records(name: str, frame: GeoDataFrame, types: Sequence[str]) -> Iterator[bytes]:
    import numpy as np
    import shapely

    system = _system(frame.crs)
    plain = [str(c) for c in frame.columns if c != frame.geometry.name]
    kinds = {c: _kind(frame[c]) for c in plain}
    told: dict[str, Any] = {"layer": name, "columns": kinds, "types": list(types)}
    if (level_m := level_of_layer(frame)) is not None:
        told |= {IN_LINEAGE: level_m, VERTICAL_DATUM: CHART_DATUM}
    yield _record(_dumps({"type": "FeatureCollection", "features": [], "coordRefSys": system, _HEAD: told}))
    own = np.asarray(frame.geometry.to_numpy(), dtype=object)
    turned = _turned(own) if _north_first(frame.crs) else own
    degrees = np.asarray(frame.geometry.to_crs(4326).to_numpy(), dtype=object)
    degrees = shapely.transform(degrees, lambda pairs: np.round(pairs, _DEGREE_DECIMALS))
    places = [text or "null" for text in shapely.to_geojson(turned)]
    seen = [text or "null" for text in shapely.to_geojson(degrees)]
    columns = [_cells(frame[c], kinds[c]) for c in plain]
    kind, system_text = _dumps(name), _dumps(system)
    for row, (place, geometry) in enumerate(zip(places, seen, strict=True)):
        cells = _dumps({c: values[row] for c, values in zip(plain, columns, strict=True)})
        yield _record(
            f'{{"type":"Feature","featureType":{kind},"coordRefSys":{system_text},"place":{place},'
            f'"geometry":{geometry},"properties":{cells}}}'
        )


def write_sequence(
    stream: IO[bytes], layers: Mapping[str, GeoDataFrame], types: Mapping[str, Sequence[str]] | None = None
) -> None:
    """Write layers one after the other.

    Parameters
    ----------
    stream
        Such as the buffer of standard output.
    layers
        Layer name -> frame in a stated reference system.
    types
        Layer name -> geometry types, told for layers without rows.

    Raises
    ------
    CrsError
        A frame states no reference system.
    """
    for name, frame in layers.items():
        if frame.crs is None:
            raise CrsError(f"{name} states no coordinate reference system; set it first.")
        for record in _layer_records(name, frame, (types or {}).get(name, ())):
            stream.write(record)
    stream.flush()


def _no_number(word: str) -> Any:
    raise ValueError(f"{word} is no number of JSON")


def _texts(stream: IO[bytes]) -> Iterator[tuple[str, Any]]:
    """Yield (where, object) of each text; empty ones are passed over, as RFC 7464 says."""
    content = stream.read()
    if content and SEPARATOR not in content:
        raise DataError(
            "Standard input holds no GeoJSON text sequence (RFC 8142: each text begins with a record separator, "
            "hexadecimal 1E); pipe the output of a command with --out - into it."
        )
    for number, part in enumerate(content.split(SEPARATOR)):
        if not part.strip():
            continue
        where = f"standard input, text {number}"
        try:
            body = json.loads(part.decode("utf-8"), parse_constant=_no_number)
        except (ValueError, RecursionError) as error:
            raise DataError(f"{where} is broken ({error}); was the command before it stopped?") from error
        if not isinstance(body, dict) or body.get("type") not in ("Feature", "FeatureCollection"):
            raise DataError(f"{where} is no GeoJSON feature.")
        yield where, body


class _Layer:
    """What has been read of one layer."""

    def __init__(self) -> None:
        self.crs: pyproj.CRS | None = None
        self.columns: dict[str, str] = {}
        self.rows: list[dict[str, Any]] = []
        self.geometry: list[str | None] = []
        self.told: Any = None
        self.level_m: float | None = None

    def state(self, told: Any, where: str) -> None:
        """Take the reference system of a text; all of one layer must have the same."""
        if self.crs is not None and told == self.told:
            return
        crs = _read_system("EPSG:4326" if told == _DEGREES else told, where)
        if self.crs is not None and (crs != self.crs or _DEGREES in (told, self.told)):
            raise CrsError(f"{where} is in {crs.name}, the texts before it in {self.crs.name}; use one.")
        self.crs, self.told = crs, told

    def add(self, body: dict[str, Any], where: str) -> None:
        """Take one feature."""
        properties = body.get("properties") or {}
        if not isinstance(properties, dict):
            raise DataError(f"{where}: properties must be an object.")
        place, geometry = body.get("place"), body.get("geometry")
        told = body.get("coordRefSys", self.told)
        if place is None and (geometry is not None or told is None):
            place, told = geometry, _DEGREES
        elif told is None:
            raise CrsError(f"{where} has a place but no coordRefSys; state the reference system.")
        self.state(told, where)
        self.rows.append(properties)
        self.geometry.append(None if place is None else json.dumps(place))

    def frame(self, name: str) -> GeoDataFrame:
        """Make the frame."""
        import geopandas as gpd
        import numpy as np
        import shapely

        names = dict(self.columns)
        for row in self.rows:
            for column in row:
                names.setdefault(str(column), "")
        try:
            shapes = np.asarray(shapely.from_geojson(np.array(self.geometry, dtype=object)), dtype=object)
        except shapely.errors.GEOSException as error:
            raise DataError(f"standard input, layer {name}: a geometry is broken ({error}).") from error
        if self.crs is not None and self.told != _DEGREES and _north_first(self.crs):
            shapes = _turned(shapes)
        columns = {
            c: _column([row.get(c) for row in self.rows], kind, f"{name}.{c}") for c, kind in names.items()
        }
        frame = gpd.GeoDataFrame(columns, geometry=shapes, crs=self.crs)
        if self.level_m is not None:
            frame.attrs[LEVEL] = self.level_m
        return frame


def _column(values: list[Any], kind: str, name: str) -> Any:
    import pandas as pd

    nested = [json.dumps(v, ensure_ascii=False) if isinstance(v, dict | list) else v for v in values]
    try:
        if kind == "time":
            return pd.to_datetime(pd.Series(nested, dtype=object), format="ISO8601")
        if kind == "number" or (kind == "whole" and None in nested):
            return pd.Series(nested, dtype="float64")
        if kind == "whole":
            return pd.Series(nested, dtype="int64")
        if kind == "yes_no" and None not in nested:
            return pd.Series(nested, dtype="bool")
        return pd.Series(nested, dtype=None if any(v is not None for v in nested) else object)
    except (ValueError, TypeError, OverflowError) as error:
        raise DataError(f"standard input: {name} is no {kind.replace('_', ' ')} ({error}).") from error


def read_sequence(stream: IO[bytes]) -> dict[str, GeoDataFrame]:
    """Read the layers of a sequence, ours or anybody's.

    Returns
    -------
    Layer name -> frame; features that name no layer are in one called ``features``.

    Raises
    ------
    DataError, CrsError
        A text is broken, or states no system, one that is not known, or another than those before it.
    """
    found: dict[str, _Layer] = {}
    for where, body in _texts(stream):
        head = body.get(_HEAD)
        if body["type"] == "FeatureCollection" and isinstance(head, dict):
            layer = found.setdefault(str(head.get("layer", "features")), _Layer())
            layer.state(body.get("coordRefSys"), where)
            layer.level_m = level_of_text(head.get(IN_LINEAGE))
            columns = head.get("columns")
            layer.columns = {str(k): str(v) for k, v in columns.items()} if isinstance(columns, dict) else {}
            continue
        features = [body] if body["type"] == "Feature" else body.get("features")
        if not isinstance(features, list):
            raise DataError(f"{where}: features must be a list.")
        for feature in features:
            if not isinstance(feature, dict):
                raise DataError(f"{where} is no GeoJSON feature.")
            name = str(feature.get("featureType", body.get("featureType", "features")))
            found.setdefault(name, _Layer()).add(feature, where)
    return {name: layer.frame(name) for name, layer in found.items()}
