"""Rows that castshed itself wrote and that are no spots: told by columns that only they have, in whatever format."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from collections.abc import Mapping

# Each needs both columns filled, so that a stranger's list with one of the names is not taken for ours. Their depths
# are today's, or those of a way: as a spot's they would count the level twice.
_COLUMNS: Final = {
    ("hold_no", "cast_m"): "a hold or its cast",
    ("hold_no", "status"): "a hold",
    ("hold_no", "range_no"): "a line-up",
    ("stop_no", "spot_id"): "a stop",
    ("leg_no", "part"): "a leg",
    ("line_no", "spot_id"): "a line to follow",
    ("hazard_id", "care"): "a hazard",
    ("ramp_id", "min_level_m"): "a ramp",
    ("from_id", "to_id"): "a way",
    ("time", "fetch_m"): "an hour of wind",
    ("time", "fishable"): "a verdict",
    ("care", "area_m2"): "safe water",
    ("from_m", "level_m"): "a depth band",
    ("water_id", "level_m"): "today's water",
}


def why_no_own_spot(cells: Mapping[str, str]) -> str:
    """Say why a row of an exported plan is no spot; empty where it may be one."""
    for columns, what in _COLUMNS.items():
        if all(cells.get(column) for column in columns):
            # A judged spot of a plan knows the stop made there.
            if what == "a stop" and cells.get("kind"):
                continue
            return f"it is {what} of an exported plan, no spot"
    return ""
