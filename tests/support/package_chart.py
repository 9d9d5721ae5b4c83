"""A chart in the open S-57 exchange form as ogr2ogr writes it: edges and nodes first, features that name them."""

from __future__ import annotations

from pathlib import Path

import geopandas as gpd
import numpy as np
import shapely

import package_writers as by

AREA, LINE, POINT = 3, 2, 1
ISOLATED, CONNECTED, EDGE = 110, 120, 130  # record names of the standard's spatial records
NOTHING = 255
CLASSES = {"COALNE": 30, "DEPARE": 42, "DEPCNT": 43, "LNDARE": 71, "OBSTRN": 86, "SOUNDG": 129}


class _Records:
    """Spatial records and the features that are made of them; a ring is one edge from a node back to it."""

    def __init__(self) -> None:
        self.alone: list[shapely.Geometry] = []
        self.nodes: list[shapely.Point] = []
        self.edges: list[tuple[shapely.LineString, int, int]] = []
        self.features: dict[str, list[dict]] = {}

    def _node(self, at) -> int:
        self.nodes.append(shapely.Point(at))
        return len(self.nodes)

    def _edge(self, line) -> int:
        coords = [c[:2] for c in line.coords]
        first = self._node(coords[0])
        last = first if coords[0] == coords[-1] else self._node(coords[-1])
        if len(coords) < 4:  # an edge keeps two points of its own between its nodes
            (x, y), (x2, y2) = coords[0], coords[-1]
            coords = [coords[0], *((x + (x2 - x) * f, y + (y2 - y) * f) for f in (1 / 3, 2 / 3)), coords[-1]]
        self.edges.append((shapely.LineString(coords[1:-1]), first, last))
        return len(self.edges)

    def feature(self, name: str, geometry, attributes: dict) -> None:
        if geometry.geom_type == "Polygon":
            rings = [geometry.exterior, *geometry.interiors]
            parts = [(EDGE, self._edge(r), 1, 1 if k == 0 else 2) for k, r in enumerate(rings)]
            kind = AREA
        elif geometry.geom_type == "LineString":
            parts, kind = [(EDGE, self._edge(geometry), 1, NOTHING)], LINE
        else:
            self.alone.append(geometry)
            parts, kind = [(ISOLATED, len(self.alone), NOTHING, NOTHING)], POINT
        self.features.setdefault(name, []).append(
            {"kind": kind, "parts": parts, "geometry": geometry, **attributes}
        )


def _of_one(value: int, count: int) -> np.ndarray:
    return np.full(count, value, dtype="int32")


def _list(values) -> str:
    return f"({len(values)}:{','.join(map(str, values))})"


def _spatial(records: _Records) -> dict[str, gpd.GeoDataFrame]:
    layers = {}
    if records.alone:
        n = len(records.alone)
        layers["IsolatedNode"] = gpd.GeoDataFrame(
            {"RCNM": _of_one(ISOLATED, n), "RCID": np.arange(1, n + 1, dtype="int32")},
            geometry=records.alone,
            crs=4326,
        )
    n = len(records.nodes)
    layers["ConnectedNode"] = gpd.GeoDataFrame(
        {"RCNM": _of_one(CONNECTED, n), "RCID": np.arange(1, n + 1, dtype="int32")},
        geometry=records.nodes,
        crs=4326,
    )
    n = len(records.edges)
    columns = {"RCNM": _of_one(EDGE, n), "RCID": np.arange(1, n + 1, dtype="int32")}
    for end in (0, 1):
        columns |= {
            f"NAME_RCNM_{end}": _of_one(CONNECTED, n),
            f"NAME_RCID_{end}": np.array([e[1 + end] for e in records.edges], dtype="int32"),
            f"ORNT_{end}": _of_one(NOTHING, n),
            f"USAG_{end}": _of_one(NOTHING, n),
            f"TOPI_{end}": _of_one(1 + end, n),
            f"MASK_{end}": _of_one(NOTHING, n),
        }
    layers["Edge"] = gpd.GeoDataFrame(columns, geometry=[e[0] for e in records.edges], crs=4326)
    return layers


def chart(layers: dict[str, gpd.GeoDataFrame], path: Path) -> Path:
    """Write feature classes in degrees with their attributes as one exchange file."""
    records = _Records()
    for name, frame in layers.items():
        plain = frame.drop(columns="geometry").to_dict("records")
        for geometry, attributes in zip(frame.geometry, plain, strict=True):
            records.feature(name, geometry, attributes)
    written = _spatial(records)
    number = 0
    for name, rows in records.features.items():
        count = len(rows)
        ids = np.arange(number + 1, number + count + 1, dtype="int32")
        number += count
        columns = {
            "RCID": ids, "PRIM": np.array([r["kind"] for r in rows], dtype="int32"), "GRUP": _of_one(2, count),
            "OBJL": _of_one(CLASSES[name], count), "AGEN": _of_one(540, count), "FIDN": ids, "FIDS": _of_one(1, count),
        }  # fmt: skip
        for key, place in (("NAME_RCNM", 0), ("NAME_RCID", 1), ("ORNT", 2), ("USAG", 3)):
            columns[key] = [_list([p[place] for p in r["parts"]]) for r in rows]
        columns["MASK"] = [_list([2 if r["kind"] == AREA else NOTHING] * len(r["parts"])) for r in rows]
        columns |= {k: [r[k] for r in rows] for k in layers[name].columns if k != "geometry"}
        written[name] = gpd.GeoDataFrame(columns, geometry=[r["geometry"] for r in rows], crs=4326)
    return by.by_ogr2ogr(written, path, "S57")
