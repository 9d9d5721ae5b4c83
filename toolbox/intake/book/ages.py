"""How long sunk wood has been down: brush rots, and a list does not say so."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import date

    from ...arrays import Floats

LASTS_YEARS: Final = {"conifer_brush": 10, "brush": 10, "hardwood_brush": 15, "stake_bed": 15}
"""Kinds of sunk wood, and the age beyond which little may be left of it (common practice: conifers 5 to 10 years)."""


def ages_years(kinds: Sequence[str], placed: Sequence[str], today: date) -> Floats:
    """Work out the age of sunk wood in whole years.

    Parameters
    ----------
    kinds
        Kind of each spot.
    placed
        When it was sunk, as ISO text of a year, a month or a day; empty where nobody knows.
    today
        Day the ages are of.

    Returns
    -------
    NaN for what is no wood, where the date is not known, and where it lies ahead. Of a year alone the difference of
    the years counts, of a month that of the months.

    Examples
    --------
    >>> from datetime import date
    >>> ages_years(["brush", "brush", "rock_pile"], ["2016", "2020-06-01", "2016"], date(2026, 5, 16)).tolist()
    [10.0, 5.0, nan]
    """
    now = (today.year, today.month, today.day)
    ages = np.full(len(kinds), np.nan)
    for i, (kind, text) in enumerate(zip(kinds, placed, strict=True)):
        if kind not in LASTS_YEARS or not text:
            continue
        then = tuple(int(part) for part in text.split("-"))
        if then <= now[: len(then)]:
            ages[i] = now[0] - then[0] - (now[1 : len(then)] < then[1:])
    return ages


def old_wood(kinds: Sequence[str], ages: Floats) -> int:
    """Count the spots whose wood is older than it usually lasts."""
    return sum(age > LASTS_YEARS[kind] for kind, age in zip(kinds, ages.tolist(), strict=True) if age == age)  # noqa: PLR0124  # NaN
