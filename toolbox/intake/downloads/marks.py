"""Ramps, hazards and zones from the features of a download, as layers of the lake."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import shapely

from ...errors import DataError
from ...sources.source_table import SourceTable
from ...text import one_line
from ..book import listed_marks
from ..book.listed_marks import FARTHEST_M
from ..book.placing import LakeExtent
from .found import FoundLayer
from .layer_roles import KINDS, class_of, zone_of
from .measures import moved
from .systems import system_of

if TYPE_CHECKING:
    from collections.abc import Callable

    from geopandas import GeoDataFrame

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


def _listed(found: FoundLayer, shapes: Any, crs: Any, lake: Any) -> tuple[SourceTable, LakeExtent]:
    """Take a layer as the house takes any list of points; what is off the lake stays in it, to be told."""
    import geopandas

    frame = found.frame
    assert frame is not None
    moved_there = geopandas.GeoDataFrame(frame.drop(columns=frame.geometry.name), geometry=shapes, crs=crs)
    table = SourceTable.from_frame(moved_there, found.name)
    west, south, east, north = shapely.total_bounds(
        np.append(shapes[~shapely.is_missing(shapes)], lake)
    ).tolist()
    return table, LakeExtent(crs, (west, south, east, north), FARTHEST_M)


def _leaving(found: FoundLayer, shapes: Any) -> Callable[[int, str], None]:
    return lambda k, why: found.leave(k + 1, why, shapes[k])


def ramps_of(
    found: FoundLayer, crs: Any, lake: Any, pool_m: float | None, unit: str | None = None
) -> GeoDataFrame:
    """Make the layer of ramps: ids made, names kept, low-water elevation turned into the least level.

    Raises
    ------
    UsageError, DataError
        A low-water elevation cannot be used; the message names the option that is missing.
    """
    _, shapes = _placed(found, crs)
    table, extent = _listed(found, shapes, crs, lake)
    asked = (
        "give --normal-pool LENGTH, or a column min_level_m against it",
        f"give --depths-in {found.name}=UNIT",
    )
    made = listed_marks.ramps_of(
        table, extent, unit=unit, normal_pool_m=pool_m, water=lake, asked=asked, left=_leaving(found, shapes)
    )
    found.taken = len(made)
    return made


def hazards_of(found: FoundLayer, crs: Any, lake: Any, unit: str | None = None) -> GeoDataFrame:
    """Make the layer of known hazards; one without a depth that can be read counts as if it broke the surface.

    Raises
    ------
    DataError
        One has no place: a hazard is not left out for a slip of the pen.
    """
    if found.aside:
        row, why, _ = found.aside[0]
        raise DataError(
            f"{found.name} row {row} is a hazard without a place: {why}. Correct it, or take the row out if it is none."
        )
    frame, shapes = _placed(found, crs)
    standard = class_of(found)
    table, extent = _listed(found, shapes, crs, lake)
    columns = [f"depth={c}" for c in map(str, frame.columns) if standard and c.upper() == "VALSOU"]
    made = listed_marks.hazards_of(
        table,
        extent,
        columns=columns,
        unit="m" if standard else unit,
        water=lake,
        left=_leaving(found, shapes),
    )
    found.taken = len(made)
    if standard:
        made["kind"] = KINDS.get(standard, "hazard")
    return made


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
