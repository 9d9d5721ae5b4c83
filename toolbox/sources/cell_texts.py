"""Cells as people write them: angles in degrees, minutes and seconds, and depths and heights in any unit."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, TypeVar

from ..units import convert

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable

T = TypeVar("T")

_LONGEST: Final = 60  # characters; no angle needs more

_SAME: Final = str.maketrans(
    {
        **dict.fromkeys("ºᵒ˚⁰", "°"),
        **dict.fromkeys("′’‘´`ʹʼ", "'"),
        **dict.fromkeys("″”“„ʺ", '"'),
        **dict.fromkeys("−–—‐‑", "-"),
        **dict.fromkeys("\u00a0\u2007\u2009\u202f\t", " "),
    }
)
_PREFIX: Final = re.compile(r"^\s*(?P<axis>lat|lon|lng)[a-z]*\s*[.:=]?\s*", re.IGNORECASE)
_WORDS: Final[tuple[tuple[re.Pattern[str], str], ...]] = (
    (re.compile(r"(?<=[\d.])\s*(?:degrees?|deg\.?|d)(?![a-z])", re.IGNORECASE), "°"),
    (re.compile(r"(?<=[\d.])\s*(?:minutes?|min\.?)(?![a-z])", re.IGNORECASE), "'"),
    (re.compile(r"(?<=[\d.])\s*(?:seconds?|sec\.?)(?![a-z])", re.IGNORECASE), '"'),
    (re.compile(r"\b(n|s)(?:orth|outh)\b|\b(e|w)(?:ast|est)\b", re.IGNORECASE), r"\1\2"),
    (re.compile(r"''"), '"'),
    (re.compile(r"(?<=\d),(?=\d)"), "."),
)
_SHAPE: Final = re.compile(
    r"(?P<lead>[NSEW])?\.?\s*(?P<sign>[+-])?\s*(?P<body>[\d.][\d.\s°'\":-]*?)\s*(?P<trail>[NSEW])?\.?",
    re.IGNORECASE,
)
_PIECE: Final = re.compile(r"(?P<number>\d+\.?\d*|\.\d+)\s*(?P<mark>[°'\":-]?)\s*")
_PLACE: Final = {"°": 0, "'": 1, '"': 2}
_PER_DEGREE: Final = (1.0, 60.0, 3600.0)
_NAMES: Final = ("degrees", "minutes", "seconds")


@dataclass(frozen=True, slots=True)
class Angle:
    """A latitude or longitude as read, not yet held against a lake."""

    degrees: float  # signed, north and east positive; NaN when it could not be read
    axis: str = ""  # ``lat`` or ``lon`` where a letter or word said so, else empty
    # true where nothing settles the sign: a bare number, or a minus sign beside a letter
    sign_open: bool = True
    # half a unit of the last figure written: how far rounding alone may have moved it
    half_digit_deg: float = 0.0
    pieces: int = 0  # how many of degrees, minutes and seconds were written
    fault: str = ""  # why it could not be read; empty when it could


def _unread(text: str, why: str) -> Angle:
    shown = text if len(text) <= 40 else text[:39] + "…"
    return Angle(float("nan"), fault=f"'{shown}' {why}")


def _sum_pieces(body: str) -> tuple[float, float, int] | str:
    """Add up degrees, minutes and seconds; return magnitude, half a last figure and count, or what is wrong."""
    total, place, count, at, number, mark = 0.0, -1, 0, 0, "", ""
    while at < len(body):
        found = _PIECE.match(body, at)
        if found is None:
            return "is not an angle"
        if "." in number:
            return f"has a decimal point in its {_NAMES[place]} and more figures after it"
        number, mark, at = found["number"], found["mark"], found.end()
        here = _PLACE.get(mark, place + 1)
        if here <= place or here > 2 or (place < 0 and here > 0):
            return "does not run from degrees over minutes to seconds"
        place, count = here, count + 1
        value = float(number)
        # 59.99 minutes may have been rounded to 60.0 on their way to paper; a bare 60 is an error.
        if place > 0 and (value > 60.0 or (value == 60.0 and "." not in number)):
            return f"has {number} {_NAMES[place]}; they stop short of 60"
        total += value / _PER_DEGREE[place]
    if mark in (":", "-"):
        return "ends where more figures were announced"
    decimals = len(number.partition(".")[2])
    return total, 0.5 * 10.0**-decimals / _PER_DEGREE[place], count


def read_angle(text: str) -> Angle:
    r"""Read one latitude or longitude.

    Parameters
    ----------
    text
        Such as ``35.7525``, ``-85,20415``, ``35 45.153 N``, ``W85°12'14.94"``, ``35:45:09.18``, ``35d45'9.18"N``.

    Returns
    -------
    With ``fault`` set when the text is not an angle. A minus sign beside a letter counts as one sign, and the
    sign is left open (``-85.2 W`` is as often meant as W as the double turn).

    Notes
    -----
    What makes the result wrong: a text whose minutes were written as decimals (``35.4515`` for 35 degrees 45.15
    minutes) cannot be told from decimal degrees. Magnitudes are limited in `castshed.toolbox.intake.book.placing`,
    not here.

    Examples
    --------
    >>> read_angle("85°12'14.94\\"W").degrees
    -85.20415
    """
    tidy = str(text).translate(_SAME).strip()
    if not tidy:
        return _unread(tidy, "is empty")
    if len(tidy) > _LONGEST:
        return _unread(tidy, "is too long for an angle")
    prefix = _PREFIX.match(tidy)
    axis = ""
    if prefix is not None:
        axis = "lat" if prefix["axis"].lower() == "lat" else "lon"
        tidy = tidy[prefix.end() :]
    for pattern, mark in _WORDS:
        tidy = pattern.sub(mark, tidy)
    shape = _SHAPE.fullmatch(tidy.strip())
    if shape is None:
        return _unread(text, "is not an angle")
    lead, trail = (shape["lead"] or "").upper(), (shape["trail"] or "").upper()
    if lead and trail:
        return _unread(text, "has two hemisphere letters")
    letter = lead or trail
    lettered = {"N": "lat", "S": "lat", "E": "lon", "W": "lon"}.get(letter, "")
    if axis and lettered and axis != lettered:
        return _unread(text, "names one axis and has the letter of the other")
    parts = _sum_pieces(shape["body"])
    if isinstance(parts, str):
        return _unread(text, parts)
    magnitude, half_digit, count = parts
    minus = shape["sign"] == "-"
    degrees = -magnitude if minus or letter in ("S", "W") else magnitude
    return Angle(degrees, lettered or axis, minus or not letter, half_digit, count)


def _each(texts: Iterable[str], read: Callable[[str], T]) -> list[T]:
    known: dict[str, T] = {}
    found: list[T] = []
    for text in texts:
        if text not in known:
            known[text] = read(text)
        found.append(known[text])
    return found


def read_angles(texts: Iterable[str]) -> list[Angle]:
    """Read a column of angles; equal texts are read once."""
    return _each(texts, read_angle)


def read_pair(text: str) -> tuple[Angle, Angle]:
    """Read a latitude and a longitude out of one cell, latitude first unless letters say otherwise.

    Parameters
    ----------
    text
        Such as ``35.7525, -85.2041``, ``N35 45.153 W085 12.249``, ``35°45'9.18"N 85°12'14.94"W``.

    Returns
    -------
    Latitude and longitude; both with the same ``fault`` when there is not exactly one way to read two angles.
    """
    tidy = str(text).translate(_SAME).strip().strip("()[]").strip()
    if not tidy or len(tidy) > 2 * _LONGEST:
        bad = _unread(tidy, "is not a pair of coordinates" if tidy else "is empty")
        return bad, bad
    found: list[tuple[Angle, Angle]] = []
    for gap in re.finditer(
        r"\s*[,;/|]\s*|\s+|(?<=[NSEW])(?=[\d+-])|(?<=[\d'\"°])(?=[NSEW])", tidy, re.IGNORECASE
    ):
        first, second = read_angle(tidy[: gap.start()]), read_angle(tidy[gap.end() :])
        axes = {first.axis, second.axis}
        if first.fault or second.fault or first.pieces != second.pieces or axes in ({"lat"}, {"lon"}):
            continue
        found.append((first, second))
    # "35.1,-85.2" may also be cut at another place of equal shape only when it holds four numbers or more.
    distinct = {(a.degrees, b.degrees) for a, b in found}
    if len(distinct) != 1:
        bad = _unread(
            tidy, "is not one pair of coordinates" if not found else "can be read as more than one pair"
        )
        return bad, bad
    first, second = found[0]
    return (second, first) if first.axis == "lon" or second.axis == "lat" else (first, second)


def read_pairs(texts: Iterable[str]) -> list[tuple[Angle, Angle]]:
    """Read a column of coordinate pairs; equal texts are read once."""
    return _each(texts, read_pair)


DEEPEST_M: Final = 2000.0  # deeper than any lake: what is beyond is a slip of the pen
_DEPTH_TEXT_LONGEST: Final = 80

_UNKNOWN: Final = frozenset(
    [
        "", "-", "--", "?", "??", "unknown", "unk", "unkn", "n/a", "na", "n.a.", "none", "nan", "null", "nil",
        "tbd", "varies", "various", "variable", "not known", "not given", "no data", "nd", "x", "xx",
    ]
)  # fmt: skip
_DEPTH_TEXT_SAME: Final = str.maketrans(
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
_DEPTH_TEXT_WORDS: Final = re.compile(r"\b(?:depth|deep|of water|water)\b\s*[:=]?", re.IGNORECASE)
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
    given = str(text).translate(_DEPTH_TEXT_SAME).strip()
    if given.lower().strip(" .") in _UNKNOWN:
        return DepthText()
    if len(given) > _DEPTH_TEXT_LONGEST:
        return DepthText(remark=f"{what} text too long to read")
    if _POINT.match(given):
        return DepthText(remark=f"{what} '{given}' has a minus sign: not used")
    of = ""
    if (part := _OF.search(given)) and len(_OF.findall(given)) == 1:
        of = part[1].lower()
        given = _OF.sub(" ", given).strip()
    tidy = _DEPTH_TEXT_WORDS.sub(" ", given).strip()
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
