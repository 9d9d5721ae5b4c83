"""A file that holds values over time, a table or JSON: what it is found to be, and how it is read."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

from ...errors import DataError
from ...real_files import shown
from ...sources.delimited import read_bytes
from .json_rows import load_json, rows_of_json
from .observation_table import as_observations
from .series_table import MOST_ROWS, SeriesTable, parse_delimited

if TYPE_CHECKING:
    from pathlib import Path

COLUMNS: Final = ("datetime", "value", "parameter_code", "unit", "qualifier", "site")


def _from_series(body: dict[str, Any]) -> list[dict[str, str]]:
    """Flatten ``value.timeSeries``: one entry a site and parameter, each with lists of values."""
    rows = []
    for series in body["value"]["timeSeries"]:
        variable = series["variable"]
        shared = {
            "parameter_code": str(variable["variableCode"][0]["value"]),
            "unit": str(variable.get("unit", {}).get("unitCode", "")),
            "site": str(series["sourceInfo"]["siteCode"][0]["value"]),
        }
        nothing = variable.get("noDataValue")
        for block in series["values"]:
            for one in block["value"]:
                text = "" if one.get("value") is None else str(one["value"])
                if nothing is not None and text and _same_number(text, nothing):
                    text = ""
                marks = ",".join(str(q) for q in one.get("qualifiers") or [])
                rows.append({**shared, "datetime": str(one["dateTime"]), "value": text, "qualifier": marks})
    return rows


def _same_number(text: str, other: Any) -> bool:
    try:
        return float(text) == float(other)
    except (TypeError, ValueError):
        return False


def _from_features(body: dict[str, Any]) -> list[dict[str, str]]:
    """Flatten a feature collection in which each feature is one reading."""
    rows = []
    for feature in body["features"]:
        inside = feature["properties"]
        value = inside["value"]
        rows.append(
            {
                "datetime": str(inside["time"]),
                "value": "" if value is None else str(value),
                "parameter_code": str(inside["parameter_code"]),
                "unit": str(inside.get("unit_of_measure") or ""),
                "qualifier": str(inside.get("approval_status") or ""),
                "site": str(inside.get("monitoring_location_id") or ""),
            }
        )
    return sorted(rows, key=lambda row: (row["site"], row["parameter_code"], row["datetime"]))


def _has_codes(body: dict[str, Any]) -> bool:
    """Tell whether features are readings that name a parameter's code, or there are none."""
    features = body["features"]
    return not features or "parameter_code" in features[0]["properties"]


def parse_gauge_json(data: bytes, name: str) -> SeriesTable:
    """Read readings of a gauge from JSON.

    Parameters
    ----------
    data
        The file's bytes.
    name
        What the file is called.

    Returns
    -------
    Columns `COLUMNS`, or those of observations, or as they are found; a row's line is its place in the file.

    Raises
    ------
    DataError
        No JSON, or without readings.

    Notes
    -----
    The forms are those of the water services of the US Geological Survey (read from published samples): a
    ``TimeSeriesResponse`` with ``value.timeSeries[].values[].value[]``, and a ``FeatureCollection`` with ``time``,
    ``value`` and ``parameter_code`` in the properties of each feature. Other agencies' features and lists are read by
    the words of their keys.
    """
    body, said = load_json(data, name)
    try:
        if isinstance(body, dict) and isinstance(body.get("value"), dict) and "timeSeries" in body["value"]:
            rows = _from_series(body)
        elif isinstance(body, dict) and body.get("type") == "FeatureCollection" and _has_codes(body):
            rows = _from_features(body)
        else:
            return as_observations(rows_of_json(body, name, "readings of the pool", said))
    except (KeyError, IndexError, TypeError, AttributeError) as fault:
        raise DataError(
            f"{name} lacks a part that readings need ({fault}); fetch it again, or save it as CSV."
        ) from None
    if not rows:
        raise DataError(f"{name} holds no readings; ask the service for days in which the gauge worked.")
    if len(rows) > MOST_ROWS:
        raise DataError(
            f"{name} holds more than {MOST_ROWS:,} readings; cut it down to the days that matter."
        )
    return SeriesTable(name, COLUMNS, tuple(rows), tuple(range(1, len(rows) + 1)), (), tuple(said))


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
    from ...sources.xml_zip_reading import parse_markup
    from .json_rows import is_waterml, parse_waterml

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
