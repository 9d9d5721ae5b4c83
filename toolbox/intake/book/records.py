"""Rows of one source as records of the book: each cell read for what it says, each doubt written beside it.

How long sunk wood has been down: brush rots, and a list does not say so.
"""

from __future__ import annotations

import json
import re
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import pandas as pd

from ...dates_and_times import read_dates
from ...lineage import IN_LINEAGE, level_of_text, level_words
from ...sources.cell_texts import DepthText, read_depth, unit_of
from ...sources.columns import OWN
from ...sources.kinds import KINDS, Kind, read_kinds
from ...units import convert
from .positions import PLACING, PLACING_PAIRS, find_positions

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from datetime import date

    from ...arrays import Floats, Geometries
    from ...sources.columns import Roles
    from ...sources.source_table import SourceTable
    from .placing import LakeExtent

_NUMBER: Final = re.compile(r"[-+]?\d+(?:\.\d+)?(?:e[-+]?\d+)?")
_RATING: Final = re.compile(r"(\d+(?:\.\d+)?)\s*(?:(?:/|of|out of)\s*(5|10))?\s*(?:stars?)?", re.IGNORECASE)


@dataclass(frozen=True, eq=False)
class Records:
    """Records of one source or several: a table, the geometry and the kind of each, and why one has no place."""

    table: pd.DataFrame
    geometry: Geometries
    kinds: list[Kind]
    reason: list[str]


def _column(table: SourceTable, roles: Roles, role: str) -> list[str]:
    name = roles.one(role)
    return [""] * len(table) if name is None else [str(v).strip() for v in table.rows[name].tolist()]


def _own(table: SourceTable, name: str) -> list[str]:
    return [str(v) for v in table.rows[name].tolist()] if name in table.rows.columns else [""] * len(table)


def _lengths(table: SourceTable, roles: Roles, role: str, unit: str | None, what: str) -> list[DepthText]:
    """Read a column of lengths. In a layer, a number whose column names its unit keeps its sign: land is negative."""
    name = roles.one(role)
    stated = roles.units.get(name or "")
    signed = table.kind == "layer" and stated is not None
    by_row = [stated or unit_of(word) or unit for word in _column(table, roles, "depth_unit")]
    known: dict[tuple[str, str | None], DepthText] = {}
    for text, its_unit in zip(_column(table, roles, role), by_row, strict=True):
        if (text, its_unit) in known:
            continue
        if signed and its_unit is not None and _NUMBER.fullmatch(text):
            value = convert(float(text), its_unit, "length")
            known[text, its_unit] = DepthText(value, value)
        else:
            known[text, its_unit] = read_depth(text, its_unit, what)
    return [known[key] for key in zip(_column(table, roles, role), by_row, strict=True)]


def _rating(text: str) -> tuple[float, str]:
    tidy = text.strip()
    if not tidy:
        return float("nan"), ""
    if set(tidy) <= set("★*☆"):
        return float(min(sum(c in "★*" for c in tidy), 5)), ""
    found = _RATING.fullmatch(tidy)
    value = float(found[1]) / (2.0 if found[2] == "10" else 1.0) if found else float("nan")
    if found and 0.0 <= value <= 5.0:
        return value, ""
    return float("nan"), f"rating '{tidy[:40]}' is not within 0 to 5: not used"


def _extra(table: SourceTable, roles: Roles) -> list[str]:
    """Keep what no role takes, as JSON, so that nothing is lost; with what an earlier gathering kept."""
    unread = set(PLACING)
    if table.geometry is None:
        placing = next((pair for pair in PLACING_PAIRS if all(roles.one(role) for role in pair)), ())
        unread -= {*placing, *(("zone",) if "easting" in placing else ())}
    used = {name for role, names in roles.columns.items() if role not in unread for name in names}
    own = set(OWN)
    left = [c for c in table.rows.columns if c not in used and c not in own]
    cells = [table.rows[c].tolist() for c in left]
    rows = list(zip(*cells, strict=True)) if left else [()] * len(table)
    found = []
    for row, earlier in zip(rows, _own(table, "extra"), strict=True):
        kept: dict[str, Any] = {}
        try:
            before = json.loads(earlier) if earlier else {}
            kept.update(before if isinstance(before, dict) else {"extra": earlier})
        except (ValueError, RecursionError):
            kept["extra"] = earlier
        kept.update({str(c): v for c, v in zip(left, row, strict=True) if v})
        found.append(json.dumps(kept, ensure_ascii=False) if kept else "")
    return found


