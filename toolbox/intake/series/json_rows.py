"""Rows over time out of JSON of any shape, and out of WaterML 2.0, the OGC standard for hydrological time series."""

from __future__ import annotations

import datetime as dt
import json
import re
from typing import TYPE_CHECKING, Any, Final

from ...errors import DataError
from ...sources.delimited import decode
from .level_words import datum_in
from .observation_table import COLUMNS
from .series_table import MOST_ROWS, SeriesTable, says_when

if TYPE_CHECKING:
    from collections.abc import Iterator

    from ...sources.xml_zip_reading import Element

_DEEPEST: Final = 24
_MOST_COLUMNS: Final = 400
_MOST_HOURS: Final = 400
_ENDS: Final = re.compile(
    r"(?:end|valid[ _]?(?:to|until)|time[ _]?to)(?:[ _]?time)?|time[ _]?end|period[ _]?end", re.IGNORECASE
)
_DURATION: Final = re.compile(r"P(?:(\d{1,3})D)?(?:T(?:(\d{1,4})H)?(?:(\d{1,5})M)?)?")
_UNIT_KEYS: Final = ("unitCode", "uom", "unit", "units", "unit_of_measure")
_OWN_UNIT: Final = re.compile(r"[A-Za-z°%][\w°/ .:^-]{0,30}")


def load_json(data: bytes, name: str) -> tuple[Any, list[str]]:
    """Read a JSON text with care for what is too deep or too large.

    Raises
    ------
    DataError
        It is no sound JSON, or holds too much.
    """
    text, said = decode(data, name)
    if text.count("[") + text.count("{") > 4 * MOST_ROWS:
        raise DataError(f"{name} holds too many readings; cut it down to the days that matter.")
    try:
        return json.loads(text), said
    except (json.JSONDecodeError, RecursionError, ValueError) as fault:
        raise DataError(f"{name} is no sound JSON ({str(fault)[:80]}); fetch it again.") from None


def _walk(body: Any) -> Iterator[tuple[Any, int]]:
    stack = [(body, 0)]
    while stack:
        one, depth = stack.pop()
        yield one, depth
        if depth < _DEEPEST:
            inner = one.values() if isinstance(one, dict) else one if isinstance(one, list) else ()
            stack.extend((v, depth + 1) for v in reversed(list(inner)) if isinstance(v, (dict, list)))


def _quantity(one: dict[str, Any]) -> str | None:
    """Write a value with its unit, or the two ends of a range with theirs; None where the object is no quantity."""
    unit = next((str(one[key]) for key in _UNIT_KEYS if isinstance(one.get(key), str)), "")
    ends = [one.get(k) for k in ("minValue", "maxValue")]
    if all(isinstance(end, (int, float)) for end in ends):
        return f"{ends[0]} to {ends[1]} {unit}".strip()
    if "value" in one and not isinstance(one["value"], (dict, list)) and len(one) <= 4:
        return "" if one["value"] is None else f"{one['value']} {unit}".strip()
    return None


def _flat(record: dict[str, Any], path: tuple[str, ...] = (), depth: int = 0) -> dict[tuple[str, ...], str]:
    """Flatten nested objects: the path of keys -> text; lists are left out."""
    found: dict[tuple[str, ...], str] = {}
    for key, value in record.items():
        here = (*path, str(key))
        if isinstance(value, dict):
            written = _quantity(value)
            if written is not None:
                found[here] = written
            elif depth < _DEEPEST:
                found |= _flat(value, here, depth + 1)
        elif not isinstance(value, list):
            found[here] = "" if value is None else str(value)
    return found


def _short_names(paths: list[tuple[str, ...]]) -> dict[tuple[str, ...], str]:
    """Name each path by its last key, and as many before it as make it the only one of that name."""
    names: dict[tuple[str, ...], str] = {}
    for size in range(1, 1 + max(map(len, paths), default=0)):
        tails = [" ".join(p[-size:]) for p in paths]
        for path, tail in zip(paths, tails, strict=True):
            if path not in names and (tails.count(tail) == 1 or size >= len(path)):
                names[path] = tail
    return names


def _records(found: list[Any]) -> list[dict[str, str]] | None:
    """Take a list of objects as rows, where they name a time."""
    if not found or not all(isinstance(one, dict) for one in found):
        return None
    flat = [_flat(one) for one in found]
    paths = list(dict.fromkeys(path for row in flat for path in row))[:_MOST_COLUMNS]
    if not any(says_when(path[-1]) for path in paths):
        return None
    names = _short_names(paths)
    return [{names[p]: text for p, text in row.items() if p in names} for row in flat]


def _columns(found: dict[str, Any]) -> list[dict[str, str]] | None:
    """Take lists of one length that stand side by side as columns, where one of them is of times."""
    lists = {
        k: v
        for k, v in found.items()
        if isinstance(v, list) and not any(isinstance(x, (dict, list)) for x in v)
    }
    size = next((len(v) for k, v in lists.items() if says_when(k)), 0)
    fits = {k: v for k, v in lists.items() if len(v) == size}
    if not size or len(fits) < 2 or len(fits) > _MOST_COLUMNS:
        return None
    return [{k: "" if v[i] is None else str(v[i]) for k, v in fits.items()} for i in range(size)]


