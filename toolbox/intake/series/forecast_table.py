"""A wind forecast out of a table: which column is what, in which unit, and the winds it states.

What a cell of a forecast says of the wind: "8 to 12 mph", "10G20KT", "15 mph with gusts to 30"; the worse end.
"""

from __future__ import annotations

import math
import re
from typing import TYPE_CHECKING, Final

from ... import units
from ...errors import DataError, UsageError
from .series_table import TOLD, read_when

if TYPE_CHECKING:
    from collections.abc import Sequence

    from ...water.wind.forecast import Forecast
    from .series_table import SeriesTable

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


ROLES: Final[dict[str, tuple[str, ...]]] = {
    "wind": (
        "wind", "wind speed", "windspeed", "sustained wind", "sustained", "mean wind", "wind mean", "wind sustained",
        "wspd", "speed", "ws", "wind velocity", "surface wind", "winds", "wind speed sustained", "sustained wind speed",
    ),
    "gust": (
        "gust", "gusts", "wind gust", "wind gusts", "windgust", "windgusts", "gust speed", "wind gust speed",
        "wind speed of gust", "peak gust", "wind speed gust", "gusting",
    ),
    "wind_from": (
        "wind from", "wind direction", "winddirection", "wind dir", "wdir", "direction", "dir", "from",
        "wind from direction", "wd", "wind bearing",
    ),
}  # fmt: skip
_BEARINGS: Final = frozenset(("deg", "degs", "degree", "degrees", "true"))
_FILLERS: Final = frozenset(("avg", "average", "averaged", "mean", "at", "in", "of", "the"))
_HEIGHT: Final = re.compile(r"(\d{1,3})m")
_AVERAGED: Final = re.compile(r"(\d{1,3})(min|h|hr|s|sec)")
_STATED: Final = {
    "height": re.compile(r"wind height\s*[:=]?\s*(\S.*)", re.IGNORECASE),
    "averaged": re.compile(r"(?:wind )?averag\w*(?: time| over)?\s*[:=]?\s*(\d.*)", re.IGNORECASE),
}


def _words(header: str) -> tuple[str, str | None, float | None, float | None]:
    """Reduce a header to its words, the unit of speed, the height and the time of averaging it names."""
    plain = plain_units(re.sub(r"(?<=[a-z])(?=[A-Z])", " ", header.replace("wmoUnit:", "").replace("_", " ")))
    plain = re.sub(r"(\d)\s+(m|min|s|h)\b", r"\1\2", plain)
    kept: list[str] = []
    unit: str | None = None
    height = averaged = None
    for word in re.findall(r"[a-z0-9]+", plain):
        if word in SPEEDS:
            unit = SPEEDS[word]
        elif found := _HEIGHT.fullmatch(word):
            height = float(found[1])
        elif found := _AVERAGED.fullmatch(word):
            averaged = float(found[1]) * {"m": 60.0, "h": 3600.0, "s": 1.0}[found[2][0]]
        elif word not in _BEARINGS and word not in _FILLERS:
            kept.append(word)
    return " ".join(kept), unit, height, averaged


def parse_entries(entries: Sequence[str], name: str, roles: Sequence[str]) -> dict[str, str]:
    """Read ``role=value`` entries of an option.

    Raises
    ------
    UsageError
        An entry has no ``=``, an unknown role or no value.
    """
    found: dict[str, str] = {}
    for entry in entries:
        role, equals, value = entry.partition("=")
        role, value = role.strip().lower().replace("-", "_"), value.strip()
        if not equals or role not in roles or not value:
            raise UsageError(
                f"{name}: '{entry}' cannot be used; write role=value with one of {', '.join(roles)}."
            )
        found[role] = value
    return found


def _column(table: SeriesTable, role: str, told: dict[str, str]) -> str | None:
    if role in told:
        same = [c for c in table.columns if c == told[role]] or [
            c for c in table.columns if c.casefold() == told[role].casefold()
        ]
        if not same:
            raise UsageError(
                f"columns: {table.name} has no column '{told[role]}' for {role}; it has {', '.join(table.columns)}."
            )
        return same[0]
    taken = set(told.values())
    fits = [c for c in table.columns if c not in taken and _words(c)[0] in ROLES[role]]
    if len(fits) > 1:
        raise UsageError(
            f"{table.name} has several columns that may be {role}: {', '.join(fits)}. Choose with columns, such as "
            f"{role}={fits[0]}."
        )
    return fits[0] if fits else None


def _stated(table: SeriesTable, what: str) -> float | None:
    """Read a height or time of averaging out of the comments."""
    for line in table.comments:
        found = _STATED[what].search(line)
        if found:
            try:
                return units.parse(found[1].strip().rstrip("."), "length" if what == "height" else "time")
            except UsageError as fault:
                raise DataError(f"{table.name}: the comment '{line[:80]}' cannot be used: {fault}") from None
    return None


