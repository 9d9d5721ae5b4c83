"""Plan B: where to go instead of a stop of the plan."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from collections.abc import Collection

    from geopandas import GeoDataFrame


def plan_b(
    holds: GeoDataFrame, taken: Collection[int], able: Collection[int], time_s: NDArray[np.float64]
) -> dict[int, int]:
    """Find the nearest open hold that is not in the plan for each one that is, in the lee where that is known.

    Parameters
    ----------
    holds
        One hold a spot; with ``bank``, only those in the lee are offered where any of them is.
    taken, able
        Rows in the plan, and rows that are open.
    time_s
        Time between all holds (n, n); inf where no way leads.

    Returns
    -------
    dict
        Row to go to by row of the plan; rows with none are left out.
    """
    spare = np.array(sorted(set(able) - set(taken)), dtype=int)
    if "bank" in holds.columns and len(spare):
        lee = (holds["bank"] == "lee").to_numpy()[spare]
        spare = spare[lee] if lee.any() else spare
    found: dict[int, int] = {}
    for row in taken if len(spare) else ():
        near = spare[np.argmin(time_s[row, spare])]
        if np.isfinite(time_s[row, near]):
            found[row] = int(near)
    return found
