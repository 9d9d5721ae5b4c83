"""Read a log of an echo sounder, whatever open format it is in; and logs in tables: CSV, crowd-sourced bathymetry."""

from __future__ import annotations

import csv
import json
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import pandas as pd

from ...errors import DataError, UsageError
from ...real_files import require_ordinary, shown
from ...sources.cell_texts import read_angles
from ...sources.columns import find_roles
from ...units import FOOT_M
from .sounder_log import YEARS, SounderLog

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping
    from pathlib import Path
    from typing import BinaryIO

    from ...arrays import Floats

_LONGEST_LINE: Final = 64 * 1024
_MOST_ROWS: Final = 20_000_000
_HEADER_LINES: Final = 50
_LARGEST_JSON: Final = 64 * 1024 * 1024
_CSB: Final = frozenset(("LON", "LAT", "DEPTH", "TIME"))
# Columns of a log, beside those every list of spots may have.
_TIME_WORDS: Final = ("time", "timestamp", "datetime", "date time", "utc", "utc time", "time utc", "date")


def _lines(stream: BinaryIO, counted: dict[str, int]) -> Iterator[str]:
    """Give decoded lines of bounded length; one that is longer is dropped and counted, but still a line."""
    while raw := stream.readline(_LONGEST_LINE):
        if len(raw) == _LONGEST_LINE and not raw.endswith(b"\n"):
            while (rest := stream.readline(_LONGEST_LINE)) and not rest.endswith(b"\n"):
                pass
            counted["lines too long to be a row"] = counted.get("lines too long to be a row", 0) + 1
            yield "\n"
            continue
        text = raw.decode("utf-8", errors="replace").replace("\x00", "").lstrip("\ufeff")
        yield from text.replace("\r\n", "\n").replace("\r", "\n").splitlines(keepends=True)


def _times(texts: list[str]) -> Floats:
    """Seconds since 1970: ISO 8601 (UTC where it names no zone) or such seconds themselves; NaN elsewhere."""
    series = pd.Series(texts, dtype=object)
    stamps = pd.to_datetime(series, format="ISO8601", utc=True, errors="coerce")
    stamps = stamps.where(stamps.dt.year.between(YEARS.start, YEARS.stop - 1))
    # In microseconds, which hold years that nanoseconds do not.
    since = stamps.astype("datetime64[us, UTC]") - pd.Timestamp(0, tz="UTC").as_unit("us")
    seconds = since.dt.total_seconds().to_numpy(dtype=float, na_value=np.nan)
    plain = pd.to_numeric(series, errors="coerce").to_numpy(dtype=float)
    return np.where((plain > 1e8) & (plain < 7e9), plain, seconds)


def _degrees(texts: list[str]) -> Floats:
    """Decimal degrees at once; what is written otherwise is read as an angle."""
    values = pd.to_numeric(pd.Series(texts, dtype=object), errors="coerce").to_numpy(dtype=float).copy()
    odd = np.flatnonzero(~np.isfinite(values))
    for row, angle in zip(odd.tolist(), read_angles(texts[i] for i in odd.tolist()), strict=True):
        values[row] = angle.degrees
    return values


def _choose(header: list[str], columns: Mapping[str, str]) -> tuple[dict[str, int], str | None] | None:
    """Places of the columns in a header, and the unit the depth names; None where it is no header of a log."""
    roles = find_roles(header, {k: v for k, v in columns.items() if k != "time"})
    names = {role: roles.one(role) for role in ("latitude", "longitude", "depth")}
    if not all(names.values()):
        return None
    wanted = columns.get("time", "")
    folded = {h.casefold(): h for h in header}
    time = (
        folded.get(wanted.casefold())
        if wanted
        else next((folded[w] for w in _TIME_WORDS if w in folded), None)
    )
    places = {role: header.index(str(name)) for role, name in names.items()}
    if time is not None:
        places["time"] = header.index(time)
    return places, roles.units.get(str(names["depth"]))


