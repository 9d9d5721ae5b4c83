"""Layers made ready once for all formats: features with their shapes, and tables with a title and words."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING, Any, Final

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from ...lon_lat import on_earth
from ...text import clean
from ..words.features import Feature, check_layers, features_of
from ..words.names import PLAIN, NameRule
from .xml_zip_writing import value_text

if TYPE_CHECKING:
    from collections.abc import Container

    from numpy.typing import NDArray
    from shapely.geometry.base import BaseGeometry

    from ...arrays import Floats, Geometries, Ints

_WHOLE, _DECIMALS = 3, 7  # digits of a degree
_POLYGON: Final = 3  # type of geometry; of higher types are those of several parts


@dataclass(frozen=True)
class Ready:
    """Features ready to be written."""

    features: list[Feature]  # the features in order
    shapes: Geometries  # shape of each, (n,), in WGS84 by `on_earth`; None for one without a place
    # coordinates of each, ``x,y x,y``, with seven decimals: a text for every point, line and ring in it
    runs: list[list[str]]

    def of(self, layers: Container[str]) -> Ready:
        """Only those of some layers."""
        kept = [row for row, feature in enumerate(self.features) if feature.layer in layers]
        return Ready(
            [self.features[row] for row in kept], self.shapes[kept], [self.runs[row] for row in kept]
        )


def _written(points: Floats) -> tuple[str, Ints]:
    """Write points, (n, 2) in degrees, one behind the other, ``x,y`` and a space; tells where each ends, (n,).

    All at once, digit by digit: a plan has a million points, and writing numbers one by one would be most of the work.
    """
    steps = np.rint(np.abs(points.ravel()) * 10.0**_DECIMALS).astype(np.int64)
    whole, part = (some.astype(np.int32) for some in np.divmod(steps, 10**_DECIMALS))
    point = _WHOLE + 1
    letters = np.empty((len(steps), point + _DECIMALS + 2), dtype=np.uint8)
    letters[:, 0], letters[:, point] = ord("-"), ord(".")
    letters[0::2, -1], letters[1::2, -1] = ord(","), ord(" ")
    kept = np.ones(letters.shape, dtype=bool)
    kept[:, 0] = (points.ravel() < 0.0) & (steps > 0)
    for digit in range(1, _WHOLE):
        kept[:, point - 1 - digit] = whole >= 10**digit
    for rest, right, count in ((part, point + _DECIMALS, _DECIMALS), (whole, point - 1, _WHOLE)):
        left = rest
        for digit in range(count):
            left, last = np.divmod(left, 10)
            letters[:, right - digit] = last + ord("0")
    ends: Ints = np.cumsum(kept.sum(axis=1))[1::2]
    return letters[kept].tobytes().decode("ascii"), ends


def parts_of(geometry: BaseGeometry) -> list[BaseGeometry]:
    """List the parts of a geometry of several that are not empty."""
    return [part for part in shapely.get_parts(geometry) if not part.is_empty]


def coordinate_runs(shapes: Geometries) -> list[list[str]]:
    """Write the coordinates of every point, line and ring of each shape, in the order in which it holds them.

    Empty parts are passed over.

    Examples
    --------
    >>> coordinate_runs(np.array([None, shapely.LineString([(-0.5, 2.0), (1.0, 1.0 / 3.0)])], dtype=object))
    [[], ['-0.5000000,2.0000000 1.0000000,0.3333333']]
    """
    own = np.arange(len(shapes))[~shapely.is_missing(shapes)]
    parts = shapes[own]
    while (shapely.get_type_id(parts) > _POLYGON).any():
        parts, part_of = shapely.get_parts(parts, return_index=True)
        own = own[part_of]
        own, parts = own[~shapely.is_empty(parts)], parts[~shapely.is_empty(parts)]
    area = shapely.get_type_id(parts) == _POLYGON
    areas, others = np.flatnonzero(area), np.flatnonzero(~area)
    rings, ring_of = shapely.get_rings(parts[areas], return_index=True)
    part = np.concatenate([others, areas[ring_of]])
    order = np.argsort(part, kind="stable")
    pieces = np.concatenate([parts[others], rings])[order]
    runs: list[list[str]] = [[] for _ in range(len(shapes))]
    text, ends = _written(shapely.get_coordinates(pieces))
    last = np.cumsum(shapely.get_num_coordinates(pieces))
    bounds = np.concatenate([[0], ends])[np.concatenate([[0], last])].tolist()
    for row, (start, end) in zip(own[part[order]].tolist(), pairwise(bounds), strict=True):
        runs[row].append(text[start : max(start, end - 1)])
    return runs


def ready_features(layers: Mapping[str, gpd.GeoDataFrame], *, level_m: float | None = None) -> Ready:
    """Make the features of all layers; `features_of` tells the parameters and the errors."""
    features = features_of(layers, level_m=level_m)
    given = np.empty(len(features), dtype=object)
    for row, feature in enumerate(features):
        given[row] = feature.geometry
    shapes = on_earth(given)
    return Ready(features, shapes, coordinate_runs(shapes))


def unlike(names: Iterable[str], taken: Iterable[str] = ()) -> list[str]:
    """Column names that differ regardless of case, later ones with underscores behind them."""
    used = {name.casefold() for name in taken}
    found = []
    for name in names:
        own = clean(name) or "column"
        while own.casefold() in used:
            own += "_"
        used.add(own.casefold())
        found.append(own)
    return found


def plain_values(values: pd.Series) -> NDArray[Any]:
    """Make a column whole numbers, numbers with NaN for gaps, or text with None for gaps."""
    if pd.api.types.is_bool_dtype(values) and not values.isna().any():
        return values.to_numpy(dtype=np.int32)
    if pd.api.types.is_integer_dtype(values) and not values.isna().any():
        if values.dtype.kind == "u" and len(values) and int(values.max()) > np.iinfo(np.int64).max:
            return values.to_numpy(dtype=np.float64)
        return values.to_numpy(dtype=np.int64)
    if pd.api.types.is_numeric_dtype(values) and not pd.api.types.is_complex_dtype(values):
        numbers = values.to_numpy(dtype=np.float64, na_value=np.nan)
        return np.where(np.isfinite(numbers), numbers, np.nan)
    texts = [clean(v) if isinstance(v, str) else value_text(v) for v in values.tolist()]
    return np.array(texts, dtype=object)


def tables_of(
    layers: Mapping[str, gpd.GeoDataFrame],
    *,
    level_m: float | None = None,
    rule: NameRule = PLAIN,
) -> list[tuple[str, gpd.GeoDataFrame, list[Feature]]]:
    """Make each layer a table: its name, its rows in its own reference system, and the same rows as features.

    Parameters
    ----------
    layers
        Layers by name.
    level_m
        Today's surface minus chart datum in metres; None where it is not known.
    rule
        How titles are written; they differ within a layer.

    Returns
    -------
    Columns ``title`` and ``description``, then those of the layer in its order, one called like these two with
    an underscore behind it; geometry in the layer's reference system without heights.
    """
    layers = check_layers(layers)
    features = features_of(layers, level_m=level_m)
    tables = []
    at = 0
    for layer, frame in layers.items():
        own = features[at : at + len(frame)]
        at += len(frame)
        plain = frame.loc[:, [dtype.name != "geometry" for dtype in frame.dtypes]]
        names = unlike(map(str, plain.columns), ("title", "description", "geometry"))
        columns: dict[str, Any] = {
            "title": np.array(rule.unique(f.name for f in own), dtype=object),
            "description": np.array([rule.words(" ".join(f.words)) for f in own], dtype=object),
        }
        columns |= {name: plain_values(plain.iloc[:, place]) for place, name in enumerate(names)}
        shapes = shapely.force_2d(frame.geometry.to_numpy())
        shapes[shapely.is_empty(shapes) | ~np.isfinite(shapely.bounds(shapes)).all(axis=1)] = None
        tables.append((layer, gpd.GeoDataFrame(columns, geometry=shapes, crs=frame.crs), own))
    return tables
