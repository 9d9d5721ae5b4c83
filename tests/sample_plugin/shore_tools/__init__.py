"""Algorithms of one's own for castshed, installed with pip."""

from castshed.toolbox.algorithm import algorithm
from castshed.toolbox.parameters import Shoreline, Spots


@algorithm(step="bottom", example="castshed shore-distance lake.gpkg:spots lake.gpkg:shoreline --out my.gpkg")
def shore_distance(spots: Spots, shoreline: Shoreline) -> Spots:
    """Measure how far each spot lies from the nearest shore.

    Parameters
    ----------
    spots, shoreline
        Places to measure from, and the water's edge.
    """
    return spots.assign(shore_m=spots.distance(shoreline.boundary.union_all()))
