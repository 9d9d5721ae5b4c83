"""A picture of found structure over today's isobaths."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated, Final

from castshed.toolbox.algorithm import algorithm
from castshed.toolbox.parameters import (
    Depth,
    FileSet,
    Length,
    Shoreline,
    Structure,
    Title,
    TodaysLevel,
    UnitSystem,
)

FILES: Final = ("structure.png",)


@algorithm(
    step="bottom",
    example="castshed structure-map my.gpkg:structure demo_layers/reservoir.gpkg:depth "
    "demo_layers/reservoir.gpkg:shoreline --level -4ft --out my_files",
)
def structure_map(
    structure: Structure,
    depth: Depth,
    shoreline: Shoreline,
    *,
    level_m: TodaysLevel = 0.0,
    isobaths_m: Length = 1.524,
    title: Title = "",
    units: UnitSystem = "US",
) -> Annotated[Mapping[str, bytes], FileSet(FILES)]:
    """Draw found structure over today's isobaths, for a person to judge.

    Each finding has its rank on the map and its description in the table. Depths are shaded between isobaths, the
    thinnest water lightest.

    Parameters
    ----------
    structure
        Structure from find-structure.
    depth
        Depth coverage.
    shoreline
        Water's edge at chart datum.
    isobaths_m
        Depth between isobaths.

    Returns
    -------
    Mapping
        File name to content: structure.png.

    Raises
    ------
    UsageError
        Isobaths closer than the picture can hold.
    """
    import numpy as np

    from castshed.algorithms.water_today import water_today
    from castshed.toolbox.errors import UsageError
    from castshed.toolbox.output.maps.structure_chart import draw_structure
    from castshed.toolbox.units import in_words

    deepest = float(np.nanmax(depth.depth_m)) + level_m
    count = int(deepest / isobaths_m) if isobaths_m > 0.0 else 0
    if not 0 < count <= 60:
        raise UsageError(
            f"isobaths is {in_words(isobaths_m, 'length')} and the deepest water {in_words(deepest, 'length')}: that "
            f"makes {count} lines. Give a distance that makes 1 to 60."
        )
    limits = tuple(float(isobaths_m * (k + 1)) for k in range(count))
    today = water_today(depth, shoreline, level_m=level_m, bands_m=limits)
    ground = {"water": today.water, "depth_bands": today.depth_bands, "dry_ground": today.dry_ground}
    return {
        "structure.png": draw_structure(
            structure, ground, title=title or "Structure", level_m=level_m, units=units
        )
    }
