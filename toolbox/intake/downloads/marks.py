"""Ramps, hazards and zones from the features of a download, as layers of the lake."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import pandas as pd
import shapely

from ...text import one_line
from .depth_columns import read_cells, unit_in, words_of
from .found import FoundLayer, unit_length_m
from .layer_roles import KINDS, class_of, zone_of
from .measures import moved
from .systems import system_of

if TYPE_CHECKING:
    from geopandas import GeoDataFrame

_FAR_M: Final = 150.0  # launches lie nearer to the water than this
_CLOSED: Final = re.compile(
    r"no[ -_]?(?:entry|boats?|access)|closed|keep ?out|prohibited|swim|restricted|danger", re.IGNORECASE
)
_NO_MOTOR: Final = re.compile(r"no[ _-]?motor|non[ -]?motor|electric only|no gas", re.IGNORECASE)
_SLOW: Final = re.compile(r"no[ _-]?wake|idle|slow|speed", re.IGNORECASE)
_SLOW_MPS: Final = 2.2352
"""Idle speed, 5 mph (common practice)."""


def _placed(found: FoundLayer, crs: Any) -> tuple[GeoDataFrame, Any]:
    assert found.frame is not None
    return found.frame, moved(found.frame.geometry.to_numpy(), system_of(found), crs)


def _texts(frame: GeoDataFrame, words: tuple[str, ...]) -> list[str]:
    """Give the texts of the column whose name says one of the words best; empty where there is none."""
    for word in words:
        for column in map(str, frame.columns):
            if column != frame.geometry.name and word in words_of(column):
                return [
                    one_line(v) if v is not None and not (isinstance(v, float) and np.isnan(v)) else ""
                    for v in frame[column]
                ]
    return [""] * len(frame)


def _low_elevations(frame: GeoDataFrame) -> tuple[Any, str]:
    """Find the elevation down to which a ramp can be used, and its unit."""
    for column in map(str, frame.columns):
        words = set(words_of(column))
        if column == "min_level_m":
            continue
        if words & {"low", "lowest", "min", "minimum", "usable", "bottom", "end"} and words & {
            "elev", "elevation", "pool", "level", "water",
        }:  # fmt: skip
            numbers, unit = read_cells(frame[column])
            if np.isfinite(numbers).any():
                return numbers, unit or unit_in(column)
    return np.full(len(frame), np.nan), ""


def ramps_of(found: FoundLayer, crs: Any, lake: Any, pool_m: float | None) -> GeoDataFrame:
    """Make the layer of ramps: ids made, names kept, low-water elevation turned into the least level."""
    import geopandas

    frame, shapes = _placed(found, crs)
    names = _texts(frame, ("name", "ramp", "site", "access", "label", "title"))
    least = (
        pd.to_numeric(frame["min_level_m"], errors="coerce").to_numpy(float)
        if "min_level_m" in frame
        else np.full(len(frame), np.nan)
    )
    low, unit = _low_elevations(frame)
    if np.isfinite(low).any():
        if unit and pool_m is not None:
            told = low * unit_length_m(unit) - pool_m
            least = np.where(np.isfinite(told) & (told < 0.5) & (told > -100.0), told, least)
            found.why.append("low-water elevations turned into min_level_m")
        else:
            found.why.append(
                "low-water elevations left out: "
                + ("no normal pool (--normal-pool)" if unit else "their unit is not told")
            )
    points = shapely.centroid(shapes)
    bad = shapely.is_missing(points) | shapely.is_empty(points)
    off = np.full(len(points), np.inf)
    off[~bad] = shapely.distance(points[~bad], lake)
    for i in np.flatnonzero(bad | (off > _FAR_M)).tolist():
        found.leave(
            i + 1, "no place" if bad[i] else f"{off[i]:,.0f} m from the water", None if bad[i] else points[i]
        )
    keep = ~bad & (off <= _FAR_M)
    found.taken = int(keep.sum())
    own = [str(v) for v in frame["ramp_id"]] if "ramp_id" in frame and frame["ramp_id"].is_unique else []
    return geopandas.GeoDataFrame(
        {
            "ramp_id": np.array(own or [f"ramp-{i + 1}" for i in range(len(frame))], dtype=object)[keep],
            "name": np.array([n or f"Ramp {i + 1}" for i, n in enumerate(names)], dtype=object)[keep],
            "min_level_m": np.asarray(least, dtype=float)[keep],
        },
        geometry=points[keep],
        crs=crs,
    )


def hazards_of(found: FoundLayer, crs: Any, lake: Any) -> GeoDataFrame:
    """Make the layer of known hazards; one without a depth that can be read counts as if it broke the surface."""
    import geopandas

    frame, shapes = _placed(found, crs)
    standard = class_of(found)
    kinds = _texts(frame, ("kind", "type", "hazard", "category", "name", "description"))
    top = np.full(len(frame), np.nan)
    for column in map(str, frame.columns):
        words = words_of(column)
        if column == frame.geometry.name or not {"depth", "valsou", "top"} & set(words):
            continue
        numbers, told = read_cells(frame[column])
        unit = "m" if standard or column == "top_depth_m" else told or unit_in(column) or found.unit
        if unit:
            top = numbers * unit_length_m(unit)
            found.column, found.unit = column, unit
        else:
            found.why.append(f"'{column}' has no unit and is left out: the hazards count as at the surface")
        break
    radius = (
        pd.to_numeric(frame["radius_m"], errors="coerce").to_numpy(float)
        if "radius_m" in frame
        else np.full(len(frame), np.nan)
    )
    bad = shapely.is_missing(shapes) | shapely.is_empty(shapes)
    away = np.ones(len(shapes), dtype=bool)
    away[~bad] = shapely.distance(shapes[~bad], lake) > _FAR_M
    for i in np.flatnonzero(bad | away).tolist():
        found.leave(i + 1, "no place" if bad[i] else "not on this lake", None if bad[i] else shapes[i])
    keep = ~bad & ~away
    found.taken = int(keep.sum())
    usual = KINDS.get(standard, "hazard")
    return geopandas.GeoDataFrame(
        {
            "kind": np.array([k or usual for k in kinds], dtype=object)[keep],
            "top_depth_m": top[keep],
            "radius_m": radius[keep],
        },
        geometry=shapes[keep],
        crs=crs,
    )


def zones_of(found: FoundLayer, crs: Any, lake: Any) -> GeoDataFrame:
    """Make the layer of zones; a restriction that does not say what it means for a boat is for a person to judge."""
    import geopandas

    frame, shapes = _placed(found, crs)
    rows = frame.drop(columns=frame.geometry.name).to_dict("records")
    zones, reasons, keep = [], [], []
    for i, row in enumerate(rows):
        zone, reason = _zone(row, standard=bool(class_of(found)))
        bad = (
            shapes[i] is None
            or not shapely.intersects(shapes[i], lake)
            or shapely.get_dimensions(shapes[i]) < 2
        )
        if bad or not zone:
            found.leave(
                i + 1,
                "not an area on this lake"
                if bad
                else f"for a person to judge: {reason or 'no word of what it forbids'}",
                shapes[i],
            )
        keep.append(not bad and bool(zone))
        zones.append(zone)
        reasons.append(reason)
    use = np.array(keep, dtype=bool)
    found.taken = int(use.sum())
    slow = np.array([z == "slow" for z in zones], dtype=bool)
    return geopandas.GeoDataFrame(
        {
            "zone": np.array(zones, dtype=object)[use],
            "speed_mps": np.where(slow, _SLOW_MPS, np.nan)[use],
            "reason": np.array(reasons, dtype=object)[use],
        },
        geometry=shapes[use],
        crs=crs,
    )


def _zone(row: dict[str, Any], *, standard: bool) -> tuple[str, str]:
    if standard:
        return zone_of(row)
    told = one_line(row.get("zone"))
    if told in ("no_entry", "no_motor", "slow"):
        return told, one_line(row.get("reason"))
    words = "; ".join(one_line(v) for v in row.values() if isinstance(v, str) and v.strip())[:200]
    for pattern, zone in ((_NO_MOTOR, "no_motor"), (_SLOW, "slow"), (_CLOSED, "no_entry")):
        if pattern.search(words):
            return zone, words
    return "", words
