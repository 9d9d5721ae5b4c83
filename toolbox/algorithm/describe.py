"""A `Spec` as a process description in the form of OGC API - Processes, for machines.

The form is that of OGC 18-062r2, OGC API - Processes - Part 1: Core 1.0, section 7.9 and its schemas ``process``,
``processSummary``, ``inputDescription`` and ``outputDescription``; schemas of values are those of OpenAPI 3.0 with
formats of the standard's table of format names. Numbers are in SI; ``x-unit`` tells the unit, ``x-option`` the option
of the command line, where the unit is written with the number.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any, Final

from ..parameters.markers import (
    Choice,
    DayInput,
    DownloadList,
    FileSet,
    Flag,
    FolderSet,
    Layer,
    LayerSet,
    LogList,
    Many,
    Number,
    Quantity,
    SeriesInput,
    SourceList,
    Surface,
    Text,
)

if TYPE_CHECKING:
    from .catalogue import Entry
    from .spec import Parameter, Spec

UNITS: Final = {
    "length": "m",
    "speed": "m/s",
    "time": "s",
    "bearing": "deg",
    "volume": "L",
    "flow": "L/h",
}
GEOPACKAGE: Final = "application/geopackage+sqlite3"
TEXT_SEQUENCE: Final = "application/geo+json-seq"
_TYPES: Final = {"number": {"type": "number"}, "text": {"type": "string"}, "any": {}}
_SEVERAL: Final = (LayerSet, SourceList, LogList, DownloadList)
_PLAIN_FILES: Final[dict[type, tuple[str, ...]]] = {
    DayInput: ("application/toml",),
    SeriesInput: ("text/csv", "application/json"),
    SourceList: ("text/csv", "application/gpx+xml", "application/vnd.google-earth.kml+xml", GEOPACKAGE),
    LogList: ("text/plain", "text/csv"),
    DownloadList: (
        GEOPACKAGE,
        "application/zip",
        "application/geo+json",
        "image/tiff; application=geotiff",
        "text/csv",
    ),
    LayerSet: (GEOPACKAGE, TEXT_SEQUENCE),
}
_ANY_FILE: Final = ("application/octet-stream",)


def _file(media_type: str) -> dict[str, Any]:
    binary = media_type in (GEOPACKAGE, *_ANY_FILE)
    coded = {"contentEncoding": "binary"} if binary else {}
    return {"type": "string", **coded, "contentMediaType": media_type}


def _limits(marker: Quantity | Number) -> dict[str, Any]:
    found: dict[str, Any] = {}
    if marker.least is not None:
        found["minimum"] = marker.least
    if marker.most is not None:
        found["maximum"] = marker.most
    return found


def _collection(layer: Layer) -> dict[str, Any]:
    """Describe a layer as a GeoJSON feature collection: its geometry types and the columns it must have."""
    columns = [*layer.needs, *layer.optional]
    properties: dict[str, Any] = {}
    if layer.id:
        properties[layer.id] = {"type": "string"}
    for column in columns:
        properties[column.name] = dict(_TYPES[column.kind])
        if column.gaps and properties[column.name]:
            properties[column.name]["nullable"] = True
    needed = ([layer.id] if layer.id else []) + [c.name for c in layer.needs]
    rows: dict[str, Any] = {"type": "object", "properties": properties}
    if needed:
        rows["required"] = needed
    geometry: dict[str, Any] = {
        "type": "object",
        "properties": {"type": {"type": "string", "enum": list(layer.geometry)}},
    }
    if layer.may_lack_place:
        geometry["nullable"] = True
    feature = {"type": "object", "properties": {"geometry": geometry, "properties": rows}}
    features: dict[str, Any] = {"type": "array", "items": feature}
    if not layer.may_be_empty:
        features["minItems"] = 1
    return {
        "type": "object",
        "format": "geojson-feature-collection",
        "required": ["type", "features"],
        "properties": {"type": {"type": "string", "enum": ["FeatureCollection"]}, "features": features},
    }


def value_schema(marker: Any) -> dict[str, Any]:
    """Describe the values a marker of `castshed.toolbox.parameters` stands for, as an OpenAPI 3.0 schema."""
    if isinstance(marker, Layer):
        return {"oneOf": [_file(GEOPACKAGE), _collection(marker)]}
    if isinstance(marker, Surface):
        return {"oneOf": [_file(GEOPACKAGE), _file("image/tiff; application=geotiff")]}
    if isinstance(marker, Quantity):
        return {"type": "number", **_limits(marker), "x-unit": UNITS[marker.kind]}
    if isinstance(marker, Number):
        return {"type": "integer" if marker.whole else "number", **_limits(marker)}
    if isinstance(marker, Choice):
        return {"type": "string", "enum": list(marker.words)}
    if isinstance(marker, Flag):
        return {"type": "boolean"}
    if isinstance(marker, Text):
        return {"type": "string"}
    if isinstance(marker, Many):
        return {"type": "array", "items": value_schema(marker.of)}
    if isinstance(marker, (FileSet, FolderSet)):
        files = {"type": "string", "contentEncoding": "binary"}
        named = {"properties": dict.fromkeys(marker.names, files)} if marker.names else {}
        return {"type": "object", **named, "additionalProperties": files}
    return {"oneOf": [_file(media_type) for media_type in _PLAIN_FILES.get(type(marker), _ANY_FILE)]}


def _title(name: str) -> str:
    return name.replace("_", " ").replace("-", " ").capitalize()


def _input(par: Parameter) -> dict[str, Any]:
    schema = value_schema(par.marker)
    if not par.required and par.default is not None:
        schema["default"] = list(par.default) if isinstance(par.default, tuple) else par.default
    if not par.positional:
        schema["x-option"] = par.option
    body: dict[str, Any] = {
        "title": _title(par.option.removeprefix("--")),
        "description": par.help,
        "schema": schema,
        "minOccurs": 1 if par.required else 0,
    }
    if isinstance(par.marker, _SEVERAL):
        body["maxOccurs"] = "unbounded"
    return body


def version_of(entry: Entry) -> str:
    """Tell the version of an algorithm: that of its distribution, or for a file in a folder a hash of its text."""
    from importlib import metadata

    if not entry.module and entry.path is not None:
        import hashlib

        return "0+" + hashlib.sha256(entry.path.read_bytes()).hexdigest()[:12]
    try:
        return metadata.version(entry.origin)
    except metadata.PackageNotFoundError:
        return "0+unknown"


def _summary(name: str, words: str, version: str) -> dict[str, Any]:
    return {
        "id": name,
        "version": version,
        "title": _title(name),
        "description": words,
        "jobControlOptions": ["sync-execute"],
        "outputTransmission": ["value", "reference"],
    }


def describe(spec: Spec, version: str) -> dict[str, Any]:
    """Describe one algorithm: the ``process`` of the standard.

    Parameters
    ----------
    spec
        What the algorithm is.
    version
        Such as `version_of` tells.
    """
    from .spec import STEPS

    words = spec.summary + ("\n\n" + spec.description if spec.description else "")
    return _summary(spec.name, words, version) | {
        "keywords": [STEPS[spec.step]],
        "metadata": [{"title": "Example", "role": "example", "value": spec.example}],
        "inputs": {par.name: _input(par) for par in spec.parameters},
        "outputs": {
            out.name: {"title": _title(out.name), "schema": value_schema(out.marker)} for out in spec.outputs
        },
    }


def describe_all(entries: Mapping[str, Entry]) -> dict[str, Any]:
    """List the algorithms that can be used: the ``processList`` of the standard; imports none of them."""
    sound = [entry for entry in entries.values() if not entry.problem]
    return {"processes": [_summary(e.name, e.summary, version_of(e)) for e in sound], "links": []}
