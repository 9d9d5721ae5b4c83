"""Spots that were joined, taken apart again into the rows they were made of."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import pandas as pd
import shapely

from ...errors import DataError, UsageError
from ...sources.kinds import KINDS, kind_of
from .book import NUMBERS, TEXTS
from .records import Records

if TYPE_CHECKING:
    from collections.abc import Iterable

    from ...sources.kinds import Kind

ALL: Final = "all"


def _rows_of(spot_id: str, merged_from: str) -> list[tuple[dict[str, Any], Any]]:
    """Read the rows a spot was made of, each with its geometry."""
    broken = DataError(
        f"spot '{spot_id}' cannot be taken apart: its merged_from was changed by hand and is no list of rows."
    )
    try:
        members = json.loads(merged_from)
    except (ValueError, RecursionError) as fault:
        raise broken from fault
    if not isinstance(members, list) or len(members) < 2:
        raise broken
    found: list[tuple[dict[str, Any], Any]] = []
    for one in members:
        try:
            shape = shapely.from_wkt(str(one["wkt"]))
            row: dict[str, Any] = {key: str(one.get(key) or "") for key in (*TEXTS, "source_name", "text")}
            row |= {key: float("nan") if one.get(key) is None else float(one[key]) for key in NUMBERS}
            row |= {"own_id": str(one.get("spot_id") or ""), "line": int(one.get("line") or 0)}
        except (KeyError, TypeError, ValueError, AttributeError, shapely.errors.ShapelyError) as fault:
            raise broken from fault
        if row["kind"] not in KINDS or shape is None or shape.is_empty:
            raise broken
        found.append((row, shape))
    return found


def take_rows_apart(records: Records, ids: Iterable[str]) -> tuple[Records, set[str]]:
    """Replace spots of an earlier book by the rows they were made of.

    Parameters
    ----------
    records
        Records of one source.
    ids
        Ids of the spots, or ``all``.

    Returns
    -------
    The rows, each with the name, note, depth and position it had, where its spot stood; and the ids found. They
    are rows of one source now, so that they are not joined to each other again.

    Raises
    ------
    UsageError
        A spot named was made of one row.
    DataError
        What it was made of was changed by hand.
    """
    wanted = set(ids)
    own = records.table["own_id"].tolist() if len(records.table) else []
    whole = records.table["merged_from"].tolist() if len(records.table) else []
    found = {one for one in own if one in wanted}
    if bare := sorted(one for one, rows in zip(own, whole, strict=True) if one in wanted and not rows):
        raise UsageError(f"spot '{bare[0]}' was made of one row; there is nothing to take apart.")
    at = [i for i, one in enumerate(own) if whole[i] and (one in wanted or ALL in wanted)]
    if not at:
        return records, found
    cells = [{str(k): v for k, v in row.items()} for row in records.table.to_dict("records")]
    rows: list[dict[str, Any]] = []
    shapes: list[Any] = []
    kinds: list[Kind] = []
    reason: list[str] = []
    opened = set(at)
    for i, row in enumerate(cells):
        if i in opened:
            for member, shape in _rows_of(own[i], whole[i]):
                rows.append({**row, **member})
                shapes.append(shape)
                written = kind_of(member["kind_text"])
                same = written.name == member["kind"]
                kinds.append(written if same else kind_of(member["kind"]))
                reason.append("")
            continue
        rows.append(row)
        shapes.append(records.geometry[i])
        kinds.append(records.kinds[i])
        reason.append(records.reason[i])
    geometry = np.empty(len(shapes), dtype=object)
    geometry[:] = shapes
    return Records(pd.DataFrame(rows, columns=records.table.columns), geometry, kinds, reason), found
