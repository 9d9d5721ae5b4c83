"""How far a drawn line may lie beside the line it stands for, told by its own corners."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np
import shapely

if TYPE_CHECKING:
    from numpy.typing import NDArray

_OF_HEIGHT: Final = 0.34


def drawn_error_m(lines: NDArray[np.object_]) -> float:
    """Half-width (95 %) of the position of lines, by how coarsely they are drawn; 0 where nothing shows it.

    Notes
    -----
    A line that was generalised keeps a corner only where it stands out from the chord of its neighbours by more than a
    tolerance (Douglas and Peucker 1973, Cartographica 10, 112-122); between corners it may lie off by up to the
    tolerance. The height of corners over those chords, the middle one of all, weighted by length, is thus more than the
    tolerance. On a smooth line drawn densely it is next to nothing.
    """
    xy, line = shapely.get_coordinates(lines, return_index=True)
    if len(xy) < 3:
        return 0.0
    inner = line[2:] == line[:-2]
    chord, first = (xy[2:] - xy[:-2])[inner], (xy[1:-1] - xy[:-2])[inner]
    length = np.hypot(*chord.T)
    second = np.hypot(*(xy[2:] - xy[1:-1])[inner].T)
    own = np.hypot(*first.T) + second
    fits = (length > 0) & (own > 0)
    if not fits.any():
        return 0.0
    height = np.abs(chord[fits, 0] * first[fits, 1] - chord[fits, 1] * first[fits, 0]) / length[fits]
    order = np.argsort(height)
    gone = np.cumsum(own[fits][order])
    return float(_OF_HEIGHT * height[order][np.searchsorted(gone, 0.5 * gone[-1])])
