"""What was written is read back and held against what was proved, before any of it leaves the house.

Shares nothing with the writers: it reads the bytes, draws their lines straight in longitude and latitude as other
programs will, takes that into the reference system of the layer, and measures.
"""

from __future__ import annotations

import json
import re
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, Final
from xml.etree import ElementTree as ET

import numpy as np
import shapely

from ...errors import OutputFailed
from ...lon_lat import from_degrees, to_degrees
from ...text import number, one_line
from ..words.roles import role_of

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    import geopandas as gpd
    import pyproj

    from ...arrays import Floats


MOST_M: Final = 0.1
"""How far a written line or stop may be from the proved one."""
_MOST_DEG: Final = 1e-6  # the same, of layers in degrees
_PROVED: Final = ("legs", "stops", "holds")
_SAMPLES: Final = 6

_GPX: Final = "{http://www.topografix.com/GPX/1/1}"
_LAYER: Final = "{urn:x-castshed:plan:1}layer"
_FEATURE: Final = '{"type":"Feature"'


@dataclass(frozen=True)
class _Truth:
    """A proved layer: its parts, in the order of its rows, as coordinates (k, 2), and the columns of their rows."""

    layer: str
    role: str
    order: int
    crs: pyproj.CRS
    parts: list[Floats]
    rows: list[Mapping[str, Any]]
    over_180: bool

    @property
    def most(self) -> float:
        return _MOST_DEG if self.crs.is_geographic else MOST_M

    def in_order(self, column: str) -> _Truth:
        """Order it by the number in a column; those without one last."""
        rank = np.argsort([number(row.get(column)) for row in self.rows], kind="stable").tolist()
        parts, rows = [self.parts[k] for k in rank], [self.rows[k] for k in rank]
        return replace(self, parts=parts, rows=rows)


def _longitudes(crs: pyproj.CRS, xy: Floats) -> Floats | None:
    """Longitudes of places; None where one of them is on no place of the Earth."""
    lon, lat = to_degrees(crs).transform(xy[:, 0], xy[:, 1])
    fits = np.isfinite(lon) & np.isfinite(lat) & (np.abs(lat) <= 90.0) & (np.abs(lon) <= 180.0)
    return np.asarray(lon) if fits.all() else None


def _truths(layers: Mapping[str, gpd.GeoDataFrame]) -> list[_Truth]:
    found = []
    for order, (name, frame) in enumerate(layers.items()):
        role = role_of(name, frame)
        if role not in _PROVED or frame.crs is None:
            continue
        parts: list[Floats] = []
        rows: list[Mapping[str, Any]] = []
        over_180 = False
        columns = [c for c in ("leg_no", "stop_no", "spot_id", "from_id", "to_id") if c in frame.columns]
        for row, shape in zip(frame[columns].to_dict("records"), frame.geometry, strict=True):
            pieces = [] if shape is None else shapely.get_parts(shape).tolist()
            for piece in pieces:
                xy = shapely.get_coordinates(piece)
                if not len(xy) or piece.geom_type not in {"Point", "LineString"}:
                    continue
                lon = _longitudes(frame.crs, xy)
                if lon is not None:
                    parts.append(xy)
                    rows.append(row)
                    over_180 |= bool(np.ptp(lon) > 180.0)
        found.append(_Truth(one_line(name) or "layer", role, order, frame.crs, parts, rows, over_180))
    return found


def _drawn(lon_lat: Floats, crs: pyproj.CRS) -> Floats:
    """Draw a line straight in degrees and take it, with points between, into a reference system."""
    lon = np.degrees(np.unwrap(np.radians(lon_lat[:, 0])))  # over the 180th meridian the short way
    at = np.arange((len(lon) - 1) * _SAMPLES + 1) / _SAMPLES
    whole = np.arange(len(lon))
    lon, lat = np.interp(at, whole, lon), np.interp(at, whole, lon_lat[:, 1])
    x, y = from_degrees(crs).transform((lon + 180.0) % 360.0 - 180.0, lat)
    return np.column_stack([x, y])


def off_by(written: Floats, proved: Floats, crs: pyproj.CRS) -> float:
    """Measure how far a written line or point is from a proved one.

    Parameters
    ----------
    written
        Longitude and latitude (n, 2).
    proved
        Coordinates (k, 2) in ``crs``.
    crs
        Reference system of the proved one.

    Returns
    -------
    The greatest distance of either from the other, in the unit of ``crs``; both ends count as well.
    """
    drawn = _drawn(written, crs)
    if not np.isfinite(drawn).all():
        return float("inf")
    ends = np.hypot(*(drawn[[0, -1]] - proved[[0, -1]]).T).max()
    if len(proved) < 2 or len(drawn) < 2:
        return float(np.hypot(*(drawn[:, None] - proved[None]).reshape(-1, 2).T).max())
    there = shapely.distance(shapely.points(drawn), shapely.linestrings(proved)).max()
    back = shapely.distance(shapely.points(proved), shapely.linestrings(drawn)).max()
    return float(max(ends, there, back))


def _refuse(file: str, what: str) -> None:
    raise OutputFailed(
        f"{file}, read back, is not what was proved: {what}. Nothing was written; report it, it is a fault in castshed."
    )


def _compare(file: str, truth: _Truth, written: Sequence[Floats]) -> None:
    if truth.over_180:  # the file formats cut it there (RFC 7946 section 3.1.9), so it has other parts
        return
    if len(written) != len(truth.parts):
        _refuse(file, f"layer {truth.layer} has {len(truth.parts)} parts, {len(written)} were read back")
    for count, (one, proved) in enumerate(zip(written, truth.parts, strict=True), start=1):
        off = off_by(one, proved, truth.crs)
        if not off <= truth.most:
            unit = "degrees" if truth.crs.is_geographic else "m"
            _refuse(file, f"part {count} of layer {truth.layer} is {off:.3g} {unit} off")


