"""Points in a text: with or without a header, comma, semicolon, tab or blanks between, degrees or metres."""

from __future__ import annotations

import contextlib
import csv
import io
import re
import warnings
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import pandas as pd
import shapely

from ...errors import DataError
from ...sources.cell_texts import read_angles, read_pairs
from ...sources.columns import find_roles, known_headers
from ...sources.delimited import decode
from ...text import how_many
from .found import FoundLayer

if TYPE_CHECKING:
    from ...arrays import Floats

_NUMBER: Final = re.compile(r"[-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?")
_DECIMAL_COMMA: Final = re.compile(r"[-+]?\d+,\d+")
_SAMPLE: Final = 200
_LARGEST: Final = 1_000_000_000
_LONGEST_LINE: Final = 20_000
MOST_ROWS: Final = 20_000_000


def _numeric(cell: str) -> bool:
    return bool(_NUMBER.fullmatch(cell.strip().strip('"')))


def _cut(line: str, between: str) -> list[str]:
    if '"' in line and between != " ":
        with contextlib.suppress(csv.Error):
            return next(csv.reader([line.rstrip("\r\n")], delimiter=between), [])
    return line.split() if between == " " else line.rstrip("\r\n").split(between)


def _layout(lines: list[str], name: str) -> tuple[str, int, int]:
    """Find what stands between cells, the line at which the table begins, and its width."""
    best: tuple[float, str, int] | None = None
    for between in ("\t", ";", ",", "|", " "):
        widths = [len(_cut(line, between)) for line in lines]
        wide = [w for w in widths if w > 1]
        if not wide:
            continue
        usual = max(set(wide), key=lambda w: (wide.count(w), w))
        score = wide.count(usual) / len(widths) + (0.001 if between != " " else 0.0)
        if between == " " and any(c in line for line in lines[-5:] for c in ",;\t|"):
            score -= 0.5  # blanks within cells of another layout
        if best is None or score > best[0]:
            best = (score, between, usual)
    if best is None or best[0] < 0.5:
        raise DataError(
            f"{name} is a text without columns that hold places; give a table with coordinates and depths in columns."
        )
    _, between, width = best
    first = next(i for i, line in enumerate(lines) if len(_cut(line, between)) == width)
    return between, first, width


def _header_at(lines: list[str], between: str, first: int, width: int) -> int | None:
    """Find the header among the first lines of the table's width: the one that names most columns; None without one."""
    top = [i for i in range(first, min(first + 20, len(lines))) if len(_cut(lines[i], between)) == width]
    named = [(known_headers(_cut(lines[i], between)), -i) for i in top]
    count, at = max(named)
    if count and not any(_numeric(cell) for cell in _cut(lines[-at], between)):
        return -at
    cells = _cut(lines[first], between)
    return first if cells and not any(_numeric(cell) for cell in cells) else None


def _table(data: bytes, name: str) -> tuple[pd.DataFrame, bool, list[str], int]:
    """Read the columns of a text: frame, whether it has a header, what was noticed, rows that could not be read."""
    text, said = decode(data, name)
    lines: list[str] = []
    remark = ""
    start = 0
    offsets: list[int] = []
    while start < len(text) and len(lines) < _SAMPLE:
        end = text.find("\n", start)
        end = len(text) if end < 0 else end
        line = text[start:end].rstrip("\r")
        if len(line) > _LONGEST_LINE:
            raise DataError(f"{name} has a line of {len(line):,} characters; it is no table of points.")
        if line.strip() and not line.lstrip().startswith(("#", "//", "%")):
            lines.append(line)
            offsets.append(start)
        elif line.strip() and not lines:
            remark = line.lstrip("#/% \t")
        start = end + 1
    if not lines:
        raise DataError(f"{name} is empty; a table of points has at least one line.")
    between, first, width = _layout(lines, name)
    header = _header_at(lines, between, first, width)
    begin = first if header is None else header
    named = _cut(remark, between) if header is None else []
    if len(named) != width or not known_headers(named):
        named = []
    body = text[offsets[begin] :]
    if begin:
        said.append(f"{how_many(begin, 'line')} above the table left out")
    cells = _cut(lines[-1], between)
    comma = between != "," and any(_DECIMAL_COMMA.fullmatch(c.strip()) for c in cells)
    bad: list[list[str]] = []

    def odd(row: list[str]) -> None:
        bad.append(row)

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # of columns of mixed kinds; they are looked at below
        options: dict[str, Any] = {
            "sep": r"\s+" if between == " " else between,
            "header": 0 if header is not None else None,
            "decimal": "," if comma else ".",
            "skip_blank_lines": True,
            "comment": "#",
            "skipinitialspace": True,
            "index_col": False,
            "low_memory": False,
            "nrows": MOST_ROWS + 1,
        }
        try:
            try:
                frame = pd.read_csv(io.StringIO(body), engine="c", on_bad_lines="error", **options)
            except pd.errors.ParserError:
                options.pop("low_memory")
                frame = pd.read_csv(io.StringIO(body), engine="python", on_bad_lines=odd, **options)
        except (pd.errors.ParserError, csv.Error, ValueError, OverflowError) as fault:
            raise DataError(f"{name} cannot be read as a table ({fault}).") from fault
    if len(frame) > MOST_ROWS:
        raise DataError(f"{name} has more than {MOST_ROWS:,} rows; split it or thin it.")
    if len(named) == len(frame.columns):
        frame.columns = named
        return (
            frame.dropna(how="all").reset_index(drop=True),
            True,
            [*said, "the remark above names the columns"],
            len(bad),
        )
    frame.columns = [
        str(c).strip().strip('"') if header is not None else f"column {i + 1}"
        for i, c in enumerate(frame.columns)
    ]
    return frame.dropna(how="all").reset_index(drop=True), header is not None, said, len(bad)