def _joined(parts: list[str], sep: str = "; ") -> str:
    return sep.join(dict.fromkeys(p.strip() for p in parts if p and p.strip()))


def _at_chart_datum(table: SourceTable, roles: Roles, told: list[DepthText]) -> list[DepthText]:
    """Take the level off depths whose rows say in ``level_m`` that they are of that level; ``depth_m`` is charted."""
    if IN_LINEAGE not in table.rows.columns or roles.one("depth") in (None, "depth_m"):
        return told
    made = []
    for one, level in zip(told, table.rows[IN_LINEAGE].map(level_of_text).tolist(), strict=True):
        if level is None or level != level or not level or np.isnan(one.least_m):  # noqa: PLR0124  # not a number
            made.append(one)
            continue
        said = f"depth of a level of {level_words(level)}, brought to chart datum"
        made.append(
            replace(
                one,
                least_m=one.least_m - level,
                most_m=one.most_m - level,
                top_m=one.top_m - level,
                remark=f"{one.remark}; {said}" if one.remark else said,
            )
        )
    return made


def _depths(
    table: SourceTable, roles: Roles, unit: str | None, of: str
) -> tuple[pd.DataFrame, list[list[str]]]:
    """Bottom, range, top and height in metres, and what is to be said of each row."""
    depth = _at_chart_datum(table, roles, _lengths(table, roles, "depth", unit, "depth"))
    of = (
        "bottom" if roles.one("depth") == "depth_m" else of
    )  # the book's own column is of the bottom by its contract
    least = _lengths(table, roles, "least_depth", unit, "least depth")
    most = _lengths(table, roles, "most_depth", unit, "most depth")
    top = _lengths(table, roles, "top_depth", unit, "top depth")
    height = _lengths(table, roles, "height", unit, "height")
    rows: list[tuple[float, float, float, float, float]] = []
    remarks: list[list[str]] = []
    for d, lo, hi, t, h in zip(depth, least, most, top, height, strict=True):
        said = [part.remark for part in (d, lo, hi, t, h)]
        ends = [v for v in (lo.least_m, hi.most_m, d.least_m, d.most_m) if not np.isnan(v)]
        low, high = (min(ends), max(ends)) if ends else (float("nan"), float("nan"))
        bottom, over = (low if np.isnan(d.least_m) else d.least_m), t.least_m
        if np.isnan(over):
            over = d.top_m
        if (d.of or of) == "top" and not np.isnan(low) and np.isnan(d.top_m):
            over = low if np.isnan(over) else over
            bottom = low = high = float("nan")
        if d.most_m > d.least_m or (np.isnan(d.least_m) and high > low):
            said.append("depth is a range: the shallow end is used")
        tall = h.most_m
        if h.most_m > h.least_m:
            said.append("height is a range: the tall end is used")
        if np.isnan(bottom) and not np.isnan(over) and not np.isnan(tall):
            bottom = over + tall
            said.append("bottom worked out from top and height")
        if np.isnan(tall) and not np.isnan(over) and not np.isnan(bottom) and bottom >= over:
            tall = bottom - over
        rows.append((bottom, low, high, over, tall))
        remarks.append(said)
    names = ["depth_m", "depth_least_m", "depth_most_m", "top_depth_m", "height_m"]
    return pd.DataFrame(rows, columns=names, dtype=float), remarks


