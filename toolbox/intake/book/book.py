"""Records of all sources made into one book: every row is in a spot or set aside; and a spot taken apart again."""

from __future__ import annotations

import json
import re
from typing import TYPE_CHECKING, Any, Final

import geopandas
import numpy as np
import pandas as pd
import shapely

from ...errors import DataError, UsageError
from ...sources.kinds import KINDS, Kind, kind_of
from ...units import FOOT_M
from .merging import find_same
from .records import Records, ages_years

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence
    from datetime import date

    import pyproj

    from ...arrays import Ints

NUMBERS: Final = (
    "depth_m",
    "height_m",
    "depth_least_m",
    "depth_most_m",
    "top_depth_m",
    "rating",
    "position_error_m",
)
TEXTS: Final = (
    "name",
    "kind",
    "note",
    "source",
    "surveyed",
    "placed",
    "kind_text",
    "depth_text",
    "remark",
    "merged_from",
    "extra",
)
COLUMNS: Final = (
    "spot_id", "name", "kind", "depth_m", "height_m", "rating", "note", "source", "surveyed", "position_error_m",
    "depth_least_m", "depth_most_m", "top_depth_m", "placed", "age_years", "kind_text", "depth_text", "remark", "rows",
    "merged_from", "extra",
)  # fmt: skip
AGE: Final = "age_years"
_TYPES: Final = (0, 1, 3, 4, 5, 6)  # point, line, polygon and their multiples, as shapely numbers them
_DEPTHS_DIFFER_M: Final = FOOT_M  # less is reading and level


def collect(parts: Sequence[Records]) -> Records:
    """Put the records of several sources one after the other; ``source_no`` and ``row`` tell where each came from."""
    tables = [part.table.assign(source_no=number) for number, part in enumerate(parts)]
    table = pd.concat(tables, ignore_index=True) if tables else pd.DataFrame()
    shapes = np.concatenate([part.geometry for part in parts]) if parts else np.empty(0, dtype=object)
    kinds = [kind for part in parts for kind in part.kinds]
    reason = [why for part in parts for why in part.reason]
    return Records(table, shapes, kinds, reason)


def repair_shapes(records: Records) -> Records:
    """Mend invalid areas, saying so; give rows whose geometry cannot be used a reason and no geometry."""
    shapes, reason, table = records.geometry.copy(), list(records.reason), records.table
    remark = table["remark"].tolist() if len(table) else []
    has = ~shapely.is_missing(shapes)
    for i in np.flatnonzero(has & ~np.isin(shapely.get_type_id(shapes), _TYPES)):
        reason[i] = f"its geometry is a {shapes[i].geom_type}; points, lines and areas can be used"
        shapes[i] = None
    has = ~shapely.is_missing(shapes)
    for i in np.flatnonzero(has & ~shapely.is_valid(shapes)):
        mended = shapely.make_valid(shapes[i], method="structure", keep_collapsed=False)
        if mended.is_empty or shapely.get_type_id(mended) not in _TYPES:
            reason[i], shapes[i] = "its geometry crosses itself and cannot be mended", None
        else:
            shapes[i] = mended
            remark[i] = "; ".join(filter(None, (remark[i], "geometry crossed itself and was mended")))
    return Records(table.assign(remark=remark) if len(table) else table, shapes, records.kinds, reason)


def _repeats(table: pd.DataFrame, rows: Ints) -> dict[int, int]:
    """Rows that stand twice in one source, letter for letter and with the same id of their own: row -> the first."""
    first: dict[tuple[int, str, str], int] = {}
    again: dict[int, int] = {}
    keys = zip(table["source_no"].tolist(), table["own_id"].tolist(), table["text"].tolist(), strict=True)
    for row, key in enumerate(keys):
        if key[1] and row in rows and first.setdefault(key, row) != row:
            again[row] = first[key]
    return again


