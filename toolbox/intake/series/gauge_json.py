"""Readings out of the JSON that national water services publish: time series of WaterML, and features by reading."""

from __future__ import annotations

from typing import Any, Final

from ...errors import DataError
from .json_rows import load_json, rows_of_json
from .observation_table import as_observations
from .series_table import MOST_ROWS, SeriesTable

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
