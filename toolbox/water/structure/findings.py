"""All structure of a bottom: every kind looked for, echoes resolved, confidence told, the best chosen."""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING, Any, Final

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from scipy.spatial import cKDTree

from ...notes import note
from ...units import in_words
from .echoes import without_echoes
from .finding_table import findings

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence

    from ...arrays import Floats, Geometries
    from ...depth import DepthSurface

    Finder = Callable[..., gpd.GeoDataFrame]

KINDS: Final = ("hump", "saddle", "point", "pocket", "ledge", "flat", "bluff", "channel_bend")

# Coarsest contour interval that still shows a kind, by trial on made lakes: a hump between two contours is lost by
# every method, and ledges and flats drawn from wide contours are those of the contours. Bluffs and points stand longer.
COARSEST_M: Final = {
    "hump": 3.05,
    "saddle": 1.6,
    "point": 3.05,
    "pocket": 1.6,
    "ledge": 1.6,
    "flat": 1.6,
    "bluff": 3.05,
    "channel_bend": 3.05,
}
_INTERVAL_SHARE: Final = 0.25  # error of a depth drawn between two contours, as a share of the interval


def _finder(kind: str) -> Finder:
    place = importlib.import_module(f".{kind}s", __package__)
    finder: Finder = getattr(place, f"find_{kind}s")
    return finder


def supported(kinds: Sequence[str], interval_m: float) -> list[str]:
    """Keep the kinds that depths of this contour interval can show; say which are not looked for."""
    lost = [kind for kind in kinds if interval_m > COARSEST_M[kind] * 1.001]
    if lost:
        words = ", ".join(kind.replace("_", " ") + "s" for kind in lost)
        note(
            f"Contours every {in_words(interval_m, 'length')} cannot show {words}; they were not looked for. A finer "
            "chart or own soundings would.",
            stacklevel=3,
        )
    return [kind for kind in kinds if kind not in lost]


def find_all(
    today: DepthSurface,
    *,
    kinds: Sequence[str] = KINDS,
    settings: Mapping[str, Mapping[str, Any]] | None = None,
    interval_m: float = 0.0,
    progress: Callable[[float], object] | None = None,
) -> gpd.GeoDataFrame:
    """Find the structure of a bottom, each once.

    Parameters
    ----------
    today
        Today's depth.
    kinds
        What to look for.
    settings
        Thresholds by kind, as the finders name them.
    interval_m
        Contour interval the depths were drawn from; 0 where they were sounded densely.
    progress
        Called with the share of the work just done; the shares add up to 1.

    Returns
    -------
    Findings of all kinds in the columns of `frame.NUMBERS`, with ``echoes``, ``confidence`` (0 to 1) and ``score``
    (0 to 1), the best first.

    Notes
    -----
    Confidence is relief over relief plus twice the depth error, where a contour interval adds a quarter of itself to
    the error: what rises no more than the error may be nothing. The score is confidence times how far a finding goes
    beyond its own threshold. All kinds asked for are looked for even if only some are wanted, since an echo is told
    from a structure by its owner.
    """
    asked = supported(kinds, interval_m)
    tables: list[gpd.GeoDataFrame] = []
    for kind in asked:
        tables.append(_finder(kind)(today, **dict((settings or {}).get(kind, {}))))
        if progress is not None:
            progress(1.0 / len(asked))
    full = [table for table in tables if len(table)]
    if not full:
        empty = findings("hump", [], today.crs, {})
        return empty.assign(echoes=np.empty(0, object), confidence=np.empty(0), score=np.empty(0))
    found = gpd.GeoDataFrame(pd.concat(full, ignore_index=True), geometry="geometry", crs=today.crs)
    found = without_echoes(found)
    error = float(np.hypot(today.error_m, _INTERVAL_SHARE * interval_m))
    relief = found["relief_m"].to_numpy(dtype=float)
    # A flat is sure where it is larger, not where it falls more.
    measure = np.where(found["kind"] == "flat", found["strength"].to_numpy(dtype=float), relief)
    measure = np.maximum(measure, 0.0)
    confidence = np.nan_to_num(measure / (measure + 2.0 * max(error, 1e-6)), nan=0.5)
    strength = found["strength"].to_numpy(dtype=float)
    found["confidence"] = confidence
    found["score"] = confidence * strength / (1.0 + strength)
    return found.sort_values("score", ascending=False, kind="stable", ignore_index=True)


def middles(shapes: Geometries) -> Floats:
    """Give one place for each finding: the point, the middle of a line, a point well inside an area."""
    kind = shapely.get_type_id(shapes)
    places = np.asarray(shapely.point_on_surface(shapes), dtype=object)
    lines = kind == shapely.GeometryType.LINESTRING
    places[lines] = shapely.line_interpolate_point(shapes[lines], 0.5, normalized=True)
    return np.asarray(shapely.get_coordinates(places))


def chosen(
    found: gpd.GeoDataFrame, *, from_m: float, to_m: float, most: int, spacing_m: float
) -> gpd.GeoDataFrame:
    """Choose the best of each kind.

    Parameters
    ----------
    found
        From `find_all`, the best first.
    from_m, to_m
        Depth window today; a finding counts whose depths reach into it.
    most
        At most so many a kind; 0 takes all.
    spacing_m
        Of two findings of one kind nearer to each other than this the better one is taken.

    Returns
    -------
    The chosen ones in their order, with ``rank`` from 1.
    """
    shallow = found["top_m"].fillna(found["base_m"])
    deep = found["base_m"].fillna(found["top_m"])
    # A hump is fished on its top, a bluff along its foot.
    deep = deep.where(~found["kind"].isin(("hump", "saddle")), shallow)
    inside = found[(shallow <= to_m) & (deep >= from_m)].reset_index(drop=True)
    keep = np.zeros(len(inside), dtype=bool)
    places = middles(inside.geometry.to_numpy()) if len(inside) else np.empty((0, 2))
    for kind in inside["kind"].unique():
        rows = np.flatnonzero(inside["kind"] == kind)
        near = cKDTree(places[rows]).query_ball_point(places[rows], spacing_m) if spacing_m > 0.0 else None
        barred = np.zeros(len(rows), dtype=bool)
        taken = 0
        for at, row in enumerate(rows.tolist()):
            if barred[at] or (most and taken >= most):
                continue
            keep[row] = True
            taken += 1
            if near is not None:
                barred[near[at]] = True
    best = inside[keep].reset_index(drop=True)
    return best.assign(rank=np.arange(1, len(best) + 1))
