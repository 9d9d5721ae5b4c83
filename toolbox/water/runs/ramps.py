"""Ramps: the one that is meant, and whether it can be used today."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import shapely

from ...errors import NoSafeWay, UsageError
from ...units import in_words
from .launches import LANE_M

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


def why_no_launch(ramp: Any, idling: Any, launch_m: float) -> str:
    """Tell why a boat finds no water it can use from a ramp."""
    if idling.is_empty:
        return "lies shut in today: there is no water that this boat can use"
    away_m = float(shapely.distance(ramp, idling))
    away = in_words(away_m, "length")
    if away_m > launch_m:
        return f"lies on dry ground or shut in today: the water this boat can use begins {away} away"
    return (
        f"can't be used today: the water this boat can use begins {away} away, but no launch leads there that keeps "
        f"off known hazards, closed zones, dry ground and, beyond {in_words(LANE_M, 'length')} of lane, water too "
        "thin to float the boat"
    )


def require_entry(name: str, ramp: Any, entry: Any | None, idling: Any, launch_m: float) -> None:
    """Refuse a ramp from which the boat finds no water it can use.

    Raises
    ------
    NoSafeWay
        With how far away that water begins.
    """
    if entry is not None:
        return
    raise NoSafeWay(
        f"The ramp {name} {why_no_launch(ramp, idling, launch_m)}. Choose another ramp, a smaller clearance, or "
        "--launch if the lane is known to be deep enough."
    )
