"""What is said about a row of a layer: short sentences, every length in both unit systems."""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

from ...text import (
    bearing_text,
    both_distances,
    both_lengths,
    both_speeds,
    clock,
    is_missing,
    length_and_error,
    one_line,
    units_in_order,
)
from . import search_words as words_found
from .search_words import Row, above_or_below, exposure, get, known, num, plain, sentence

_STRAIGHT_DEG: Final = 10.0
_PLAIN_STOPS: Final = frozenset({"", "hold", "ramp"})
_PARTS: Final = {"run": "running", "idle": "at idle", "launch": "between ramp and open water, at idle"}


def _why(row: Row, column: str) -> str:
    """Give what a layer says of itself, its units in the order of all other words."""
    return units_in_order(get(row, column), metric_first=False)


def _depths(row: Row, level_m: float | None) -> list[str]:
    bottom, charted, height = num(row, "depth_today_m"), num(row, "depth_m"), num(row, "height_m")
    top = num(row, "top_today_m")
    if not known(bottom) and level_m is not None and known(charted):
        bottom = charted + level_m
    if not known(top) and known(bottom, height):
        top = bottom - height
    said = []
    if known(bottom):
        said.append(above_or_below(bottom, noun="Bottom"))
        if known(top) and top != bottom:
            said.append(above_or_below(top, noun="Top"))
    elif known(charted):
        said.append(f"Bottom {both_lengths(charted)} below chart datum; take the level off.")
        if known(height):
            said.append(f"Stands {both_lengths(height)} off the bottom.")
    return said


def _times(row: Row) -> list[str]:
    arrive, leave = clock(row.get("arrive")), clock(row.get("leave"))
    if arrive and leave:
        return [f"Arrive {arrive}, leave {leave}."]
    return [f"Arrive {arrive}."] if arrive else [f"Leave {leave}."] if leave else []


def _spot(row: Row, level_m: float | None) -> list[str]:
    said = []
    fishable = num(row, "fishable")
    reason = _why(row, "reason")
    if fishable == 0.0:
        said.append("Left out today: " + sentence(reason or "no reason given"))
    said.append(sentence(plain(get(row, "kind")).capitalize()))
    said += _depths(row, level_m)
    if fishable == 1.0 and reason:
        said.append(sentence(reason))
    said += exposure(row)
    rating, error = num(row, "rating"), num(row, "position_error_m")
    if known(rating):
        said.append(f"Rated {rating:g} of 5.")
    if run_note := _why(row, "run_note"):
        said.append("Not on the run: " + sentence(run_note))
    if note := get(row, "note"):
        said.append("Note: " + sentence(note))
    if source := get(row, "source"):
        said.append("Source: " + sentence(source))
    if surveyed := get(row, "surveyed"):
        said.append("Surveyed: " + sentence(surveyed))
    if known(error):
        said.append(f"Position good to about {both_lengths(error)}.")
    return said


def _structure(row: Row, level_m: float | None) -> list[str]:
    # what was found tells itself; the rest is what is said of every spot
    said = words_found.structure(row, level_m)
    return [*said, *(more for more in _spot(row, level_m)[1:] if more not in said)]


def _into_wind(angle_deg: float) -> str:
    if angle_deg < _STRAIGHT_DEG:
        return "Cast straight into the wind."
    if angle_deg > 180.0 - _STRAIGHT_DEG:
        return "Cast straight down the wind."
    return f"Cast {angle_deg:.0f}° off the wind."


def _hold(row: Row, level_m: float | None) -> list[str]:
    del level_m  # the depth of a hold is today's already
    if get(row, "status") == "none":
        return ["No hold found: " + sentence(_why(row, "reason") or "no reason given")]
    depth, cast, bearing = num(row, "depth_today_m"), num(row, "cast_m"), num(row, "cast_bearing_deg")
    deep, wind = num(row, "deep_bearing_deg"), num(row, "wind_angle_deg")
    said = []
    if known(depth):
        said.append(f"Boat in {length_and_error(depth, num(row, 'depth_error_m'))} of water today.")
    if known(cast):
        said.append(
            f"Cast {both_distances(cast)}" + (f" to {bearing_text(bearing)}." if known(bearing) else ".")
        )
    if known(deep):
        said.append(f"Deep side {bearing_text(deep)}.")
    if known(wind):
        said.append(_into_wind(wind))
    if reason := _why(row, "reason"):
        said.append(sentence(reason[:1].upper() + reason[1:]))
    return said + exposure(row)


def _stop(row: Row, level_m: float | None) -> list[str]:
    del level_m
    reason = _why(row, "reason")
    return _times(row) + exposure(row) + ([sentence(reason)] if reason not in _PLAIN_STOPS else [])