def numbers(values: pd.Series[Any]) -> Floats:
    """Read a column as numbers; NaN where it holds none."""
    found: Floats = pd.to_numeric(values, errors="coerce").to_numpy(dtype=float, na_value=np.nan)
    return found


def _angles(values: pd.Series[Any]) -> Floats:
    found = numbers(values)
    if np.isnan(found).mean() > 0.2:
        found = np.array(
            [one.degrees for one in read_angles(["" if v is None else str(v) for v in values])], dtype=float
        )
    return found


def _zone_system(frame: pd.DataFrame, column: str | None) -> str:
    """Name the UTM system that a column of zones names, where all rows name one."""
    if column is None:
        return ""
    zones = {str(v).strip().upper() for v in frame[column].dropna()}
    found = re.fullmatch(r"(\d{1,2})(?:\.0)?\s*([A-Z])?", zones.pop()) if len(zones) == 1 else None
    if found is None or not 1 <= int(found[1]) <= 60:
        return ""
    south = found[2] is not None and (found[2] < "N")
    return f"EPSG:{(32700 if south else 32600) + int(found[1])}"


def _places(
    frame: pd.DataFrame, *, header: bool, name: str
) -> tuple[Floats, Floats, str, list[str], list[str]]:
    """Find coordinates: x, y, system ('' where not told), columns used, why."""
    roles = find_roles([str(c) for c in frame.columns], {})
    lat, lon, east, north, pair = (
        roles.one(r) for r in ("latitude", "longitude", "easting", "northing", "position")
    )
    if lat and lon:
        y, x = numbers(frame[lat]), numbers(frame[lon])
        if np.nanmax(np.abs(np.concatenate([x, y, [0.0]]))) > 360.0:
            return (
                x,
                y,
                _zone_system(frame, roles.one("zone")),
                [lat, lon],
                [f"metres in '{lon}' and '{lat}'"],
            )
        y, x = _angles(frame[lat]), _angles(frame[lon])
        return x, y, "EPSG:4326", [lat, lon], [f"degrees in '{lat}' and '{lon}'"]
    if east and north:
        x, y = numbers(frame[east]), numbers(frame[north])
        return (
            x,
            y,
            _zone_system(frame, roles.one("zone")),
            [east, north],
            [f"metres in '{east}' and '{north}'"],
        )
    if pair:
        both = read_pairs(["" if v is None else str(v) for v in frame[pair]])
        y = np.array([a.degrees for a, _ in both], dtype=float)
        x = np.array([b.degrees for _, b in both], dtype=float)
        return x, y, "EPSG:4326", [pair], [f"pairs of degrees in '{pair}'"]
    if not header and len(frame.columns) >= 2:
        first, second = frame.columns[:2]
        x, y = numbers(frame[first]), numbers(frame[second])
        if np.isnan(x).mean() > 0.2 or np.isnan(y).mean() > 0.2:
            x, y = _angles(frame[first]), _angles(frame[second])
        reach_x, reach_y = float(np.nanmax(np.abs([*x, 0.0]))), float(np.nanmax(np.abs([*y, 0.0])))
        if reach_x <= 90.0 and 90.0 < reach_y <= 180.0:
            return (
                y,
                x,
                "EPSG:4326",
                [first, second],
                ["without a header: latitude and longitude, as the second is beyond 90"],
            )
        if reach_x <= 180.0 and reach_y <= 90.0:
            return x, y, "EPSG:4326", [first, second], ["without a header: longitude and latitude in degrees"]
        return x, y, "", [first, second], ["without a header: easting and northing in metres"]
    raise DataError(
        f"{name} has no columns of coordinates that could be found; its columns are: "
        f"{', '.join(map(str, frame.columns[:12]))}. Call them latitude and longitude, or easting and northing."
    )


def points_of_table(
    frame: pd.DataFrame, *, header: bool, name: str, kind: str, said: list[str]
) -> FoundLayer:
    """Place the rows of a table; a row without a place is set aside.

    Raises
    ------
    DataError
        It has no columns of coordinates.
    """
    import geopandas

    x, y, system, used, why = _places(frame, header=header, name=name)
    placed = np.isfinite(x) & np.isfinite(y)
    if system == "EPSG:4326":
        placed &= (np.abs(y) <= 90.0) & (np.abs(x) <= 360.0)
    made = FoundLayer(name, "", kind, rows=len(frame), why=[*said, *why], metric=not system)
    for row in np.flatnonzero(~placed)[:10_000]:
        made.leave(int(row) + 1, "no place: its coordinates cannot be read")
    if not placed.any():
        raise DataError(f"{name}: no row has coordinates that can be read (columns {', '.join(used)}).")
    rest = frame.loc[placed].drop(columns=used)
    made.frame = geopandas.GeoDataFrame(
        rest, geometry=shapely.points(x[placed], y[placed]), crs=system or None
    )
    if not header:
        made.frame.attrs["headerless"] = True
    return made


def read_text_points(data: bytes, name: str) -> FoundLayer:
    """Read points from a text.

    Raises
    ------
    DataError
        It is no table of points.
    """
    if len(data) > _LARGEST:
        raise DataError(f"{name} is larger than a gigabyte; split it or thin it.")
    frame, header, said, bad = _table(data, name)
    made = points_of_table(frame, header=header, name=name, kind="text", said=said)
    if bad:
        made.rows += bad
        made.leave(0, f"{how_many(bad, 'line')} with more cells than the table has columns")
    return made
