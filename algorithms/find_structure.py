"""Structure of the bottom, found and ranked from the depths."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Final

from castshed.toolbox.algorithm import algorithm
from castshed.toolbox.parameters import (
    Apart,
    ContourInterval,
    Depth,
    Length,
    MostOfAKind,
    Structure,
    StructureKinds,
    TodaysLevel,
    UnitSystem,
    Water,
    WindowBottom,
    WindowTop,
    defaults,
)

KINDS: Final = defaults.STRUCTURE_KINDS


def _names(kinds: Sequence[str]) -> list[str]:
    """Call each finding by its kind and a number in its kind."""
    count: dict[str, int] = {}
    names = []
    for kind in kinds:
        count[kind] = count.get(kind, 0) + 1
        names.append(f"{kind.replace('_', ' ').capitalize()} {count[kind]}")
    return names


@algorithm(
    step="bottom",
    example="castshed find-structure demo_layers/reservoir.gpkg:depth --level -4ft --from 4ft --to 25ft "
    "--most 8 --out my.gpkg:structure",
)
def find_structure(
    depth: Depth,
    *,
    water: Water | None = None,
    level_m: TodaysLevel = 0.0,
    kinds: StructureKinds = KINDS,
    from_m: WindowTop = defaults.WINDOW_FROM_M,
    to_m: WindowBottom = defaults.WINDOW_TO_M,
    most: MostOfAKind = defaults.MOST_OF_A_KIND,
    spacing_m: Apart = defaults.SPACING_M,
    interval_m: ContourInterval = 0.0,
    hump_relief_m: Length = 0.9144,
    ledge_drop_m: Length = 1.2192,
    bluff_depth_m: Length = 3.6576,
    flat_width_m: Length = 40.0,
    units: UnitSystem = "US",
) -> Structure:
    """Find humps, saddles, points, pockets, ledges, flats, bluff banks and channel bends, and rank them.

    Each structure is one finding: a ledge round a hump is told with the hump. The result has the columns of a spot, so
    it goes on to boat-hold, fishable and shortest-run as it is; ``rating`` is 0 to 5 by rank. The description says what
    it is in a sentence, with today's depths.

    What the depths cannot show is not looked for, and said: contours every 10 ft hide ledges and most humps, and a hump
    between two contours is lost by every method. Give the contour interval with --interval. Confidence is the relief
    against the error of the depths.

    Parameters
    ----------
    depth
        Depth coverage.
    water
        Today's water, from water-today, to tell which bank a finding belongs to.
    hump_relief_m
        Least height of a hump over the ground it stands on.
    ledge_drop_m
        Least drop of a ledge.
    bluff_depth_m
        Least depth close to a bluff bank.
    flat_width_m
        Least width of a flat.

    Returns
    -------
    GeoDataFrame
        structure: points for humps, saddles, points and pockets, lines for ledges, bluffs and channel bends, polygons
        for flats, ranked; depth_m is the depth to fish at chart datum, top_today_m and base_today_m are today's.

    Raises
    ------
    UsageError
        A depth window upside down, or a threshold of 0.

    Notes
    -----
    The finders and their methods: `castshed.toolbox.water.structure`. What makes the result wrong: depths drawn from
    wide contours or sparse tracks, silt since the survey, and cells wider than the structure. Confirm on the water.
    """
    import geopandas as gpd
    import numpy as np
    import shapely

    from castshed.toolbox.errors import UsageError
    from castshed.toolbox.lon_lat import true_bearings
    from castshed.toolbox.report import progress
    from castshed.toolbox.units import in_words
    from castshed.toolbox.water.structure.finding_table import described, nearest_banks
    from castshed.toolbox.water.structure.findings import chosen, find_all, middles

    if from_m >= to_m:
        raise UsageError(
            f"The depth window runs from {in_words(from_m, 'length')} to {in_words(to_m, 'length')}; give the shallow "
            "end first."
        )
    for name, value in (
        ("hump-relief", hump_relief_m),
        ("ledge-drop", ledge_drop_m),
        ("bluff-depth", bluff_depth_m),
        ("flat-width", flat_width_m),
    ):
        if value <= 0.0:
            raise UsageError(f"{name} must be above 0.")
    settings: dict[str, dict[str, Any]] = {
        "hump": {"relief_m": hump_relief_m},
        "ledge": {"drop_m": ledge_drop_m},
        # Ground nobody surveyed is a bank only where the chart shows no land at all, whatever today's level.
        "bluff": {"depth_m": bluff_depth_m, "unknown_is_land": not bool(np.any(depth.depth_m < 0.0))},
        "flat": {"width_m": flat_width_m, "to_m": max(to_m, 0.7)},
    }
    with progress("Reading the bottom", 1) as step:
        found = find_all(
            depth.shifted(level_m), kinds=KINDS, settings=settings, interval_m=interval_m, progress=step
        )
    best = chosen(
        found[found["kind"].isin(tuple(kinds))], from_m=from_m, to_m=to_m, most=most, spacing_m=spacing_m
    )
    shapes = best.geometry.to_numpy()
    bank, bank_m = nearest_banks(
        shapes,
        best["deep_bearing_deg"].to_numpy(dtype=float),
        None if water is None else shapely.union_all(water.geometry.to_numpy()),
    )
    best["deep_bearing_deg"] = true_bearings(
        best["deep_bearing_deg"].to_numpy(dtype=float), depth.crs, *middles(shapes).T
    )
    rows = best.to_dict("records")
    words = [described(row, us=units == "US") for row in rows]
    top, base = best["top_m"].to_numpy(dtype=float), best["base_m"].to_numpy(dtype=float)
    foot = best["kind"].isin(("bluff", "channel_bend")).to_numpy(dtype=bool)
    fished = np.where(foot | np.isnan(top), base, top)
    count = len(best)
    return gpd.GeoDataFrame(
        {
            "spot_id": np.array(
                [name.lower().replace(" ", "-") for name in _names(best["kind"])], dtype=object
            ),
            "name": np.array(_names(best["kind"]), dtype=object),
            "kind": best["kind"].to_numpy(dtype=object),
            "description": np.array(words, dtype=object),
            "rank": best["rank"].to_numpy(dtype=int),
            "confidence": best["confidence"].to_numpy(dtype=float),
            "depth_m": fished - level_m,
            "height_m": np.zeros(count),
            "rating": np.round(5.0 * best["score"].to_numpy(dtype=float), 1),
            "note": np.array(words, dtype=object),
            "source": np.full(count, "found in the depths", dtype=object),
            "position_error_m": np.full(count, 2.0 * max(depth.cell_x_m, depth.cell_y_m)),
            "top_today_m": top,
            "base_today_m": base,
            "relief_m": best["relief_m"].to_numpy(dtype=float),
            "slope_deg": best["slope_deg"].to_numpy(dtype=float),
            "length_m": best["length_m"].to_numpy(dtype=float),
            "area_m2": best["area_m2"].to_numpy(dtype=float),
            "deep_bearing_deg": best["deep_bearing_deg"].to_numpy(dtype=float),
            "echoes": best["echoes"].to_numpy(dtype=object),
            "bank": bank,
            "bank_m": bank_m,
        },
        geometry=shapes,
        crs=depth.crs,
    )