def _span(text: str) -> tuple[dt.datetime, int] | None:
    """Read a start and how many hours it holds for: ``2026-05-16T06:00Z/PT3H``, or two times with a bar between."""
    start, bar, rest = text.partition("/")
    try:
        begin = dt.datetime.fromisoformat(start)
        if not bar:
            return begin, 1
        if found := _DURATION.fullmatch(rest):
            days, hours, minutes = (int(part or 0) for part in found.groups())
            seconds = 86_400 * days + 3600 * hours + 60 * minutes
        else:
            seconds = int((dt.datetime.fromisoformat(rest) - begin).total_seconds())
    except (ValueError, TypeError, OverflowError):
        return None
    return begin, min(max(1, -(-seconds // 3600)), _MOST_HOURS)


def _series(found: dict[str, Any]) -> list[dict[str, str]] | None:
    """Join series that have their own times, each with a unit and a list of values, over all hours they hold for."""
    by_hour: dict[dt.datetime, dict[str, str]] = {}
    for key, one in found.items():
        values = one.get("values") if isinstance(one, dict) else None
        if (
            not isinstance(values, list)
            or not values
            or not isinstance(values[0], dict)
            or len(values) > MOST_ROWS
        ):
            continue
        unit = next((str(one[k]) for k in _UNIT_KEYS if isinstance(one.get(k), str)), "")
        head = f"{key} ({unit})" if _OWN_UNIT.fullmatch(unit) else str(key)
        for value in values:
            span = _span(str(value.get("validTime", ""))) if isinstance(value, dict) else None
            if span is None or isinstance(value.get("value"), (dict, list)):
                break
            for hour in range(span[1]):
                try:
                    moment = span[0] + dt.timedelta(hours=hour)
                except OverflowError:
                    break
                by_hour.setdefault(moment, {})[head] = (
                    "" if value.get("value") is None else str(value["value"])
                )
        if len(by_hour) > MOST_ROWS:
            return None
    try:
        return [{"time": moment.isoformat(), **row} for moment, row in sorted(by_hour.items())] or None
    except TypeError:  # times with zone and without
        return None


def _with_units(body: Any, rows: list[dict[str, str]]) -> list[dict[str, str]]:
    """Write the units that stand beside the rows, under the same names, into the heads."""
    heads = list(dict.fromkeys(key for row in rows for key in row))
    units: dict[str, str] = {}
    for one, _ in _walk(body):
        if isinstance(one, dict) and any(key in one for key in heads):
            stated = {k: v for k, v in one.items() if k in heads and not says_when(k) and isinstance(v, str)}
            if stated and len(stated) >= len([k for k in one if k in heads and not says_when(k)]):
                fits = {
                    k: v
                    for k, v in stated.items()
                    if _OWN_UNIT.fullmatch(v) and not re.match(r"[NSEW]{1,3}$", v)
                }
                if not any(all(row.get(k) == v for k, v in fits.items()) for row in rows[:50]):
                    units = {**fits, **units}
    renamed = {k: f"{k} ({v})" for k, v in units.items()}
    return [{renamed.get(k, k): v for k, v in row.items()} for row in rows]


def _hourly(rows: list[dict[str, str]]) -> list[dict[str, str]]:
    """Repeat a row that holds for several hours, as its end says, for each of them."""
    heads = list(rows[0])
    end = next((h for h in heads if _ENDS.fullmatch(re.sub(r"(?<=[a-z])(?=[A-Z])", " ", h))), "")
    start = next((h for h in heads if says_when(h)), "")
    if not end or not start:
        return rows
    made: list[dict[str, str]] = []
    for row in rows:
        span = _span(f"{row.get(start, '')}/{row.get(end, '')}")
        if span is None or span[1] <= 1:
            made.append(row)
            continue
        made += [{**row, start: (span[0] + dt.timedelta(hours=k)).isoformat()} for k in range(span[1])]
    return made[:MOST_ROWS]


def _zone_words(body: Any) -> tuple[str, ...]:
    """Give what the text says of the zone of its times, as a comment of a table."""
    for one, depth in _walk(body):
        if isinstance(one, dict) and depth <= 2:
            if isinstance(one.get("timezone"), str) and "/" in one["timezone"]:
                return (f"time zone: {one['timezone']}",)
            seconds = one.get("utc_offset_seconds")
            if isinstance(seconds, int) and abs(seconds) <= 64_800:
                hours, minutes = divmod(abs(seconds) // 60, 60)
                return (f"time zone: {'-' if seconds < 0 else '+'}{hours:02d}:{minutes:02d}",)
    return ()


def rows_of_json(
    body: Any, name: str, what: str, said: list[str] | None = None, *, hourly: bool = False
) -> SeriesTable:
    """Find the rows of a JSON document.

    Parameters
    ----------
    body
        The document.
    name, what
        What the file is called, and what is looked for in it, for messages.
    said
        What was noticed on reading.
    hourly
        Whether a row that holds for several hours is repeated for each.

    Returns
    -------
    The longest list of rows that name a time; nested keys are columns by their last word, or more where it is needed.

    Raises
    ------
    DataError
        There is no such list; the message names the keys that were seen.
    """
    best: list[dict[str, str]] = []
    seen: dict[str, None] = {}
    for one, _ in _walk(body):
        if isinstance(one, dict):
            seen |= dict.fromkeys(map(str, list(one)[:20]))
        tried = (_records(one),) if isinstance(one, list) else (_columns(one), _series(one))
        for rows in tried:
            if (
                rows
                and len(rows) <= MOST_ROWS
                and (len(rows), len(rows[0])) > (len(best), len(best[0]) if best else 0)
            ):
                best = rows
    if not best:
        keys = ", ".join(list(seen)[:25]) or "none"
        raise DataError(
            f"{name} is JSON of another kind: no list of rows in it names a time. Keys seen: {keys}. Save {what} as "
            "CSV, or as a list of objects with a time each."
        )
    rows = _with_units(body, _hourly(best) if hourly else best)
    heads = tuple(dict.fromkeys(key for row in rows for key in row))
    if len(heads) > _MOST_COLUMNS:
        raise DataError(f"{name} has {len(heads)} different keys in its rows, more than {_MOST_COLUMNS}.")
    return SeriesTable(
        name, heads, tuple(rows), tuple(range(1, len(rows) + 1)), _zone_words(body), tuple(said or ())
    )


_NAMESPACE: Final = "http://www.opengis.net/waterml/2.0"


def is_waterml(root: Element) -> bool:
    """Tell whether an XML document holds time series of WaterML 2.0."""
    return any(one.namespace.startswith(_NAMESPACE) for one in root.walk())


def _label(one: Element | None) -> str:
    """Name what an element refers to: by its title, else by the words of its link."""
    if one is None:
        return ""
    return one.attributes.get("title") or one.text or one.attributes.get("href", "")


def _first(root: Element, name: str) -> Element | None:
    return next((one for one in root.walk() if one.name == name), None)


def _qualifier(point: Element | None) -> str:
    if point is None:
        return ""
    found = _first(point, "qualifier") or _first(point, "quality")
    return "" if found is None else found.attributes.get("title", "") or found.flow.strip()[:40]


def _rows(member: Element) -> list[dict[str, str]]:
    """Flatten one observation: its series of points, with what holds for all of them."""
    observed, site = _label(_first(member, "observedProperty")), _label(_first(member, "featureOfInterest"))
    notes = " ".join(
        one.flow for one in member.walk() if one.name in ("verticalDatum", "description", "localDatum")
    )
    default = _first(member, "DefaultTVPMeasurementMetadata")
    common = _first(default, "uom") if default is not None else None
    usual = "" if common is None else common.attributes.get("code", "") or _label(common)
    usual_mark = _qualifier(default)
    rows = []
    for point in (one for one in member.walk() if one.name == "MeasurementTVP"):
        value = point.child("value")
        own = _first(point, "uom")
        nothing = value is None or value.attributes.get("nil", "") in ("true", "1")
        rows.append(
            {
                "datetime": point.text_of("time"),
                "value": "" if nothing or value is None else value.text,
                "observed": observed,
                "unit": (own.attributes.get("code", "") or _label(own) if own is not None else "")
                or (value.attributes.get("uom", "") if value is not None else "")
                or usual,
                "vertical_datum": datum_in(f"{observed} {notes}"),
                "qualifier": _qualifier(point.child("metadata")) or usual_mark,
                "site": site,
            }
        )
    return rows


def parse_waterml(root: Element, name: str) -> SeriesTable:
    """Read the observations of a WaterML 2.0 document.

    Parameters
    ----------
    root
        The document.
    name
        What the file is called.

    Returns
    -------
    Columns of `castshed.toolbox.intake.series.observation_table`; a row's line is its place in the file.

    Raises
    ------
    DataError
        It holds no points of measurement, or too many; the message names the elements that were seen.

    Notes
    -----
    OGC 10-126r4, WaterML 2.0 Part 1: ``OM_Observation`` with ``observedProperty``, and a ``MeasurementTimeseries`` of
    ``MeasurementTVP`` with ``time`` and ``value``; unit and quality in the metadata of the point or the default's.
    """
    members = [one for one in root.walk() if one.name == "OM_Observation"] or [root]
    rows = [row for member in members for row in _rows(member)]
    if not rows:
        seen = list(dict.fromkeys(one.name for one in root.walk()))[:20]
        raise DataError(f"{name} is WaterML without points of measurement; elements seen: {', '.join(seen)}.")
    if len(rows) > MOST_ROWS:
        raise DataError(
            f"{name} holds more than {MOST_ROWS:,} readings; cut it down to the days that matter."
        )
    return SeriesTable(name, COLUMNS, tuple(rows), tuple(range(1, len(rows) + 1)))
