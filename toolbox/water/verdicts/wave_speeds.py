"""How fast a boat runs in waves: a table of the boat, by the height of the waves and where they meet it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from ...errors import UsageError
from ...units import parse

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

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
