"""The commonest reasons against spots, counted by what they are and not by their figures."""

from __future__ import annotations

import re
from collections import Counter
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from collections.abc import Iterable

_FIGURE: Final = re.compile(r"[-+]?\d+(?:\.\d+)?\s*(?:m/s|mph|kn|km/h|m|ft|mi|km|cm|in)\b(?:\s*\([^()]*\))?")
_NAMED: Final = (
    ("wind ", "wind over the limit"),
    ("gusts ", "gusts over the limit"),
    ("waves ", "waves over the limit"),
    ("head seas", "seas on the way over the limit"),
    ("beam seas", "seas on the way over the limit"),
    ("following seas", "seas on the way over the limit"),
)
_SHOWN: Final = 3


def kind_of(reason: str) -> str:
    """Name what a reason is, without its figures.

    Examples
    --------
    >>> kind_of("wind 9.4 m/s (21.0 mph), Beaufort 5, 0.4 m/s (1.0 mph) over the limit")
    'wind over the limit'
    >>> kind_of("not on today's water, 12.1 m (39.7 ft) from it")
    "not on today's water"
    >>> kind_of("0.61 m (2.0 ft) too shallow")
    'too shallow'
    >>> kind_of("dark in 10 of 16 hours")
    'dark in 10 of 16 hours'
    """
    text = reason.strip()
    if " hours" not in text:
        for start, words in _NAMED:
            if text.startswith(start):
                return words
    plain = _FIGURE.sub("", text)
    plain = re.sub(r",\s*(?:from it|by\s*(?:at least)?|at least)\s*$", "", re.sub(r"\s+", " ", plain))
    return re.sub(r"\s*\bby\s*$", "", plain).strip(" ,;") or text


def commonest(reasons: Iterable[str]) -> str:
    """Tell the commonest kinds of reasons, each with one of them in full where that says more.

    Parameters
    ----------
    reasons
        What speaks against each spot, joined by ``; ``.
    """
    counted: Counter[str] = Counter()
    shown: dict[str, str] = {}
    for one in reasons:
        parts = [part for part in one.split("; ") if part]
        hourly = [part for part in parts if " hours" in part]
        kind = ", ".join(dict.fromkeys(map(kind_of, hourly or parts[:1])))
        counted[kind] += 1
        shown.setdefault(kind, "; ".join(hourly or parts[:1]))
    told = []
    for kind, count in counted.most_common(_SHOWN):
        more = f" ({shown[kind]})" if kind.endswith("over the limit") else ""
        told.append(f"{count} x {kind}{more}")
    return "; ".join(told)
