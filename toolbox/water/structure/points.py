"""Points: ridges that run out from the bank into deeper water."""

from __future__ import annotations

from typing import TYPE_CHECKING

from .noses import find_noses

if TYPE_CHECKING:
    import geopandas as gpd

    from ...depth import DepthSurface


def find_points(
    surface: DepthSurface,
    *,
    turn_deg: float = 65.0,
    over_m: float = 60.0,
    relief_m: float = 1.0,
    length_m: float = 35.0,
    bank_m: float = 100.0,
) -> gpd.GeoDataFrame:
    """Find points.

    Parameters
    ----------
    surface
        Today's depths.
    turn_deg, over_m
        Round a point isobaths turn by so much or more within such a length of them. Wider points need more.
    relief_m, length_m
        They do so over such a depth, and along such a length of its crest, at least.
    bank_m
        The shallow end lies no further from the bank.

    Returns
    -------
    A Point each, on the crest, where the isobaths turn most. `top_m` and `base_m` are the depths of the crest at
    its shallow and its deep end, `length_m` its length between them, `slope_deg` its mean slope,
    `deep_bearing_deg` the way it runs out, `area_m2` the ground where isobaths turn so much.

    Notes
    -----
    A rise that closes is a hump, not a point, and so is what hangs on it. A bank that bends slowly is none, and the
    shoulders of a pocket, where isobaths only turn back, are none.

    What makes the result wrong: contours far apart against the depth that the point runs through; unknown ground that
    is open water but lies beside shallow water, which is taken as land.
    """
    return find_noses(
        "point",
        surface,
        out=True,
        turn_deg=turn_deg,
        over_m=over_m,
        relief_m=relief_m,
        length_m=length_m,
        bank_m=bank_m,
    )