def to_forecast(
    table: SeriesTable,
    *,
    columns: Sequence[str] = (),
    in_units: Sequence[str] = (),
    zone: str = "",
    height_m: float | None = None,
    averaged_s: float | None = None,
) -> Forecast:
    """Make a forecast of a table.

    Parameters
    ----------
    table
        The table as read.
    columns
        ``role=Header`` entries that overrule the guess; roles are those of `ROLES`.
    in_units
        ``role=unit`` entries for speeds whose header and cells name none.
    zone
        IANA zone of times that name none.
    height_m, averaged_s
        Height above the water and time of averaging of the sustained wind; None: as the table states, in a header
        (``wind_speed_10m``, ``wind_2min_mph``) or a comment (``# wind height: 10 m``, ``# averaged over: 10 min``).

    Returns
    -------
    Winds at 10 m.

    Raises
    ------
    DataError
        A time, speed or bearing cannot be read or is missing; the message names the line.
    UsageError
        A column or unit cannot be told; the message says which option tells it.
    """
    import numpy as np

    from ...water.wind.forecast import Forecast, wind_at_10_m

    told = parse_entries(columns, "columns", ["time", *ROLES, *TOLD[1:]])
    named = parse_entries(in_units, "units", ("wind", "gust"))
    place = {role: _column(table, role, told) for role in ROLES}
    for role in ("wind", "wind_from"):
        if place[role] is None:
            raise UsageError(
                f"{table.name} has no column that is known as {role}; it has {', '.join(table.columns)}. Name it with "
                f"columns, such as {role}=Header."
            )
    times, _, own_zone = read_when(table, told, zone=zone)
    gusts_within: list[float] = [float("nan")] * len(times)

    def speeds(role: str) -> tuple[list[float], float | None, float | None]:
        column = place[role]
        if column is None:
            return [float("nan")] * len(times), None, None
        _, unit, height, averaged = _words(column)
        if role in named:
            unit = SPEEDS.get(plain_units(named[role]))
            if unit is None:
                raise UsageError(
                    f"units: '{named[role]}' is not known; known are {', '.join(units.ACCEPTED['speed'])}."
                )
        cells = zip(table.texts(column), table.lines, strict=True)
        read = [read_wind(c, unit, f"{table.name} line {n}: {role}") for c, n in cells]
        if role == "gust":  # a gust written as such, "gusts to 25", is the gust itself
            return [float(np.fmax(*one)) for one in read], height, averaged
        gusts_within[:] = [gust for _, gust in read]
        return [wind for wind, _ in read], height, averaged

    wind, header_height, header_averaged = speeds("wind")
    gust, gust_height, _ = speeds("gust")
    gust = [float(value) for value in np.fmax(gust, gusts_within)]
    missing = [str(line) for line, value in zip(table.lines, wind, strict=True) if math.isnan(value)]
    if missing:
        raise DataError(
            f"{table.name} states no wind in line {', '.join(missing[:5])}{' and more' if len(missing) > 5 else ''}; "
            "fill it in, or take the line out if the hour does not matter."
        )
    said = [*table.said, *filter(None, (own_zone,))]
    bearing: list[float] = []
    for text, line, speed in zip(table.texts(str(place["wind_from"])), table.lines, wind, strict=True):
        still = speed == 0.0 and (text.lower() in NOTHING or text.lower() == "calm")
        bearing.append(0.0 if still else read_bearing(text, f"{table.name} line {line}: wind_from"))
    if height_m is None:
        height_m = header_height if header_height is not None else _stated(table, "height")
    if averaged_s is None:
        averaged_s = header_averaged if header_averaged is not None else _stated(table, "averaged")
    speed_10 = np.asarray(wind)
    if height_m is not None and height_m != 10.0:
        speed_10 = wind_at_10_m(speed_10, height_m)
        rough = "" if 8.0 <= height_m <= 12.0 else ", far from 10 m and therefore rough"
        said.append(
            f"winds stated for {height_m:g} m above the water are brought to 10 m by the 1/7 rule{rough}"
        )
    gusts = np.asarray(gust)
    if gust_height is not None and gust_height != 10.0:
        gusts = wind_at_10_m(gusts, gust_height)
    weak = int((np.asarray(gust) < np.asarray(wind) - 1e-9).sum())
    if weak:
        said.append(
            f"{weak} hours state gusts below the sustained wind; check that the two columns are not swapped"
        )
    return Forecast(tuple(times), speed_10, gusts, np.asarray(bearing), averaged_s, tuple(said))
