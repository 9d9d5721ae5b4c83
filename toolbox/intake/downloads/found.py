"""What one file or layer holds, and what it was taken for: each guess with its why."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Final

from ...errors import DataError

if TYPE_CHECKING:
    import numpy as np
    from geopandas import GeoDataFrame
    from numpy.typing import NDArray

ROLES: Final = (
    "contours",
    "soundings",
    "depth-areas",
    "raster",
    "shoreline",
    "islands",
    "ramps",
    "hazards",
    "zones",
    "spots",
    "ignore",
)
DEPTH_ROLES: Final = ("contours", "soundings", "depth-areas", "raster")
VALUES: Final = ("depth", "height", "elevation")


@dataclass(eq=False)
class Grid:
    """A raster as it was found: its numbers in ``unit_m`` metres, row 0 first; affine as (a, b, c, d, e, f)."""

    numbers: NDArray[np.float32]
    affine: tuple[float, float, float, float, float, float]
    crs: Any
    unit: str = ""  # as the house writes it; empty where nothing states it
    unit_m: float = 1.0
    holds: str = ""  # one of `VALUES` where the format or its texts say so
    words: str = ""  # names and texts that tell what it holds
    said: tuple[str, ...] = ()  # what was noticed as it was read


@dataclass(eq=False)
class Found:
    """One layer of one file.

    Attributes
    ----------
    file, layer
        Name of the file as given, and of the layer in it; empty where it holds one.
    frame, grid
        Features with their columns (``crs`` None where none is known), or a raster.
    stems
        Names without their ending that say what it is: of the file, the layer, the file in an archive.
    role, column, unit, values, datum, system
        What it was taken for; empty where it is not known.
    unit_m
        Length of its unit in metres.
    why
        Why it was taken for that, and what was noticed.
    """

    file: str
    layer: str
    kind: str
    frame: GeoDataFrame | None = None
    grid: Grid | None = None
    stems: tuple[str, ...] = ()
    standard: str = ""  # acronym of a feature class of the S-57 object catalogue
    role: str = ""
    column: str = ""
    unit: str = ""
    unit_m: float = float("nan")
    values: str = ""
    datum: str = ""
    system: str = ""
    pair: tuple[str, str] = ("", "")  # of depth areas: columns of the shallow and the deep end
    numbers: Any = None  # of its depth column, as they stand
    metric: bool = False  # coordinates in a text, in metres of a system that it does not name
    rows: int = 0
    aside: list[tuple[int, str, Any]] = field(default_factory=list)  # row from 1, reason, geometry
    taken: int = 0
    why: list[str] = field(default_factory=list)

    @property
    def name(self) -> str:
        """Name it as the options do."""
        return f"{self.file}:{self.layer}" if self.layer else self.file

    def leave(self, row: int, reason: str, shape: Any = None) -> None:
        """Set a row aside."""
        self.aside.append((row, reason, shape))


class Questions:
    """What cannot be told: gathered, and asked all at once."""

    def __init__(self) -> None:
        self.asked: list[str] = []

    def ask(self, file: str, question: str, option: str) -> None:
        """Note one question with the option that answers it."""
        text = f"{file}: {question} Say it with {option}."
        if text not in self.asked:
            self.asked.append(text)

    def stop(self) -> None:
        """Stop if anything was asked.

        Raises
        ------
        DataError
            With all questions.
        """
        if self.asked:
            head = "" if len(self.asked) == 1 else f"{len(self.asked)} things cannot be told from the files. "
            raise DataError(head + " ".join(self.asked) + " Nothing was written.")
