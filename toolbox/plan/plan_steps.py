"""The plan of a day written as a steps file: the same algorithms with the same values, to be changed by hand."""

from __future__ import annotations

import json
import os
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from .. import units
from ..algorithm.catalogue import load
from ..algorithm.describe import UNITS
from ..algorithm.spec import Spec
from ..clock_times import on_day
from ..parameters.markers import Flag, Many, Number, Quantity

if TYPE_CHECKING:
    from .day_file import Day

_HEAD: Final = """\
# The day "{title}" of {date} as steps. Change it and run it with: castshed run-steps FILE.toml
# File names are relative to the folder of this file; it was written for the folder the command was given in.
# The last step proves the run once more; when it fails, nothing is written. plan also tells the wind of the hour at
# each stop and writes GPX, KML and the map; these steps do not.
# A planning aid, not for navigation.
"""


_WRITTEN: Final = {
    "length": ("ft", "m", "in"),
    "speed": ("mph", "kn", "m/s"),
    "time": ("min", "h", "s"),
    "bearing": ("deg",),
    "volume": ("gal", "L"),
    "flow": ("gal/h", "L/h"),
}
_DIGITS: Final = 6


def _quantity(value: float, kind: str) -> str:
    """Write a quantity as a person would, in the unit that gives the shortest text that means the very same number."""
    exact = f"{value!r}{UNITS[kind]}"
    found = [exact]
    for unit in _WRITTEN[kind]:
        text = f"{value / units.convert(1.0, unit, kind):.{_DIGITS}g}{unit}"
        if "e" not in text.removesuffix(unit) and units.parse(text, kind) == value:
            found.append(text)
    return min(found, key=len)


def _value(value: Any, marker: Any) -> str:
    if isinstance(marker, Many):
        return "[" + ", ".join(_value(v, marker.of) for v in value) + "]"
    if isinstance(marker, Quantity):
        return json.dumps(_quantity(float(value), marker.kind))
    if isinstance(marker, Flag):
        return "true" if value else "false"
    if isinstance(marker, Number):
        return repr(int(value) if marker.whole else float(value))
    return json.dumps(str(value), ensure_ascii=False)


def _table(name: str, run: str, given: Mapping[str, Any], out: str = "") -> str:
    """Write one step; what is None or as by default is left out."""
    spec: Spec = load(run)
    lines = [f"[{name}]", f"run = {json.dumps(run)}"]
    for key, value in given.items():
        par = spec.parameter(key)
        if value is None or (not par.required and not par.is_input and value == par.default):
            continue
        word = par.name if par.positional else par.option.removeprefix("--")
        if par.is_input:
            lines.append(f"{word} = {json.dumps(value, ensure_ascii=False)}")
        else:
            lines.append(f"{word} = {_value(value, par.marker)}")
    if out:
        lines.append(f"out = {json.dumps(out)}")
    return "\n".join(lines) + "\n"


def _place(folder: Path, text: str) -> str:
    """Name a file of the day as seen from the folder the command was given in."""
    try:
        return Path(os.path.relpath(folder / text)).as_posix()
    except ValueError:  # on another drive
        return str((folder / text).absolute())


def _surface(day: Day, at: Mapping[str, str | None]) -> list[str]:
    if day.layers.depth is not None:
        return []
    inputs = {k: at[k] for k in ("shoreline", "contours", "soundings")}
    return [_table("bottom", "depth-surface", inputs | {"cell_m": day.lake.cell_m})]


def _wind(day: Day, folder: Path) -> dict[str, Any] | None:
    """Tell what wind-exposure is given, for one wind or by the hour."""
    if day.forecast is not None:
        date = day.date.isoformat()
        return {
            "forecast": _place(folder, day.wind.forecast),
            "zone": day.zone,
            "first_time": f"{date}T00:00",
            "last_time": f"{date}T23:59",
        }
    if day.wind.wind_from_deg is not None and day.wind.wind_speed_mps is not None:
        return {"wind_from_deg": day.wind.wind_from_deg, "wind_speed_mps": day.wind.wind_speed_mps}
    return None


