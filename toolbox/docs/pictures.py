"""The picture of each example."""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

from ..output.maps.example_map import Scene, coarse, draw_scene
from . import scenes_boat, scenes_lake, scenes_papers

SCENES: Final[dict[str, Callable[[str], Scene | bytes]]] = {
    "boat-hold": scenes_boat.boat_hold,
    "bring-lake": scenes_papers.bring_lake,
    "cast-reach": scenes_boat.cast_reach,
    "day-plan": scenes_boat.day_plan,
    "demo": scenes_lake.demo,
    "depth-surface": scenes_lake.depth_surface,
    "export": scenes_papers.export,
    "find-structure": scenes_lake.find_structure,
    "fishable": scenes_boat.fishable,
    "fishable-holds": scenes_boat.fishable_holds,
    "gather-spots": scenes_lake.gather_spots,
    "hold-lines": scenes_boat.hold_lines,
    "level": scenes_papers.level,
    "line-up": scenes_boat.line_up,
    "plan": scenes_papers.plan,
    "plan-sheet": scenes_papers.plan_sheet,
    "prove-run": scenes_boat.prove_run,
    "read-log": scenes_lake.read_log,
    "safe-ways": scenes_boat.safe_ways,
    "shallow-hazards": scenes_lake.shallow_hazards,
    "shortest-run": scenes_boat.shortest_run,
    "structure-map": scenes_papers.structure_map,
    "trip-log": scenes_lake.trip_log,
    "water-today": scenes_lake.water_today,
    "wind-exposure": scenes_boat.wind_exposure,
    "wind-picture": scenes_papers.wind_picture,
    "write-tables": scenes_papers.write_tables,
}


def picture(name: str, example: str) -> bytes:
    """Draw the picture of an example in the folder its files lie in.

    Parameters
    ----------
    name, example
        The algorithm, and the line that was run.

    Raises
    ------
    KeyError
        There is none of that name: a new algorithm needs its scene.
    """
    made = SCENES[name](example)
    return made if isinstance(made, bytes) else draw_scene(made)


def caption(name: str) -> str:
    """Say what the picture shows: the words its scene begins with."""
    return " ".join((SCENES[name].__doc__ or "").split())


MEAN_OFF: Final = 3.0
CELL_OFF: Final = 48.0
"""How far two pictures may differ, of 255: on the whole, and in one of 24 by 15 cells."""


def looks_otherwise(one: bytes, other: bytes) -> bool:
    """Whether two pictures differ by more than fonts and compression of another machine explain."""
    import numpy as np

    off = np.abs(coarse(one) - coarse(other))
    return bool(off.mean() > MEAN_OFF or off.max() > CELL_OFF)
