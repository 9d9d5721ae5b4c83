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
    """Readings of one log."""

    name: str  # what the log is called
    kind: str  # ``nmea``, ``csv`` or ``csb``
    line: Ints  # line (or feature) each reading stands at, from 1
    time_s: Floats  # seconds since 1970 in UTC, NaN where the log does not tell
    # WGS84; NaN where no fix was near
    lon_deg: Floats
    lat_deg: Floats
    measured_m: Floats  # as the sounder said it; NaN where a cell could not be read
    # true where the depth is said to be below the water line, False where below the transducer
    below_surface: Flags
    transducer_m: Floats  # depth of the transducer below the water line where the log says so, else NaN
    counted: Mapping[str, int] = field(default_factory=dict)  # what was read and what was not, by words
    said: tuple[str, ...] = ()  # what was noticed about the log as a whole

    def __len__(self) -> int:
        return len(self.line)
