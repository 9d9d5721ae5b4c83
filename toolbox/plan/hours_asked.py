"""The hours of a day file: until when, by whose clock, day or night, and what wind and seas the boat is held to."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING, Any

from ..clock_times import on_day
from ..parameters import defaults

if TYPE_CHECKING:
    from .day_file import Day


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
