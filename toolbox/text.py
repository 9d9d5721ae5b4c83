"""Words and numbers fit for a file: clean text, names that differ, both units, UTC. Imports nothing heavy."""

from __future__ import annotations

import math
import re
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any, Final

from .errors import UsageError
from .units import FOOT_M, MILE_M, MPH_MPS

if TYPE_CHECKING:
    from collections.abc import Iterable


# Everything outside the Char production of XML 1.0 (W3C, fifth edition, section 2.2), the C1 controls that it
# discourages, and the bidirectional overrides with which a name could be made to read as another one.
_UNFIT: Final = re.compile(
    "[^\\t\\n\\r\\u0020-\\ud7ff\\ue000-\\ufffd\\U00010000-\\U0010ffff]|[\\u007f-\\u0084\\u0086-\\u009f]"
    "|[\\u202a-\\u202e\\u2066-\\u2069]|[\\ufdd0-\\ufdef]"
)


def is_missing(value: Any) -> bool:
    """Whether a cell of a table holds nothing: None, NaN, NaT or NA."""
    if value is None:
        return True
    try:
        return bool(value != value)  # noqa: PLR0124 -- NaN and NaT are what differs from itself
    except (TypeError, ValueError):  # NA has no truth value, an array has several
        return type(value).__name__ == "NAType"


def clean(value: Any) -> str:
    r"""Text without characters that XML or a screen cannot hold; line ends become ``\n``.

    Examples
    --------
    >>> clean("Old\x00 mill\r\nbridge")
    'Old mill\nbridge'
    """
    if type(value) is str and value.isascii() and value.isprintable():  # most are, and are fit as they are
        return value
    if type(value) is float or type(value) is int:  # of figures, points and signs
        return str(value) if value == value else ""  # noqa: PLR0124 -- NaN is what differs from itself
    if is_missing(value):
        return ""
    return _UNFIT.sub("", str(value)).replace("\r\n", "\n").replace("\r", "\n")


def one_line(value: Any) -> str:
    r"""Clean text on one line, white space collapsed.

    Examples
    --------
    >>> one_line(" two\n lines ")
    'two lines'
    """
    return " ".join(clean(value).split())


def shortened(value: Any, limit: int) -> str:
    """One line of at most ``limit`` characters, with an ellipsis where something was cut."""
    text = one_line(value)
    return text if len(text) <= limit else text[: limit - 1].rstrip() + "…"


def unique_names(names: Iterable[str]) -> list[str]:
    """Make each name different from all others regardless of case.

    Devices look way points up by name, many without regard to case; a second one would overwrite the first. The
    first holder keeps its name, later ones get the lowest free number behind it. An empty name is ``unnamed``.

    Examples
    --------
    >>> unique_names(["Hump", "hump", "Hump 2", ""])
    ['Hump', 'hump 3', 'Hump 2', 'unnamed']
    """
    wanted = [one_line(name) or "unnamed" for name in names]
    taken: set[str] = set()
    firsts: list[bool] = []
    for name in wanted:
        firsts.append(name.casefold() not in taken)
        taken.add(name.casefold())
    next_number: dict[str, int] = {}
    result = []
    for name, first in zip(wanted, firsts, strict=True):
        if first:
            result.append(name)
            continue
        number = next_number.get(name.casefold(), 2)
        while f"{name} {number}".casefold() in taken:
            number += 1
        next_number[name.casefold()] = number + 1
        taken.add(f"{name} {number}".casefold())
        result.append(f"{name} {number}")
    return result


def number(value: Any) -> float:
    """Read a cell as a float; NaN where it is missing, not a number or not finite."""
    if is_missing(value) or isinstance(value, (bool, datetime)):
        return math.nan
    try:
        found = float(value)
    except (TypeError, ValueError, OverflowError):
        return math.nan
    return found if math.isfinite(found) else math.nan


