"""Where the rows of a source lie: from its geometry, or from its columns of coordinates, whichever it has.

Eastings and northings: in the lake's own system, in a stated one, or in a UTM zone that is found by trying.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import shapely

from ...errors import CrsError, UsageError
from ...sources.cell_texts import Angle, read_angles, read_pairs
from .placing import Placement, Trust, place, place_in_metres

if TYPE_CHECKING:
    from collections.abc import Sequence

    import pyproj

    from ...arrays import Floats, Geometries
    from ...sources.columns import Roles
    from ...sources.source_table import SourceTable
    from .placing import LakeExtent

_SAME_PLACE_M: Final = 5.0  # systems of one zone on two datums of the same plate lie within a few metres
_GROUPED: Final = re.compile(r"\d{1,3}(?:[ ,']\d{3})+(?:\.\d+)?")
_METRES: Final = re.compile(
    r"(?P<number>[-+]?\d+(?:[.,]\d+)?)\s*(?:m(?:etres|eters)?)?\s*(?:[enxy]|east|north)?", re.IGNORECASE
)
_ZONE: Final = re.compile(
    r"(?:utm|zone|\s)*(?P<number>\d{1,2})\s*(?P<letter>[c-hj-np-x])?(?:orth|outh)?", re.IGNORECASE
)
_ZONE_PART: Final = r"(?:utm\s*)?(?:zone\s*)?(?P<{0}>\d{{1,2}}\s*[c-hj-np-xC-HJ-NP-X]?)"
_FIGURE: Final = r"(?P<{0}>\d{{5,7}}(?:\.\d+)?)\s*m?\s*[EeNn]?"
_PAIRS: Final = tuple(
    re.compile(pattern, re.IGNORECASE)
    for pattern in (
        rf"\s*{_ZONE_PART.format('zone')}[\s,;:]+{_FIGURE.format('first')}[\s,;/]+{_FIGURE.format('second')}\s*",
        rf"\s*{_FIGURE.format('first')}[\s,;/]+{_FIGURE.format('second')}[\s,;(]+{_ZONE_PART.format('zone')}\)?\s*",
        rf"\s*(?:utm\s*)?{_FIGURE.format('first')}[\s,;/]+{_FIGURE.format('second')}\s*",
    )
)


def read_metres(text: str) -> float:
    """Read an easting or a northing; NaN where it is none.

    Examples
    --------
    >>> read_metres("662,345.5"), read_metres("662345 mE"), read_metres("4439120,5")
    (662345.5, 662345.0, 4439120.5)
    """
    tidy = text.strip().replace("\u00a0", " ")
    if len(tidy) > 30:
        return float("nan")
    bare = re.sub(r"\s*m?\s*[enEN]?$", "", tidy)
    if _GROUPED.fullmatch(bare):
        return float(re.sub(r"[ ,']", "", bare))
    found = _METRES.fullmatch(tidy)
    return float(found["number"].replace(",", ".")) if found else float("nan")


def read_metric_pair(text: str) -> tuple[float, float, str] | None:
    """Read ``15S 662345 4439120`` and its like: easting, northing and zone as written; None where it is none."""
    if len(text) > 80:
        return None
    for pattern in _PAIRS:
        if found := pattern.fullmatch(text):
            zone = found.groupdict().get("zone") or ""
            return float(found["first"]), float(found["second"]), zone
    return None


def _systems(zone: str, lake: LakeExtent) -> list[Any]:
    """List the systems a pair may be in, the lake's own first. Of a band letter S both meanings are tried."""
    import pyproj

    lon, lat = lake.centre_deg
    found = _ZONE.fullmatch(zone.strip()) if zone.strip() else None
    if found is not None and not 1 <= int(found["number"]) <= 60:
        return []
    if found is not None:
        letter = (found["letter"] or "").upper()
        norths = (True, False) if letter in ("", "S") else (letter >= "N",)
        codes = [(32600 if north else 32700) + int(found["number"]) for north in norths]
        own = (
            [lake.crs]
            if lake.crs.to_epsg() in codes
            or lake.crs.utm_zone == f"{found['number']}{'N' if norths[0] else 'S'}"
            else []
        )
        return own + [pyproj.CRS.from_epsg(code) for code in codes]
    middle = int((lon + 180.0) % 360.0 // 6.0) + 1
    base = 32600 if lat >= 0 else 32700
    zones = [(middle + step - 1) % 60 + 1 for step in (0, -1, 1)]
    return [lake.crs, *(pyproj.CRS.from_epsg(base + number) for number in zones)]


def _try(xy: np.ndarray[Any, Any], system: Any, lake: LakeExtent) -> np.ndarray[Any, Any]:
    """Geometry of pairs read in one system; None where they miss the lake."""
    import pyproj

    x, y = xy[:, 0], xy[:, 1]
    if system != lake.crs:
        x, y = pyproj.Transformer.from_crs(system, lake.crs, always_xy=True).transform(x, y)
    shapes = np.full(len(xy), None, dtype=object)
    good = np.isfinite(x) & np.isfinite(y)
    shapes[good] = shapely.points(np.asarray(x)[good], np.asarray(y)[good])
    return place_in_metres(shapes, lake).geometry


def place_metric(
    east: Sequence[float],
    north: Sequence[float],
    zone: Sequence[str],
    lake: LakeExtent,
    crs: str | None = None,
) -> Placement:
    """Place eastings and northings on the lake.

    Parameters
    ----------
    east, north
        Metres (or the unit of ``crs``), NaN where a row has none.
    zone
        UTM zone as written, empty where none is; a band letter may follow.
    lake
        The box to land in.
    crs
        System they are in, where the user said so; nothing else is tried then but the two swapped.

    Returns
    -------
    A pair that lands in the lake's own (or the stated) system as written is taken so. Any other is taken when
    exactly one reading lands: in another UTM zone, or with the two swapped; the remark says which.
    """
    import pyproj

    n = len(east)
    pairs = np.column_stack([np.asarray(east, dtype=float), np.asarray(north, dtype=float)]).reshape(n, 2)
    geometry = np.full(n, None, dtype=object)
    remark, reason = [""] * n, [""] * n
    stated = [pyproj.CRS.from_user_input(crs)] if crs else None
    rows_by_zone: dict[str, list[int]] = {}
    for row, text in enumerate(zone):
        rows_by_zone.setdefault("" if stated else text.strip(), []).append(row)
    for text, rows in rows_by_zone.items():
        at = np.array(rows)
        systems = stated or _systems(text, lake)
        found: dict[int, list[tuple[str, Any]]] = {row: [] for row in rows}
        for number, system in enumerate(systems):
            for swap in (False, True):
                landed = _try(pairs[at][:, ::-1] if swap else pairs[at], system, lake)
                words = [] if number == 0 else [f"read as {system.name.replace('WGS 84 / ', '')}"]
                words += ["easting and northing swapped"] if swap else []
                for row, shape in zip(rows, landed, strict=True):
                    if shape is not None and all(shape.distance(s) > _SAME_PLACE_M for _, s in found[row]):
                        found[row].append((", ".join(words), shape))
        for row, ways in found.items():
            written = f"{pairs[row, 0]:.1f}, {pairs[row, 1]:.1f}"
            if ways and (len(ways) == 1 or not ways[0][0]):
                remark[row], geometry[row] = ways[0]
            elif ways:
                reason[row] = (
                    f"{written} lands on the lake in more than one reading ({'; or '.join(w for w, _ in ways)})"
                )
            elif np.isnan(pairs[row]).any():
                reason[row] = "its easting and northing cannot be read"
            else:
                where = f"UTM zone {text}" if text else "its own reference system or the UTM zones there"
                reason[row] = f"{written} does not lie on the lake in {stated[0].name if stated else where}"
    return Placement(geometry, remark, reason)


# Roles that say where a row lies; the first pair that is complete is read.
PLACING_PAIRS: Final = (("latitude", "longitude"), ("position",), ("easting", "northing"))
PLACING: Final = (*(role for pair in PLACING_PAIRS for role in pair), "zone")
_DEGREE_M: Final = 111_320.0  # one degree of a great circle on a sphere of 6 378 137 m, rounded
_SURELY_METRES: Final = 1000.0


@dataclass(frozen=True)
class Positions:
    """Rows on the lake, and how far rounding of the text alone may have moved each."""

    geometry: Geometries
    rounding_m: Floats
    remark: list[str]
    reason: list[str]


def _empty_shapes(n: int) -> Geometries:
    return np.full(n, None, dtype=object)


def _transform(shapes: Geometries, source: pyproj.CRS, target: Any) -> Geometries:
    import pyproj

    move = pyproj.Transformer.from_crs(source, target, always_xy=True)
    moved: Geometries = shapely.transform(
        shapes, lambda points: np.column_stack(move.transform(points[:, 0], points[:, 1]))
    )
    return moved


def _from_geometry(table: SourceTable, shapes: Geometries, lake: LakeExtent) -> Placement:
    import pyproj

    if table.crs is None:
        raise CrsError(
            f"{table.name} has geometry but no coordinate reference system; write it again with one, "
            "or give it as a table with columns of latitude and longitude."
        )
    crs = pyproj.CRS.from_user_input(table.crs)
    shapes = shapely.force_2d(shapes)
    shapes[shapely.is_empty(shapes)] = None
    if not crs.is_geographic:
        return place_in_metres(shapes if crs == lake.crs else _transform(shapes, crs, lake.crs), lake)
    if crs.to_2d() != pyproj.CRS("EPSG:4326") and crs.to_2d() != pyproj.CRS("OGC:CRS84"):
        shapes = _transform(shapes, crs, "OGC:CRS84")
    free = np.ones(len(shapes), dtype=bool)
    return place(shapes, Trust(free, free, free, ~free), lake)


def _rounding(angles: Sequence[Angle]) -> Floats:
    """Half a last figure in degrees; a decimal degree one figure short has lost its last zero in a spreadsheet."""
    half = np.array([a.half_digit_deg for a in angles], dtype=float)
    plain = np.array([a.pieces == 1 for a in angles], dtype=bool)
    if plain.any():
        finest = half[plain].min()
        half[plain & (half < finest * 50.0)] = finest
    return half


def _from_angles(lats: Sequence[Angle], lons: Sequence[Angle], lake: LakeExtent) -> Positions:
    n = len(lats)
    turned = np.array(
        [a.axis == "lon" or b.axis == "lat" for a, b in zip(lats, lons, strict=True)], dtype=bool
    )
    clash = np.array([a.axis != "" and a.axis == b.axis for a, b in zip(lats, lons, strict=True)], dtype=bool)
    pairs = [(b, a) if t else (a, b) for a, b, t in zip(lats, lons, turned, strict=True)]
    lat = np.array([a.degrees for a, _ in pairs], dtype=float)
    lon = np.array([b.degrees for _, b in pairs], dtype=float)
    fault = [a.fault or b.fault for a, b in pairs]
    read = ~np.isnan(lat) & ~np.isnan(lon) & ~clash
    shapes = _empty_shapes(n)
    shapes[read] = shapely.points(lon[read], lat[read])
    bare = np.array([a.axis == "" and b.axis == "" for a, b in pairs], dtype=bool)
    plain = np.array([a.pieces == 1 and b.pieces == 1 for a, b in pairs], dtype=bool)
    with np.errstate(invalid="ignore"):
        beyond = (np.abs(lat) > 90.0) | (np.abs(lon) > 180.0)
        metric = (np.abs(lat) > _SURELY_METRES) & (np.abs(lon) > _SURELY_METRES)
    trust = Trust(
        np.array([a.sign_open for a, _ in pairs], dtype=bool),
        np.array([b.sign_open for _, b in pairs], dtype=bool),
        bare,
        bare & plain & beyond,
    )
    placed = place(shapes, trust, lake)
    geometry, remark, reason = placed.geometry, list(placed.remark), list(placed.reason)
    for i in np.flatnonzero(turned & ~clash & read).tolist():
        remark[i] = ", ".join(
            filter(None, ("latitude and longitude swapped, as their letters say", remark[i]))
        )
    maybe = np.flatnonzero(bare & plain & metric & shapely.is_missing(geometry))
    metres = np.zeros(n, dtype=bool)
    if maybe.size:
        there = place_metric(lon[maybe].tolist(), lat[maybe].tolist(), [""] * maybe.size, lake)
        for i, shape, said in zip(maybe.tolist(), there.geometry, there.remark, strict=True):
            if shape is not None:
                geometry[i], reason[i], metres[i] = shape, "", True
                remark[i] = ", ".join(filter(None, (f"x and y read as metres of {lake.crs.name}", said)))
                if said.startswith("read as"):
                    remark[i] = f"x and y {said}"
    for i in range(n):
        if fault[i]:
            reason[i] = f"its position cannot be read: {fault[i]}"
        elif clash[i]:
            reason[i] = "its position cannot be read: both coordinates are of one axis"
    shrink = np.cos(np.radians(np.clip(np.nan_to_num(lake.centre_deg[1]), -89.0, 89.0)))
    rounding = _DEGREE_M * np.hypot(
        _rounding([a for a, _ in pairs]), _rounding([b for _, b in pairs]) * shrink
    )
    rounding[metres] = 0.5
    return Positions(geometry, rounding, remark, reason)


def _from_metres(
    east: Sequence[str], north: Sequence[str], zone: Sequence[str], lake: LakeExtent, crs: str | None
) -> Positions:
    placed = place_metric([read_metres(e) for e in east], [read_metres(n) for n in north], zone, lake, crs)
    return Positions(placed.geometry, np.full(len(east), 0.5), placed.remark, placed.reason)


def _from_pairs(texts: Sequence[str], lake: LakeExtent, crs: str | None) -> Positions:
    """Read cells that hold both: a pair of metres as that, all others as angles."""
    pairs = read_pairs(texts)
    result = _from_angles([a for a, _ in pairs], [b for _, b in pairs], lake)
    tried = [read_metric_pair(text) for text in texts]
    rows = [i for i, pair in enumerate(tried) if pair is not None]
    if not rows:
        return result
    known = [pair for pair in tried if pair is not None]
    there = place_metric([p[0] for p in known], [p[1] for p in known], [p[2] for p in known], lake, crs)
    for i, shape, said, why in zip(rows, there.geometry, there.remark, there.reason, strict=True):
        result.geometry[i], result.remark[i], result.reason[i] = shape, said, why
        result.rounding_m[i] = 0.5
    return result


def _written(table: SourceTable, names: Sequence[str]) -> list[str]:
    cells = [table.rows[name].tolist() for name in names]
    return [", ".join(cell for cell in row if cell) for row in zip(*cells, strict=True)]


def find_positions(table: SourceTable, roles: Roles, lake: LakeExtent, crs: str | None = None) -> Positions:
    """Place the rows of one source.

    Parameters
    ----------
    table
        The source. Its geometry goes before its columns; a row without geometry falls back on the columns.
    roles
        Which columns hold coordinates: ``latitude`` and ``longitude``, ``position`` (both in one cell), or ``easting``
        and ``northing`` in the lake's own reference system, or in a UTM zone. Degrees are taken as WGS84.
    lake
        The box to land in.
    crs
        System of eastings and northings, where the user said so.

    Raises
    ------
    UsageError
        The source has neither geometry nor columns of coordinates.
    CrsError
        It has geometry without a reference system.
    """
    n = len(table)
    columns: list[str] = []
    result: Positions | None = None
    if roles.one("latitude") and roles.one("longitude"):
        columns = [str(roles.one("latitude")), str(roles.one("longitude"))]
        lats, lons = (read_angles(table.rows[c].tolist()) for c in columns)
        result = _from_angles(lats, lons, lake)
    elif roles.one("position"):
        columns = [str(roles.one("position"))]
        result = _from_pairs(table.rows[columns[0]].tolist(), lake, crs)
    elif roles.one("easting") and roles.one("northing"):
        columns = [str(roles.one("easting")), str(roles.one("northing"))]
        zone = roles.one("zone")
        zones = table.rows[zone].tolist() if zone else [""] * n
        east, north = (table.rows[c].tolist() for c in columns)
        result = _from_metres(east, north, zones, lake, crs)
    if result is not None:
        written = _written(table, columns)
        remark = [
            f"{said} (written: {w})" if said else "" for said, w in zip(result.remark, written, strict=True)
        ]
        reason = [
            "" if not why else why if w else "it has no position"
            for why, w in zip(result.reason, written, strict=True)
        ]
        result = Positions(result.geometry, result.rounding_m, remark, reason)
    if table.geometry is not None:
        drawn = _from_geometry(table, table.geometry.copy(), lake)
        if result is None:
            return Positions(drawn.geometry, np.zeros(n), drawn.remark, drawn.reason)
        bare = shapely.is_missing(table.geometry) | shapely.is_empty(table.geometry)
        return Positions(
            np.where(bare, result.geometry, drawn.geometry),
            np.where(bare, result.rounding_m, 0.0),
            [a if b else c for a, b, c in zip(result.remark, bare, drawn.remark, strict=True)],
            [a if b else c for a, b, c in zip(result.reason, bare, drawn.reason, strict=True)],
        )
    if result is None:
        if n == 0:
            return Positions(_empty_shapes(0), np.zeros(0), [], [])
        raise UsageError(
            f"{table.name}: no columns of coordinates were found among {', '.join(map(str, table.rows.columns))}. "
            "Name them: columns latitude='Y' longitude='X', or position='Coordinates' where one cell holds both."
        )
    return result
