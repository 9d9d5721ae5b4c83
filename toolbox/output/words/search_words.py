"""What is said about rows that came of a search: structure, hold lines, marks, ways, verdicts, hours, answers.

What sentences about a row are made of: cells read, depths above or below, wind and waves.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from typing import Any, Final

from ...text import (
    bearing_text,
    both_distances,
    both_lengths,
    both_speeds,
    both_waves,
    clean,
    clock,
    length_and_error,
    number,
    one_line,
)

Row = Mapping[str, Any]


def get(row: Row, column: str) -> str:
    """Read a cell as clean text; empty where it is missing."""
    return clean(row.get(column)).strip()


def num(row: Row, column: str) -> float:
    """Read a cell as a number; NaN where it is none."""
    return number(row.get(column))


def known(*values: float) -> bool:
    """Whether all the numbers are known."""
    return all(math.isfinite(value) for value in values)


def sentence(text: str) -> str:
    """Text with a full stop, where it does not end with a sign of its own."""
    text = text.strip()
    return text if not text or text[-1] in ".!?…" else text + "."


def plain(text: str) -> str:
    """Turn a column's word into people's: ``conifer_brush`` is ``conifer brush``."""
    return one_line(text).replace("_", " ")


def above_or_below(depth_m: float, *, noun: str) -> str:
    """Say that something is under water or stands dry."""
    if depth_m < 0.0:
        return f"{noun} stands dry by {both_lengths(-depth_m)} today."
    return f"{noun} {both_lengths(depth_m)} down today."


def exposure(row: Row) -> list[str]:
    """Wind and waves at a place, the waves always as an estimate."""
    wind, towards, wave = num(row, "wind_mps"), num(row, "wind_from_deg"), num(row, "wave_m")
    said = []
    if known(wind):
        said.append(
            f"Wind {both_speeds(wind)}" + (f" from {bearing_text(towards)}." if known(towards) else ".")
        )
    if known(wave):
        low, high = num(row, "wave_low_m"), num(row, "wave_high_m")
        band = f", between {both_waves(low)} and {both_waves(high)}" if known(low, high) else ""
        method = get(row, "wave_method")
        said.append(f"Waves about {both_waves(wave)}{band}{f' by {method}' if method else ''}: an estimate.")
    return said


def structure(row: Row, level_m: float | None) -> list[str]:
    """Say what was found, and how sure that is."""
    del level_m
    said = [
        sentence(get(row, "description")) or sentence(plain(get(row, "kind")).capitalize()),
    ]
    top, base, slope = num(row, "top_today_m"), num(row, "base_today_m"), num(row, "slope_deg")
    deep, sure = num(row, "deep_bearing_deg"), num(row, "confidence")
    if known(top, base):
        said.append(f"From {both_lengths(top)} to {both_lengths(base)} down today.")
    if known(slope):
        said.append(f"Slope {slope:.0f}°.")
    if known(deep):
        said.append(f"Deep side {bearing_text(deep)}.")
    if known(sure):
        said.append(f"Found in the depths with confidence {sure:.2f} of 1; look before you trust it.")
    return said


def _hold_line(row: Row, level_m: float | None) -> list[str]:
    del level_m
    length, cast = num(row, "length_m"), num(row, "cast_m")
    least, most = num(row, "least_depth_m"), num(row, "most_depth_m")
    side, headings = get(row, "cast_side"), get(row, "headings")
    deep, wind = num(row, "deep_bearing_deg"), num(row, "wind_angle_deg")
    said = []
    if known(length):
        said.append(
            f"Follow this line for {both_distances(length)}" + (f", heading {headings}." if headings else ".")
        )
    if known(cast):
        said.append(f"Cast {both_distances(cast)}" + (f" to {side}." if side else "."))
    if known(least, most):
        said.append(f"Water along it {both_lengths(least)} to {both_lengths(most)} deep today.")
        if known(off := num(row, "least_depth_error_m")):
            said.append(f"Least depth along it {length_and_error(least, off)}.")
    if known(deep):
        said.append(f"Deep side {bearing_text(deep)}.")
    if known(wind):
        said.append(f"Cast {wind:.0f}° off the wind.")
    for word, column in (("Starts", "starts"), ("Ends", "ends")):
        if place := get(row, column):
            said.append(sentence(f"{word}: {place}"))
    return [*said, sentence(get(row, "reason"))]


def _line_up(row: Row, level_m: float | None) -> list[str]:
    del level_m
    bearing, distance = num(row, "bearing_deg"), num(row, "distance_m")
    error, crossing = num(row, "error_m"), num(row, "crossing_deg")
    words = get(row, "words")
    said = [sentence(words[:1].upper() + words[1:])]
    if known(bearing):
        said.append(
            f"It bears {bearing_text(bearing)}"
            + (f", {both_distances(distance)} away." if known(distance) else ".")
        )
    if known(error):
        said.append(f"Holds the boat to about {both_distances(error)}.")
    if known(crossing):
        said.append(f"Crosses the other mark at {crossing:.0f}°.")
    return said


def _fix(row: Row, level_m: float | None) -> list[str]:
    del level_m
    if get(row, "status") == "none":
        return ["No marks ashore serve here: " + sentence(get(row, "reason") or "no reason given")]
    error, bank, bank_bearing = num(row, "error_m"), num(row, "bank_m"), num(row, "bank_bearing_deg")
    words = get(row, "words")
    said = [sentence(words[:1].upper() + words[1:])]
    if known(error):
        said.append(f"The marks together hold the boat to about {both_distances(error)}.")
    if known(bank):
        mark = get(row, "bank_mark")
        where = f" at {bearing_text(bank_bearing)}" if known(bank_bearing) else ""
        said.append(f"Bank {both_distances(bank)} off{where}" + (f", {mark} above it." if mark else "."))
    return [*said, sentence(get(row, "reason"))]


def _way(row: Row, level_m: float | None) -> list[str]:
    del level_m
    distance, idle = num(row, "distance_m"), num(row, "idle_m")
    slow, seconds = num(row, "slow_m"), num(row, "time_s")
    said = [sentence(f"Safe way from {get(row, 'from_id')} to {get(row, 'to_id')}")]
    if known(distance):
        said.append(both_distances(distance) + (f", {seconds / 60.0:.0f} min." if known(seconds) else "."))
    if known(idle) and idle > 0.0:
        said.append(f"{both_distances(idle)} of it at idle.")
    if known(slow) and slow > 0.0:
        said.append(f"{both_distances(slow)} of it in slow zones.")
    return said


def _safe_water(row: Row, level_m: float | None) -> list[str]:
    del level_m
    how = {"run": "on plane", "idle": "at idle"}.get(get(row, "care"), plain(get(row, "care")))
    said = f"Water that is deep enough {how} by the estimate and clear of known hazards; keep a lookout."
    return [said]


def _verdict(row: Row, level_m: float | None) -> list[str]:
    del level_m
    fishable, reason, hour = num(row, "fishable"), get(row, "reason"), clock(row.get("time"))
    at = f" at {hour}" if hour else ""
    said = [f"Left out{at}." if fishable == 0.0 else f"Fishable{at}." if fishable == 1.0 else ""]
    if num(row, "marginal") == 1.0:
        said.append("Only just: a little more or less changes it.")
    return [*said, sentence(reason)]


def _hour(row: Row, level_m: float | None) -> list[str]:
    del level_m
    hour, gust, fetch = clock(row.get("time")), num(row, "gust_mps"), num(row, "fetch_m")
    said = [f"At {hour}:"] if hour else []
    said += exposure(row)
    if known(gust):
        said.append(f"Gusts {both_speeds(gust)}.")
    if known(fetch):
        said.append(f"Open water upwind {both_distances(fetch)}.")
    return said


def _answer(row: Row, level_m: float | None) -> list[str]:
    del level_m
    return [sentence(get(row, "question")), sentence(get(row, "answer"))]


def _gathered(row: Row, level_m: float | None) -> list[str]:
    del level_m
    day, kept, rows = get(row, "day"), num(row, "kept"), num(row, "rows")
    said = [f"Gathered{f' on {day}' if day else ''}"]
    if known(kept, rows):
        said[0] += f": {kept:.0f} of {rows:.0f} rows are in the book"
    return [sentence(said[0]), *([sentence(get(row, "noticed"))] if get(row, "noticed") else [])]


def _landmark(row: Row, level_m: float | None) -> list[str]:
    del level_m
    height, error = num(row, "height_m"), num(row, "position_error_m")
    said = [sentence(plain(get(row, "kind")).capitalize())]
    if known(height):
        said.append(f"Stands {both_lengths(height)} high.")
    if known(error):
        said.append(f"Position good to about {both_lengths(error)}.")
    return said


BY_ROLE: Final[dict[str, Callable[[Row, float | None], list[str]]]] = {
    "structure": structure,
    "hold_lines": _hold_line,
    "line_ups": _line_up,
    "fixes": _fix,
    "ways": _way,
    "safe_water": _safe_water,
    "verdicts": _verdict,
    "exposure": _hour,
    "answers": _answer,
    "gathered_from": _gathered,
    "landmarks": _landmark,
}
"""What is said of a row of each of these parts."""