def read_log_csv(
    stream: BinaryIO, name: str, *, depth_unit: str | None, columns: Mapping[str, str]
) -> SounderLog:
    """Read a log in a delimited table.

    Parameters
    ----------
    stream
        The bytes.
    name
        What the log is called.
    depth_unit
        Unit of depths where the header names none; the crowd-sourced form (LON, LAT, DEPTH, TIME) is in metres.
    columns
        Role (latitude, longitude, depth, time) -> header, going before any guess.

    Raises
    ------
    DataError
        No header with latitude, longitude and depth, or too many rows.
    UsageError
        The depths have no unit.
    """
    counted: dict[str, int] = {}
    lines = _lines(stream, counted)
    places: dict[str, int] = {}
    unit: str | None = None
    delimiter, at = ",", 0
    for at, text in enumerate(lines, start=1):  # the line of the header is used below
        delimiter = max(",;\t|", key=text.count)
        header = [cell.strip().strip('"') for cell in text.split(delimiter)]
        if (found := _choose(header, columns)) is not None:
            places, unit = found
            unit = "m" if set(header) >= _CSB else unit or depth_unit
            break
        if at >= _HEADER_LINES:
            break
    if not places:
        raise DataError(
            f"{name}: no line of column names with latitude, longitude and depth was found in the first "
            f"{_HEADER_LINES} lines; name them: columns latitude='Y' longitude='X' depth='D'."
        )
    if unit is None:
        raise UsageError(f"{name}: its depths name no unit; give depth_unit ft or m.")
    cells: dict[str, list[str]] = {role: [] for role in places}
    line: list[int] = []
    reader = csv.reader(lines, delimiter=delimiter)
    while True:
        try:
            row = next(reader)
        except StopIteration:
            break
        except csv.Error:
            counted["rows that cannot be read"] = counted.get("rows that cannot be read", 0) + 1
            continue
        if not row:
            continue
        line.append(at + reader.line_num)
        for role, place in places.items():
            cells[role].append(row[place].strip() if place < len(row) else "")
        if len(line) > _MOST_ROWS:
            raise DataError(f"{name} has more than {_MOST_ROWS:,} rows; split it.")
    n = len(line)
    scale = {
        "m": 1.0,
        "ft": FOOT_M,
        "fathom": 6 * FOOT_M,
        "cm": 0.01,
        "in": FOOT_M / 12,
        "yd": 3 * FOOT_M,
    }[unit]
    depth = (
        pd.to_numeric(pd.Series(cells["depth"], dtype=object), errors="coerce").to_numpy(dtype=float) * scale
    )
    counted["rows"] = n
    return SounderLog(
        name, "csv", np.array(line, dtype=np.int64), _times(cells["time"]) if "time" in cells else np.full(n, np.nan),
        _degrees(cells["longitude"]), _degrees(cells["latitude"]), depth, np.zeros(n, dtype=bool),
        np.full(n, np.nan), counted,
    )  # fmt: skip


def _find(document: Any, key: str, depth: int = 0) -> Any:
    """Look for a member anywhere in the upper part of a document."""
    if depth > 4 or not isinstance(document, dict):
        return None
    if key in document:
        return document[key]
    return next(
        (v for k, inner in document.items() if k != "features" and (v := _find(inner, key, depth + 1))), None
    )


def _draft(document: dict[str, Any]) -> float:
    """Depth of the sounder below the water line, where the platform states it."""
    sensors = _find(document, "sensors")
    for one in sensors if isinstance(sensors, list) else ():
        if isinstance(one, dict) and str(one.get("type", "")).lower() == "sounder":
            value = one.get("draft")
            if isinstance(value, (int, float)) and not isinstance(value, bool) and 0.0 <= value < 50.0:
                return float(value)
    return float("nan")


