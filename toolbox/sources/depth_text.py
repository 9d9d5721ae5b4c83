"""Depths and heights as people write them: ``10-15``, ``10'``, ``8 to 12 ft``, ``3 m``, ``unknown``."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Final

from ..units import convert

DEEPEST_M: Final = 2000.0  # deeper than any lake: what is beyond is a slip of the pen
_LONGEST: Final = 80

_UNKNOWN: Final = frozenset(
    [
        "", "-", "--", "?", "??", "unknown", "unk", "unkn", "n/a", "na", "n.a.", "none", "nan", "null", "nil",
        "tbd", "varies", "various", "variable", "not known", "not given", "no data", "nd", "x", "xx",
    ]
)  # fmt: skip
_SAME: Final = str.maketrans(
    {
        **dict.fromkeys("′’‘´`", "'"),
        **dict.fromkeys("″”“", '"'),
        **dict.fromkeys("−–—‐‑", "-"),
        "\u00a0": " ",
        "\u2009": " ",
    }
)
_UNIT: Final = (
    r"(?:feet|foot|ft\.?|f|'|met(?:er|re)s?|mtrs?|m|fathoms?|fms?|fth|inch(?:es)?|in\.?|\"|cm|yards?|yds?)"
)
_NUMBER: Final = r"(?:\d+(?:[.,]\d+)?|[.,]\d+)"
_FEET_INCHES: Final = re.compile(
    rf"({_NUMBER})\s*(?:'|ft\.?|feet|foot)\s*-?\s*({_NUMBER})\s*(?:\"|''|in\.?|inch(?:es)?)"
)
_RANGE: Final = re.compile(
    rf"({_NUMBER})\s*({_UNIT})?\s*(?:-|\.\.+|to|thru|through|and|&|/)\s*({_NUMBER})\s*({_UNIT})?",
    re.IGNORECASE,
)
_OVER: Final = re.compile(rf"({_NUMBER})\s*({_UNIT})?\s*over\s*({_NUMBER})\s*({_UNIT})?", re.IGNORECASE)
_SPREAD: Final = re.compile(
    rf"({_NUMBER})\s*({_UNIT})?\s*(?:±|\+/-|\+-)\s*({_NUMBER})\s*({_UNIT})?", re.IGNORECASE
)
_SINGLE: Final = re.compile(rf"({_NUMBER})\s*({_UNIT})?", re.IGNORECASE)
_ABOUT: Final = re.compile(
    r"^(?:~|≈|about|abt\.?|approx(?:imately|\.)?|around|roughly|circa|ca?\.)\s*", re.IGNORECASE
)
_BOUND: Final = re.compile(
    r"^(?:[<>≤≥]=?|up to|at least|less than|more than|over|under|max\.?|min\.?)\s*|\s*\+$", re.IGNORECASE
)
_OF: Final = re.compile(r"\s*\(?\b(?:(?:at|to|of)\s+)?(?:the\s+)?(top|bottom)\b\)?\s*:?\s*", re.IGNORECASE)
_WORDS: Final = re.compile(r"\b(?:depth|deep|of water|water)\b\s*[:=]?", re.IGNORECASE)
_POINT: Final = re.compile(r"^\s*-\s*(?=[\d.])")


@dataclass(frozen=True, slots=True)
class DepthText:
    """What a depth text says."""

    # shallow and deep end, equal for a single figure; NaN when nothing usable was said
    least_m: float = float("nan")
    most_m: float = float("nan")
    # depth of the top where the text gives top and bottom (``8 over 14``); else NaN
    top_m: float = float("nan")
    of: str = ""  # ``top`` or ``bottom`` where the text says which it is; else empty
    remark: str = ""  # what was read into it, or why it was not used; empty when there is nothing to say


def unit_of(word: str) -> str:
    """Turn a unit as written (``'``, ``Feet``, ``mtrs``) into ft, m, in, cm, yd or fathom; empty when unknown.

    Examples
    --------
    >>> unit_of("'"), unit_of("Metres"), unit_of("furlong")
    ('ft', 'm', '')
    """
    tidy = word.strip().lower().rstrip(".")
    for start, unit in (
        ("fath", "fathom"), ("fms", "fathom"), ("fm", "fathom"), ("fth", "fathom"),
        ("met", "m"), ("mtr", "m"), ("in", "in"), ('"', "in"), ("cm", "cm"), ("y", "yd"),
        ("f", "ft"), ("'", "ft"), ("m", "m"),
    ):  # fmt: skip
        if tidy.startswith(start) and (len(tidy) <= len(start) or re.fullmatch(_UNIT, tidy)):
            return unit
    return ""


def _value(number: str, word: str | None, unit: str | None) -> float | None:
    chosen = unit_of(word) if word else unit
    return None if not chosen else convert(float(number.replace(",", ".")), chosen, "length")


def _parts(text: str, unit: str | None) -> tuple[float | None, float | None, float | None] | None:
    """Least, most and top in metres (None: no unit); None when the text has no known shape."""
    if found := _FEET_INCHES.fullmatch(text):
        whole = _value(found[1], "ft", None)
        rest = _value(found[2], "in", None)
        both = None if whole is None or rest is None else whole + rest
        return both, both, float("nan")
    if found := _OVER.fullmatch(text):
        first, second = found[2] or found[4], found[4] or found[2]
        top, bottom = _value(found[1], first, unit), _value(found[3], second, unit)
        return (bottom, bottom, top) if top is None or bottom is None or top <= bottom else None
    if found := _SPREAD.fullmatch(text):
        first, second = found[2] or found[4], found[4] or found[2]
        middle, half = _value(found[1], first, unit), _value(found[3], second, unit)
        if middle is None or half is None:
            return None, None, float("nan")
        return (middle - half, middle + half, float("nan")) if half <= middle else None
    if found := _RANGE.fullmatch(text):
        first, second = found[2] or found[4], found[4] or found[2]
        one, two = _value(found[1], first, unit), _value(found[3], second, unit)
        if one is None or two is None:
            return None, None, float("nan")
        return min(one, two), max(one, two), float("nan")
    if found := _SINGLE.fullmatch(text):
        only = _value(found[1], found[2], unit)
        return only, only, float("nan")
    return None


def read_depth(text: str, unit: str | None, what: str = "depth") -> DepthText:
    """Read one depth or height.

    Parameters
    ----------
    text
        The cell. A unit in it goes before ``unit``.
    unit
        ``ft`` or ``m`` for figures without a unit; None when nobody said: such figures are not used.
    what
        What the remark calls it: ``depth``, ``height``.

    Returns
    -------
    The ends of a range are kept; a bound (``20+``, ``<10``) is taken as its figure and said so.

    Notes
    -----
    What makes the result wrong: ``10/12`` is read as a range though it may be a date; a sign (``-12``) is not used,
    as it may mean below the water or above it.

    Examples
    --------
    >>> read_depth("10'", None).least_m
    3.048
    >>> round(read_depth("8 to 12 ft", None).most_m, 4)
    3.6576
    """
    given = str(text).translate(_SAME).strip()
    if given.lower().strip(" .") in _UNKNOWN:
        return DepthText()
    if len(given) > _LONGEST:
        return DepthText(remark=f"{what} text too long to read")
    if _POINT.match(given):
        return DepthText(remark=f"{what} '{given}' has a minus sign: not used")
    of = ""
    if (part := _OF.search(given)) and len(_OF.findall(given)) == 1:
        of = part[1].lower()
        given = _OF.sub(" ", given).strip()
    tidy = _WORDS.sub(" ", given).strip()
    tidy = _ABOUT.sub("", tidy).strip()
    parts, bound = _parts(tidy, unit), False
    if parts is None and _BOUND.search(tidy):
        bound = True
        tidy = _BOUND.sub("", tidy).strip()
        parts = _parts(tidy, unit)
    if parts is None:
        return DepthText(remark=f"{what} '{given[:40]}' could not be read")
    least, most, top = parts
    if least is None or most is None or top is None:
        return DepthText(remark=f"{what} '{given[:40]}' has no unit: not used")
    if most > DEEPEST_M:
        return DepthText(remark=f"{what} '{given[:40]}' is deeper than any lake: not used")
    return DepthText(
        least, most, top, of, f"{what} '{given[:40]}' is a bound, taken as its figure" if bound else ""
    )
