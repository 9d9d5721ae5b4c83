"""What is said about a row of a layer: short sentences, every length in both unit systems."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from typing import Any, Final

from .text import (
    bearing_text,
    both_distances,
    both_lengths,
    both_speeds,
    both_waves,
    clean,
    clock,
    is_missing,
    number,
    one_line,
)

Row = Mapping[str, Any]

_PLAIN_STOPS: Final = frozenset({"", "hold", "ramp"})
_PARTS: Final = {"run": "running", "idle": "at idle", "launch": "between ramp and open water, at idle"}


def _get(row: Row, column: str) -> str:
    return clean(row.get(column)).strip()


def _num(row: Row, column: str) -> float:
    return number(row.get(column))


def _known(*values: float) -> bool:
    return all(math.isfinite(value) for value in values)


def _sentence(text: str) -> str:
    text = text.strip()
    return text if not text or text[-1] in ".!?…" else text + "."


def _plain(text: str) -> str:
    """Turn a column's word into people's: ``conifer_brush`` is ``conifer brush``."""
    return one_line(text).replace("_", " ")


def _above_or_below(depth_m: float, *, noun: str) -> str:
    if depth_m < 0.0:
        return f"{noun} stands dry by {both_lengths(-depth_m)} today."
    return f"{noun} {both_lengths(depth_m)} down today."


def _depths(row: Row, level_m: float | None) -> list[str]:
    bottom, charted, height = _num(row, "depth_today_m"), _num(row, "depth_m"), _num(row, "height_m")
    top = _num(row, "top_today_m")
    if not _known(bottom) and level_m is not None and _known(charted):
        bottom = charted + level_m
    if not _known(top) and _known(bottom, height):
        top = bottom - height
    said = []
    if _known(bottom):
        said.append(_above_or_below(bottom, noun="Bottom"))
        if _known(top) and top != bottom:
            said.append(_above_or_below(top, noun="Top"))
    elif _known(charted):
        said.append(f"Bottom {both_lengths(charted)} below chart datum; take the level off.")
        if _known(height):
            said.append(f"Stands {both_lengths(height)} off the bottom.")
    return said


def _exposure(row: Row) -> list[str]:
    wind, towards, wave = _num(row, "wind_mps"), _num(row, "wind_from_deg"), _num(row, "wave_m")
    said = []
    if _known(wind):
        said.append(
            f"Wind {both_speeds(wind)}" + (f" from {bearing_text(towards)}." if _known(towards) else ".")
        )
    if _known(wave):
        low, high = _num(row, "wave_low_m"), _num(row, "wave_high_m")
        band = f", between {both_waves(low)} and {both_waves(high)}" if _known(low, high) else ""
        method = _get(row, "wave_method")
        said.append(f"Waves about {both_waves(wave)}{band}{f' by {method}' if method else ''}: an estimate.")
    return said


def _times(row: Row) -> list[str]:
    arrive, leave = clock(row.get("arrive")), clock(row.get("leave"))
    if arrive and leave:
        return [f"Arrive {arrive}, leave {leave}."]
    return [f"Arrive {arrive}."] if arrive else [f"Leave {leave}."] if leave else []


def _spot(row: Row, level_m: float | None) -> list[str]:
    said = []
    fishable = _num(row, "fishable")
    reason = _get(row, "reason")
    if fishable == 0.0:
        said.append("Left out today: " + _sentence(reason or "no reason given"))
    said.append(_sentence(_plain(_get(row, "kind")).capitalize()))
    said += _depths(row, level_m)
    if fishable == 1.0 and reason:
        said.append(_sentence(reason))
    said += _exposure(row)
    rating, error = _num(row, "rating"), _num(row, "position_error_m")
    if _known(rating):
        said.append(f"Rated {rating:g} of 5.")
    if run_note := _get(row, "run_note"):
        said.append("Not on the run: " + _sentence(run_note))
    if note := _get(row, "note"):
        said.append("Note: " + _sentence(note))
    if source := _get(row, "source"):
        said.append("Source: " + _sentence(source))
    if surveyed := _get(row, "surveyed"):
        said.append("Surveyed: " + _sentence(surveyed))
    if _known(error):
        said.append(f"Position good to about {both_lengths(error)}.")
    return said


def _hold(row: Row, level_m: float | None) -> list[str]:
    del level_m  # the depth of a hold is today's already
    if _get(row, "status") == "none":
        return ["No hold found: " + _sentence(_get(row, "reason") or "no reason given")]
    depth, cast, bearing = _num(row, "depth_m"), _num(row, "cast_m"), _num(row, "cast_bearing_deg")
    deep, wind = _num(row, "deep_bearing_deg"), _num(row, "wind_angle_deg")
    said = []
    if _known(depth):
        said.append(f"Boat in {both_lengths(depth)} of water today.")
    if _known(cast):
        said.append(
            f"Cast {both_distances(cast)}" + (f" to {bearing_text(bearing)}." if _known(bearing) else ".")
        )
    if _known(deep):
        said.append(f"Deep side {bearing_text(deep)}.")
    if _known(wind):
        said.append(f"Cast {wind:.0f}° off straight into the wind.")
    if reason := _get(row, "reason"):
        said.append(_sentence(reason[:1].upper() + reason[1:]))
    return said + _exposure(row)


def _stop(row: Row, level_m: float | None) -> list[str]:
    del level_m
    reason = _get(row, "reason")
    return _times(row) + _exposure(row) + ([_sentence(reason)] if reason not in _PLAIN_STOPS else [])


def _leg(row: Row, level_m: float | None) -> list[str]:
    del level_m
    how = _PARTS.get(_get(row, "part"), _plain(_get(row, "part")))
    said = [_sentence(f"From {_get(row, 'from_id')} to {_get(row, 'to_id')}, {how}")]
    distance, slow, seconds = _num(row, "distance_m"), _num(row, "slow_m"), _num(row, "time_s")
    least, clearance = _num(row, "min_depth_m"), _num(row, "min_clearance_m")
    if _known(distance):
        said.append(both_distances(distance) + (f", {seconds / 60.0:.0f} min." if _known(seconds) else "."))
    if _known(slow) and slow > 0.0:
        said.append(f"{both_distances(slow)} of it in slow zones.")
    if _known(least):
        said.append(f"Least depth today {both_lengths(least)}.")
    if _known(clearance):
        what, side = _get(row, "nearest_hazard"), _get(row, "hazard_side")
        named = f" ({_plain(what)}, {side})" if what and side else ""
        said.append(f"Nearest hazard edge {both_distances(clearance)} off{named}.")
    return said


def _ramp(row: Row, level_m: float | None) -> list[str]:
    least = _num(row, "min_level_m")
    if not _known(least):
        return ["Ramp; the level it needs is not known."]
    said = [f"Ramp, usable down to level {both_lengths(least, signed=True)}."]
    if level_m is not None and level_m < least:
        said.insert(0, "Out of use at today's level.")
    return said


def _hazard(row: Row, level_m: float | None) -> list[str]:
    del level_m
    least, care = _num(row, "least_depth_m"), _get(row, "care")
    said = [
        "Too thin even at idle." if care == "idle" else "Too thin to run on plane." if care == "run" else ""
    ]
    if _known(least):
        said.append(_above_or_below(least, noun="Shallowest part"))
    return [*said, _sentence(_get(row, "reason"))]


def _known_hazard(row: Row, level_m: float | None) -> list[str]:
    said = [_sentence(_plain(_get(row, "kind")).capitalize())]
    top = _num(row, "top_depth_m")
    if _known(top) and level_m is not None:
        said.append(_above_or_below(top + level_m, noun="Top"))
    elif _known(top):
        said.append(f"Top {both_lengths(top)} below chart datum; take the level off.")
    return said


def _zone(row: Row, level_m: float | None) -> list[str]:
    del level_m
    says = {"slow": "Slow zone", "no_entry": "No entry", "no_motor": "No motors"}
    zone, speed = _get(row, "zone"), _num(row, "speed_mps")
    said = [
        says.get(zone, _plain(zone))
        + (f", at most {both_speeds(speed)}." if zone == "slow" and _known(speed) else ".")
    ]
    return [*said, _sentence(_get(row, "reason"))]


def _band(row: Row, level_m: float | None) -> list[str]:
    del level_m
    low, high = _num(row, "from_m"), _num(row, "to_m")
    if _known(low, high):
        return [f"Water {both_lengths(low)} to {both_lengths(high)} deep today."]
    return [f"Water deeper than {both_lengths(low)} today."] if _known(low) else []


def _reach(row: Row, level_m: float | None) -> list[str]:
    del level_m
    said = [
        "Water from which the spot is within a cast."
        if _get(row, "status") == "ok"
        else "Not within a cast of open water."
    ]
    return [*said, _sentence(_get(row, "reason"))]


def _left_out(row: Row, level_m: float | None) -> list[str]:
    del level_m
    return ["Left out of the run: " + _sentence(_get(row, "reason") or "no reason given")]


def _cast_line(row: Row, level_m: float | None) -> list[str]:
    del level_m
    cast, bearing = _num(row, "cast_m"), _num(row, "cast_bearing_deg")
    return (
        [f"Cast {both_distances(cast)}" + (f" to {bearing_text(bearing)}." if _known(bearing) else ".")]
        if _known(cast)
        else []
    )


def _fixed(text: str) -> Callable[[Row, float | None], list[str]]:
    return lambda _row, _level_m: [text]


def _any(row: Row, level_m: float | None) -> list[str]:
    del level_m
    return [
        f"{one_line(column)}: {one_line(value)}." for column, value in row.items() if not is_missing(value)
    ]


_BY_ROLE: Final[dict[str, Callable[[Row, float | None], list[str]]]] = {
    "spots": _spot,
    "holds": _hold,
    "stops": _stop,
    "legs": _leg,
    "ramps": _ramp,
    "shallow_hazards": _hazard,
    "known_hazards": _known_hazard,
    "zones": _zone,
    "depth_bands": _band,
    "cast_reach": _reach,
    "cast_lines": _cast_line,
    "left_out": _left_out,
    "water": _fixed("Water at today's level."),
    "dry_ground": _fixed("Dry ground at today's level."),
    "shoreline": _fixed("Water's edge at chart datum (normal pool)."),
}


def describe(role: str, row: Row, level_m: float | None) -> list[str]:
    """Sentences about one row.

    Parameters
    ----------
    role
        Part of the plan the row's layer is.
    row
        Column to value, without the geometry.
    level_m
        Today's surface minus chart datum in metres; None where it is not known: charted depths are then called so.
    """
    return [said for said in _BY_ROLE.get(role, _any)(row, level_m) if said]
