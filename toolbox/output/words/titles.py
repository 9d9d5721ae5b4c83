"""What a row is called, for people."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any, Final

from ...text import is_missing, number, one_line

_NOUNS: Final[dict[str, str]] = {
    "holds": "hold",
    "cast_lines": "cast",
    "hold_lines": "hold line",
    "fixes": "marks",
    "verdicts": "verdict",
    "exposure": "exposure",
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
    "contradictions": "contradiction",
}


def _count(row: Mapping[str, Any], column: str) -> str:
    """Say which of several; nothing for the first."""
    value = number(row.get(column))
    return f" {value:.0f}" if value > 1 else ""


def _hour(row: Mapping[str, Any]) -> str:
    """Day and clock time of an hour written with its zone; other text as it stands, nothing where none is told."""
    told = row.get("time")
    return "" if is_missing(told) else one_line(told).replace("T", " ")[:16]


def _of_a_hold(role: str, row: Mapping[str, Any], own: str, order: int) -> str | None:
    if role == "hold_lines":
        return f"{own or f'spot {order}'} hold line{_count(row, 'line_no')}"
    if role == "line_ups":
        what = one_line(row.get("words")) or f"line-up {order}"
        return f"{own}{_count(row, 'hold_no')}: {what}" if own else what
    if role == "fixes":
        return f"{own or f'hold {order}'}{_count(row, 'hold_no')} marks"
    if role in {"verdicts", "exposure"}:
        return " ".join(part for part in (own or f"{_NOUNS[role]} {order}", _hour(row)) if part)
    return None


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
    if (held := _of_a_hold(role, row, own, order)) is not None:
        return held
    if role == "ways":
        return f"way {one_line(row.get('from_id'))} to {one_line(row.get('to_id'))}"
    if role == "safe_water":
        return f"safe water {one_line(row.get('care')) or order}"
    if role == "answers":
        return one_line(row.get("question")) or f"answer {order}"
    if role == "gathered_from":
        return one_line(row.get("source")) or f"source {order}"
    if role == "landmarks":
        return own or one_line(row.get("landmark_id")) or f"landmark {order}"
    if role == "ramps":
        return own or one_line(row.get("ramp_id")) or f"ramp {order}"
    if role == "left_out":
        return f"{own or f'spot {order}'} left out"
    if role in {"spots", "structure", "other"}:
        return own or f"{'spot' if role != 'other' else 'feature'} {order}"
    if role == "shallow_hazards":
        return f"shallow {one_line(row.get('hazard_id')) or order}"
    if role == "known_hazards":
        return own or f"{one_line(row.get('kind')).replace('_', ' ') or 'hazard'} {order}"
    if role == "zones":
        return own or f"{one_line(row.get('zone')).replace('_', ' ')} zone {order}"
    noun = _NOUNS.get(role, role)
    return f"{own} {noun}" if own else f"{noun} {order}"