def read_records(
    table: SourceTable,
    roles: Roles,
    lake: LakeExtent,
    *,
    depth_unit: str | None,
    depth_of: str,
    position_error_m: float,
    synonyms: Mapping[str, str] | None = None,
    crs: str | None = None,
) -> Records:
    """Read the rows of one source.

    Parameters
    ----------
    table
        The source.
    roles
        Which column holds what.
    lake
        The box the rows must land in.
    depth_unit
        Unit of depths and heights that name none, None when unknown.
    depth_of
        What a depth is of where the row does not say: ``bottom`` or ``top``.
    position_error_m
        Error of rows that state none; the rounding of their coordinates is added to it, as root of the sum of squares.
    synonyms
        Further words for kinds.
    crs
        Reference system of eastings and northings, where the user said so.

    Returns
    -------
    One record a row, in order.
    """
    n = len(table)
    places = find_positions(table, roles, lake, crs)
    depths, remarks = _depths(table, roles, depth_unit, depth_of)
    named = [table.rows[c].tolist() for c in roles.columns.get("kind", ())]
    written = [
        text if text and kind in ("", "other") else kind
        for kind, text in zip(
            [_joined(list(row), " / ") for row in zip(*named, strict=True)] if named else [""] * n,
            _own(table, "kind_text"),
            strict=True,
        )
    ]
    kinds = read_kinds(written, synonyms)
    ratings = [_rating(text) for text in _column(table, roles, "rating")]
    surveyed = read_dates(_column(table, roles, "surveyed"))
    placed = read_dates(_column(table, roles, "placed"))
    stated = np.array(
        [e.most_m for e in _lengths(table, roles, "position_error", "m", "position error")], dtype=float
    )
    error = np.hypot(np.where(np.isnan(stated), position_error_m, stated), places.rounding_m)
    notes = [table.rows[c].tolist() for c in roles.columns.get("note", ())]
    origin = _column(table, roles, "source")
    frame = pd.DataFrame(
        {
            "source_name": [table.name] * n,
            "line": table.line,
            "text": list(table.text),
            "own_id": _column(table, roles, "spot_id"),
            "name": _column(table, roles, "name"),
            "kind": [kind.name for kind in kinds],
            "kind_text": [
                o if k in KINDS and (o or "kind_text" in table.rows.columns) else k
                for k, o in zip(written, _own(table, "kind_text"), strict=True)
            ],
            "depth_text": [
                a or b for a, b in zip(_own(table, "depth_text"), _column(table, roles, "depth"), strict=True)
            ],
            "rating": np.array([value for value, _ in ratings], dtype=float),
            "note": [_joined(list(row)) for row in zip(*notes, strict=True)] if notes else [""] * n,
            "source": [o or table.name for o in origin],
            "surveyed": [iso for iso, _ in surveyed],
            "placed": [iso for iso, _ in placed],
            "position_error_m": error,
            "remark": [
                _joined([*earlier.split("; "), *said, where, rating, seen, sunk])
                for earlier, said, where, (_, rating), (_, seen), (_, sunk) in zip(
                    _own(table, "remark"), remarks, places.remark, ratings, surveyed, placed, strict=True
                )
            ],
            "merged_from": _own(table, "merged_from"),
            "extra": _extra(table, roles),
        },
        index=range(n),
    )
    reason = [problem or why for problem, why in zip(table.problem, places.reason, strict=True)]
    geometry = places.geometry.copy()
    geometry[[bool(p) for p in table.problem]] = None
    return Records(pd.concat([frame, depths], axis=1), geometry, kinds, reason)


LASTS_YEARS: Final = {"conifer_brush": 10, "brush": 10, "hardwood_brush": 15, "stake_bed": 15}
"""Kinds of sunk wood, and the age beyond which little may be left of it (common practice: conifers 5 to 10 years)."""


def ages_years(kinds: Sequence[str], placed: Sequence[str], today: date) -> Floats:
    """Work out the age of sunk wood in whole years.

    Parameters
    ----------
    kinds
        Kind of each spot.
    placed
        When it was sunk, as ISO text of a year, a month or a day; empty where nobody knows.
    today
        Day the ages are of.

    Returns
    -------
    NaN for what is no wood, where the date is not known, and where it lies ahead. Of a year alone the difference of
    the years counts, of a month that of the months.

    Examples
    --------
    >>> from datetime import date
    >>> ages_years(["brush", "brush", "rock_pile"], ["2016", "2020-06-01", "2016"], date(2026, 5, 16)).tolist()
    [10.0, 5.0, nan]
    """
    now = (today.year, today.month, today.day)
    ages = np.full(len(kinds), np.nan)
    for i, (kind, text) in enumerate(zip(kinds, placed, strict=True)):
        if kind not in LASTS_YEARS or not text:
            continue
        then = tuple(int(part) for part in text.split("-"))
        if then <= now[: len(then)]:
            ages[i] = now[0] - then[0] - (now[1 : len(then)] < then[1:])
    return ages


def old_wood(kinds: Sequence[str], ages: Floats) -> int:
    """Count the spots whose wood is older than it usually lasts."""
    return sum(age > LASTS_YEARS[kind] for kind, age in zip(kinds, ages.tolist(), strict=True) if age == age)  # noqa: PLR0124  # NaN
