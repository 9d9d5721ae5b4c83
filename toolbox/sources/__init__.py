"""Read a list of spots, whatever open format it is in, into a `SourceTable`: what it holds decides, not its name."""

from __future__ import annotations

import contextlib
from typing import TYPE_CHECKING, Final

from ..errors import DataError, LayerMissing, UsageError
from ..layers.geopackage import holds_geopackage
from ..real_files import require_ordinary, shown
from .source_table import SourceTable

if TYPE_CHECKING:
    from pathlib import Path

__all__ = ["SourceTable", "read_source", "read_sources"]

_READ: Final = (
    "CSV, TSV, XLSX, ODS, GPX, GeoJSON, KML, KMZ, shapefile (also in a ZIP) and GeoPackage (FILE.gpkg:LAYER)"
)
# First bytes of files that are often given by mistake, and what to do instead.
_OTHERS: Final = (
    (b"\xd0\xcf\x11\xe0", "an old workbook; save the sheet as XLSX or CSV"),
    (b"%PDF", "a PDF; ask for the list as a table"),
    (b"\x1f\x8b", "gzip-packed; unpack it"),
)
_SHAPEFILE: Final = b"\x00\x00\x27\x0a"
_PACKED: Final = b"PK\x03\x04"


def _refuse_sheet(sheet: str | None, name: str) -> None:
    if sheet is not None:
        raise UsageError(f"{name}:{sheet} names a layer or sheet, but {name} has none; give the file alone.")


def _read_packed(data: bytes, name: str, sheet: str | None) -> SourceTable:
    from .kml import read_kml
    from .shapefile import read_packed_shapefile
    from .spreadsheets import read_opendocument, read_workbook
    from .xml_zip_reading import Element, Packed, parse_markup

    packed = Packed.open(data, name)
    names = packed.names
    if "xl/workbook.xml" in names:
        return read_workbook(packed, sheet)
    if "content.xml" in names:
        return read_opendocument(packed, sheet)
    if marks := [n for n in names if n.lower().endswith(".kml")]:
        _refuse_sheet(sheet, name)
        roots = [parse_markup(packed.read(n), f"{name} ({n})") for n in marks]
        return read_kml(Element("", "kml", {}, 0, [], roots), name)
    if shapes := {n.rpartition("/")[2][: -len(".shp")]: n for n in names if n.lower().endswith(".shp")}:
        if len(shapes) > 1 and sheet is None:
            raise LayerMissing(f"{name}: say which shapefile, as {name}:NAME; it has: {', '.join(shapes)}.")
        if sheet is not None and sheet not in shapes:
            raise LayerMissing(f"{name} has no shapefile '{sheet}'; it has: {', '.join(shapes)}.")
        return read_packed_shapefile(
            packed, shapes[sheet] if sheet is not None else next(iter(shapes.values()))
        )
    if len(names) == 1 and not (inner := packed.read(names[0])).startswith(_PACKED):
        _refuse_sheet(sheet, name)
        return _read_content(inner, f"{name}:{names[0].rpartition('/')[2]}")
    raise DataError(
        f"{name} is packed and holds no one list of spots ({', '.join(names[:5]) or 'nothing'}). Formats read: {_READ}."
    )


def _read_content(data: bytes, name: str) -> SourceTable:
    from .delimited import read_delimited
    from .geojson import read_geojson
    from .gpx import read_gpx
    from .kml import read_kml
    from .xml_zip_reading import parse_markup

    for start, words in _OTHERS:
        if data.startswith(start):
            raise DataError(f"{name} is {words}. Formats read: {_READ}.")
    if not data.strip():
        raise DataError(f"{name} is empty; a list of spots has at least a line of column names.")
    head = data[:256].lstrip(b"\xef\xbb\xbf \t\r\n").replace(b"\x00", b"").lstrip(b"\xff\xfe")
    if head.startswith(b"<"):
        root = parse_markup(data, name)
        if root.name == "gpx":
            return read_gpx(root, name)
        if root.name == "kml":
            return read_kml(root, name)
        raise DataError(f"{name} is XML with the root '{root.name[:40]}'. Formats read: {_READ}.")
    if head.startswith((b"{", b"[")):
        return read_geojson(data, name)
    return read_delimited(data, name)


def _read_file(path: Path, sheet: str | None) -> SourceTable:
    from .columns import parse_rules
    from .delimited import read_bytes
    from .shapefile import read_shapefile

    name = shown(path.name)
    with contextlib.suppress(OSError), path.open("rb") as stream:
        if stream.read(4) == _SHAPEFILE and path.suffix.lower() == ".shp":
            _refuse_sheet(sheet, name)
            return read_shapefile(path, name)
    data = read_bytes(path)
    if data.startswith(_PACKED):
        return _read_packed(data, name, sheet)
    _refuse_sheet(sheet, name)
    if data.startswith(_SHAPEFILE):
        raise DataError(f"{path} is a part of a shapefile; give its .shp part.")
    if path.suffix.lower() == ".dbf" and path.with_suffix(".shp").exists():
        raise DataError(f"{path} is the table of a shapefile; give {path.stem}.shp.")
    if path.suffix.lower() == ".toml":
        return SourceTable.of_rules(parse_rules(data, name), name)
    return _read_content(data, name)


def read_source(reference: str) -> SourceTable:
    """Read one source of spots.

    Parameters
    ----------
    reference
        A file (CSV and its kin, XLSX, ODS, GPX, GeoJSON, KML, KMZ, a shapefile), ``FILE.gpkg:LAYER`` or
        ``FILE.xlsx:SHEET``; or a .toml file that says how to read the others.

    Returns
    -------
    Its rows as text, each with its line, and geometry where the format has one.

    Raises
    ------
    FileMissing
        There is no such file.
    LayerMissing
        The file has no such layer or sheet; the message lists those there are.
    DataError
        It cannot be read, is hostile, or is in another format; the message lists the formats read.
    """
    from ..layers.reading import parse_reference, read_layer

    given = parse_reference(reference)
    require_ordinary(given.path, "a list of spots")
    if holds_geopackage(given.path):
        frame = read_layer(given, usual="spots")
        return SourceTable.from_frame(
            frame, f"{shown(given.path.name)}:{given.layer}" if given.layer else shown(given.path.name)
        )
    return _read_file(given.path, given.layer)


def read_sources(references: list[str]) -> list[SourceTable]:
    """Read several sources, in order."""
    return [read_source(reference) for reference in references]
