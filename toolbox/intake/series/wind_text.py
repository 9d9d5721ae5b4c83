"""What a cell of a forecast says of the wind: "8 to 12 mph", "10G20KT", "15 mph with gusts to 30"; the worse end."""

from __future__ import annotations

import re
from typing import Final

from ... import units
from ...errors import DataError, UsageError

SPEEDS: Final[dict[str, str]] = {
    "mph": "mph", "kmh": "km/h", "kph": "km/h", "kn": "kn", "kt": "kn", "kts": "kn", "knot": "kn", "knots": "kn",
    "ms": "m/s", "mps": "m/s", "fts": "ft/s",
}  # fmt: skip
NOTHING: Final = frozenset(("", "-", "--", "---", "na", "n/a", "nan", "none", "null", "m", "mm"))
_SAME_UNITS: Final = (
    (re.compile(r"wmounit:\s*"), ""),
    (re.compile(r"km\s*(?:/|[._ ]?)\s*h(?:r|our)?(?:[_ ^.]?-1)?\b"), "kmh"),
    (
        re.compile(
            r"\bmi(?:les)?\s*(?:/|per|[._ ])\s*h(?:r|our)?(?:[_ ^.]?-1)?\b|\bmp/h\b|\bmiles an hour\b"
        ),
        "mph",
    ),
    (re.compile(r"\b(?:m|met(?:er|re)s?)\s*(?:/|per)\s*s(?:ec|econd)?\b|\bm[._ ]?s[_ ^.]?-1"), "ms"),
    (re.compile(r"\bft\s*/\s*s(?:ec)?\b"), "fts"),
    (re.compile(r"\bkilomet(?:er|re)s? per hour\b"), "kmh"),
)
_HEDGES: Final = re.compile(
    r"\b(?:around|about|near|nearly|approximately|approx\.?|up to|less than|below|under|at most|as high as|of|at|"
    r"winds?|generally|mostly|sustained)\b|[<~≤≈=]"
)
_GUSTS: Final = re.compile(
    r"[,;(]?\s*\b(?:with|and|w/)?\s*gust(?:s|ing)?\b\s*(?:could be|may be|possible)?\s*(?:to\b|:)?"
)
_METAR: Final = re.compile(r"(\d{1,3})\s*g\s*(\d{1,3})\s*([a-z]*)")
_NUMBER: Final = re.compile(r"(\d+(?:\.\d+)?|\.\d+)\s*([a-z]*)")
_RANGE: Final = re.compile(_NUMBER.pattern + r"(?:\s*(?:-|to|and|or)\s*" + _NUMBER.pattern + r")?")
_VARIABLE: Final = frozenset(("vrb", "variable", "var", "light and variable"))
_POINTS: Final = {"north": "N", "east": "E", "south": "S", "west": "W"}
_BETWEEN: Final = re.compile(r"\s*(?:\bto\b|-|/|\bor\b|\bbecoming\b|\bthen\b|,)\s*")


def plain_units(text: str) -> str:
    """Write text in lower case with each unit of speed in one way.

    Examples
    --------
    >>> plain_units("12 km/h"), plain_units("wmoUnit:km_h-1"), plain_units("Wind (m s-1)")
    ('12 kmh', 'kmh', 'wind (ms)')
    """
    plain = text.lower().replace("–", "-").replace("—", "-").replace("‒", "-")
    for form, same in _SAME_UNITS:
        plain = form.sub(same, plain)
    return plain


def _speed(part: str, written: str, unit: str | None, text: str, where: str) -> tuple[float, str]:
    """Read a speed or a range of speeds in m/s, the upper end; and the unit that stands in it."""
    found = _RANGE.fullmatch(_HEDGES.sub(" ", part).strip(" ,.;()"))
    if found is None:
        raise DataError(
            f"{where} is '{text[:40]}', which is no speed; write a number, or a number with its unit."
        )
    stated = [word for word in (found[4], found[2]) if word]
    if any(word not in SPEEDS for word in stated):
        raise DataError(
            f"{where} is '{text[:40]}', in a unit that is not known; known are {', '.join(units.ACCEPTED['speed'])}."
        )
    last = stated[0] if stated else written
    final = SPEEDS[last] if last else unit
    if final is None:
        raise UsageError(
            f"{where} is '{text[:60]}' and nothing names its unit; put it into the header (wind_mph), or name it with "
            f"units, such as wind=mph (known: {', '.join(units.ACCEPTED['speed'])})."
        )
    ends = [(found[1], SPEEDS[found[2]] if found[2] else final)]
    if found[3]:
        ends.append((found[3], final))
    return max(units.convert(float(number), one, "speed") for number, one in ends), last


def read_wind(text: str, unit: str | None, where: str) -> tuple[float, float]:
    """Read the wind of one cell.

    Parameters
    ----------
    text
        The cell: a number or a range, with or without a unit, perhaps with the gusts behind it.
    unit
        Unit of numbers that name none.
    where
        What the cell is called in messages.

    Returns
    -------
    Sustained wind and gusts in m/s, of a range the upper end; NaN for what is not said.

    Raises
    ------
    DataError
        It cannot be read, or is in a unit that is not known.
    UsageError
        Nothing names its unit.
    """
    nothing = float("nan")
    plain = " ".join(plain_units(text).split())
    if plain in NOTHING:
        return nothing, nothing
    if plain in ("calm", "light and variable calm"):
        return 0.0, nothing
    if found := _METAR.fullmatch(plain):
        wind, _ = _speed(f"{found[1]} {found[3]}", "", unit, text, where)
        gust, _ = _speed(f"{found[2]} {found[3]}", "", unit, text, where)
        return wind, gust
    first, *rest = _GUSTS.split(plain, maxsplit=1)
    behind = _NUMBER.findall(plain)[-1][1] if _NUMBER.search(plain) else ""
    written = behind if behind in SPEEDS else ""
    wind = nothing
    if first.strip(" ,.;()"):
        wind, written = _speed(first, written, unit, text, where)
    gust = _speed(rest[0], written, unit, text, where)[0] if rest else nothing
    return wind, gust


def _point(text: str) -> float | None:
    """Read one bearing: degrees, a compass point, or its words; None for none."""
    plain = re.sub(r"^(?:from\s+)?(?:the\s+)?", "", text.strip().lower())
    found = re.fullmatch(
        r"(\d+(?:\.\d+)?)\s*(?:°|deg|degs|degrees?|wmounit:degree_\(angle\)|degree_\(angle\)|true)?", plain
    )
    if found:
        return float(found[1]) % 360.0 if float(found[1]) <= 360.0 else None
    letters = plain
    for word, letter in _POINTS.items():
        letters = re.sub(rf"{word}(?:erly|ern)?", letter, letters)
    letters = re.sub(r"[\s-]", "", letters).upper()
    return units.COMPASS.index(letters) * 22.5 if letters in units.COMPASS else None


def read_bearing(text: str, where: str) -> float:
    """Read where the wind comes from; NaN for a wind that varies or goes from one bearing to another.

    Raises
    ------
    DataError
        It is no bearing.
    """
    plain = " ".join(text.lower().split())
    if plain in _VARIABLE:
        return float("nan")
    one = _point(plain)
    if one is not None:
        return one
    several = [_point(part) for part in _BETWEEN.split(plain) if part]
    if len(several) > 1 and all(part is not None for part in several):
        return several[0] or 0.0 if len(set(several)) == 1 else float("nan")
    raise DataError(
        f"{where} is '{text[:40]}', which is no bearing; write degrees from 0 to 360, where the wind comes from, a "
        "compass point, or VRB for a wind that varies."
    )
