"""Readings of an echo sounder as a log holds them: where, when, how deep, in the order they were taken."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from collections.abc import Mapping

    from ...arrays import Flags, Floats, Ints


YEARS: Final = range(1900, 2200)  # a log says when it was taken; a year beyond these is no year of one


@dataclass(frozen=True, eq=False)
class SounderLog:
    """Readings of one log.

    Attributes
    ----------
    name
        What the log is called.
    kind
        ``nmea``, ``csv`` or ``csb``.
    line
        Line (or feature) each reading stands at, from 1.
    time_s
        Seconds since 1970 in UTC, NaN where the log does not tell.
    lon_deg, lat_deg
        WGS84; NaN where no fix was near.
    measured_m
        As the sounder said it; NaN where a cell could not be read.
    below_surface
        True where the depth is said to be below the water line, False where below the transducer.
    transducer_m
        Depth of the transducer below the water line where the log says so, else NaN.
    counted
        What was read and what was not, by words.
    said
        What was noticed about the log as a whole.
    """

    name: str
    kind: str
    line: Ints
    time_s: Floats
    lon_deg: Floats
    lat_deg: Floats
    measured_m: Floats
    below_surface: Flags
    transducer_m: Floats
    counted: Mapping[str, int] = field(default_factory=dict)
    said: tuple[str, ...] = ()

    def __len__(self) -> int:
        return len(self.line)
