"""Quantities with units: text such as ``80ft`` or ``15mph`` to SI floats and back to words.

A table holds the units that are accepted and no others; a library of units would take longer to load than most steps
take, and is held against it in the tests. The foot is the international foot, 0.3048 m exactly; the US survey foot is
``ftUS``.
"""

from __future__ import annotations

import math
import re
from fractions import Fraction
from typing import Final

from .errors import UnitError, UsageError

FOOT_M: Final = 0.3048  # international foot, by definition
MILE_M: Final = 1609.344  # international mile
MPH_MPS: Final = MILE_M / 3600.0
FATHOM_M: Final = 1.8288  # six feet
GALLON_L: Final = 3.785411784  # US gallon, by definition

# What one of each is in the SI unit of its kind, exactly, by definition; nothing else is accepted.
_FACTORS: Final[dict[str, dict[str, Fraction]]] = {
    "length": {
        "m": Fraction(1),
        "cm": Fraction(1, 100),
        "mm": Fraction(1, 1000),
        "km": Fraction(1000),
        "ft": Fraction(3048, 10_000),
        "in": Fraction(254, 10_000),
        "yd": Fraction(9144, 10_000),
        "mi": Fraction(1_609_344, 1000),
        "nmi": Fraction(1852),
        "fathom": Fraction(18_288, 10_000),
        "ftUS": Fraction(1200, 3937),
    },
    "speed": {
        "m/s": Fraction(1),
        "km/h": Fraction(1000, 3600),
        "mph": Fraction(1_609_344, 3_600_000),
        "kn": Fraction(1852, 3600),
        "ft/s": Fraction(3048, 10_000),
    },
    "time": {"s": Fraction(1), "min": Fraction(60), "h": Fraction(3600)},
    "bearing": {"deg": Fraction(1)},
    "volume": {"L": Fraction(1), "gal": Fraction(3_785_411_784, 10**9)},  # US gallon, 231 cubic inches
    "flow": {
        "L/h": Fraction(1),
        "gal/h": Fraction(3_785_411_784, 10**9),
        "gph": Fraction(3_785_411_784, 10**9),
    },
}

ACCEPTED: Final[dict[str, tuple[str, ...]]] = {kind: tuple(units) for kind, units in _FACTORS.items()}
_EXAMPLE: Final = {
    "length": "80ft",
    "speed": "15mph",
    "time": "25min",
    "bearing": "225deg or SW",
    "volume": "40gal",
    "flow": "12gal/h",
}

# What a parameter may be, in SI. Below the least a length, time or volume is nought (what is left of subtracting equal
# numbers is as small); a speed or flow is refused, since a time or range divided by it would be beyond all dates.
LEAST: Final = {"length": 1e-9, "time": 1e-9, "volume": 1e-9, "bearing": 1e-9, "speed": 1e-3, "flow": 1e-3}
MOST: Final = 1e9

COMPASS: Final = (
    "N", "NNE", "NE", "ENE", "E", "ESE", "SE", "SSE",
    "S", "SSW", "SW", "WSW", "W", "WNW", "NW", "NNW",
)  # fmt: skip

_PART: Final = re.compile(r"\s*([+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?)\s*([A-Za-z°/'\"]*)")


def _refuse(text: str, kind: str, why: str) -> UnitError:
    units = ", ".join(ACCEPTED[kind])
    return UnitError(
        f"'{text}' {why}. Write a {kind} with its unit, such as {_EXAMPLE[kind]} (units: {units})."
    )


def _one(number: str, unit: str, text: str, kind: str) -> float:
    if not unit:
        raise _refuse(text, kind, "has no unit")
    if unit not in ACCEPTED[kind]:
        other = next((name for name, units in ACCEPTED.items() if unit in units), None)
        why = f"is a {other}, not a {kind}" if other else f"has a unit that is not known ('{unit}')"
        raise _refuse(text, kind, why)
    return float(number) * float(_FACTORS[kind][unit])


def parse(text: str, kind: str) -> float:
    """Read a quantity written with its unit.

    Parameters
    ----------
    text
        Number and unit, such as ``80ft``, ``-4 ft``, ``5ft 6in``, ``12 kn``; a bearing may be a compass point (``SW``).
    kind
        ``length``, ``speed``, ``time``, ``bearing``, ``volume`` or ``flow``.

    Returns
    -------
    The value in metres, metres per second, seconds, degrees, litres or litres an hour; a bearing is brought into 0
    to 360.

    Raises
    ------
    UnitError
        No unit, an unknown unit, a unit of another kind, or no finite number.

    Examples
    --------
    >>> parse("10ft", "length")
    3.048
    >>> parse("SW", "bearing")
    225.0
    """
    given = str(text).strip()
    if kind == "bearing" and given.upper() in COMPASS:
        return COMPASS.index(given.upper()) * 22.5
    parts: list[tuple[str, str]] = []
    at = 0
    while at < len(given):
        found = _PART.match(given, at)
        if found is None or found.end() == at:
            raise _refuse(given, kind, f"is not a {kind}")
        parts.append((found.group(1), found.group(2)))
        at = found.end()
    if not parts:
        raise _refuse(given, kind, f"is not a {kind}")
    if len(parts) > 1 and any(number[0] in "+-" for number, _ in parts[1:]):
        raise _refuse(given, kind, f"is not a {kind}")
    sign = -1.0 if parts[0][0].startswith("-") else 1.0
    value = sign * sum(abs(_one(number, unit, given, kind)) for number, unit in parts)
    if not math.isfinite(value):
        raise _refuse(given, kind, "is not a finite number")
    return value % 360.0 if kind == "bearing" else value


