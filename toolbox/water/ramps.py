"""Ramps: the one that is meant, and whether it can be used today."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import shapely

from ..errors import NoSafeWay, UsageError
from ..units import in_words

if TYPE_CHECKING:
    from geopandas import GeoDataFrame


def ramp_of(ramps: GeoDataFrame, told: str, level_m: float, what: str) -> Any:
    """Find a ramp by id or name; the first one when none is named.

    Raises
    ------
    UsageError
        There is no such ramp.
    NoSafeWay
        It can't be used at this level; the message names those that can.
    """
    there = ", ".join(
        f"{row.ramp_id} ({row.name})" if row.name else row.ramp_id for row in ramps.itertuples(index=False)
    )
    fits = (
        ramps
        if not told
        else ramps[(ramps["ramp_id"] == told) | (ramps["name"].str.casefold() == told.casefold())]
    )
    if fits.empty:
        raise UsageError(f"{what} is '{told}'; there is no such ramp. Choose one of: {there}.")
    ramp = fits.iloc[0]
    if level_m < ramp["min_level_m"]:
        usable = ramps[~(level_m < ramps["min_level_m"])]
        others = ", ".join(usable["name"].where(usable["name"] != "", usable["ramp_id"])) or "none"
        raise NoSafeWay(
            f"The ramp {ramp['name'] or ramp['ramp_id']} can't be used at {in_words(level_m, 'length')}: it needs "
            f"{in_words(float(ramp['min_level_m']), 'length')} or more. Ramps usable today: {others}."
        )
    return ramp


def require_entry(name: str, ramp: Any, entry: Any | None, idling: Any) -> None:
    """Refuse a ramp from which the boat finds no water it can use.

    Raises
    ------
    NoSafeWay
        With how far away that water begins.
    """
    if entry is not None:
        return
    away = "there is none" if idling.is_empty else in_words(float(shapely.distance(ramp, idling)), "length")
    raise NoSafeWay(
        f"The ramp {name} lies on dry ground or shut in today: the water this boat can use begins {away} away. Choose "
        "another ramp, a smaller clearance, or --launch if the lane is known to be deep enough."
    )