def _groups(records: Records, *, merge: bool) -> list[list[int]]:
    """Rows of each spot, in the order of their first row; only rows that have a place."""
    placed = np.flatnonzero(~shapely.is_missing(records.geometry))
    if not merge or placed.size == 0:
        return [[int(i)] for i in placed]
    table = records.table
    again = _repeats(table, set(placed.tolist()))  # type: ignore[arg-type]  # only membership is asked
    single = np.array([i for i in placed if int(i) not in again], dtype=np.int64)
    group = find_same(
        records.geometry[single],
        table["position_error_m"].to_numpy(float)[single],
        table["source_no"].to_numpy(np.int64)[single],
        [records.kinds[i] for i in single],
    )
    found: dict[int, list[int]] = {}
    where: dict[int, int] = {}
    for i, label in zip(single.tolist(), single[group].tolist(), strict=True):
        found.setdefault(label, []).append(i)
        where[i] = label
    for row, first in again.items():
        found[where[first]].append(row)
    return [sorted(rows) for rows in found.values()]


def _slug(source: str) -> str:
    plain = re.sub(r"\.[a-z0-9]{1,8}(?=:|$)", "", source.lower())
    return re.sub(r"[^a-z0-9]+", "-", plain).strip("-") or "source"


def _ids(table: pd.DataFrame, groups: list[list[int]]) -> list[str]:
    """Give each spot the first id its rows bring, its source before it where that is taken; else source and line."""
    own, source = table["own_id"].tolist(), [_slug(s) for s in table["source_name"].tolist()]
    line = table["line"].tolist()
    used: set[str] = set()
    found: list[str] = []
    for rows in groups:
        row = next((i for i in rows if own[i]), rows[0])
        tries = [own[row], f"{source[row]}-{own[row]}"] if own[row] else []
        tries.append(f"{source[row]}-{line[row]}")
        chosen = next((one for one in tries if one not in used), "")
        number = 2
        while not chosen or chosen in used:
            chosen = f"{tries[-1]}-{number}"
            number += 1
        used.add(chosen)
        found.append(chosen)
    return found


def _plain(value: Any) -> Any:
    """Make a cell fit for JSON: NaN is null."""
    if isinstance(value, float) and np.isnan(value):
        return None
    return value.item() if isinstance(value, np.generic) else value


def _members(row: dict[str, Any], shape: shapely.Geometry) -> list[dict[str, Any]]:
    """Write a row as ``merged_from`` keeps it; a row that was joined before brings its members."""
    earlier: Any = None
    if row["merged_from"]:
        try:
            earlier = json.loads(row["merged_from"])
        except (ValueError, RecursionError):
            earlier = None
    if (
        isinstance(earlier, list)
        and earlier
        and all(isinstance(one, dict) and "wkt" in one for one in earlier)
    ):
        return earlier
    kept = {
        "spot_id": row["own_id"],
        "source_name": row["source_name"],
        "line": row["line"],
        "text": row["text"],
    }
    kept |= {key: row[key] for key in (*TEXTS, *NUMBERS)}
    if row["merged_from"]:
        kept["merged_from"] = row["merged_from"]
    return [
        {
            **{key: _plain(value) for key, value in kept.items()},
            "wkt": shapely.to_wkt(shape, rounding_precision=-1),
        }
    ]


def _least(values: list[float]) -> float:
    known = [v for v in values if not np.isnan(v)]
    return min(known) if known else float("nan")


def _most(values: list[float]) -> float:
    return -_least([-v for v in values])


