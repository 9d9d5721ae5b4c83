"""Read a list of spots, whatever open format it is in, into a `SourceTable`: what it holds decides, not its name."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from .errors import DataError, FileMissing, UsageError
from .intake.source_table import SourceTable

if TYPE_CHECKING:
    from pathlib import Path

__all__ = ["SourceTable", "read_source", "read_sources"]

_READ: Final = "CSV, TSV, GPX, GeoJSON, KML and GeoPackage (FILE.gpkg:LAYER)"
# First bytes of files that are often given by mistake, and what to do instead.
_OTHERS: Final = (
    (b"PK\x03\x04", "a packed file (a workbook or KMZ); save the sheet as CSV, or unpack the KML from it"),
    (b"\xd0\xcf\x11\xe0", "an old workbook; save the sheet as CSV"),
    (b"\x00\x00\x27\x0a", "a shapefile; write it as GeoPackage or GeoJSON"),
    (b"%PDF", "a PDF; ask for the list as a table"),
    (b"\x1f\x8b", "gzip-packed; unpack it"),
)


def _read_file(path: Path) -> SourceTable:
    from .intake.delimited import read_delimited
    from .intake.file_text import read_bytes
    from .intake.geojson import read_geojson
    from .intake.gpx import read_gpx
    from .intake.kml import read_kml
    from .intake.markup import parse_markup

    data = read_bytes(path)
    for start, words in _OTHERS:
        if data.startswith(start):
            raise DataError(f"{path} is {words}. Formats read: {_READ}.")
    head = data[:256].lstrip(b"\xef\xbb\xbf \t\r\n").replace(b"\x00", b"").lstrip(b"\xff\xfe")
    if head.startswith(b"<"):
        root = parse_markup(data, path.name)
        if root.name == "gpx":
            return read_gpx(root, path.name)
        if root.name == "kml":
            return read_kml(root, path.name)
        raise DataError(f"{path} is XML with the root '{root.name[:40]}'. Formats read: {_READ}.")
    if head.startswith((b"{", b"[")):
        return read_geojson(data, path.name)
    return read_delimited(data, path.name)


def _is_geopackage(path: Path) -> bool:
    try:
        with path.open("rb") as stream:
            return stream.read(16) == b"SQLite format 3\x00"
    except OSError:
        return False


def read_source(reference: str) -> SourceTable:
    """Read one source of spots.

    Parameters
    ----------
    reference
        A file (CSV and its kin, GPX, GeoJSON, KML), or ``FILE.gpkg:LAYER``.

    Returns
    -------
    SourceTable
        Its rows as text, each with its line, and geometry where the format has one.

    Raises
    ------
    FileMissing
        There is no such file.
    LayerMissing
        The GeoPackage has no such layer; the message lists those there are.
    DataError
        It cannot be read, is hostile, or is in another format; the message lists the formats read.
    """
    from .layers import parse_reference, read_layer

    given = parse_reference(reference)
    if not given.path.exists():
        raise FileMissing(f"{given.path} is not there; check the name and the folder.")
    if _is_geopackage(given.path):
        frame = read_layer(given, usual="spots")
        return SourceTable.from_frame(
            frame, f"{given.path.name}:{given.layer}" if given.layer else given.path.name
        )
    if given.layer is not None:
        raise UsageError(
            f"{reference} names a layer, but {given.path} is no GeoPackage; give the file alone."
        )
    return _read_file(given.path)


def read_sources(references: list[str]) -> list[SourceTable]:
    """Read several sources, in order."""
    return [read_source(reference) for reference in references]
