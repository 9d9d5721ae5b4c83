"""The cautions that go with every plan, whatever it is written into."""

from __future__ import annotations

from typing import Final

from ...text import both_lengths

CAUTIONS: Final[tuple[str, ...]] = (
    "A planning aid, not for navigation.",
    "Depths are estimates at the stated level and date; the water may be thinner than shown.",
    "Buoys, posted rules and what you see on the water prevail over this plan.",
    "Stumps, timber and structures rise towards the hull as the water falls.",
    "Check the official forecast and lake level, local regulations and closures, before and during the trip.",
    "A calm wave figure never means safe water: wind and boat wakes change within minutes.",
    "Wear a life jacket and the engine cut-off link; leave a float plan with somebody ashore.",
    "Guides need the permits that the water asks for.",
)
"""Shown on the map, in every file's description and at the end of a command."""


BEARINGS: Final = "Bearings are true."
"""Said in every file: a compass shows others."""


def level_text(level_m: float | None, date: str | None = None, *, metric_first: bool = False) -> str:
    """Say which level and which day the depths stand for.

    Parameters
    ----------
    level_m
        Today's surface minus chart datum in metres, signed; None where it is not known.
    date
        Day the level was read or is expected, as text; None where it is not known.
    metric_first
        Whether metres come before feet.

    Examples
    --------
    >>> level_text(-1.2192, "2031-05-03")
    'Depths at level -4.0 ft (-1.22 m) from chart datum on 2031-05-03.'
    >>> level_text(None)
    'Level not stated: charted depths stand for chart datum (normal pool).'
    """
    if level_m is None:
        return "Level not stated: charted depths stand for chart datum (normal pool)." + (
            f" Day: {date}." if date else ""
        )
    return (
        f"Depths at level {both_lengths(level_m, signed=True, metric_first=metric_first)} from chart datum"
        + (f" on {date}." if date else ".")
    )


def caution_text(level_m: float | None = None, date: str | None = None) -> str:
    """Level, date, which north bearings are from, and all cautions as one paragraph.

    Parameters
    ----------
    level_m
        Today's surface minus chart datum in metres, signed; None where it is not known.
    date
        Day of that level, as text; None where it is not known.
    """
    return " ".join((level_text(level_m, date), BEARINGS, *CAUTIONS))
