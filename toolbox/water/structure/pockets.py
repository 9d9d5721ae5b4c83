"""Pockets: hollows that run from deeper water into the bank."""

from __future__ import annotations

from typing import TYPE_CHECKING

from .noses import find_noses

if TYPE_CHECKING:
    import geopandas as gpd

    from ...depth import DepthSurface


def find_pockets(
    surface: DepthSurface,
    *,
    turn_deg: float = 65.0,
    over_m: float = 60.0,
    relief_m: float = 1.0,
    length_m: float = 35.0,
    bank_m: float = 100.0,
) -> gpd.GeoDataFrame:
    """Find pockets.

    Parameters
    ----------
    surface
        Today's depths.
    turn_deg, over_m, relief_m, length_m, bank_m
        As for `find_points`; the axis is that of the hollow.

    Returns
    -------
    A Point each, on the axis, where the isobaths turn most. `top_m` and `base_m` are the depths of the axis at its
    head and at its mouth, `length_m` its length between them, `slope_deg` its mean slope, `deep_bearing_deg` the
    way it opens, `area_m2` the ground where isobaths turn so much.

    Notes
    -----
    The hollows on both flanks of a point, where isobaths only turn back, are no pockets. The mouth of a long cove is
    found by its head, where isobaths turn.

    What makes the result wrong: contours far apart against the depth that the pocket runs through; unknown ground that
    is open water but lies beside shallow water, which is taken as land.
    """
    return find_noses(
        "pocket",
        surface,
        out=False,
        turn_deg=turn_deg,
        over_m=over_m,
        relief_m=relief_m,
        length_m=length_m,
        bank_m=bank_m,
    )