def both_lengths(value_m: float, *, signed: bool = False, metric_first: bool = False) -> str:
    """Say a depth, height or short distance in feet and metres.

    Examples
    --------
    >>> both_lengths(5.0)
    '16.4 ft (5.0 m)'
    >>> both_lengths(5.0, metric_first=True)
    '5.0 m (16.4 ft)'
    """
    value_m = 0.0 if abs(value_m) < 0.005 else value_m
    if signed:
        feet, metres = f"{value_m / FOOT_M:+.1f} ft", f"{value_m:+.2f} m"
    else:
        # adding nought turns what rounds to -0.0 into 0.0
        feet, metres = f"{round(value_m / FOOT_M, 1) + 0.0:.1f} ft", f"{round(value_m, 1) + 0.0:.1f} m"
    return f"{metres} ({feet})" if metric_first else f"{feet} ({metres})"


def how_many(count: int, one: str, several: str = "") -> str:
    """Write how many there are, with the words that go with one or with several; an s is added where none are given.

    Examples
    --------
    >>> how_many(1, "row"), how_many(2, "row"), how_many(1, "spot has", "spots have")
    ('1 row', '2 rows', '1 spot has')
    """
    return f"{count:,} {one if count == 1 else several or one + 's'}"


def none_of(count: int, several: str, one: str) -> str:
    """Begin a sentence about things of which none will do.

    Examples
    --------
    >>> none_of(3, "ramp can", "ramp cannot"), none_of(1, "ramp can", "ramp cannot")
    ('None of 3 ramps can', 'The one ramp cannot')
    """
    noun, _, verb = several.partition(" ")
    return f"The one {one}" if count == 1 else f"None of {count:,} {noun}s {verb}"


def length_and_error(value_m: float, error_m: float, *, metric_first: bool = False) -> str:
    """Say a depth and how far it may be off either way; the error is rounded up, and left out where it is not known.

    Examples
    --------
    >>> length_and_error(2.5, 0.6)
    '8.2 ft, 2.0 either way (2.5 m, 0.6 either way)'
    >>> length_and_error(2.5, 0.6, metric_first=True)
    '2.5 m, 0.6 either way (8.2 ft, 2.0 either way)'
    >>> length_and_error(2.5, math.nan)
    '8.2 ft (2.5 m)'
    """
    if not math.isfinite(error_m):
        return both_lengths(value_m, metric_first=metric_first)
    feet, metres = (
        f"{round(value_m / unit, 1) + 0.0:.1f} {word}, {math.ceil(error_m / unit * 10.0 - 1e-6) / 10.0:.1f} either way"
        for unit, word in ((FOOT_M, "ft"), (1.0, "m"))
    )
    return f"{metres} ({feet})" if metric_first else f"{feet} ({metres})"


def at_least(value: float, digits: int) -> str:
    """Write a number that must not read as nothing: what would round to nought is below the last digit told.

    Examples
    --------
    >>> at_least(0.049, 1), at_least(0.06, 1), at_least(0.2, 0)
    ('<0.1', '0.1', '<1')
    """
    said = f"{value:.{digits}f}"
    return said if float(said) > 0.0 else f"<{10.0**-digits:.{digits}f}"


def both_waves(value_m: float, *, metric_first: bool = False) -> str:
    """Say a wave height, finer in metres than a depth; an estimate of no wave at all is never a nought.

    Examples
    --------
    >>> both_waves(0.083)
    '0.3 ft (0.08 m)'
    >>> both_waves(0.012)
    '<0.1 ft (0.01 m)'
    """
    us, metric = f"{at_least(value_m / FOOT_M, 1)} ft", f"{at_least(value_m, 2)} m"
    return f"{metric} ({us})" if metric_first else f"{us} ({metric})"


def both_distances(value_m: float, *, metric_first: bool = False) -> str:
    """Say a cast or a leg: feet and metres up to a quarter of a mile, miles and kilometres beyond.

    Examples
    --------
    >>> both_distances(21.336)
    '70 ft (21 m)'
    >>> both_distances(3218.688)
    '2.00 mi (3.22 km)'
    """
    if value_m < MILE_M / 4:
        us, metric = f"{at_least(value_m / FOOT_M, 0)} ft", f"{at_least(value_m, 0)} m"
    else:
        us, metric = f"{value_m / MILE_M:.2f} mi", f"{value_m / 1000.0:.2f} km"
    return f"{metric} ({us})" if metric_first else f"{us} ({metric})"


