"""Tables beside the map: the stops in order, and the spots left out with the reason."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from ...text import (
    bearing_text,
    both_distances,
    both_lengths,
    both_waves,
    clock,
    number,
    one_line,
    units_in_order,
)
from ...units import FOOT_M
from ..formats import palette
from .chart_page import Rect

if TYPE_CHECKING:
    import geopandas as gpd

    from .draughting import Pen

ROW_IN: Final = 0.158
HEAD_IN: Final = 0.34
_BODY: Final = 6.3
_HEAD: Final = 5.8
_GAP: Final = 0.05
_FEW_ALIKE: Final = 3  # more spots left out for one reason are told together


@dataclass(frozen=True)
class Table:
    """Heads (upper and lower line), share of the width of each column, and rows of cells."""

    heads: tuple[tuple[str, str], ...]
    shares: tuple[float, ...]
    rows: list[list[str]]
    rest: str

    @property
    def height(self) -> float:
        """Height of the whole table in inches."""
        return HEAD_IN + ROW_IN * len(self.rows) + 0.05 if self.rows else 0.0


def _bare(said: str) -> str:
    """Leave the units out of a pair of lengths, where the head of the column names them."""
    return said.replace(" ft", "").replace(" m", "")


def _pair(value_m: float, *, metric_first: bool) -> str:
    return _bare(both_lengths(value_m, metric_first=metric_first)) if math.isfinite(value_m) else "–"


def _depth(hold: Mapping[str, Any], *, metric_first: bool) -> str:
    """Write the depth of a hold, with how far it may be off, rounded up, in the first of its units."""
    said, error = (
        _pair(number(hold.get("depth_today_m")), metric_first=metric_first),
        number(hold.get("depth_error_m")),
    )
    if not math.isfinite(error) or " (" not in said:
        return said
    either_way = math.ceil(error / (1.0 if metric_first else FOOT_M) * 10.0 - 1e-6) / 10.0
    return said.replace(" (", f" ± {either_way:.1f} (", 1)


def records(frame: gpd.GeoDataFrame | None) -> list[dict[str, Any]]:
    """List the rows of a layer without their geometry; none for no layer."""
    if frame is None:
        return []
    plain = frame.drop(columns=frame.active_geometry_name)
    return [{str(column): value for column, value in row.items()} for row in plain.to_dict("records")]


def stop_table(frames: Mapping[str, gpd.GeoDataFrame], *, metric_first: bool) -> Table:
    """Make the table of stops in order; depth and cast are those of the first hold of the spot."""
    holds: dict[str, dict[str, Any]] = {}
    for hold in records(frames.get("holds")):
        holds.setdefault(one_line(hold.get("spot_id")), hold)
    rows = []
    for stop in sorted(
        records(frames.get("stops")), key=lambda row: np.nan_to_num(number(row.get("stop_no")), nan=1e9)
    ):
        hold = holds.get(one_line(stop.get("spot_id")), {})
        cast, bearing, no = (
            number(row.get(c)) for row, c in ((hold, "cast_m"), (hold, "cast_bearing_deg"), (stop, "stop_no"))
        )
        wave = number(stop.get("wave_m"))
        said = _bare(both_distances(cast, metric_first=metric_first)) if math.isfinite(cast) else "–"
        rows.append(
            [
                f"{no:.0f}" if math.isfinite(no) else "",
                one_line(stop.get("name")) or one_line(stop.get("spot_id")),
                clock(stop.get("arrive")),
                clock(stop.get("leave")),
                _depth(hold, metric_first=metric_first),
                f"{said} {bearing_text(bearing)}" if math.isfinite(bearing) else said,
                _bare(both_waves(wave, metric_first=metric_first)) if math.isfinite(wave) else "–",
            ]
        )
    unit = "m (ft)" if metric_first else "ft (m)"
    doubted = any("±" in row[4] for row in rows)
    heads = (
        ("", ""),
        ("", "Stop"),
        ("", "Arrive"),
        ("", "Leave"),
        ("Hold depth", unit + (", ± either way" if doubted else "")),
        ("Cast", f"{unit}, to"),
        ("Wave", unit),
    )
    name_share, depth_share = (0.235, 0.225) if doubted else (0.3, 0.16)
    shares = (0.055, name_share, 0.085, 0.085, depth_share, 0.18, 0.135)
    return Table(heads, shares, rows, "more stops in the plan's files")


def left_out_groups(
    frames: Mapping[str, gpd.GeoDataFrame], *, metric_first: bool
) -> list[tuple[list[str], str]]:
    """Spots left out and why: those not fishable today, then those the run has no room for, each once.

    Returns
    -------
    Names and the reason they share; few spots of one reason stand alone, many together.
    """
    reasons: dict[str, tuple[str, str]] = {}
    unfit = [row for row in records(frames.get("spots")) if number(row.get("fishable")) == 0.0]
    for row in unfit + records(frames.get("left_out")):
        spot = one_line(row.get("spot_id"))
        name = one_line(row.get("name")) or spot
        reason = units_in_order(one_line(row.get("reason")), metric_first=metric_first)
        reasons.setdefault(spot or name, (name, reason))
    alike: dict[str, list[str]] = {}
    for name, reason in reasons.values():
        alike.setdefault(reason, []).append(name)
    found: list[tuple[list[str], str]] = []
    for name, reason in reasons.values():
        if len(alike[reason]) <= _FEW_ALIKE:
            found.append(([name], reason))
        elif name is alike[reason][0]:
            found.append((alike[reason], reason))
    return found


def left_out_table(frames: Mapping[str, gpd.GeoDataFrame], *, metric_first: bool) -> Table:
    """Make the table of spots left out; many of one reason are counted in a row."""
    heads = (("", "Left out today"), ("", "Reason"))
    rows = [
        [names[0] if len(names) == 1 else f"{len(names)} spots", reason]
        for names, reason in left_out_groups(frames, metric_first=metric_first)
    ]
    return Table(heads, (0.25, 0.75), rows, "more left out, with reasons, in the plan's files")


def draw_table(
    pen: Pen, table: Table, rect: Rect, *, bold_first: bool = False, size: float = _BODY, head: float = _HEAD
) -> None:
    """Draw a table from the top of a rectangle down; says how many rows it has no room for."""
    edges = rect.left + rect.width * np.r_[0.0, np.cumsum(table.shares)]
    rooms = np.diff(edges) - _GAP
    row_in, head_in = ROW_IN * size / _BODY, HEAD_IN * head / _HEAD
    fits = int((rect.height - head_in) / row_in)
    if fits < 1 or not table.rows:
        return
    shown = table.rows if len(table.rows) <= fits else table.rows[: fits - 1]
    for left, room, words in zip(edges, rooms, table.heads, strict=False):
        for text, down in zip(words, (0.128, 0.233), strict=True):
            pen.write(
                float(left), rect.top - down * head / _HEAD, pen.fitted(text, head, room, bold=True), head, palette.INK,
                bold=True, gid="head",
            )  # fmt: skip
    y = rect.top - 0.273 * head / _HEAD
    pen.line([rect.left, rect.right], [y, y], color=palette.INK, linewidth=0.8)
    for order, row in enumerate(shown):
        base = y - row_in * (order + 1) + 0.045
        if order % 2 == 1:
            band = Rect(rect.left, base - 0.045, rect.width, row_in)
            pen.box(band, facecolor=palette.BAND, linewidth=0.0, zorder=0.5)
        for column, (left, room, cell) in enumerate(zip(edges, rooms, row, strict=False)):
            bold = bold_first and column == 0
            line = pen.fitted(cell, size, room, bold=bold)
            pen.write(float(left), base, line, size, palette.INK, bold=bold, gid="cell")
    if len(shown) < len(table.rows):
        base = y - row_in * (len(shown) + 1) + 0.045
        more = f"and {len(table.rows) - len(shown)} {table.rest}"
        pen.write(rect.left, base, more, size, palette.INK, gid="cell")