def convert(value: float, unit: str, kind: str) -> float:
    """Turn a plain number in a named unit into SI.

    Raises
    ------
    UnitError
        The unit is unknown or of another kind.
    """
    return parse(f"{value!r}{unit}", kind)


def check_finite(value: float, name: str) -> float:
    """Return the value as a float when it is a finite number.

    Raises
    ------
    UsageError
        Not a number, or not finite.
    """
    if isinstance(value, bool) or not isinstance(value, (int, float)):
        try:
            value = float(value)
        except (TypeError, ValueError):
            raise UsageError(f"{name} is {value!r}; give a number in SI units.") from None
    try:
        value = float(value)
    except OverflowError:  # a whole number of more than 308 digits
        raise UsageError(f"{name} has too many digits; give a number below 1e300.") from None
    if not math.isfinite(value):
        raise UsageError(f"{name} is {value!r}; give a finite number.")
    return float(value)


def check_size(value: float, kind: str, name: str) -> float:
    """Return a quantity that is of a size anything on a lake has; one next to nought as nought.

    Parameters
    ----------
    value
        In SI.
    kind
        As in `parse`.
    name
        What it is called in messages.

    Raises
    ------
    UsageError
        Beyond `MOST`, or a speed or flow below `LEAST` that is not nought.
    """
    if abs(value) > MOST:
        raise UsageError(f"{name} is {value:g} in SI units; at most {MOST:g} is taken.")
    if value != 0.0 and abs(value) < LEAST[kind]:
        if kind in ("speed", "flow"):
            least = f"{LEAST[kind]:g} {'m/s' if kind == 'speed' else 'L/h'}"
            raise UsageError(f"{name} is {value:g} in SI units; it must be 0 or at least {least}.")
        return 0.0
    return value


def in_words(value: float, kind: str) -> str:
    """Say an SI value in metric and US units.

    Examples
    --------
    >>> in_words(21.336, "length")
    '21.3 m (70 ft)'
    """
    if kind == "length":
        if abs(value) >= 1000.0:
            return f"{value / 1000.0:.2f} km ({value / MILE_M:.2f} mi)"
        return (
            f"{value:.4g} m ({value / FOOT_M:.3g} ft)"
            if abs(value) < 100
            else f"{value:.0f} m ({value / FOOT_M:.0f} ft)"
        )
    if kind == "speed":
        return f"{value:.3g} m/s ({value / MPH_MPS:.3g} mph)"
    if kind == "time":
        return f"{value / 60:.4g} min" if value >= 60 else f"{value:.4g} s"
    if kind == "volume":
        return f"{value:.3g} L ({value / GALLON_L:.3g} gal)"
    if kind == "flow":
        return f"{value:.3g} L/h ({value / GALLON_L:.3g} gal/h)"
    return f"{value:.0f} deg ({compass_point(value)})"


_ROUND: Final = {  # units in which a default may have been chosen, the first that makes it round says so
    "length": (("ft", FOOT_M), ("in", FOOT_M / 12.0), ("mi", MILE_M), ("m", 1.0), ("km", 1000.0)),
    "speed": (("mph", MPH_MPS), ("m/s", 1.0)),
    "volume": (("gal", GALLON_L), ("L", 1.0)),
    "flow": (("gal/h", GALLON_L), ("L/h", 1.0)),
}
_OTHER_SYSTEM: Final = {"ft": "m", "in": "m", "mi": "km", "m": "ft", "km": "mi", "mph": "m/s", "m/s": "mph"} | {
    "gal": "L", "L": "gal", "gal/h": "L/h", "L/h": "gal/h",
}  # fmt: skip
_SHARES: Final = {
    1 / 4: "a quarter",
    1 / 3: "a third",
    1 / 2: "a half",
    2 / 3: "two thirds",
    3 / 4: "three quarters",
}


def default_in_words(value: float, kind: str) -> str:
    """Say a default: in the system in which it is a round figure first, in the other beside it.

    Parameters
    ----------
    value
        In SI.
    kind
        As in `parse`; empty for a bare number.

    Examples
    --------
    >>> default_in_words(12.192, "length"), default_in_words(8.0, "length"), default_in_words(1 / 3, "")
    ('40 ft (12.2 m)', '8 m (26.2 ft)', 'a third')
    >>> default_in_words(0.1016, "length"), default_in_words(8.9408, "speed"), default_in_words(0.0, "length")
    ('4 in (0.102 m)', '20 mph (8.94 m/s)', '0')
    """
    if not kind:
        return next((words for share, words in _SHARES.items() if math.isclose(value, share)), f"{value:.4g}")
    if value == 0.0 and kind != "bearing":
        return "0"
    if kind == "bearing":
        return f"{value:g}°"
    sizes = dict(_ROUND.get(kind, ()))
    # Two digits are round, then three: a foot and a half before 0.457 m, 8 m before 26.2 ft.
    for digits in (2, 3):
        for unit, size in sizes.items():
            told = value / size
            if abs(told) >= 1.0 and math.isclose(told, float(f"{told:.{digits}g}"), rel_tol=1e-6):
                other = _OTHER_SYSTEM[unit]
                return f"{told:g} {unit} ({float(f'{value / sizes[other]:.3g}'):g} {other})"
    return in_words(value, kind)


def compass_point(bearing_deg: float) -> str:
    """Name the nearest of the sixteen compass points.

    Examples
    --------
    >>> compass_point(359.0)
    'N'
    """
    return COMPASS[round((bearing_deg % 360.0) / 22.5) % 16]
