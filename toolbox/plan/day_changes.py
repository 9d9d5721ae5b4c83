"""A day with some of its values changed and its file untouched; and the hours that are asked of it."""

from __future__ import annotations

import copy
import datetime as dt
import tomllib
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from ..dates_and_times import on_day
from ..errors import UsageError
from ..parameters import defaults
from ..units import parse
from .day_file import SECTIONS, day_of

if TYPE_CHECKING:
    from .day_file import Day

# Of these keys of a section only one group says what it is: a key of one group takes the place of all others.
_EITHER: Final[dict[str, tuple[frozenset[str], ...]]] = {
    "level": (
        frozenset({"today"}),
        frozenset({"pool", "datum", "normal_pool", "normal_datum"}),
        frozenset({"table", "columns", "unit", "parameter", "time", "beyond", "normal_pool", "normal_datum"}),
    ),
    "wind": (frozenset({"from", "speed"}), frozenset({"forecast", "columns", "speed_units"})),
}
_NO_WIND: Final = ("none", "calm", "no wind")
_TABLES: Final = (".csv", ".tsv", ".txt", ".json", ".xlsx", ".ods")


def _typed(text: str) -> Any:
    """Read a value as a day file would: ``3``, ``true``, ``["A", "B"]``; anything else is text, quoted or not."""
    try:
        return tomllib.loads(f"value = {text}")["value"]
    except tomllib.TOMLDecodeError:
        return text


def changes_of(texts: Sequence[str], section: str = "") -> dict[str, dict[str, Any]]:
    """Read changes as they are typed.

    Parameters
    ----------
    texts
        Such as ``boat.draft=18in``, or within a section ``draft=18in``; a key at the top of a day file (``units``)
        stands alone.
    section
        The section they are of; by default each names its own.

    Returns
    -------
    Values by section and key; those at the top under an empty name.

    Raises
    ------
    UsageError
        A text that is no change.

    Examples
    --------
    >>> changes_of(["boat.draft=18in", "run.at_most=8", "units=metric"])
    {'boat': {'draft': '18in'}, 'run': {'at_most': 8}, '': {'units': 'metric'}}
    """
    found: dict[str, dict[str, Any]] = {}
    for text in texts:
        where, sign, value = text.partition("=")
        head, dot, key = where.strip().partition(".")
        named, key = (head, key) if dot else (section, head)
        if not sign or not key or (section and dot and head != section) or (dot and head not in SECTIONS):
            form = (
                f"{section}: KEY=VALUE, such as draft=18in"
                if section
                else "SECTION.KEY=VALUE, such as boat.draft=18in"
            )
            raise UsageError(
                f"'{text}' is no change of the day; write {form}. Sections: {', '.join(SECTIONS)}."
            )
        found.setdefault(named, {})[key] = _typed(value.strip())
    return found


def wind_change(text: str) -> dict[str, Any]:
    """Read a wind as it is typed: where it comes from and how fast, a forecast's file, or ``none``.

    Examples
    --------
    >>> wind_change("SW 12mph"), wind_change("none")
    ({'from': 'SW', 'speed': '12mph'}, {})
    """
    said = text.strip()
    if said.lower() in _NO_WIND:
        return {}
    words = said.split()
    if Path(said).suffix.lower() in _TABLES:
        return {"forecast": said}
    if len(words) < 2:
        raise UsageError(
            f"A wind of '{text}' is not understood; give where it comes from and its speed (\"SW 12mph\"), the file of "
            "a forecast, or none."
        )
    return {"from": words[0], "speed": " ".join(words[1:])}


def changes_in_words(
    *,
    level_m: float | None = None,
    wind: str = "",
    date: str = "",
    depart: str = "",
    back_by: str = "",
    boat: Sequence[str] = (),
    change: Sequence[str] = (),
) -> dict[str, dict[str, Any]]:
    """Put the changes that have a name of their own and all others into one; a name of its own comes last.

    Raises
    ------
    UsageError
        A text that is no change, or no wind.
    """
    found = changes_of(change)
    for section, values in changes_of(boat, "boat").items():
        found.setdefault(section, {}).update(values)
    if level_m is not None:
        found.setdefault("level", {})["today"] = f"{level_m!r}m"
    if wind:
        found["wind"] = wind_change(wind)
    if date:
        found.setdefault("", {})["date"] = date
    for key, text in (("depart", depart), ("back_by", back_by)):
        if text:
            found.setdefault("run", {})[key] = text
    return found


