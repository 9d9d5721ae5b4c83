"""The chain of a day: which algorithm gets which input, in one place.

`plan` runs these steps and a steps file is written from them, so that neither can feed an algorithm otherwise than the
other.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields
from typing import TYPE_CHECKING, Any

from ..dates_and_times import on_day
from ..parameters import defaults
from .day_changes import back_by_of, forecast_between, held_to, proved_by

if TYPE_CHECKING:
    from .day_file import Boat, Day


@dataclass(frozen=True)
class OfDay:
    """An input that the day brings: a layer of the lake, the lists of spots, the forecast."""

    name: str


@dataclass(frozen=True)
class MadeBy:
    """An input that an earlier step makes."""

    step: str
    layer: str


@dataclass(frozen=True)
class DayStep:
    """One step of the day.

    Attributes
    ----------
    name, run
        The step's name, and the algorithm it runs.
    given
        Value or input of each parameter that is given, None where there is none.
    leaves
        Whether a steps file lets it write its layers.
    """

    name: str
    run: str
    given: Mapping[str, Any]
    leaves: bool = False


def drift_m(boat: Boat) -> float:
    """Keep a hold so far off what is too thin that the way to it, narrowed by beam and fix error, reaches it."""
    return max(defaults.DRIFT_M, 1.4 * (boat.beam_m / 2.0 + boat.fix_error_m))


def departure(day: Day) -> str:
    """Put date, clock time and zone of the day together."""
    return on_day(day.date, day.run.depart, day.zone, "run.depart")


def wind_of(day: Day) -> dict[str, Any] | None:
    """Tell what wind-exposure is given, for one wind or by the hour; None where no wind is known."""
    if day.forecast is not None:
        told = {
            "columns": day.wind.columns,
            "speed_units": day.wind.speed_units,
            "wind_over": day.wind.wind_over,
        }
        told = {key: value for key, value in told.items() if value}
        return {"forecast": OfDay("forecast"), "zone": day.zone, **told, **forecast_between(day)}
    if day.wind.wind_from_deg is not None and day.wind.wind_speed_mps is not None:
        return {
            "wind_from_deg": day.wind.wind_from_deg,
            "wind_speed_mps": day.wind.wind_speed_mps,
            "wind_over": day.wind.wind_over,
        }
    return None


def handled(day: Day) -> dict[str, Any]:
    """Tell how the boat is handled."""
    boat = day.boat
    return {
        "beam_m": boat.beam_m,
        "fix_error_m": boat.fix_error_m,
        "clearance_m": boat.clearance_m,
        "run_speed_mps": boat.run_speed_mps,
        "idle_speed_mps": boat.idle_speed_mps,
        "launch_m": defaults.LAUNCH_M,
    }


def _spots(day: Day) -> MadeBy:
    """Tell where the spots come from: the lists of the day, or the structure found in the depths."""
    return MadeBy("book", "spots") if day.structure is None else MadeBy("found", "structure")


def _searched(day: Day, given: Mapping[str, Any]) -> list[DayStep]:
    """Look for structure where the day has no list of spots."""
    asked = day.structure
    if asked is None:
        return []
    limits = {one.name: getattr(asked, one.name) for one in fields(asked)}
    return [DayStep("found", "find-structure", {**given, **limits, "units": day.units}, leaves=True)]


def _before_the_wind(day: Day, depth: Any, unsure: Any, level: Mapping[str, Any]) -> list[DayStep]:
    boat, angler, shoreline = day.boat, day.angler, OfDay("shoreline")
    spots, water = _spots(day), MadeBy("today", "water")
    errors = {"level_error_m": day.level.level_error_m}
    draft = {"draft_m": boat.draft_m, "margin_m": boat.margin_m}
    casts = {"least_cast_m": angler.least_cast_m, "most_cast_m": angler.most_cast_m}
    surface = {
        "shoreline": shoreline,
        "contours": OfDay("contours"),
        "soundings": OfDay("soundings"),
        "cell_m": day.lake.cell_m,
    }
    thin = {"depth": depth, "water": water, "known_hazards": OfDay("known_hazards"), **level, **draft}
    thin |= {"running_depth_m": boat.running_depth_m, **errors, "depth_error_m": day.lake.depth_error_m}
    hold = {"spots": spots, "depth": depth, **level, **errors, **casts, **draft}
    hold |= {"fix_error_m": boat.fix_error_m, "cast_m": angler.cast_m, "drift_m": drift_m(boat)}
    hold |= {"wind_from_deg": day.wind.wind_from_deg, "hazards": MadeBy("thin", "shallow_hazards")}
    hold |= {"depth_confidence": unsure, "known_hazards": OfDay("known_hazards"), "zones": OfDay("zones")}
    gather = {"sources": OfDay("sources"), "shoreline": shoreline, "depth_unit": day.lists.depth_unit}
    return [
        *([DayStep("book", "gather-spots", gather)] if day.structure is None else []),
        *([DayStep("bottom", "depth-surface", surface)] if day.layers.depth is None else []),
        DayStep("today", "water-today", {"depth": depth, "shoreline": shoreline, **level}),
        *_searched(day, {"depth": depth, "water": water, **level}),
        DayStep("thin", "shallow-hazards", thin | {"depth_confidence": unsure}, leaves=True),
        DayStep(
            "reach",
            "cast-reach",
            {"spots": spots, "water": water, **casts, "fix_error_m": boat.fix_error_m},
            leaves=True,
        ),
        DayStep("held", "boat-hold", hold, leaves=True),
    ]


def _by_the_hour(day: Day) -> dict[str, Any]:
    """Tell what is known of each hour, where the wind is and the run has hours."""
    known = day.forecast is not None and bool(departure(day))
    return {
        "verdicts": MadeBy("judged", "verdicts") if known else None,
        "exposure": MadeBy("holds_in_wind", "exposure") if known else None,
    }


def _run(day: Day, common: Mapping[str, Any]) -> DayStep:
    """Order the best rated holds into a run, or choose those that fit the hours where the day says when to be back."""
    run, depart = day.run, departure(day)
    given = {
        "holds": MadeBy("chosen", "holds"),
        **common,
        "start": run.start,
        "end": run.end,
        **handled(day),
        "draft_m": day.boat.draft_m,
        "depth_error_m": day.lake.depth_error_m,
        "level_error_m": day.level.level_error_m,
        "depart": depart,
        **_by_the_hour(day),
        **held_to(day),
    }
    if not run.back_by:
        given |= {"at_most": run.at_most, "at_each_s": run.at_each_s}
        return DayStep("run", "shortest-run", given, leaves=True)
    given |= {
        "back_by": back_by_of(day, depart),
        "value": run.value,
        "must": run.must,
        "never": run.never,
        "windows": run.windows,
        "at_each_s": run.at_each_s,
        "longest_at_each_s": run.longest_at_each_s,
        "stays": run.stays,
        "fuel_l": run.fuel_l,
        "engine_hp": run.engine_hp,
    }
    return DayStep("run", "day-plan", given, leaves=True)


def _proof(day: Day, holds: MadeBy, common: Mapping[str, Any]) -> DayStep:
    """Prove the run as it is then, whatever was changed before it."""
    boat = day.boat
    given = {
        "stops": MadeBy("run", "stops"),
        "legs": MadeBy("run", "legs"),
        "holds": holds,
        **common,
        "dry_ground": MadeBy("today", "dry_ground"),
        "spots": _spots(day),
        "draft_m": boat.draft_m,
        "running_depth_m": boat.running_depth_m,
        "margin_m": boat.margin_m,
        "depth_error_m": day.lake.depth_error_m,
        "level_error_m": day.level.level_error_m,
        "beam_m": boat.beam_m,
        "fix_error_m": boat.fix_error_m,
        "clearance_m": boat.clearance_m,
        "launch_m": defaults.LAUNCH_M,
        **_by_the_hour(day),
        **proved_by(day),
    }
    return DayStep("proof", "prove-run", given, leaves=True)


def chain_of(day: Day) -> dict[str, DayStep]:
    """List the steps of a day by name, in their order.

    Raises
    ------
    UsageError
        A time of the day cannot be read.
    """
    made = day.layers.depth is None
    depth = MadeBy("bottom", "depth") if made else OfDay("depth")
    unsure = MadeBy("bottom", "depth_confidence") if made else OfDay("depth_confidence")
    level, water, hourly = {"level_m": day.level_m}, MadeBy("today", "water"), day.forecast is not None
    steps = _before_the_wind(day, depth, unsure, level)
    spots, holds, wind = _spots(day), MadeBy("held", "holds"), wind_of(day)
    if wind is not None:
        told = {"water": water, "depth": depth, **level, **wind}
        steps.append(DayStep("spots_in_wind", "wind-exposure", {"places": spots, **told}))
        steps.append(DayStep("holds_in_wind", "wind-exposure", {"places": holds, **told}))
        spots, holds = MadeBy("spots_in_wind", "places"), MadeBy("holds_in_wind", "places")
    judged: dict[str, Any] = {"spots": spots, "water": water, "depth": depth, **level, "holds": holds}
    judged |= {"level_error_m": day.level.level_error_m}
    if hourly:
        judged |= {"exposure": MadeBy("holds_in_wind", "exposure"), "zones": OfDay("zones")}
        judged |= {"from_ramp": day.run.start}
    judged |= {"depth_confidence": unsure, "time_zone": day.zone, "at_night": day.run.night}
    judged |= {
        name: getattr(part, name)
        for part, name in (
            (day.fishing, "least_depth_m"),
            (day.fishing, "top_margin_m"),
            (day.fishing, "most_depth_m"),
            (day.boat, "wave_limit_m"),
            (day.boat, "wind_limit_mps"),
        )
    }
    steps.append(DayStep("judged", "fishable", judged, leaves=True))
    chosen = {"holds": holds, "spots": MadeBy("judged", "judged"), "least_rating": day.fishing.least_rating}
    steps.append(DayStep("chosen", "fishable-holds", chosen))
    common = {
        "ramps": OfDay("ramps"),
        "water": water,
        "hazards": MadeBy("thin", "shallow_hazards"),
        "zones": OfDay("zones"),
        "depth": depth,
        "depth_confidence": unsure,
        **level,
    }
    steps += [_run(day, common), _proof(day, holds, common)]
    return {step.name: step for step in steps}
