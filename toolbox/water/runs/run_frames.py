"""Layers of a run: its legs with what each is like, and its stops with their times."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import geopandas as gpd
import numpy as np
import pandas as pd

from ...errors import UsageError
from ...numbers import numbers_of
from ..level.uncertainty import OF_PLACE, OF_WAY, errors_along
from .run import least_depths, nearest_along, slow_and_time

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from numpy.typing import ArrayLike

    from .run import LegSurroundings, Piece

Clock = pd.Timestamp | None


def clock_of(text: str, what: str = "depart") -> Clock:
    """Read a time with its zone; None for no text.

    Raises
    ------
    UsageError
        It is no time, or has no zone.
    """
    if not text:
        return None
    try:
        at = pd.Timestamp(text)
    except ValueError:
        at = None
    if at is None or pd.isna(at) or at.tzinfo is None:
        raise UsageError(f"{what} is '{text}'; write date, time and zone, such as 2026-05-16T06:00-05:00.")
    return at


def best_holds(holds: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """Take of each spot the hold that comes first, in the order of the layer; rows of status none stay."""
    ok = holds["status"] == "ok"
    number = numbers_of(holds["hold_no"], "holds.hold_no").fillna(0.0)
    least = number.where(ok).groupby(holds["spot_id"]).transform("min")
    first = ok & (number == least)
    return holds[(first & ~holds["spot_id"].where(first).duplicated()) | ~ok].reset_index(drop=True)


def with_names(holds: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """Give rows a name: their own, or the id of the spot."""
    made = holds.reset_index(drop=True)
    if "name" not in made.columns:
        made["name"] = ""
    made["name"] = made["name"].fillna("").where(made["name"].fillna("") != "", made["spot_id"])
    return made


def left_out_frame(holds: gpd.GeoDataFrame, rows: Sequence[int], reasons: Sequence[str]) -> gpd.GeoDataFrame:
    """List rows of holds with the reason they are left out."""
    made = holds.iloc[list(rows)][["spot_id", "name", holds.geometry.name]].reset_index(drop=True)
    made["reason"] = np.array(list(reasons), dtype=object)
    return made


def legs_frame(
    pieces: Sequence[Piece],
    ids: Sequence[str],
    around: LegSurroundings,
    run_mps: float,
    idle_mps: float,
    crs: Any,
) -> gpd.GeoDataFrame:
    """Make the layer ``legs``.

    Parameters
    ----------
    pieces
        Pieces of the run in order.
    ids
        Id of each stop the pieces refer to.
    around
        What they are measured against.
    run_mps, idle_mps
        Speeds.
    crs
        Reference system.
    """
    pieces = list(pieces)
    lines = [piece.line for piece in pieces]
    nearest = nearest_along(pieces, around)
    slow_m, time_s = slow_and_time(pieces, around.slow, run_mps=run_mps, idle_mps=idle_mps)
    errors = {}
    if around.confidence is not None and around.depth is not None:
        shapes = np.array(lines, dtype=object)
        errors[OF_WAY] = errors_along(shapes, around.confidence, around.depth)
    return gpd.GeoDataFrame(
        {
            "leg_no": np.array([piece.leg_no for piece in pieces], dtype=int),
            "part": np.array([piece.part for piece in pieces], dtype=object),
            "from_id": np.array([ids[piece.origin] for piece in pieces], dtype=object),
            "to_id": np.array([ids[piece.goal] for piece in pieces], dtype=object),
            "distance_m": np.array([line.length for line in lines], dtype=float),
            "slow_m": slow_m,
            "min_depth_m": least_depths(lines, around.depth, around.level_m),
            **errors,
            "min_clearance_m": nearest.distance_m,
            "nearest_hazard": nearest.name,
            "hazard_side": nearest.side,
            "hazard_at_m": nearest.along_m,
            "time_s": time_s,
        },
        geometry=lines,
        crs=crs,
    )


def with_waves(legs: gpd.GeoDataFrame, longer_s: Sequence[float]) -> gpd.GeoDataFrame:
    """Add to the times of the running pieces of each leg what waves add to it, each by its share of them.

    Parameters
    ----------
    legs
        Layer ``legs``.
    longer_s
        Seconds added to leg 1, 2 and so on.
    """
    if not any(longer_s):
        return legs
    number = legs["leg_no"].to_numpy(dtype=int)
    took = legs["time_s"].to_numpy(dtype=float).copy()
    run = np.where(legs["part"].to_numpy() == "run", took, 0.0)
    for leg, more in enumerate(longer_s, start=1):
        own = number == leg
        if more and run[own].sum() > 0.0:
            took[own] += more * run[own] / run[own].sum()
    return legs.assign(time_s=took)


def running_times(
    legs: gpd.GeoDataFrame, count: int, start: Clock, at_each_s: float
) -> tuple[list[Clock], list[Clock]]:
    """Arrivals and departures of a run without waiting; no arrival at the first stop, no departure from the last."""
    travel = legs.groupby("leg_no")["time_s"].sum()
    arrive: list[Clock] = []
    leave: list[Clock] = []
    at = start
    for number in range(count):
        if at is not None and number > 0:
            at = at + pd.Timedelta(seconds=round(float(travel.get(number, 0.0))))
        arrive.append(None if number == 0 else at)
        if at is not None and 0 < number < count - 1:
            at = at + pd.Timedelta(seconds=at_each_s)
        leave.append(None if number == count - 1 else at)
    return arrive, leave


def _texts(times: Sequence[Clock]) -> np.ndarray[Any, np.dtype[np.object_]]:
    return np.array(["" if at is None else at.isoformat(timespec="seconds") for at in times], dtype=object)


def stops_frame(
    places: gpd.GeoDataFrame,
    order: ArrayLike,
    ramps_here: int,
    times: tuple[Sequence[Clock], Sequence[Clock]],
    more: Mapping[str, ArrayLike] | None = None,
) -> gpd.GeoDataFrame:
    """Make the layer ``stops``.

    Parameters
    ----------
    places
        Ramps, then holds, with ``spot_id``, ``name`` and, where known, ``wind_mps`` and ``wave_m``.
    order
        Rows of places in the order of the run.
    ramps_here
        How many of the places are ramps.
    times
        Arrival and departure at each stop of the order.
    more
        Further columns, one value a stop.
    """
    rows = np.asarray(order, dtype=np.int64)
    made = places.iloc[rows].reset_index(drop=True)

    def number(column: str) -> Any:
        return (
            numbers_of(made[column], f"holds.{column}").to_numpy(float)
            if column in made
            else np.full(len(made), np.nan)
        )

    return gpd.GeoDataFrame(
        {
            "stop_no": np.arange(len(made)),
            "spot_id": made["spot_id"].to_numpy(dtype=object),
            "name": made["name"].to_numpy(dtype=object),
            "arrive": _texts(times[0]),
            "leave": _texts(times[1]),
            "wind_mps": number("wind_mps"),
            "wave_m": number("wave_m"),
            **({OF_PLACE: number(OF_PLACE)} if OF_PLACE in made else {}),
            "reason": np.where(rows < ramps_here, "ramp", "hold").astype(object),
            **{name: np.asarray(values) for name, values in (more or {}).items()},
        },
        geometry=made.geometry.to_numpy(),
        crs=places.crs,
    )


def places_frame(ramps: Sequence[Any], holds: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """Put ramps and holds into one table of places, the ramps first."""
    head = gpd.GeoDataFrame(
        {
            "spot_id": np.array([str(ramp["ramp_id"]) for ramp in ramps], dtype=object),
            "name": np.array([str(ramp["name"] or ramp["ramp_id"]) for ramp in ramps], dtype=object),
        },
        geometry=[ramp.geometry for ramp in ramps],
        crs=holds.crs,
    )
    tail = holds.rename_geometry("geometry") if holds.geometry.name != "geometry" else holds
    return gpd.GeoDataFrame(pd.concat([head, tail], ignore_index=True), geometry="geometry", crs=holds.crs)
