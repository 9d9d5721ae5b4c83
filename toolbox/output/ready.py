"""Features made once for all formats that want them, with their shapes as files want those and as text."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
import shapely

from .earth import on_earth
from .features import Feature, features_of

if TYPE_CHECKING:
    from collections.abc import Container, Mapping

    import geopandas as gpd
    from numpy.typing import NDArray

_POLYGON: Final = 3  # type of geometry; of higher types are those of several parts


@dataclass(frozen=True)
class Ready:
    """Features ready to be written.

    Attributes
    ----------
    features
        The features in order.
    shapes
        Shape of each, (n,), in WGS84 by `on_earth`; None for one without a place.
    runs
        Coordinates of each, ``x,y x,y``, with seven decimals: a text for every point, line and ring in it.
    """

    features: list[Feature]
    shapes: NDArray[np.object_]
    runs: list[list[str]]

    def of(self, layers: Container[str]) -> Ready:
        """Only those of some layers."""
        kept = [row for row, feature in enumerate(self.features) if feature.layer in layers]
        return Ready(
            [self.features[row] for row in kept], self.shapes[kept], [self.runs[row] for row in kept]
        )


def coordinate_runs(shapes: NDArray[np.object_]) -> list[list[str]]:
    """Write the coordinates of every point, line and ring of each shape, in the order in which it holds them.

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
    area = shapely.get_type_id(parts) == _POLYGON
    areas, others = np.flatnonzero(area), np.flatnonzero(~area)
    rings, ring_of = shapely.get_rings(parts[areas], return_index=True)
    part = np.concatenate([others, areas[ring_of]])
    order = np.argsort(part, kind="stable")
    pieces = np.concatenate([parts[others], rings])[order]
    runs: list[list[str]] = [[] for _ in range(len(shapes))]
    texts = shapely.to_wkt(pieces, rounding_precision=7, trim=False)
    for row, text in zip(own[part[order]].tolist(), texts.tolist(), strict=True):
        # from "LINEARRING (x y, x y)"
        runs[row].append(text[text.find("(") + 1 : -1].replace(", ", ";").replace(" ", ",").replace(";", " "))
    return runs


def ready_features(layers: Mapping[str, gpd.GeoDataFrame], *, level_m: float | None = None) -> Ready:
    """Make the features of all layers; `features_of` tells the parameters and the errors."""
    features = features_of(layers, level_m=level_m)
    given = np.empty(len(features), dtype=object)
    for row, feature in enumerate(features):
        given[row] = feature.geometry
    shapes = on_earth(given)
    return Ready(features, shapes, coordinate_runs(shapes))
