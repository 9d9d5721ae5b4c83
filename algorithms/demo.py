"""Write the demo lake, its lists and a day file into a folder, to try everything on."""

from __future__ import annotations

from typing import Annotated, Final

from castshed.toolbox.algorithm import algorithm
from castshed.toolbox.parameters import FolderContents, FolderSet

FILES: Final = (
    "day.toml",
    "reservoir.gpkg",
    "habitat_sites.csv",
    "own_waypoints.gpx",
    "sounder_log.nmea",
    "forecast.csv",
    "pool_levels.csv",
)


@algorithm(step="whole", example="castshed demo demo_layers")
def demo() -> Annotated[FolderContents, FolderSet(FILES)]:
    """Write the demo lake, its spot lists and a day file into a folder.

    The lake is invented, and so are its names. Change a copy of day.toml to fit your own lake and day.

    Returns
    -------
    FolderContents
        The files as they come with castshed.
    """
    from importlib import resources

    home = resources.files("castshed.demo_layers")
    files = {name: (home / name).read_bytes() for name in FILES}
    return FolderContents(files=files, said=("Next: castshed plan FOLDER/day.toml --out my_day",))
