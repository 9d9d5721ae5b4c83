"""Names that fit a device: cut to a length, written in ASCII, and still all different."""

from __future__ import annotations

import unicodedata
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any, Final

from ...errors import UsageError
from ...text import clean, one_line, unique_names

LEAST_LENGTH: Final = 4
"""Shortest length of a name: a letter, a blank and two figures tell some hundred names apart."""

# letters and signs that Unicode does not decompose into an ASCII letter and a mark
_ASCII: Final = str.maketrans(
    {"ß": "ss", "ẞ": "SS", "æ": "ae", "Æ": "AE", "œ": "oe", "Œ": "OE", "ø": "o", "Ø": "O", "đ": "d",
     "Đ": "D", "ð": "d", "Ð": "D", "þ": "th", "Þ": "Th", "ł": "l", "Ł": "L", "ħ": "h", "Ħ": "H", "ı": "i",
     "ŋ": "ng", "Ŋ": "Ng", "°": " deg", "′": "'", "″": '"', "‘": "'", "’": "'", "‚": "'", "“": '"',
     "”": '"', "„": '"', "«": '"', "»": '"', "‐": "-", "‑": "-", "–": "-", "—": "-", "−": "-", "×": "x",
     "÷": "/", "±": "+-", "·": "-", "•": "-", "…": "...", "€": "EUR", "£": "GBP", "\u00a0": " "}
)  # fmt: skip
_JOINERS: Final = frozenset("\u200c\u200d\ufe0e\ufe0f")


def to_ascii(value: Any) -> str:
    r"""Write text with the printable characters of ASCII: marks off their letters, ligatures apart, the rest left out.

    Examples
    --------
    >>> to_ascii("Größer Ålesund – 5°")
    'Grosser Alesund - 5 deg'
    """
    apart = unicodedata.normalize("NFKD", clean(value).translate(_ASCII)).translate(_ASCII)
    return "".join(sign for sign in apart if " " <= sign <= "~" or sign in "\n\t")


def _goes_with_the_one_before(sign: str) -> bool:
    return unicodedata.combining(sign) != 0 or sign in _JOINERS or "\U0001f3fb" <= sign <= "\U0001f3ff"


def cut(text: str, length: int) -> str:
    """Cut text to a number of characters, never between a letter and the marks on it.

    Examples
    --------
    >>> cut("Tin Barn ledge", 9)
    'Tin Barn'
    """
    if len(text) <= length:
        return text.strip()
    end = length
    while end > 0 and (_goes_with_the_one_before(text[end]) or text[end - 1] == "\u200d"):
        end -= 1
    return text[:end].strip()


@dataclass(frozen=True)
class NameRule:
    """How names are written for a device.

    Raises
    ------
    UsageError
        The length leaves no room for names that differ.
    """

    length: int | None = None  # most characters of a name; None for no limit
    ascii_only: bool = False  # whether names and words are kept to the printable characters of ASCII

    def __post_init__(self) -> None:
        if self.length is not None and self.length < LEAST_LENGTH:
            raise UsageError(
                f"name length is {self.length}; give {LEAST_LENGTH} or more, so that names can still differ."
            )

    def words(self, value: Any) -> str:
        """Write a sentence by the rule; it is not cut."""
        return to_ascii(value) if self.ascii_only else clean(value)

    def _short(self, name: str) -> str:
        plain = one_line(self.words(name))
        return cut(plain, self.length) if self.length is not None else plain

    def unique(self, names: Iterable[str]) -> list[str]:
        """Names by the rule, all different regardless of case.

        The first holder of a name keeps it; later ones get the lowest free number behind it, for which the name is
        cut again where it is too long.

        Raises
        ------
        UsageError
            There are more names than the length can tell apart.

        Examples
        --------
        >>> NameRule(8).unique(["Heron brush", "Heron brushy", "heron"])
        ['Heron br', 'Heron 2', 'heron']
        """
        short = [self._short(name) or "unnamed"[: self.length] for name in names]
        if self.length is None:
            return unique_names(short)
        taken: set[str] = set()
        firsts = []
        for name in short:
            firsts.append(name.casefold() not in taken)
            taken.add(name.casefold())
        following: dict[str, int] = {}
        result = []
        for name, first in zip(short, firsts, strict=True):
            result.append(name if first else self._numbered(name, taken, following))
        return result

    def _numbered(self, name: str, taken: set[str], following: dict[str, int]) -> str:
        assert self.length is not None
        number = following.get(name.casefold(), 2)
        while True:
            tail = f" {number}"
            if len(tail) > self.length:
                raise UsageError(
                    f"{len(taken):,} names cannot all differ within {self.length} characters; allow longer ones."
                )
            found = cut(name, self.length - len(tail)) + tail
            if found.strip().casefold() not in taken:
                break
            number += 1
        following[name.casefold()] = number + 1
        taken.add(found.strip().casefold())
        return found.strip()

    def one(self, name: str) -> str:
        """Write a single name by the rule."""
        return self._short(name) or "unnamed"[: self.length]


PLAIN: Final = NameRule()
"""Names as they are, only made different."""
