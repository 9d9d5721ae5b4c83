"""A file that holds values over time: what it is found to be, and the reader for it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from ...errors import DataError
from ...real_files import shown
from ...sources.file_text import read_bytes
from .gauge_json import parse_gauge_json
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


def read_series(path: Path, holds: str) -> SeriesTable:
    """Read a table over time from a file.

    Parameters
    ----------
    path
        CSV or its kin; for levels also the JSON forms of `castshed.toolbox.intake.series.gauge_json`.
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
        raise DataError(f"{path} is XML or a web page; save {what} as CSV.")
    if head.startswith((b"{", b"[")):
        if holds == "levels":
            return parse_gauge_json(data, shown(path.name))
        columns = "kind and symbol" if holds == "symbols" else "time, wind, gust and wind_from"
        raise DataError(f"{path} is JSON; save {what} as CSV with columns {columns}.")
    return parse_delimited(data, shown(path.name))