def _leg(row: Row, level_m: float | None) -> list[str]:
    del level_m
    how = _PARTS.get(get(row, "part"), plain(get(row, "part")))
    said = [sentence(f"From {get(row, 'from_id')} to {get(row, 'to_id')}, {how}")]
    distance, slow, seconds = num(row, "distance_m"), num(row, "slow_m"), num(row, "time_s")
    least, clearance = num(row, "min_depth_m"), num(row, "min_clearance_m")
    if known(distance):
        said.append(both_distances(distance) + (f", {seconds / 60.0:.0f} min." if known(seconds) else "."))
    if known(slow) and slow > 0.0:
        said.append(f"{both_distances(slow)} of it in slow zones.")
    if known(least):
        error = num(row, "min_depth_error_m")
        said.append(f"Least depth today {length_and_error(least, error)}.")
    if known(clearance):
        what, side = _why(row, "nearest_hazard"), get(row, "hazard_side")
        named = f" ({plain(what)}, {side})" if what and side else ""
        said.append(f"Nearest hazard edge {both_distances(clearance)} off{named}.")
    return said


def _ramp(row: Row, level_m: float | None) -> list[str]:
    least = num(row, "min_level_m")
    if not known(least):
        return ["Ramp; the level it needs is not known."]
    said = [f"Ramp, usable down to level {both_lengths(least, signed=True)}."]
    if level_m is not None and level_m < least:
        said.insert(0, "Out of use at today's level.")
    return said


def _hazard(row: Row, level_m: float | None) -> list[str]:
    del level_m
    least, care = num(row, "least_depth_m"), get(row, "care")
    said = [
        "Too thin even at idle." if care == "idle" else "Too thin to run on plane." if care == "run" else ""
    ]
    if known(least):
        said.append(above_or_below(least, noun="Shallowest part"))
    return [*said, sentence(_why(row, "reason"))]


def _known_hazard(row: Row, level_m: float | None) -> list[str]:
    said = [sentence(plain(get(row, "kind")).capitalize())]
    top = num(row, "top_depth_m")
    if known(top) and level_m is not None:
        said.append(above_or_below(top + level_m, noun="Top"))
    elif known(top):
        said.append(f"Top {both_lengths(top)} below chart datum; take the level off.")
    return said


def _zone(row: Row, level_m: float | None) -> list[str]:
    del level_m
    says = {"slow": "Slow zone", "no_entry": "No entry", "no_motor": "No motors"}
    zone, speed = get(row, "zone"), num(row, "speed_mps")
    said = [
        says.get(zone, plain(zone))
        + (f", at most {both_speeds(speed)}." if zone == "slow" and known(speed) else ".")
    ]
    return [*said, sentence(_why(row, "reason"))]


def _band(row: Row, level_m: float | None) -> list[str]:
    del level_m
    low, high = num(row, "from_m"), num(row, "to_m")
    if known(low, high):
        return [f"Water {both_lengths(low)} to {both_lengths(high)} deep today."]
    return [f"Water deeper than {both_lengths(low)} today."] if known(low) else []


def _isobath(row: Row, level_m: float | None) -> list[str]:
    del level_m  # drawn at today's level
    depth = num(row, "depth_m")
    return [f"Depth {both_lengths(depth)} today."] if known(depth) else []


def _reach(row: Row, level_m: float | None) -> list[str]:
    del level_m
    said = [
        "Water from which the spot is within a cast."
        if get(row, "status") == "ok"
        else "Not within a cast of open water."
    ]
    return [*said, sentence(_why(row, "reason"))]


def _left_out(row: Row, level_m: float | None) -> list[str]:
    del level_m
    return ["Left out of the run: " + sentence(_why(row, "reason") or "no reason given")]


def _contradiction(row: Row, level_m: float | None) -> list[str]:
    del level_m
    chart, sounded, believed = num(row, "charted_m"), num(row, "sounded_m"), get(row, "believed")
    if not known(chart, sounded):
        return []
    said = [f"The chart says {both_lengths(chart)}, a sounding {both_lengths(sounded)}, below chart datum."]
    verb = "was" if believed == "raster" else "were"
    return [*said, *([f"The {believed} {verb} believed."] if believed else [])]


def _cast_line(row: Row, level_m: float | None) -> list[str]:
    del level_m
    cast, bearing = num(row, "cast_m"), num(row, "cast_bearing_deg")
    return (
        [f"Cast {both_distances(cast)}" + (f" to {bearing_text(bearing)}." if known(bearing) else ".")]
        if known(cast)
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
    "route": _leg,
    "ramps": _ramp,
    "shallow_hazards": _hazard,
    "known_hazards": _known_hazard,
    "zones": _zone,
    "depth_bands": _band,
    "isobaths": _isobath,
    "cast_reach": _reach,
    "cast_lines": _cast_line,
    "left_out": _left_out,
    "contradictions": _contradiction,
    **words_found.BY_ROLE,
    "structure": _structure,
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
