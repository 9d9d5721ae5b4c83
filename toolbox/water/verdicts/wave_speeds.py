"""How fast a boat runs in waves, by a table of the boat, and how much longer a leg takes by the hour it is left at.

Speed depends on place and moment alone, so that a boat that leaves later never overtakes one that left before (after
Ichoua, Gendreau and Potvin, "Vehicle dispatching with time-dependent travel times", European Journal of Operational
Research 144, 2003). A leg is run through piece by piece and stretch by stretch of the wind, once for each minute of
departure; between minutes the arrival is taken in a straight line.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import shapely

from ...compiled import compiled
from ...errors import UsageError
from ...units import parse
from .way_seas import pieces_of_ways

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from numpy.typing import NDArray

    from .leg_hours import LegHours

    Floats = NDArray[np.float64]
    Part = tuple[str, Any]

_NONE: Final = "none"
_FORM: Final = (
    "a height and three percentages of the speed: head, beam and following seas, such as '1ft 75 85 95'"
)


@dataclass(frozen=True, eq=False)
class WaveSpeeds:
    """Share of its speed on plane that a boat keeps in waves.

    Attributes
    ----------
    height_m
        Significant heights, rising (k,).
    share
        Share kept at each, above 0 to 1 (k, 3): head, beam, following seas. Up to the first height it rises to it from
        1 in calm water; beyond the last it stays.
    """

    height_m: Floats
    share: Floats

    @property
    def slows(self) -> bool:
        """Whether any wave slows the boat."""
        return bool((self.share < 1.0).any())

    def kept(self, wave_m: Floats, sea: NDArray[np.intp]) -> Floats:
        """Tell the share kept in waves of a height and a sea (0 head, 1 beam, 2 following); 1 where it is not known.

        Examples
        --------
        >>> speeds = wave_speeds_of(["0.5ft 100 100 100", "1ft 80 90 100"])
        >>> speeds.kept(np.array([0.1, 0.2286, 0.9]), np.array([0, 0, 1])).tolist()
        [1.0, 0.9, 0.9]
        """
        height = np.concatenate([[0.0], self.height_m])
        found = np.ones(np.broadcast_shapes(wave_m.shape, sea.shape))
        waves, seas = np.broadcast_arrays(np.nan_to_num(wave_m), sea)
        for one in range(3):
            own = seas == one
            found[own] = np.interp(waves[own], height, np.concatenate([[1.0], self.share[:, one]]))
        return found


def wave_speeds_of(told: Sequence[str]) -> WaveSpeeds | None:
    """Read the table of a boat.

    Parameters
    ----------
    told
        One text a height: the height with its unit, and what is kept of the speed in head, beam and following seas, in
        percent. Nothing, or the word ``none``: waves do not slow the boat.

    Returns
    -------
    WaveSpeeds or None
        None where no wave slows it.

    Raises
    ------
    UsageError
        A text is of another form; heights are not rising; a share is not above 0 to 100, or rises with the height.
    """
    texts = [one.strip() for one in told if one.strip()]
    if not texts or [one.casefold() for one in texts] == [_NONE]:
        return None
    heights: list[float] = []
    shares: list[list[float]] = []
    for text in texts:
        parts = text.replace("%", " ").split()
        try:
            kept = [float(part) / 100.0 for part in parts[-3:]]
        except ValueError:
            kept = []
        if len(parts) < 4 or len(kept) != 3:
            raise UsageError(f"wave-speeds has '{text}'; write {_FORM}; or none.")
        if not all(0.0 < share <= 1.0 for share in kept):
            raise UsageError(
                f"wave-speeds has '{text}'; what is kept of the speed is above 0 to 100 percent."
            )
        try:
            height = parse(" ".join(parts[:-3]), "length")
        except UsageError as error:
            raise UsageError(f"wave-speeds has '{text}': {error}") from None
        if height <= (heights[-1] if heights else 0.0):
            raise UsageError(
                f"wave-speeds has '{text}'; heights must be above 0 and rise from one to the next."
            )
        if shares and any(one > before for one, before in zip(kept, shares[-1], strict=True)):
            raise UsageError(f"wave-speeds has '{text}'; no boat runs faster in higher waves.")
        heights.append(height)
        shares.append(kept)
    table = WaveSpeeds(np.array(heights), np.array(shares))
    return table if table.slows else None


SOONER: Final = 1e-6
"""Parts of a second that no whole one is counted for."""

STEP_S: Final = 60.0
_BEFORE_S: Final = 4 * 3600.0  # no leg takes longer
_RUN: Final = "run"


@compiled
def arrivals(leave_s: Any, length_m: Any, speed_mps: Any, ends_s: Any, arrive_s: Any) -> Any:
    """Run pieces one after the other, at the speed of each in the stretch of time it is run in.

    `speed_mps` is pieces by stretches, `ends_s` the end of each stretch, the last endless.
    """
    for d in range(len(leave_s)):
        clock = leave_s[d]
        k = 0
        for p in range(len(length_m)):
            left = length_m[p]
            while left > 0.0:
                while clock >= ends_s[k] and k < len(ends_s) - 1:
                    k += 1
                reach = speed_mps[p, k] * (ends_s[k] - clock)
                if reach >= left or k == len(ends_s) - 1:
                    clock += left / speed_mps[p, k]
                    left = 0.0
                else:
                    left -= reach
                    clock = ends_s[k]
        arrive_s[d] = clock


@dataclass(eq=False)
class SlowedLegs:
    """Times of legs in waves.

    Attributes
    ----------
    hours
        Knows the waves of each place and stretch.
    speeds
        What the boat keeps of its speed.
    run_mps, idle_mps
        On plane and at idle; no wave brings the boat below its idle speed, and none slows it at idle.
    parts_of
        Parts (run or idle, corners) of the leg between two places of the ways.
    from_s, until_s
        Departures that are told apart; before and after, the first and the last hold.
    """

    hours: LegHours
    speeds: WaveSpeeds
    run_mps: float
    idle_mps: float
    parts_of: Callable[[int, int], Sequence[Part]]
    from_s: float = 0.0
    until_s: float = 86400.0
    _more: dict[tuple[int, int], Floats] = field(default_factory=dict, repr=False)
    _grid: Floats | None = field(default=None, repr=False)

    @property
    def grid_s(self) -> Floats:
        """Departures of the table, a minute apart; one alone where the wind never changes."""
        if self._grid is None:
            ends = self._ends()[:-1]
            inner = ends[(ends > self.from_s) & (ends - _BEFORE_S < self.until_s)]
            begin = max(self.from_s, float(inner.min()) - _BEFORE_S) if inner.size else 0.0
            over = min(self.until_s, float(inner.max())) if inner.size else 0.0
            begin = np.floor(begin / STEP_S) * STEP_S
            count = int(np.ceil((over - begin) / STEP_S)) + 1 if over > begin else 1
            self._grid = begin + STEP_S * np.arange(count)
        return self._grid

    def _ends(self) -> Floats:
        """List the ends of the stretches in which nothing changes; the last is endless."""
        told = np.array([edge for span in self.hours.winds.spans for edge in span], dtype=float)
        return np.append(np.unique(told[np.isfinite(told)]), np.inf)

    def _pieces(self, one: int, other: int) -> tuple[Floats, Floats, Floats]:
        """Length of each piece, its speed in calm water, and in every stretch."""
        ends = self._ends()
        begins = np.concatenate([[-np.inf], ends[:-1]])
        winds = self.hours.winds
        length: list[Floats] = []
        calm: list[Floats] = []
        speed: list[Floats] = []
        for part, xy in self.parts_of(one, other):
            rows, middle, heading, _, own = pieces_of_ways([shapely.linestrings(xy)])
            if not rows.size:
                continue
            usual = self.run_mps if part == _RUN else self.idle_mps
            made = np.full((len(own), len(ends)), usual)
            if part == _RUN and winds.spans:
                waves = self.hours.waves_at(middle)
                turns = np.isnan(winds.from_deg)
                by_wind, by_waves = self.hours.seas_met(middle, heading)
                kept = np.minimum(self.speeds.kept(waves, by_wind), self.speeds.kept(waves, by_waves))
                if turns.any():  # from anywhere: the slowest
                    ways = [
                        self.speeds.kept(waves, np.full(waves.shape, sea, dtype=np.intp)) for sea in range(3)
                    ]
                    kept = np.where(turns[None, :], np.minimum.reduce(ways), kept)
                least = min(self.idle_mps, usual)
                for k, (begin, end) in enumerate(zip(begins, ends, strict=True)):
                    stands = [j for j, span in enumerate(winds.spans) if span[0] < end and span[1] > begin]
                    if stands:
                        made[:, k] = np.maximum(usual * kept[:, stands].min(axis=1), least)
            length.append(own)
            calm.append(np.full(len(own), usual))
            speed.append(made)
        if not length:
            return np.empty(0), np.empty(0), np.empty((0, len(ends)))
        return np.concatenate(length), np.concatenate(calm), np.concatenate(speed)

    def more_s(self, one: int, other: int) -> Floats:
        """Tell how much longer than in calm water the leg between two places of the ways takes, by `grid_s`."""
        key = one, other
        if key not in self._more:
            length, calm, speed = self._pieces(one, other)
            leave = self.grid_s
            if not length.size or not (speed < calm[:, None]).any():
                self._more[key] = np.zeros(len(leave))
            elif (speed == speed[:, :1]).all():  # the same at all hours
                self._more[key] = np.full(len(leave), float((length / speed[:, 0] - length / calm).sum()))
            else:
                arrive = np.empty(len(leave))
                arrivals(leave, length, speed, self._ends(), arrive)
                self._more[key] = np.maximum(arrive - leave - float((length / calm).sum()), 0.0)
        return self._more[key]

    def longer_s(self, one: int, other: int, leave_s: float) -> int:
        """Tell how many whole seconds longer the leg takes when it is left at a moment."""
        more = self.more_s(one, other)
        if len(more) == 1:
            return int(np.ceil(more[0] - SOONER))
        return int(np.ceil(float(np.interp(leave_s, self.grid_s, more)) - SOONER))
