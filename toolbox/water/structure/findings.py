"""All structure of a bottom: every kind looked for, echoes resolved, confidence told, the best chosen.

One structure, one finding: what one kind finds of another's structure becomes an attribute of that one.

The side of a hump is a ledge, the wall of a bluff too, the notch beside a saddle is a pocket. A finder for one kind
does not know of the others; here the findings of all kinds are laid side by side, and an echo is put to its owner.
"""

from __future__ import annotations

import importlib
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from scipy.spatial import cKDTree

from ...report import note
from ...units import in_words
from .finding_table import findings

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence

    from ...arrays import Flags, Floats, Geometries, Ints
    from ...depth import DepthSurface

    Finder = Callable[..., gpd.GeoDataFrame]


@dataclass(frozen=True)
class Echo:
    """A rule: a finding of kind ``echo`` with so large a share in the reach of one of kind ``owner`` is its echo.

    ``beyond_m`` widens the owner's reach. Between two of one kind the clearer is the owner.
    """

    echo: str
    owner: str
    share: float
    beyond_m: float


RULES: Final = (
    Echo("ledge", "bluff", 0.6, 25.0),
    Echo("ledge", "hump", 0.6, 10.0),
    Echo("flat", "hump", 0.7, 0.0),
    Echo("point", "hump", 1.0, 0.0),
    Echo("ledge", "point", 0.7, 0.0),
    Echo("pocket", "saddle", 1.0, 20.0),
    Echo("pocket", "hump", 1.0, 0.0),
    Echo("ledge", "ledge", 0.6, 12.0),
    Echo("bluff", "bluff", 0.6, 10.0),
    Echo("flat", "flat", 0.6, 0.0),
)

_LEAST_REACH_M: Final = 12.0
_POINT_REACH_M: Final = (20.0, 80.0)


def _reach(findings: gpd.GeoDataFrame, rows: Ints, beyond_m: float) -> Geometries:
    """Ground each finding stands for: what is drawn, or a disc of its area or half its length round its middle."""
    shapes = findings.geometry.to_numpy()[rows]
    kind = findings["kind"].to_numpy(dtype=object)[rows]
    area = findings["area_m2"].to_numpy(dtype=float)[rows]
    length = findings["length_m"].to_numpy(dtype=float)[rows]
    radius = np.zeros(len(rows))
    hump = kind == "hump"
    radius[hump] = np.fmax(1.15 * np.sqrt(np.fmax(area[hump], 0.0) / np.pi), _LEAST_REACH_M)
    point = kind == "point"
    radius[point] = np.clip(np.nan_to_num(length[point] / 2.0, nan=_POINT_REACH_M[0]), *_POINT_REACH_M)
    return np.asarray(shapely.buffer(shapes, radius + beyond_m), dtype=object)


def _share(shapes: Geometries, reach: Geometries) -> Floats:
    """Share of each shape in each reach: of its area, else its length; 1 or 0 for a point."""
    common = shapely.intersection(shapes, reach)
    whole_area, whole_length = shapely.area(shapes), shapely.length(shapes)
    share = np.where(shapely.is_empty(common), 0.0, 1.0)
    lines = (whole_area == 0.0) & (whole_length > 0.0)
    share[lines] = shapely.length(common[lines]) / whole_length[lines]
    areas = whole_area > 0.0
    share[areas] = shapely.area(common[areas]) / whole_area[areas]
    return np.asarray(share)


def _pairs(findings: gpd.GeoDataFrame, rule: Echo, left: Flags) -> list[tuple[int, int]]:
    """Rows (echo, owner) a rule joins, each echo with the owner that holds most of it."""
    kind = findings["kind"].to_numpy(dtype=object)
    echoes, owners = np.flatnonzero(left & (kind == rule.echo)), np.flatnonzero(left & (kind == rule.owner))
    if not len(echoes) or not len(owners):
        return []
    reach = _reach(findings, owners, rule.beyond_m)
    shapes = findings.geometry.to_numpy()
    at, near = shapely.STRtree(reach).query(shapes[echoes], predicate="intersects")
    share = _share(shapes[echoes[at]], reach[near])
    strength = findings["strength"].to_numpy(dtype=float)
    one, other = echoes[at], owners[near]
    fits = (share >= rule.share) & (one != other)
    if rule.echo == rule.owner:
        # Rows come clearest first within a kind, so a tie is settled by the order.
        fits &= (strength[one] < strength[other]) | ((strength[one] == strength[other]) & (one > other))
    best: dict[int, tuple[float, int]] = {}
    for echo, owner, much in zip(one[fits].tolist(), other[fits].tolist(), share[fits].tolist(), strict=True):
        best[echo] = max(best.get(echo, (0.0, -1)), (much, owner))
    return [(echo, owner) for echo, (_, owner) in sorted(best.items())]


def without_echoes(findings: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """Keep each structure once.

    Parameters
    ----------
    findings
        Findings of all kinds, with the columns of `frame.NUMBERS`.

    Returns
    -------
    The findings that are no echoes, in their order, with a column ``echoes``: what the echoes put to each are,
    such as ``ledge, 2.1 m of drop``; empty where there are none.
    """
    kept = findings.reset_index(drop=True)
    left = np.ones(len(kept), dtype=bool)
    owned: dict[int, list[int]] = {}
    for rule in RULES:
        for echo, owner in _pairs(kept, rule, left):
            if left[echo] and left[owner]:
                left[echo] = False
                owned.setdefault(owner, []).extend([echo, *owned.pop(echo, [])])
    words = np.full(len(kept), "", dtype=object)
    for owner, rows in owned.items():
        words[owner] = "; ".join(
            dict.fromkeys(_said(kept.iloc[row]) for row in rows if kept["kind"][row] != kept["kind"][owner])
        )
    return kept.assign(echoes=words)[left].reset_index(drop=True)


def _said(row: Any) -> str:
    kind = str(row["kind"]).replace("_", " ")
    return (
        f"{kind}, {row['relief_m']:.1f} m of drop"
        if kind == "ledge" and np.isfinite(row["relief_m"])
        else kind
    )


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


_TOGETHER: Final = {"point": "noses", "pocket": "noses"}  # kinds that share a file


def _finder(kind: str) -> Finder:
    file = _TOGETHER.get(kind, f"{kind}s")
    place = importlib.import_module(f".{file}", __package__)
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
