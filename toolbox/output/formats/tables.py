"""Layers as tables that any table format can hold: a title and words for each row, then its columns, made plain."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import TYPE_CHECKING, Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from ...text import clean
from ..words.features import Feature, check_layers, features_of
from ..words.names import PLAIN, NameRule
from .xml_writing import value_text

if TYPE_CHECKING:
    from numpy.typing import NDArray


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
