"""Wind and waves at each stop in the very hours the boat is there."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from ...numbers import numbers_of
from ..wind.lake_winds import stretches

if TYPE_CHECKING:
    from geopandas import GeoDataFrame


def in_their_hours(stops: GeoDataFrame, exposure: GeoDataFrame | None) -> GeoDataFrame:
    """Give stops the greatest wind and waves of the hours at which the boat is there.

    Parameters
    ----------
    stops
        Layer ``stops``; one without clock times, and one in whose hours nothing is told, is left with no figures.
    exposure
        Layer with a row for each spot and hour; None: the stops stay as they are.
    """
    if exposure is None or exposure.empty or not (stops["arrive"] != "").any():
        return stops
    made = stops.copy()
    start = pd.Timestamp(0, tz="UTC")
    at = pd.to_datetime(exposure["time"], utc=True, format="ISO8601")
    seconds = (at - start).dt.total_seconds().to_numpy(dtype=float)
    figures = {
        name: numbers_of(exposure[name], name).to_numpy(dtype=float) for name in ("wind_mps", "wave_m")
    }
    spots = exposure["spot_id"].astype(str).to_numpy()
    last = len(made) - 1
    for row in range(len(made)):
        spot, arrive, leave = (str(made[name].iloc[row]) for name in ("spot_id", "arrive", "leave"))
        own = np.flatnonzero(spots == spot)
        if not arrive or not len(own) or row in (0, last):
            continue
        own = own[np.argsort(seconds[own], kind="stable")]
        times, first = np.unique(seconds[own], return_index=True)
        begin = (pd.Timestamp(arrive) - start).total_seconds()
        end = max((pd.Timestamp(leave) - start).total_seconds(), begin) if leave else begin
        stands = [
            own[first[k]]
            for k, (a, b) in enumerate(stretches(times))
            if (a < end and b > begin) or a <= begin < b
        ]
        for name, values in figures.items():
            known = [values[one] for one in stands if np.isfinite(values[one])]
            made.loc[made.index[row], name] = max(known) if known else np.nan
    return made
