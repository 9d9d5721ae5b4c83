"""What a row is called, for people."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any, Final

from .text import number, one_line

_NOUNS: Final[dict[str, str]] = {
    "holds": "hold",
    "cast_lines": "cast",
    "shallow_hazards": "shallow",
    "known_hazards": "hazard",
    "zones": "zone",
    "depth_bands": "depth band",
    "cast_reach": "cast reach",
    "water": "water",
    "dry_ground": "dry ground",
    "shoreline": "shoreline",
    "contours": "contour",
    "soundings": "sounding",
}


def title(role: str, row: Mapping[str, Any], spot_names: Mapping[str, str], order: int) -> str:
    """Name of one row for people, not yet unique.

    Parameters
    ----------
    role
        Part of the plan the row's layer is.
    row
        Column to value.
    spot_names
        Name of each spot by its id.
    order
        Place of the row in its layer, counted from 1; used where the row has no name of its own.
    """
    spot = one_line(row.get("spot_id"))
    own = one_line(row.get("name")) or spot_names.get(spot, "") or spot
    if role == "stops":
        return f"{number(row.get('stop_no')):.0f} {own}" if math.isfinite(number(row.get("stop_no"))) else own
    if role == "legs":
        leg = number(row.get("leg_no"))
        return f"leg {f'{leg:.0f}' if math.isfinite(leg) else order} {one_line(row.get('part'))}".strip()
    if role == "ramps":
        return own or one_line(row.get("ramp_id")) or f"ramp {order}"
    if role == "left_out":
        return f"{own or f'spot {order}'} left out"
    if role in {"spots", "other"}:
        return own or f"{'spot' if role != 'other' else 'feature'} {order}"
    if role == "shallow_hazards":
        return f"shallow {one_line(row.get('hazard_id')) or order}"
    if role == "known_hazards":
        return own or f"{one_line(row.get('kind')).replace('_', ' ') or 'hazard'} {order}"
    if role == "zones":
        return own or f"{one_line(row.get('zone')).replace('_', ' ')} zone {order}"
    noun = _NOUNS.get(role, role)
    return f"{own} {noun}" if own else f"{noun} {order}"
