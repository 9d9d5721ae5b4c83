"""One structure, one finding: what one kind finds of another's structure becomes an attribute of that one.

The side of a hump is a ledge, the wall of a bluff too, the notch beside a saddle is a pocket. A finder for one kind
does not know of the others; here the findings of all kinds are laid side by side, and an echo is put to its owner.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import shapely

if TYPE_CHECKING:
    import geopandas as gpd

    from ...arrays import Flags, Floats, Geometries, Ints


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
