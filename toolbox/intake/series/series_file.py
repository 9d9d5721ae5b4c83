"""A file that holds values over time: what it is found to be, and the reader for it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from ...errors import DataError
from ...real_files import shown
from ...sources.file_text import read_bytes
from .gauge_json import parse_gauge_json
from .json_rows import load_json, rows_of_json
from .series_table import parse_delimited

if TYPE_CHECKING:
    from pathlib import Path

    from .series_table import SeriesTable

_WHAT: Final = {
    "forecast": "a wind forecast",
    "levels": "a table of pool levels",
    "symbols": "a table of symbols",
}
_OTHERS: Final = (
    (b"PK\x03\x04", "a packed file, such as a workbook"),
    (b"\xd0\xcf\x11\xe0", "an old workbook"),
    (b"%PDF", "a PDF"),
    (b"\x1f\x8b", "gzip-packed"),
    (b"SQLite format 3", "a GeoPackage or other database"),
)


def _of_markup(data: bytes, path: Path, what: str, holds: str) -> SeriesTable:
    """Read XML that is an open standard of series; what is another, or a web page, is refused."""
    from ...sources.xml_reading import parse_markup
    from .waterml import is_waterml, parse_waterml

    if holds != "levels" or b"waterml/2.0" not in data:
        also = " or WaterML 2.0" if holds == "levels" else ""
        raise DataError(f"{path} is XML or a web page; save {what} as CSV{also}.")
    root = parse_markup(data, shown(path.name))
    if not is_waterml(root):
        raise DataError(f"{path} is XML with the root '{root.name[:40]}'; save {what} as CSV or WaterML 2.0.")
    return parse_waterml(root, shown(path.name))


def read_series(path: Path, holds: str) -> SeriesTable:
    """Read a table over time from a file.

    Parameters
    ----------
    path
        CSV or its kin; for forecasts and levels also JSON (`castshed.toolbox.intake.series.json_rows` and
        `.gauge_json`), for levels WaterML 2.0.
    holds
        ``forecast``, ``levels`` or ``symbols``.

    Raises
    ------
    FileMissing
        There is no such file.
    DataError
        It cannot be read, is empty, too large, or in another format.
    """
    what = _WHAT[holds]
    data = read_bytes(path, what, "a header and rows")
    for start, words in _OTHERS:
        if data.startswith(start):
            raise DataError(f"{path} is {words}; save {what} as CSV.")
    head = data.lstrip(b"\xef\xbb\xbf \t\r\n")
    if head.startswith(b"<"):
        return _of_markup(data, path, what, holds)
    if head.startswith((b"{", b"[")):
        if holds == "levels":
            return parse_gauge_json(data, shown(path.name))
        if holds == "forecast":
            body, said = load_json(data, shown(path.name))
            return rows_of_json(body, shown(path.name), what, said, hourly=True)
        raise DataError(f"{path} is JSON; save {what} as CSV with columns kind and symbol.")
    return parse_delimited(data, shown(path.name))
