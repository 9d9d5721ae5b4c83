"""Pool elevations out of a table: which column, in which unit, on which vertical datum."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Final, NamedTuple

from ... import units
from ...errors import DataError, UsageError
from .level_words import LENGTH_UNITS, LEVELS, datum_in, datum_name, head_words
from .observation_table import is_observations, pool_levels
from .series_table import TOLD, read_when
from .series_times import read_times

if TYPE_CHECKING:
    from collections.abc import Sequence

    from ...water.level.pool_level import LevelSeries
    from .series_table import SeriesTable

CODES: Final[dict[str, tuple[str, str]]] = {
    "62614": ("ft", "NGVD29"),
    "62615": ("ft", "NAVD88"),
    "62616": ("m", "NGVD29"),
}
"""Parameter codes of the US Geological Survey for the elevation of a lake's surface: unit and vertical datum (read)."""

_COLUMN_CODE: Final = re.compile(r"(?:\d+_)?(\d{5})(?:_\d{5})?")
_DATUMS: Final = ("vertical datum", "datum")
_THOUSANDS: Final = re.compile(r"[+-]?\d{1,3}(?:,\d{3})+(?:\.\d+)?")


class _Chosen(NamedTuple):
    times: list[str] | None  # None: by the table's own columns of date and time
    values: list[str]
    lines: list[int]
    marks: list[str] | None
    qualifiers: list[str]
    unit: str
    datum: str


def _pick_code(there: dict[str, object], wanted_datum: str, code: str, name: str) -> str:
    """Choose the parameter: the one named, else the only one, else the one on the datum of the normal pool."""
    known = [c for c in there if c in CODES]
    words = "; ".join(f"{c} is {datum} in {unit}" for c, (unit, datum) in CODES.items())
    if code:
        if code not in there:
            raise UsageError(f"{name} has no parameter {code}; it has {', '.join(there)}.")
        if code not in CODES:
            raise UsageError(
                f"Parameter {code} is no elevation of a lake's surface that is known; known: {words}."
            )
        return code
    if not known:
        raise DataError(
            f"{name} has parameter {', '.join(there)} and no elevation of a lake's surface ({words}). A gage height "
            "counts from a zero of its own: add the elevation of that zero, and save it as CSV with columns time, "
            "elevation_ft and vertical_datum."
        )
    fits = [c for c in known if CODES[c][1] == wanted_datum] or known
    if len(fits) > 1:
        raise UsageError(
            f"{name} has parameters {', '.join(fits)}; choose one with parameter, such as {fits[0]}."
        )
    return fits[0]


def _of_service(table: SeriesTable, wanted_datum: str, code: str) -> _Chosen:
    """Take readings out of a service's tab-separated table."""
    there: dict[str, object] = {}
    for column in table.columns:
        found = _COLUMN_CODE.fullmatch(column)
        if found:
            if found[1] in there and found[1] in CODES:
                raise UsageError(
                    f"{table.name} has several columns of parameter {found[1]} ({there[found[1]]}, {column}); take out "
                    "all but one, such as the mean of the day."
                )
            there[found[1]] = column
    chosen = _pick_code(there, wanted_datum, code, table.name)
    column = str(there[chosen])
    sites = sorted(set(table.texts("site_no")))
    if len(sites) > 1:
        raise UsageError(f"{table.name} has readings of several gauges ({', '.join(sites[:5])}); keep one.")
    unit, datum = CODES[chosen]
    marks = table.texts("tz_cd") if "tz_cd" in table.columns else None
    return _Chosen(
        table.texts("datetime"),
        table.texts(column),
        list(table.lines),
        marks,
        table.texts(f"{column}_cd"),
        unit,
        datum,
    )


def _of_json(table: SeriesTable, wanted_datum: str, code: str) -> _Chosen:
    """Take readings out of a service's JSON."""
    codes: dict[str, object] = dict.fromkeys(table.texts("parameter_code"))
    chosen = _pick_code(codes, wanted_datum, code, table.name)
    rows = [k for k, one in enumerate(table.texts("parameter_code")) if one == chosen]
    sites = sorted({table.rows[k]["site"] for k in rows})
    if len(sites) > 1:
        raise UsageError(f"{table.name} has readings of several gauges ({', '.join(sites[:5])}); keep one.")
    unit, datum = CODES[chosen]
    for k in rows:
        stated = LENGTH_UNITS.get(table.rows[k]["unit"].lower(), unit) if table.rows[k]["unit"] else unit
        if stated != unit:
            raise DataError(
                f"{table.name} gives parameter {chosen} in {table.rows[k]['unit']}; it is defined in {unit}."
            )

    def cells(column: str) -> list[str]:
        return [table.rows[k][column].strip() for k in rows]

    lines = [table.lines[k] for k in rows]
    return _Chosen(cells("datetime"), cells("value"), lines, None, cells("qualifier"), unit, datum)


def _plain_column(table: SeriesTable, role: str, heads: Sequence[str], told: str) -> str | None:
    if told:
        same = [c for c in table.columns if c.casefold() == told.casefold()]
        if not same:
            raise UsageError(
                f"columns: {table.name} has no column '{told}' for {role}; it has {', '.join(table.columns)}."
            )
        return same[0]
    fits = [c for c in table.columns if head_words(c)[0] in heads]
    if len(fits) > 1:
        raise UsageError(
            f"{table.name} has several columns that may be {role}: {', '.join(fits)}. Choose with columns, such as "
            f"{role}={fits[0]}."
        )
    return fits[0] if fits else None


