"""Readings that name what was observed, in which unit and where; and the ones among them that are pool levels."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import TYPE_CHECKING, Final, NamedTuple

from ...errors import DataError, UsageError
from .level_words import LENGTH_UNITS, datum_in, datum_name
from .series_table import when_columns

if TYPE_CHECKING:
    from collections.abc import Sequence

    from .series_table import SeriesTable

COLUMNS: Final = ("datetime", "value", "observed", "unit", "vertical_datum", "qualifier", "site")
"""Columns of a table of observations, whichever form it came in."""

_LEVEL: Final = re.compile(
    r"elev|pool|(?:lake|reservoir|water|surface)[\s_-]*(?:surface[\s_-]*)?(?:level|elevation)", re.IGNORECASE
)
_FROM_A_ZERO: Final = re.compile(r"gage|gauge|stage|depth|height above", re.IGNORECASE)


class Observed(NamedTuple):
    """Pool levels taken out of a table of observations."""

    times: list[str]
    values: list[str]
    lines: list[int]
    qualifiers: list[str]
    unit: str
    datum: str


_KEYS: Final[dict[str, tuple[str, ...]]] = {
    "value": ("value", "result", "result value", "measured value"),
    "observed": (
        "observed property", "observed property name", "observed property title", "parameter",
        "parameter name", "variable", "variable name", "property", "observation type", "parameter code", "observed",
    ),
    "unit": ("unit", "units", "uom", "unit of measure", "unit of measurement", "unit code", "result uom"),
    "vertical_datum": ("vertical datum", "datum"),
    "qualifier": ("qualifier", "quality", "approval status", "status", "quality code"),
    "site": (
        "site", "station", "station id", "location", "location id", "monitoring location id",
        "feature of interest",
    ),
}  # fmt: skip


def as_observations(table: SeriesTable) -> SeriesTable:
    """Bring a table whose columns say what was observed under the names of `COLUMNS`; any other stays as it is."""
    heads = {
        c: " ".join(re.findall(r"[a-z]+", re.sub(r"(?<=[a-z])(?=[A-Z])", " ", c).lower()))
        for c in table.columns
    }
    found = {role: next((c for c, h in heads.items() if h in words), "") for role, words in _KEYS.items()}
    if not found["value"] or not found["observed"]:
        return table
    when = when_columns(table, {})
    if when.date or when.zone:
        return table
    rows = []
    for row in table.rows:
        made = {role: row.get(column, "") for role, column in found.items()}
        value = re.fullmatch(r"([-+.\d][-+.\deE]*) (\S.*)", made["value"])
        if value:  # a quantity that holds its unit
            made |= {"value": value[1], "unit": made["unit"] or value[2]}
        rows.append({"datetime": row.get(when.time, ""), **made})
    return replace(table, columns=COLUMNS, rows=tuple(rows))


def is_observations(table: SeriesTable) -> bool:
    """Tell whether a table is one of observations."""
    return tuple(table.columns) == COLUMNS


def _one(there: Sequence[str], wanted: str, name: str) -> str:
    """Choose what was observed: what was asked for, else the only one that is the elevation of a surface."""
    listing = "; ".join(there[:12])
    if wanted:
        fits = [one for one in there if one == wanted] or [
            one for one in there if wanted.casefold() in one.casefold()
        ]
        if len(fits) != 1:
            raise UsageError(
                f"{name} has {len(fits) or 'no'} observations called {wanted}; it has: {listing}."
            )
        return fits[0]
    fits = [one for one in there if _LEVEL.search(one) and not _FROM_A_ZERO.search(one)]
    if len(fits) > 1:
        raise UsageError(
            f"{name} has several observations that may be the pool: {'; '.join(fits)}. Choose with parameter."
        )
    if not fits:
        raise DataError(
            f"{name} observes {listing or 'nothing it names'}, and no elevation of a lake's surface that is known as "
            "one. A gage height counts from a zero of its own: add the elevation of that zero, and save it as CSV with "
            "columns time, elevation_ft and vertical_datum. If one of these is an elevation, name it with parameter."
        )
    return fits[0]


def pool_levels(table: SeriesTable, wanted: str, unit: str) -> Observed:
    """Take the readings of the pool.

    Parameters
    ----------
    table
        Observations.
    wanted
        What was observed, in the table's words or a part of them; empty: the elevation of a surface.
    unit
        Unit of readings that name none.

    Raises
    ------
    DataError
        Nothing is an elevation, or units or datums are mixed.
    UsageError
        Several fit, or nothing names the unit; the message lists what the file observes.
    """
    chosen = _one(list(dict.fromkeys(table.texts("observed"))), wanted, table.name)
    rows = [k for k, text in enumerate(table.texts("observed")) if text == chosen]

    def cells(column: str) -> list[str]:
        return [table.rows[k].get(column, "").strip() for k in rows]

    sites = sorted(set(cells("site")))
    if len(sites) > 1:
        raise UsageError(f"{table.name} has readings of several gauges ({', '.join(sites[:5])}); keep one.")
    stated = sorted({text for text in cells("unit") if text})
    known = {LENGTH_UNITS.get(re.sub(r"[^a-z]", "", text.lower()), "") for text in stated}
    if "" in known or len(known) > 1:
        raise DataError(
            f"{table.name} gives '{chosen[:60]}' in {', '.join(stated)}; pool levels are read in one of ft, ftUS and m."
        )
    final = next(iter(known), unit)
    if not final:
        raise UsageError(f"{table.name} names no unit for '{chosen[:60]}'; name it with unit: ft, ftUS or m.")
    if unit and unit != final:
        raise UsageError(
            f"{table.name} gives '{chosen[:60]}' in {final}, and unit says {unit}; leave unit, or mend the file."
        )
    datums = {datum_name(text) for text in cells("vertical_datum") if text} or ({datum_in(chosen)} - {""})
    if len(datums) > 1:
        raise DataError(
            f"{table.name} mixes vertical datums ({', '.join(sorted(datums))}); keep the readings of one."
        )
    return Observed(
        cells("datetime"),
        cells("value"),
        [table.lines[k] for k in rows],
        cells("qualifier"),
        final,
        next(iter(datums), ""),
    )
