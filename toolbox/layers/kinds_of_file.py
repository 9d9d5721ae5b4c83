"""What a file is by its content: the formats that are read as layers, and no others."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Final

from ..errors import DataError
from ..real_files import require_ordinary

GEOPACKAGE: Final = "GeoPackage"
SHAPEFILE: Final = "shapefile"
FLATGEOBUF: Final = "FlatGeobuf"
GEOJSON: Final = "GeoJSON"
KML: Final = "KML"
GPX: Final = "GPX"
DXF: Final = "DXF"
GEOTIFF: Final = "GeoTIFF"
ASCII_GRID: Final = "ASCII grid"
# What agencies hand out beside these; read for a lake that is brought in, and by no other algorithm.
S57: Final = "S-57"
GML: Final = "GML"
FILE_GEODATABASE: Final = "file geodatabase"
NETCDF: Final = "netCDF"
BAG: Final = "BAG"
S102: Final = "S-102"
XYZ_GRID: Final = "XYZ grid"

VECTORS: Final = (GEOPACKAGE, SHAPEFILE, FLATGEOBUF, GEOJSON, KML, GPX, DXF)
RASTERS: Final = (GEOPACKAGE, GEOTIFF, ASCII_GRID)
HANDED_OUT_VECTORS: Final = (S57, GML, FILE_GEODATABASE)
HANDED_OUT_RASTERS: Final = (NETCDF, BAG, S102)
MOST_BYTES: Final = 2_000_000_000  # of a format that is read whole into memory

_HEAD: Final = 8192
# First bytes, each from the standard of its format.
_MAGIC: Final = (
    (b"SQLite format 3\x00", GEOPACKAGE),
    (b"\x00\x00\x27\x0a", SHAPEFILE),
    (b"fgb\x03fgb", FLATGEOBUF),
    (b"II*\x00", GEOTIFF),
    (b"MM\x00*", GEOTIFF),
    (b"II+\x00", GEOTIFF),  # BigTIFF
    (b"MM\x00+", GEOTIFF),
    (b"AutoCAD Binary DXF\r\n\x1a\x00", DXF),
    (b"\x1e{", GEOJSON),  # a sequence of texts, RFC 8142
)
_ROOT: Final = re.compile(rb"<(?:\w[\w.-]*:)?(\w[\w.-]*)[\s/>]")
_BEFORE_ROOT: Final = re.compile(rb"\s*(?:<\?.*?\?>\s*|<!--.*?-->\s*)*", re.DOTALL)
_DRAWING: Final = re.compile(rb"\s*(?:999\r?\n[^\n]*\n\s*)*0\r?\n\s*SECTION\b")
_GRID: Final = re.compile(rb"\s*(?:ncols|nrows)\s+\d+\s+(?:ncols|nrows)\s+\d+\s+[xy]ll", re.IGNORECASE)
# The name of a member of JSON may be written in escapes, and is matched by readers in either case.
_CRS: Final = re.compile(
    rb'"(?:c|\\u00[46]3)(?:r|\\u00[57]2)(?:s|\\u00[57]3)"\s*:\s*(?=[^\s])', re.IGNORECASE
)
SYSTEM_NAME: Final = re.compile(
    r"(?:urn:(?:x-)?ogc:def:crs:|https?://www\.opengis\.net/def/crs/|EPSG:|OGC:)[\w:./-]{1,60}", re.IGNORECASE
)


def _of_text(head: bytes) -> str | None:
    text = head.removeprefix(b"\xef\xbb\xbf")
    if text.lstrip().startswith(b"{"):
        return GEOJSON
    if text.lstrip().startswith(b"<"):
        found = _ROOT.match(text, _BEFORE_ROOT.match(text).end())  # type: ignore[union-attr]  # matches nothing, too
        return {b"kml": KML, b"gpx": GPX}.get(found[1].lower()) if found else None
    if _DRAWING.match(text):
        return DXF
    return ASCII_GRID if _GRID.match(text) else None


_EXCHANGE_RECORD: Final = re.compile(
    rb"\d{5}[123]L[E ]"
)  # the leader of ISO/IEC 8211, which S-57 is written in
_GML_NAMESPACE: Final = b"opengis.net/gml"
_GRID_OF_A_GEODATABASE: Final = "a00000001.gdbtable"
_CLASSIC: Final = (b"CDF\x01", b"CDF\x02", b"CDF\x05")
_HIERARCHY: Final = b"\x89HDF\r\n\x1a\n"


def _of_hierarchy(path: Path) -> str:
    """Tell what a file of HDF5 holds by the names of its groups, which stand in it as they are."""
    import mmap

    with path.open("rb") as stream, mmap.mmap(stream.fileno(), 0, access=mmap.ACCESS_READ) as content:
        if content.find(b"BAG_root") >= 0:
            return BAG
        return S102 if content.find(b"BathymetryCoverage") >= 0 else NETCDF


def handed_out_kind(path: Path) -> str | None:
    """Tell the format of a file or folder that agencies hand out, by its content; None where it is none of these.

    Raises
    ------
    FileMissing, DataError
        It is not there, is no ordinary file or folder, or cannot be opened.
    """
    if path.is_dir():
        return FILE_GEODATABASE if (path / _GRID_OF_A_GEODATABASE).is_file() else None
    require_ordinary(path, "a file")
    try:
        with path.open("rb") as stream:
            head = stream.read(_HEAD)
        if head.startswith(_HIERARCHY):
            return _of_hierarchy(path)
    except (OSError, ValueError) as error:
        raise DataError(f"{path} cannot be read: {getattr(error, 'strerror', None) or error}.") from error
    if head.startswith(_CLASSIC):
        return NETCDF
    if _EXCHANGE_RECORD.match(head):
        return S57
    text = head.removeprefix(b"\xef\xbb\xbf")
    if text.lstrip().startswith(b"<") and _GML_NAMESPACE in head and _of_text(head) is None:
        return GML
    return None


def kind_of(path: Path) -> str:
    """Tell the format of a file by its first bytes, whatever it is called.

    Raises
    ------
    FileMissing, DataError
        It is not there, is no ordinary file, cannot be opened, or is in no format that is read.
    """
    require_ordinary(path, "a file")
    try:
        with path.open("rb") as stream:
            head = stream.read(_HEAD)
    except OSError as error:
        raise DataError(f"{path} cannot be read: {error.strerror or error}.") from error
    found = next((kind for start, kind in _MAGIC if head.startswith(start)), None) or _of_text(head)
    if found is None:
        what = "it is empty" if not head else "its content is in none of the formats that are read"
        raise DataError(
            f"{path} cannot be read as a layer: {what}. Layers are read from {', '.join(VECTORS)}; rasters from "
            f"{', '.join(RASTERS)}. Save it as one of them."
        )
    return found


def whole(path: Path, kind: str) -> bytes:
    """Read a file whole, after a look for what would lead its reader elsewhere.

    Raises
    ------
    DataError
        It is too large, declares entities, or names its reference system by an address.
    """
    try:
        if path.stat().st_size > MOST_BYTES:
            raise DataError(
                f"{path} is larger than {MOST_BYTES // 1_000_000_000} GB, too large for {kind}; save it as GeoPackage."
            )
        data = path.read_bytes()
    except OSError as error:
        raise DataError(f"{path} cannot be read: {error.strerror or error}.") from error
    if kind in {KML, GPX, GML} and (b"<!ENTITY" in data or b"<!DOCTYPE" in data):
        raise DataError(
            f"{path} declares a document type or entities, which {kind} has none of; take them out."
        )
    if kind == GEOJSON:
        _refuse_linked_system(path, data)
    return data


def _refuse_linked_system(path: Path, data: bytes) -> None:
    """Refuse GeoJSON (2008) whose reference system is to be fetched from an address, or from another file."""
    for found in _CRS.finditer(data):
        told = data[found.end() : found.end() + 4096].decode("utf-8", errors="replace")
        if told[0] != "{":  # a text or number: a column of that name
            continue
        try:
            value, _ = json.JSONDecoder().raw_decode(told)
            name = value["properties"]["name"] if str(value["type"]).lower() == "name" else None
        except (ValueError, KeyError, TypeError, RecursionError):
            name = None
        if len(value if name is not None else ()) != 2 or not SYSTEM_NAME.fullmatch(str(name)):
            raise DataError(
                f"{path} gives its reference system ('crs') by a link or in an unknown way; nothing is fetched. Write "
                'it as {"type": "name", "properties": {"name": "EPSG:32615"}}, or take it out for WGS84.'
            )
