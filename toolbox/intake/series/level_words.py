"""The words that tables of pool levels use: heads of columns, units of length, vertical datums."""

from __future__ import annotations

import re
from typing import Final

LEVELS: Final = (
    "elevation", "pool elevation", "pool", "lake elevation", "surface elevation", "water surface elevation",
    "reservoir elevation", "lake level", "pool level", "level", "stage", "elev", "pool elev", "lake elev",
    "reservoir elev", "reservoir level", "water level", "headwater", "headwater elevation", "headwater elev",
    "headwater level", "forebay", "forebay elevation", "forebay elev", "forebay level", "upper pool",
    "upper pool elevation",
)  # fmt: skip
LENGTH_UNITS: Final = {
    "ft": "ft", "feet": "ft", "foot": "ft", "m": "m", "metre": "m", "metres": "m", "meter": "m", "meters": "m",
    "ftus": "ftUS", "usft": "ftUS", "ussurveyfoot": "ftUS", "ftsus": "ftUS", "fti": "ft", "ifti": "ft",
}  # fmt: skip
_DATUM_WORDS: Final = re.compile(r"[^a-z0-9]+")
_DATUM_IN: Final = re.compile(
    r"\b(?:ngvd|navd)[\s_-]*(?:of[\s_-]*)?(?:(?:19)?(?:29|88))?\b"
    r"|national geodetic vertical datum of 1929|north american vertical datum of 1988",
    re.IGNORECASE,
)
_SAME_DATUM: Final = {
    "ngvd29": "NGVD29", "ngvd1929": "NGVD29", "ngvd": "NGVD29", "nationalgeodeticverticaldatumof1929": "NGVD29",
    "ngvdof1929": "NGVD29", "navd88": "NAVD88", "navd1988": "NAVD88", "navd": "NAVD88", "navdof1988": "NAVD88",
    "northamericanverticaldatumof1988": "NAVD88",
}  # fmt: skip
_NO_WORDS: Final = frozenset(("msl", "amsl", "above", "sea", "in", "at", "the", "instantaneous", "current"))


def datum_name(text: str) -> str:
    """Write the name of a vertical datum in one way; a name that is not known stays as it is.

    Examples
    --------
    >>> datum_name("NGVD 1929"), datum_name("local")
    ('NGVD29', 'local')
    """
    plain = _DATUM_WORDS.sub("", text.lower())
    return _SAME_DATUM.get(plain, text.strip())


def datum_in(text: str) -> str:
    """Find the vertical datum that words name; empty for none.

    Examples
    --------
    >>> datum_in("Elevation (ft NGVD29)"), datum_in("Elevation, feet above mean sea level")
    ('NGVD29', '')
    """
    found = _DATUM_IN.search(text.replace("_", " "))
    return datum_name(found[0]) if found else ""


def head_words(header: str) -> tuple[str, str]:
    """Reduce a header to its words and the unit it names.

    Examples
    --------
    >>> head_words("Pool Elev (ft NGVD29)"), head_words("poolElevation_m")
    (('pool elev', 'ft'), ('pool elevation', 'm'))
    """
    spaced = _DATUM_IN.sub(" ", re.sub(r"(?<=[a-z])(?=[A-Z])", " ", header).replace("_", " "))
    words = re.findall(r"[a-z0-9]+", spaced.lower())
    found = [word for word in words if word in LENGTH_UNITS]
    kept = [w for w in words if w not in LENGTH_UNITS]
    return " ".join([w for w in kept if w not in _NO_WORDS] or kept), LENGTH_UNITS[found[-1]] if found else ""
