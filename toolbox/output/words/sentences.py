"""What sentences about a row are made of: cells read, depths above or below, wind and waves."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

from ...text import bearing_text, both_lengths, both_speeds, both_waves, clean, number, one_line

Row = Mapping[str, Any]


def get(row: Row, column: str) -> str:
    """Read a cell as clean text; empty where it is missing."""
    return clean(row.get(column)).strip()


def num(row: Row, column: str) -> float:
    """Read a cell as a number; NaN where it is none."""
    return number(row.get(column))


def known(*values: float) -> bool:
    """Whether all the numbers are known."""
    return all(math.isfinite(value) for value in values)


def sentence(text: str) -> str:
    """Text with a full stop, where it does not end with a sign of its own."""
    text = text.strip()
    return text if not text or text[-1] in ".!?…" else text + "."


def plain(text: str) -> str:
    """Turn a column's word into people's: ``conifer_brush`` is ``conifer brush``."""
    return one_line(text).replace("_", " ")


def above_or_below(depth_m: float, *, noun: str) -> str:
    """Say that something is under water or stands dry."""
    if depth_m < 0.0:
        return f"{noun} stands dry by {both_lengths(-depth_m)} today."
    return f"{noun} {both_lengths(depth_m)} down today."


def exposure(row: Row) -> list[str]:
    """Wind and waves at a place, the waves always as an estimate."""
    wind, towards, wave = num(row, "wind_mps"), num(row, "wind_from_deg"), num(row, "wave_m")
    said = []
    if known(wind):
        said.append(
            f"Wind {both_speeds(wind)}" + (f" from {bearing_text(towards)}." if known(towards) else ".")
        )
    if known(wave):
        low, high = num(row, "wave_low_m"), num(row, "wave_high_m")
        band = f", between {both_waves(low)} and {both_waves(high)}" if known(low, high) else ""
        method = get(row, "wave_method")
        said.append(f"Waves about {both_waves(wave)}{band}{f' by {method}' if method else ''}: an estimate.")
    return said
