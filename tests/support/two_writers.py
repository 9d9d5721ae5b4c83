"""What a process of its own does to a file that others write to: found by name from any process that knows tests/."""

from __future__ import annotations

from pathlib import Path

import geopandas as gpd
import numpy as np
import shapely

from castshed.toolbox.layers import write_layers


def points(count, word="row"):
    """So many named points in a row."""
    at = shapely.points(5e5 + np.arange(count) * 10.0, 4e6)
    return gpd.GeoDataFrame({"name": [f"{word} {k}" for k in range(count)]}, geometry=at, crs=32615)


def add_layer(path, number):
    """Add a layer of an own name."""
    write_layers(Path(path), {f"layer_{number}": points(number + 1)})


def same_layer(path, number):
    """Add a layer of a name that others want too; how many rows it has, or 0 where somebody was there before."""
    try:
        write_layers(Path(path), {"one": points(number + 1)})
    except FileExistsError:
        return 0
    return number + 1