def both_speeds(value_mps: float, *, metric_first: bool = False) -> str:
    """Say a wind or boat speed in miles an hour and metres a second.

    Examples
    --------
    >>> both_speeds(4.4704)
    '10 mph (4.5 m/s)'
    """
    us, metric = f"{at_least(value_mps / MPH_MPS, 0)} mph", f"{at_least(value_mps, 1)} m/s"
    return f"{metric} ({us})" if metric_first else f"{us} ({metric})"


_METRIC_PAIR: Final = re.compile(r"(-?\d[\d.]*) (m/s|km|m) \((-?\d[\d.]*) (mph|mi|ft)\)")


def units_in_order(text: str, *, metric_first: bool) -> str:
    """Say pairs of units in a sentence as everywhere else, the wanted system first; layers name metres first.

    Examples
    --------
    >>> units_in_order("dry by 0.3048 m (1 ft)", metric_first=False)
    'dry by 1.0 ft (0.3 m)'
    """

    def said(found: re.Match[str]) -> str:
        value, unit = float(found[1]), found[2]
        if unit == "m":
            return both_lengths(value, metric_first=metric_first)
        if unit == "m/s":
            return both_speeds(value, metric_first=metric_first)
        us, metric = f"{found[3]} {found[4]}", f"{found[1]} {unit}"
        return f"{metric} ({us})" if metric_first else f"{us} ({metric})"

    return _METRIC_PAIR.sub(said, text)


def one_distance(value_m: float, *, metric: bool) -> str:
    """Say a distance in one system, for lists that have room for no more.

    Examples
    --------
    >>> one_distance(3218.688, metric=False), one_distance(40.0, metric=True)
    ('2.00 mi', '40 m')
    """
    return both_distances(value_m, metric_first=metric).split(" (")[0]


def bearing_text(value_deg: float) -> str:
    """Say a bearing in three figures, as bearings are said.

    Examples
    --------
    >>> bearing_text(359.7)
    '000°'
    """
    return f"{round(value_deg) % 360:03d}°"


def boat_position(lon_deg: float, lat_deg: float) -> str:
    """Say a place in degrees and minutes to a thousandth, about two metres, as it is keyed in aboard.

    Examples
    --------
    >>> boat_position(-98.50125, 40.1)
    "40°06.000' N 098°30.075' W"
    """
    said = []
    for value, places, signs in ((lat_deg, 2, "NS"), (lon_deg, 3, "EW")):
        degrees, thousandths = divmod(round(abs(value) * 60_000.0), 60_000)
        said.append(f"{degrees:0{places}d}°{thousandths / 1000.0:06.3f}' {signs[value < 0.0]}")
    return " ".join(said)


def utc(value: Any) -> str | None:
    """Write a time as ``YYYY-MM-DDThh:mm:ssZ``; None where it is missing, unreadable or carries no zone.

    A time without a zone is not guessed at: it could be hours off.

    Examples
    --------
    >>> utc("2031-05-03T06:30:00-05:00")
    '2031-05-03T11:30:00Z'
    >>> utc("2031-05-03T06:30:00") is None
    True
    """
    if is_missing(value) or value == "":
        return None
    if not isinstance(value, datetime):
        try:
            value = datetime.fromisoformat(str(value).strip())
        except ValueError:
            return None
    if value.tzinfo is None:
        return None
    try:
        moment: datetime = value.astimezone(UTC)
    except (OverflowError, ValueError):
        return None
    return moment.strftime("%Y-%m-%dT%H:%M:%SZ") if moment.year >= 1000 else None


def stamp(made: datetime | None) -> str | None:
    """Write the moment a file was made, in UTC; None where it is not told.

    Raises
    ------
    UsageError
        The moment carries no zone.
    """
    if made is None:
        return None
    moment = utc(made)
    if moment is None:
        raise UsageError(
            f"made is {made!r}, a time without a zone; give one with a zone, such as datetime.now(UTC)."
        )
    return moment


def clock(value: Any) -> str:
    """Local clock time ``hh:mm`` of a time written with its zone; other text as it stands.

    Examples
    --------
    >>> clock("2031-05-03T06:30:00-05:00")
    '06:30'
    """
    if is_missing(value):
        return ""
    if not isinstance(value, datetime):
        try:
            value = datetime.fromisoformat(str(value).strip())
        except ValueError:
            return one_line(value)
    return str(value.strftime("%H:%M"))
