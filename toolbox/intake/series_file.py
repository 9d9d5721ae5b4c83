"""A file that holds values over time: what it is found to be, and the reader for it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from ..errors import DataError, FileMissing
from .file_text import LARGEST_BYTES
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
        CSV or its kin; for levels also the JSON forms of `castshed.toolbox.intake.gauge_json`.
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
    if not path.exists():
        raise FileMissing(f"{path} is not there; check the name and the folder.")
    if not path.is_file():
        raise DataError(f"{path} is not a file; give {what}.")
    try:
        with path.open("rb") as stream:
            data = stream.read(LARGEST_BYTES + 1)
    except OSError as fault:
        raise DataError(f"{path} cannot be opened: {fault.strerror or fault}.") from fault
    if len(data) > LARGEST_BYTES:
        raise DataError(f"{path} is larger than {LARGEST_BYTES // 1024**2} MB, too large for {what}.")
    if not data.strip():
        raise DataError(f"{path} is empty; {what} has a header and rows.")
    for start, words in _OTHERS:
        if data.startswith(start):
            raise DataError(f"{path} is {words}; save {what} as CSV.")
    head = data.lstrip(b"\xef\xbb\xbf \t\r\n")
    if head.startswith(b"<"):
        raise DataError(f"{path} is XML or a web page; save {what} as CSV.")
    if head.startswith((b"{", b"[")):
        if holds == "levels":
            return parse_gauge_json(data, path.name)
        columns = "kind and symbol" if holds == "symbols" else "time, wind, gust and wind_from"
        raise DataError(f"{path} is JSON; save {what} as CSV with columns {columns}.")
    return parse_delimited(data, path.name)