def changes_told(changes: dict[str, dict[str, Any]]) -> str:
    """Say what is changed, as a day file would state it.

    Examples
    --------
    >>> changes_told({"boat": {"draft": "18in"}, "wind": {}, "": {"date": "2026-05-17"}})
    'boat.draft = 18in, no wind, date = 2026-05-17'
    """
    said = []
    for section, values in changes.items():
        said += [
            f"{section}.{key} = {value}" if section else f"{key} = {value}" for key, value in values.items()
        ]
        said += [] if values else [f"no {section}"]
    return ", ".join(said)


def _from_here(value: Any, key: str) -> Any:
    """Look for a file that a change names where the command is given; if not there, it lies beside the day file."""
    if key in ("forecast", "table", "file") and isinstance(value, str) and Path(value).is_file():
        return str(Path(value).absolute())
    if key == "sources" and isinstance(value, list):
        return [_from_here(one, "file") for one in value]
    return value


def _as_stated(values: dict[str, Any], day: Day) -> dict[str, Any]:
    """Turn a level into an elevation where the day has a normal pool, which ramps and hazards may be held against."""
    normal_m = day.level.normal_pool_m
    if normal_m is None or "today" not in values or {"pool", "table", "normal_pool"} & set(values):
        return values
    pool_m = normal_m + parse(str(values["today"]), "length")
    others = {key: value for key, value in values.items() if key != "today"}
    return {**others, "pool": f"{pool_m!r}m", "datum": day.level.normal_datum or day.level.datum}


def changed_day(day: Day, changes: dict[str, dict[str, Any]]) -> Day:
    """Give the day with changed values; its file stays as it is, and nothing it has read is read again.

    Parameters
    ----------
    day
        The day as its file states it.
    changes
        Values by section and key, those at the top under an empty name (`changes_of`). A level takes the place of an
        elevation or a table, and a wind that of a forecast; a section without a value is empty then.

    Raises
    ------
    UsageError, DataError
        As for `castshed.toolbox.plan.day_file.read_day`.
    """
    body: dict[str, Any] = copy.deepcopy(dict(day.stated))
    for section, asked in changes.items():
        values = _as_stated(asked, day) if section == "level" else asked
        own = body if not section else dict(body.get(section, {})) if values else {}
        for group in _EITHER.get(section, ()):
            if not group & set(values):
                continue
            for other in _EITHER[section]:
                for key in other - group - set(values):
                    own.pop(key, None)
        own |= {key: _from_here(value, key) for key, value in values.items()}
        if section:
            body[section] = own
    return day_of(body, day.path, like=day)


def held_to(day: Day) -> dict[str, Any]:
    """Tell what the hours of a run are held to, in the words of shortest-run and day-plan."""
    wave = day.boat.wave_limit_m
    return {
        "night": day.run.night,
        "time_zone": day.zone,
        "wind_limit_mps": day.boat.wind_limit_mps,
        "head_limit_m": wave,
        "beam_limit_m": defaults.BEAM_LIMIT_M / defaults.WAVE_LIMIT_M * wave,
        "following_limit_m": wave,
        "wave_speeds": day.boat.wave_speeds,
    }


def proved_by(day: Day) -> dict[str, Any]:
    """Tell what the hours of a run are held to, in the words of prove-run."""
    held = held_to(day)
    return {name: one for name, one in held.items() if name not in {"time_zone", "wave_speeds"}}


def back_by_of(day: Day, depart: str) -> str:
    """Put date, clock and zone of the end together; at night an end before the departure is that of the next day.

    Raises
    ------
    UsageError
        It is no time, or one that the clocks skip.
    """
    told = on_day(day.date, day.run.back_by, day.zone, "run.back_by")
    if not (day.run.night and told and depart):
        return told
    try:
        early = dt.datetime.fromisoformat(told) <= dt.datetime.fromisoformat(depart)
    except (ValueError, TypeError):
        return told
    return (
        on_day(day.date + dt.timedelta(days=1), day.run.back_by, day.zone, "run.back_by") if early else told
    )


def forecast_between(day: Day) -> dict[str, str]:
    """Tell which hours of a forecast matter: those of the day, and of a night after it where that is asked for."""
    last = day.date + dt.timedelta(days=1) if day.run.night else day.date
    return {"first_time": f"{day.date.isoformat()}T00:00", "last_time": f"{last.isoformat()}T23:59"}
