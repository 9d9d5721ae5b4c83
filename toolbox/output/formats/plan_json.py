"""The plan as one JSON object, for scripts: totals, stops, legs, spots left out, the proof and the cautions."""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from ...report import plain
from ..words.cautions import CAUTIONS, level_text
from ..words.features import to_lon_lat

if TYPE_CHECKING:
    import geopandas as gpd

_TABLES = frozenset({"stops", "legs", "holds", "spots", "left_out"})
_DEGREES_KEPT = 7  # 1e-7 degree is about a centimetre


def _rows(frame: gpd.GeoDataFrame, name: str, *, places: bool) -> list[dict[str, Any]]:
    """Rows as plain values; points with their longitude and latitude on WGS84."""
    table = [dict(row) for row in frame.drop(columns=frame.geometry.name).to_dict("records")]
    if places:
        for row, point in zip(table, to_lon_lat(frame, name), strict=True):
            if point is not None and point.geom_type == "Point":
                row["lon"], row["lat"] = (round(v, _DEGREES_KEPT) for v in point.coords[0][:2])
    return table


def _text(value: Any) -> str:
    return json.dumps(value, ensure_ascii=False, indent=1).replace("\n", "\n ")


def _rows_text(rows: list[dict[str, Any]]) -> str:
    """Write rows of a table, a value on a line; row by row, which the library does much faster than all at once."""
    write = json.JSONEncoder(ensure_ascii=False, separators=(",\n   ", ": ")).encode
    shown = (f"  {{\n   {write(plain(row))[1:-1]}\n  }}" if row else "  {}" for row in rows)
    return "[\n" + ",\n".join(shown) + "\n ]" if rows else "[]"


def to_plan_json(
    layers: Mapping[str, gpd.GeoDataFrame],
    *,
    title: str,
    level_m: float,
    date: str,
    totals: Mapping[str, Any],
    proof: Mapping[str, Any],
    notes: tuple[str, ...] = (),
) -> bytes:
    """Write a plan as one JSON object.

    Parameters
    ----------
    layers
        ``stops``, ``legs``, ``holds``, ``spots`` and ``left_out`` of a plan.
    title, date
        Name and day of the plan.
    level_m
        Today's surface minus chart datum in metres.
    totals
        The few figures that matter.
    proof
        What the last check held the run to.
    notes
        What was repaired or is less certain than it looks.

    Returns
    -------
    UTF-8. Lengths in metres, times in seconds, bearings in degrees, as the names of the members say; a number
    that is not known is null.
    """
    body: dict[str, Any] = {
        "title": title,
        "date": date,
        "level_m": level_m,
        "level": level_text(level_m, date),
        "totals": dict(totals),
        "proof": dict(proof),
        "stops": _rows(layers["stops"], "stops", places=True),
        "legs": _rows(layers["legs"], "legs", places=False),
        "holds": _rows(layers["holds"], "holds", places=True),
        "spots": _rows(layers["spots"], "spots", places=True),
        "left_out": _rows(layers["left_out"], "left_out", places=True),
        "notes": list(notes),
        "cautions": list(CAUTIONS),
    }
    members = ",\n".join(
        f" {json.dumps(name)}: {_rows_text(value) if name in _TABLES else _text(plain(value))}"
        for name, value in body.items()
    )
    return f"{{\n{members}\n}}\n".encode()