def _of_csv(table: SeriesTable, told: dict[str, str], unit: str) -> _Chosen:
    """Take readings out of a plain table."""
    level = _plain_column(table, "elevation", LEVELS, told.get("elevation", ""))
    datum = _plain_column(table, "datum", _DATUMS, told.get("datum", ""))
    if level is None:
        raise UsageError(
            f"{table.name} has no column that is known as elevation; it has {', '.join(table.columns)}. Name it with "
            "columns, such as elevation=Header."
        )
    final = unit or head_words(level)[1]
    if not final:
        raise UsageError(
            f"The elevations of {table.name} name no unit; put it into the header (pool_elevation_ft), or name it with "
            "unit: ft, ftUS or m."
        )
    names = {datum_name(text) for text in table.texts(datum) if text} if datum else set()
    if len(names) > 1:
        raise DataError(
            f"{table.name} mixes vertical datums ({', '.join(sorted(names))}); keep the rows of one of them, or "
            "bring all to one."
        )
    return _Chosen(
        None,
        table.texts(level),
        list(table.lines),
        None,
        [],
        final,
        next(iter(names), "") or datum_in(level),
    )


def to_levels(
    table: SeriesTable,
    *,
    columns: Sequence[str] = (),
    unit: str = "",
    zone: str = "",
    parameter: str = "",
    wanted_datum: str = "",
    datum: str = "",
) -> LevelSeries:
    """Make pool elevations over time of a table.

    Parameters
    ----------
    table
        CSV with a time, an elevation and perhaps a datum; a water service's tab-separated or JSON form; or a table of
        observations.
    columns
        ``time=``, ``date=``, ``zone=``, ``elevation=`` or ``datum=Header`` for a CSV; ``dates=month-first`` or
        ``dates=day-first`` where its dates leave that open.
    unit
        ``ft`` (international), ``ftUS`` or ``m`` for a CSV whose header names none.
    zone
        IANA zone of times that name none. A date alone is the noon of that day there.
    parameter
        Parameter code, where the table has several of `CODES`; of observations, the words for what was observed.
    wanted_datum
        Datum of the normal pool; decides between parameters where it can.
    datum
        Datum of a CSV that names none.

    Returns
    -------
    In order of time; rows without a number are left out and counted in ``said``.

    Raises
    ------
    DataError, UsageError
        What cannot be told or read; the message says how to tell it.
    """
    import math

    import numpy as np

    from ...water.level.pool_level import LevelSeries
    from .forecast_table import parse_entries

    told = parse_entries(columns, "columns", (*TOLD, "elevation", "datum"))
    if unit and unit not in ("ft", "ftUS", "m"):
        raise UsageError(f"unit is '{unit}'; choose one of: ft, ftUS, m.")
    if "agency_cd" in table.columns and "datetime" in table.columns:
        chosen = _of_service(table, datum_name(wanted_datum), parameter)
    elif "parameter_code" in table.columns and "datetime" in table.columns:
        chosen = _of_json(table, datum_name(wanted_datum), parameter)
    elif is_observations(table):
        found = pool_levels(table, parameter, unit)
        chosen = _Chosen(
            found.times, found.values, found.lines, None, found.qualifiers, found.unit, found.datum
        )
    else:
        chosen = _of_csv(table, told, unit)
    if chosen.times is None:
        times, dates, own_zone = read_when(table, told, zone=zone, noon_for_dates=True)
    else:
        own_zone = ""
        times, dates = read_times(
            chosen.times, chosen.lines, table.name, zone=zone, marks=chosen.marks, noon_for_dates=True
        )
    if datum and chosen.datum and datum != chosen.datum:
        raise UsageError(
            f"{table.name} stands on {chosen.datum}, and datum says {datum}; leave datum, or mend the table."
        )
    said = [*table.said, *filter(None, (own_zone,))]
    factor = units.convert(1.0, chosen.unit, "length")
    pairs = []
    for moment, text in zip(times, chosen.values, strict=True):
        try:
            value = float(text.replace(",", "") if _THOUSANDS.fullmatch(text) else text)
        except ValueError:
            continue
        if math.isfinite(value) and value > -99_999.0:  # services write -999999 for nothing
            pairs.append((moment, value * factor))
    if not pairs:
        raise DataError(f"{table.name} holds no elevation that is a number; check its columns.")
    if left := len(times) - len(pairs):
        said.append(f"{left} rows of {table.name} have no number and are left out")
    if dates:
        said.append(
            f"dates alone in {table.name} are taken as noon{f' in {zone}' if zone and not own_zone else ''}"
        )
    if any(q.upper().startswith("P") for q in chosen.qualifiers):
        said.append(f"{table.name} holds provisional readings, which the service may still revise")
    pairs.sort(key=lambda pair: pair[0])
    return LevelSeries(
        tuple(moment for moment, _ in pairs),
        np.array([value for _, value in pairs]),
        chosen.datum or datum,
        table.name,
        tuple(said),
    )
