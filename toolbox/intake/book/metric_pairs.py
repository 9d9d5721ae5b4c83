"""Eastings and northings: in the lake's own system, in a stated one, or in a UTM zone that is found by trying."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import shapely

from .placing import Placement, place_in_metres

if TYPE_CHECKING:
    from collections.abc import Sequence

    from .lake_extent import LakeExtent

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