def read_log_geojson(data: bytes, name: str) -> SounderLog:
    """Read crowd-sourced bathymetry in GeoJSON (convention CSB 3.0 and 3.1 of IHO publication B-12).

    Parameters
    ----------
    data
        The file's bytes.
    name
        What the log is called.

    Returns
    -------
    Depths in metres below what the document names: the transducer, unless it says the water line. Draft of the
    sounder from the platform's sensors.

    Raises
    ------
    DataError
        It is not such a document, or too large.
    """
    if len(data) > _LARGEST_JSON:
        raise DataError(f"{name} is larger than {_LARGEST_JSON // 1024**2} MB; take the log as CSV.")
    try:
        document = json.loads(data.decode("utf-8-sig"))
    except (ValueError, RecursionError) as fault:
        raise DataError(f"{name} is not JSON: {str(fault)[:80]}.") from fault
    features = document.get("features") if isinstance(document, dict) else None
    if not isinstance(features, list):
        raise DataError(f"{name} is JSON but not a GeoJSON FeatureCollection.")
    vertical = str(
        _find(document, "verticalReferenceOfDepth") or _find(document, "vertical") or "Transducer"
    ).lower()
    surface = "water" in vertical or "surface" in vertical
    rows = np.full((len(features), 3), np.nan)
    times: list[str] = []
    for row, feature in enumerate(features):
        try:
            lon, lat = feature["geometry"]["coordinates"][:2]
            rows[row] = float(lon), float(lat), float(feature["properties"]["depth"])
            times.append(str(feature["properties"].get("time") or ""))
        except (KeyError, TypeError, ValueError, AttributeError):
            times.append("")
    n = len(features)
    return SounderLog(
        name, "csb", np.arange(1, n + 1), _times(times), rows[:, 0].copy(), rows[:, 1].copy(), rows[:, 2].copy(),
        np.full(n, surface), np.full(n, _draft(document)), {"features": n},
    )  # fmt: skip


_HEAD: Final = 64 * 1024
_READ: Final = "NMEA 0183 text, CSV, and crowd-sourced bathymetry as CSV or GeoJSON"


class LogFile:
    """A log that was named and is there; read when its rules are known.

    Parameters
    ----------
    path
        The file.

    Raises
    ------
    FileMissing, DataError
        It is not there, or no ordinary file, or of another format.
    """

    def __init__(self, path: Path) -> None:
        require_ordinary(path, "a log")
        self.path = path
        self.name = shown(path.name)

    def read(
        self,
        *,
        day_s: float = float("nan"),
        unchecked: bool = False,
        depth_unit: str | None = None,
        columns: Mapping[str, str] | None = None,
    ) -> SounderLog:
        """Read it; see the readers of `castshed.toolbox.intake`.

        Raises
        ------
        DataError
            It cannot be read, or is in another format.
        """
        from .nmea import read_nmea

        try:
            with self.path.open("rb") as stream:
                head = stream.read(_HEAD)
                stream.seek(0)
                bare = head.lstrip(b"\xef\xbb\xbf \t\r\n")
                if not bare:
                    raise DataError(f"{self.path} is empty. Formats read: {_READ}.")
                if bare.startswith((b"PK\x03\x04", b"\x1f\x8b", b"%PDF", b"<")):
                    raise DataError(f"{self.path} is packed, a document or XML. Formats read: {_READ}.")
                if bare.startswith(b"{"):
                    return read_log_geojson(stream.read(), self.name)
                sentences = head.count(b"$") + head.count(b"!")
                if sentences > 0.2 * max(head.count(b"\n") + head.count(b"\r"), 1):
                    return read_nmea(stream, self.name, day_s=day_s, unchecked=unchecked)
                return read_log_csv(stream, self.name, depth_unit=depth_unit, columns=columns or {})
        except OSError as fault:
            raise DataError(f"{self.path} cannot be opened: {fault.strerror or fault}.") from fault
