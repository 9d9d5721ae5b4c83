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
from ...lon_lat import ROUTE_BOW_M, from_degrees, to_degrees
from ...text import number, one_line
from ..words.names import role_of

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    import geopandas as gpd
    import pyproj

    from ...arrays import Floats


MOST_M: Final = 0.1
"""How far a written line or stop may be from the proved one."""
_MOST_DEG: Final = 1e-6  # the same, of layers in degrees
_PROVED: Final = ("legs", "route", "stops", "holds")
_SAMPLES: Final = 6
_POINT: Final = 0
_LINE: Final = 1

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
        if self.crs.is_geographic:
            return _MOST_DEG
        return MOST_M + (ROUTE_BOW_M if self.role == "route" else 0.0)

    def in_order(self, column: str) -> _Truth:
        """Order it by the number in a column; those without one last."""
        rank = np.argsort([number(row.get(column)) for row in self.rows], kind="stable").tolist()
        parts, rows = [self.parts[k] for k in rank], [self.rows[k] for k in rank]
        return replace(self, parts=parts, rows=rows)


def _truths(layers: Mapping[str, gpd.GeoDataFrame]) -> list[_Truth]:
    return [
        _truth(name, role, order, frame)
        for order, (name, frame) in enumerate(layers.items())
        if (role := role_of(name, frame)) in _PROVED and frame.crs is not None
    ]


def _truth(name: str, role: str, order: int, frame: gpd.GeoDataFrame) -> _Truth:
    """Take a layer apart; a part of which a corner is on no place of the Earth is none."""
    pieces, of = shapely.get_parts(frame.geometry.to_numpy(), return_index=True)
    simple = np.isin(shapely.get_type_id(pieces), (_POINT, _LINE)) & ~shapely.is_empty(pieces)
    pieces, of = pieces[simple], of[simple]
    xy = shapely.get_coordinates(pieces)
    first = np.concatenate([[0], np.cumsum(shapely.get_num_coordinates(pieces))]).astype(int)[:-1]
    lon, lat = to_degrees(frame.crs).transform(xy[:, 0], xy[:, 1])
    fits = np.isfinite(lon) & np.isfinite(lat) & (np.abs(lat) <= 90.0) & (np.abs(lon) <= 180.0)
    columns = [c for c in ("leg_no", "stop_no", "spot_id", "from_id", "to_id") if c in frame.columns]
    rows = frame[columns].to_dict("records") if columns else [{} for _ in range(len(frame))]
    parts, kept, over_180 = [], [], False
    if len(pieces):
        whole = np.logical_and.reduceat(fits, first)
        with np.errstate(invalid="ignore"):
            wide = np.maximum.reduceat(lon, first) - np.minimum.reduceat(lon, first) > 180.0
        every = np.split(xy, first[1:])
        parts = [every[k] for k in np.flatnonzero(whole).tolist()]
        kept = [rows[k] for k in of[whole].tolist()]
        over_180 = bool((wide & whole).any())
    return _Truth(one_line(name) or "layer", role, order, frame.crs, parts, kept, over_180)


def _drawn(lon_lat: Floats) -> Floats:
    """Draw a line straight in degrees, with points between."""
    lon = np.degrees(np.unwrap(np.radians(lon_lat[:, 0])))  # over the 180th meridian the short way
    at = np.arange((len(lon) - 1) * _SAMPLES + 1) / _SAMPLES
    whole = np.arange(len(lon))
    lon, lat = np.interp(at, whole, lon), np.interp(at, whole, lon_lat[:, 1])
    return np.column_stack([(lon + 180.0) % 360.0 - 180.0, lat])


def offs(written: Sequence[Floats], proved: Sequence[Floats], crs: pyproj.CRS) -> Floats:
    """Measure how far written lines or points are from proved ones.

    Parameters
    ----------
    written
        Longitude and latitude (m, 2) of each of n.
    proved
        Coordinates (k, 2) of each in ``crs``.
    crs
        Reference system of the proved ones.

    Returns
    -------
    (n,) The greatest distance of either from the other, in the unit of ``crs``; both ends count as well.
    """
    if not len(written):
        return np.empty(0)
    degrees = [_drawn(one) for one in written]
    x, y = from_degrees(crs).transform(*np.concatenate(degrees).T)
    drawn = np.split(np.column_stack([x, y]), np.cumsum([len(one) for one in degrees])[:-1])
    sound = np.array([bool(np.isfinite(one).all()) for one in drawn])
    far = np.where(sound, 0.0, np.inf)
    ends = [
        np.hypot(*(one[[0, -1]] - other[[0, -1]]).T).max() for one, other in zip(drawn, proved, strict=True)
    ]
    far[sound] = np.array(ends)[sound]
    line = np.array([len(one) > 1 and len(other) > 1 for one, other in zip(drawn, proved, strict=True)])
    for k in np.flatnonzero(sound & ~line).tolist():
        far[k] = np.hypot(*(drawn[k][:, None] - proved[k][None]).reshape(-1, 2).T).max()
    both = np.flatnonzero(sound & line).tolist()
    for points_of, lines_of in ((drawn, proved), (proved, drawn)):
        if both:
            lines = [shapely.linestrings(lines_of[k]) for k in both]
            many = [len(points_of[k]) for k in both]
            points = shapely.points(np.concatenate([points_of[k] for k in both]))
            apart = shapely.distance(points, np.repeat(np.array(lines, dtype=object), many))
            np.maximum.at(far, np.repeat(both, many), apart)
    return far


def _refuse(file: str, what: str) -> None:
    raise OutputFailed(
        f"{file}, read back, is not what was proved: {what}. Nothing was written; report it, it is a fault in castshed."
    )


def _compare(file: str, truth: _Truth, written: Sequence[Floats]) -> None:
    if truth.over_180:  # the file formats cut it there (RFC 7946 section 3.1.9), so it has other parts
        return
    if len(written) != len(truth.parts):
        _refuse(file, f"layer {truth.layer} has {len(truth.parts)} parts, {len(written)} were read back")
    far = offs(written, truth.parts, truth.crs)
    for at in np.flatnonzero(~(far <= truth.most)).tolist():
        unit = "degrees" if truth.crs.is_geographic else "m"
        _refuse(file, f"part {at + 1} of layer {truth.layer} is {far[at]:.3g} {unit} off")


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
    joined: list[tuple[int, Floats]] = []  # a stop, and the way to the next one
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
        joined.append((k, np.concatenate([*way, stops.parts[k + 1]])))
    far = offs([points[at[k] : at[k + 1] + 1] for k, _ in joined], [way for _, way in joined], legs.crs)
    for one in np.flatnonzero(~(far <= legs.most)).tolist():
        _refuse(file, f"the route to stop {joined[one][0] + 2} is {far[one]:.3g} m off the legs")


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
        _check_route(name, roots, stops, by_role.get("route", legs))


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
    of_layers = _truths(layers)
    same = list(gpx) == list(layers) and all(gpx[name] is layers[name] for name in gpx)
    if routes and (truths := of_layers if same else _truths(gpx)):
        _check_gpx(routes, truths)
    for name, content in files.items():
        read = {".kml": _of_kml, ".geojson": _of_geojson}.get(name[name.rfind(".") :])
        if read is None:
            continue
        for truth in of_layers:
            _compare(name, truth, list(read(content, truth)))