def _joined(rows: list[dict[str, Any]], kinds: list[Kind]) -> dict[str, Any]:
    """One spot of several rows, the row of the better position first."""
    spot = dict(rows[0])
    for key, sep in (
        ("name", " / "),
        ("note", "; "),
        ("source", "; "),
        ("remark", "; "),
        ("kind_text", " / "),
        ("depth_text", " / "),
    ):
        spot[key] = sep.join(dict.fromkeys(row[key] for row in rows if row[key]))
    sure = [kind.name for kind in kinds if kind.name not in ("other", "brush")] or [
        k.name for k in kinds if k.name != "other"
    ]
    spot["kind"] = sure[0] if sure else "other"
    for key in ("depth_m", "depth_least_m", "top_depth_m"):
        spot[key] = _least([row[key] for row in rows])
    for key in ("depth_most_m", "height_m"):
        spot[key] = _most([row[key] for row in rows])
    spot["rating"] = next((row["rating"] for row in rows if not np.isnan(row["rating"])), float("nan"))
    spot["surveyed"] = max(row["surveyed"] for row in rows)
    spot["placed"] = next((row["placed"] for row in rows if row["placed"]), "")
    extra: dict[str, Any] = {}
    for row in rows:
        for key, value in (json.loads(row["extra"]) if row["extra"] else {}).items():
            at, number = key, 2
            while at in extra and extra[at] != value:
                at, number = f"{key} ({number})", number + 1
            extra[at] = value
    spot["extra"] = json.dumps(extra, ensure_ascii=False) if extra else ""
    shallow, deep = (
        [row[key] for row in rows if not np.isnan(row[key])] for key in ("depth_least_m", "depth_most_m")
    )
    if shallow and deep and max(shallow) - min(deep) > _DEPTHS_DIFFER_M:
        said = ", ".join(
            f"{row['depth_m']:.2f} m ({row['source_name']})" for row in rows if not np.isnan(row["depth_m"])
        )
        spot["remark"] = "; ".join(
            filter(None, (spot["remark"], f"depths differ: {said}; the least is used"))
        )
    return spot


def make_book(records: Records, crs: pyproj.CRS, *, merge: bool, today: date) -> geopandas.GeoDataFrame:
    """Make the spots.

    Parameters
    ----------
    records
        All records, as `collect` puts them together.
    crs
        Reference system of the geometry.
    merge
        Whether the same place of two sources becomes one spot.
    today
        Day the ages of sunk wood are of.

    Returns
    -------
    `COLUMNS` and geometry, in the order of each spot's first row; ``rows`` counts the rows a spot is made of.
    """
    groups = _groups(records, merge=merge)
    rows_of_table = records.table.to_dict("records") if groups else []
    cells = [{str(key): value for key, value in row.items()} for row in rows_of_table]
    error = records.table["position_error_m"].to_numpy(float) if groups else np.empty(0)
    spots: list[dict[str, Any]] = []
    shapes: list[Any] = []
    for rows, spot_id in zip(groups, _ids(records.table, groups) if groups else [], strict=True):
        order = sorted(rows, key=lambda i: (error[i], i))
        taken = [cells[i] for i in order]
        spot = _joined(taken, [records.kinds[i] for i in order]) if len(rows) > 1 else dict(taken[0])
        if len(rows) > 1:
            members = [one for i in rows for one in _members(cells[i], records.geometry[i])]
            spot["merged_from"] = json.dumps(members, ensure_ascii=False)
        spots.append({**spot, "spot_id": spot_id, "rows": len(rows)})
        shapes.append(records.geometry[order[0]])
    frame = pd.DataFrame({key: [spot[key] for spot in spots] for key in COLUMNS if key != AGE})
    for key in frame.columns:
        frame[key] = frame[key].astype("int64" if key == "rows" else float if key in NUMBERS else object)
    frame.insert(COLUMNS.index(AGE), AGE, ages_years(frame["kind"].tolist(), frame["placed"].tolist(), today))
    return geopandas.GeoDataFrame(
        frame, geometry=geopandas.GeoSeries(shapes, crs=crs, index=frame.index), crs=crs
    )


def make_set_aside(records: Records, counted: Sequence[str], crs: pyproj.CRS) -> geopandas.GeoDataFrame:
    """Make the layer of rows that have no place: source, line, reason, and the row as it was written."""
    lost = np.flatnonzero(shapely.is_missing(records.geometry))
    table = records.table.iloc[lost] if len(records.table) else pd.DataFrame()
    frame = pd.DataFrame(
        {
            "source": pd.Series(table["source_name"].tolist() if lost.size else [], dtype=object),
            "line": pd.Series(table["line"].tolist() if lost.size else [], dtype="int64"),
            "counted": pd.Series([counted[i] for i in table["source_no"]] if lost.size else [], dtype=object),
            "reason": pd.Series([records.reason[i] or "it has no position" for i in lost], dtype=object),
            "text": pd.Series(table["text"].tolist() if lost.size else [], dtype=object),
        }
    )
    return geopandas.GeoDataFrame(
        frame, geometry=geopandas.GeoSeries([None] * len(frame), crs=crs, index=frame.index), crs=crs
    )


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