def _run(day: Day, common: Mapping[str, Any], hourly: bool, launch_m: float, depart: str) -> str:
    boat, run = day.boat, day.run
    handled = {
        "holds": "@chosen:holds",
        **common,
        "start": run.start,
        "end": run.end,
        "beam_m": boat.beam_m,
        "fix_error_m": boat.fix_error_m,
        "clearance_m": boat.clearance_m,
        "run_speed_mps": boat.run_speed_mps,
        "idle_speed_mps": boat.idle_speed_mps,
        "launch_m": launch_m,
        "draft_m": boat.draft_m,
        "depth_error_m": day.lake.depth_error_m,
        "level_error_m": day.level.level_error_m,
        "depart": depart,
    }
    if not run.back_by:
        handled |= {"at_most": run.at_most, "at_each_s": run.at_each_s}
        return _table("run", "shortest-run", handled, "steps.gpkg")
    handled |= {
        "verdicts": "@judged:verdicts" if hourly else None,
        "back_by": on_day(day.date, run.back_by, day.zone, "run.back_by"),
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
    return _table("run", "day-plan", handled, "steps.gpkg")


def _proof(day: Day, common: Mapping[str, Any], launch_m: float) -> str:
    """Prove the run as it is then, whatever was changed before it."""
    boat = day.boat
    held_to = {
        "stops": "@run:stops",
        "legs": "@run:legs",
        "holds": "@chosen:holds",
        **common,
        "dry_ground": "@today:dry_ground",
        "spots": "@book:spots",
        "draft_m": boat.draft_m,
        "running_depth_m": boat.running_depth_m,
        "margin_m": boat.margin_m,
        "depth_error_m": day.lake.depth_error_m,
        "level_error_m": day.level.level_error_m,
        "beam_m": boat.beam_m,
        "fix_error_m": boat.fix_error_m,
        "clearance_m": boat.clearance_m,
        "launch_m": launch_m,
    }
    return _table("proof", "prove-run", held_to, "steps.gpkg")


def steps_of_day(day: Day, file: str, *, drift_m: float, depart: str, launch_m: float) -> str:
    """Write the steps of a day's plan.

    Parameters
    ----------
    day, file
        The day, and the name of its file.
    drift_m, depart, launch_m
        What plan works out of it: radius of the drift circle, time of departure, farthest water from a ramp.

    Notes
    -----
    A depth error stated in the day file is no parameter of boat-hold and shortest-run, which take that of the coverage;
    hazards and the proof take the stated one, and the text says so.
    """
    folder = Path(file).parent
    boat, angler, lake = day.boat, day.angler, day.lake
    level = {"level_m": day.level_m}
    at: dict[str, str | None] = {
        name: None
        if getattr(day.layers, name) is None
        else f"{_place(folder, lake.file)}:{getattr(lake, name)}"
        for name in (
            "shoreline",
            "depth",
            "depth_confidence",
            "contours",
            "soundings",
            "ramps",
            "zones",
            "known_hazards",
        )
    }
    made = day.layers.depth is None
    depth = "@bottom:depth" if made else at["depth"]
    water, hazards, zones = "@today:water", "@thin:shallow_hazards", at["zones"]
    errors = {"level_error_m": day.level.level_error_m}
    draft = {"draft_m": boat.draft_m, "margin_m": boat.margin_m}
    casts = {"least_cast_m": angler.least_cast_m, "most_cast_m": angler.most_cast_m}
    parts = [_HEAD.format(title=day.title.replace("\n", " "), date=day.date.isoformat())]
    if lake.depth_error_m is not None:
        parts[0] += (
            f"# The day file states a depth error of {lake.depth_error_m:g} m; hazards and the proof take it,\n"
            "# holds the coverage's own: where that is less, a run may fail the proof.\n"
        )
    sources = [_place(folder, one) for one in day.lists.sources]
    gather = {"sources": sources, "shoreline": at["shoreline"], "depth_unit": day.lists.depth_unit}
    parts += [_table("book", "gather-spots", gather), *_surface(day, at)]
    parts.append(_table("today", "water-today", {"depth": depth, "shoreline": at["shoreline"], **level}))
    thin: dict[str, Any] = {
        "depth": depth,
        "water": water,
        "known_hazards": at["known_hazards"],
        **level,
        **draft,
    }
    thin |= {"running_depth_m": boat.running_depth_m, **errors}
    thin["depth_error_m"] = lake.depth_error_m
    unsure = "@bottom:depth_confidence" if made else at["depth_confidence"]
    thin["depth_confidence"] = unsure
    parts.append(_table("thin", "shallow-hazards", thin, "steps.gpkg"))
    parts.append(
        _table("reach", "cast-reach", {"spots": "@book:spots", "water": water, **casts}, "steps.gpkg")
    )
    hold: dict[str, Any] = {"spots": "@book:spots", "depth": depth, **level, **errors, **casts, **draft}
    hold |= {"fix_error_m": boat.fix_error_m, "cast_m": angler.cast_m, "drift_m": drift_m}
    hold |= {"wind_from_deg": day.wind.wind_from_deg, "hazards": hazards}
    hold |= {"depth_confidence": unsure}
    hold |= {"known_hazards": at["known_hazards"], "zones": zones}
    parts.append(_table("held", "boat-hold", hold, "steps.gpkg"))
    wind, hourly = _wind(day, folder), day.forecast is not None
    spots, holds = "@book:spots", "@held:holds"
    if wind is not None:
        told = {"water": water, "depth": depth, **level, **wind}
        parts.append(_table("spots_in_wind", "wind-exposure", {"places": spots, **told}))
        parts.append(_table("holds_in_wind", "wind-exposure", {"places": holds, **told}))
        spots, holds = "@spots_in_wind:places", "@holds_in_wind:places"
    judged: dict[str, Any] = {
        "spots": spots,
        "water": water,
        "depth": depth,
        **level,
        "holds": holds,
        **errors,
    }
    if hourly:
        judged |= {"exposure": "@holds_in_wind:exposure", "zones": zones, "from_ramp": day.run.start}
    judged |= {"depth_confidence": unsure}
    judged |= {"time_zone": day.zone, "least_depth_m": day.fishing.least_depth_m}
    judged |= {"top_margin_m": day.fishing.top_margin_m, "most_depth_m": day.fishing.most_depth_m}
    judged |= {"wave_limit_m": boat.wave_limit_m, "wind_limit_mps": boat.wind_limit_mps}
    parts.append(_table("judged", "fishable", judged, "steps.gpkg"))
    chosen = {"holds": holds, "spots": "@judged:judged", "least_rating": day.fishing.least_rating}
    parts.append(_table("chosen", "fishable-holds", chosen))
    common = {
        "ramps": at["ramps"],
        "water": water,
        "hazards": hazards,
        "zones": zones,
        "depth": depth,
        "depth_confidence": unsure,
        **level,
    }
    parts += [_run(day, common, hourly, launch_m, depart), _proof(day, common, launch_m)]
    return "\n".join(parts)