def _pairs(text: str | None) -> Floats:
    return np.array([[float(n) for n in one.split(",")[:2]] for one in (text or "").split()])


def _of_kml(content: bytes, truth: _Truth) -> Iterator[Floats]:
    folders = content.split(b"<Folder>")[1:]  # among words these signs would be escaped
    if truth.order < len(folders):
        inner = folders[truth.order].split(b"</Folder>")[0]
        for one in ET.fromstring(b"<Folder>" + inner + b"</Folder>").iter("coordinates"):  # noqa: S314 -- our own bytes
            yield _pairs(one.text)


def _of_geojson(content: bytes, truth: _Truth) -> Iterator[Floats]:
    text, decoder = content.decode(), json.JSONDecoder()
    mark = f'"properties":{{"layer":{json.dumps(truth.layer, ensure_ascii=False)},'  # quotes in words are escaped
    for found in re.finditer(re.escape(mark), text):
        feature, _ = decoder.raw_decode(text, text.rfind(_FEATURE, 0, found.start()))
        geometry = feature["geometry"]
        if geometry is None:
            continue
        several = geometry["type"].startswith("Multi")
        for part in geometry["coordinates"] if several else [geometry["coordinates"]]:
            yield np.atleast_2d(np.asarray(part, dtype=np.float64))


def _places(elements: Iterator[ET.Element]) -> Floats:
    return np.array([[float(e.get("lon", "nan")), float(e.get("lat", "nan"))] for e in elements]).reshape(
        -1, 2
    )


def _check_tracks(file: str, root: ET.Element, truth: _Truth) -> None:
    written = []
    for track in root.iter(f"{_GPX}trk"):
        for segment in track.iter(f"{_GPX}trkseg"):
            own = segment.find(f"{_GPX}extensions/{_LAYER}")
            own = track.find(f"{_GPX}extensions/{_LAYER}") if own is None else own
            if own is not None and own.text == truth.layer:
                written.append(_places(segment.iter(f"{_GPX}trkpt")))
    lines = [k for k, part in enumerate(truth.parts) if len(part) > 1]
    kept = replace(truth, parts=[truth.parts[k] for k in lines], rows=[truth.rows[k] for k in lines])
    _compare(file, kept.in_order("leg_no"), written)


def _route(roots: Sequence[ET.Element]) -> tuple[Floats, list[int]]:
    """Points of the route over all files, and which of them are stops."""
    points: list[Floats] = []
    stops: list[int] = []
    for root in roots:
        for at, element in enumerate(root.iter(f"{_GPX}rtept")):
            place = _places(iter([element]))[0]
            again = (
                at == 0 and points and np.array_equal(place, points[-1])
            )  # a cut route goes on where it ended
            if not again:
                if element.findtext(f"{_GPX}type") != "turn":
                    stops.append(len(points))
                points.append(place)
    return np.array(points).reshape(-1, 2), stops


def _check_route(file: str, roots: Sequence[ET.Element], stops: _Truth, legs: _Truth | None) -> None:
    points, at = _route(roots)
    stops = stops.in_order("stop_no")
    _compare(file, stops, [points[[k]] for k in at])
    if legs is None or legs.crs != stops.crs:
        return
    legs = legs.in_order("leg_no")
    used = 0
    for k in range(len(at) - 1):
        ends = tuple(one_line(stops.rows[k + more].get("spot_id")) for more in (0, 1))
        way = [stops.parts[k]]
        while used < len(legs.parts) and ends == tuple(
            one_line(legs.rows[used].get(c)) for c in ("from_id", "to_id")
        ):
            way.append(legs.parts[used])
            used += 1
        if len(way) == 1:  # no leg joins these stops; the writer has said so
            continue
        off = off_by(points[at[k] : at[k + 1] + 1], np.concatenate([*way, stops.parts[k + 1]]), legs.crs)
        if not off <= legs.most:
            _refuse(file, f"the route to stop {k + 2} is {off:.3g} m off the legs")


def _check_gpx(files: Mapping[str, bytes], truths: Sequence[_Truth]) -> None:
    roots = [ET.fromstring(content) for content in files.values()]  # noqa: S314 -- our own bytes
    name = next(iter(files))
    by_role = {one.role: one for one in reversed(truths)}
    legs, stops = by_role.get("legs"), by_role.get("stops")
    if legs is not None:
        for one in truths:
            if one.role == "legs":
                _check_tracks(name, roots[0], one)
    if stops is not None and sum(one.role == "stops" for one in truths) == 1:
        _check_route(name, roots, stops, legs)


def prove_written(
    layers: Mapping[str, gpd.GeoDataFrame], files: Mapping[str, bytes], *, gpx: Mapping[str, gpd.GeoDataFrame]
) -> None:
    """Read GPX, KML and GeoJSON back and hold the legs, stops and holds in them against the layers.

    Parameters
    ----------
    layers
        Layers the KML and GeoJSON files were made of, by name.
    files
        Name of a file to its content; other formats are not looked at.
    gpx
        Layers the GPX files were made of.

    Raises
    ------
    OutputFailed
        Something is further than a tenth of a metre from what was proved, or missing.
    """
    routes = {name: content for name, content in files.items() if name.endswith(".gpx")}
    if routes and (truths := _truths(gpx)):
        _check_gpx(routes, truths)
    for name, content in files.items():
        read = {".kml": _of_kml, ".geojson": _of_geojson}.get(name[name.rfind(".") :])
        if read is None:
            continue
        for truth in _truths(layers):
            _compare(name, truth, list(read(content, truth)))
