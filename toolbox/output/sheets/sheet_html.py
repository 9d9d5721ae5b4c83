"""The sheet as one HTML file: it loads nothing, and reads without scripts, by keyboard, in light and dark, on paper."""

from __future__ import annotations

import re
from collections.abc import Sequence
from pathlib import Path
from typing import Final

from jinja2 import Environment, FileSystemLoader, StrictUndefined
from markupsafe import Markup, escape

from ...text import one_line
from ..maps.plan_facts import LegFacts, StopFacts
from ..words.cautions import CAUTIONS
from .sheet_cards import hold_words
from .sheet_tables import table_of_answers, table_of_left_out, table_of_legs, table_of_stops

_UNIT: Final = re.compile(r"(?<=\d) (?=(?:ft|mi|m|km|mph|m/s|min)(?!\w))|(?<=°) (?=\d)")
"""Between a number and its unit, or a bearing and its distance: no end of a line."""

_FEW: Final = 4  # columns that a phone holds side by side

_LAYERS: Final = (
    ("depth", "depths"),
    ("dry", "dry ground"),
    ("hazards", "shallow hazards"),
    ("zones", "zones"),
    ("run", "legs"),
    ("casts", "casts"),
    ("spots", "spots"),
)


def _unbroken(text: str) -> Markup:
    return Markup(_UNIT.sub("&nbsp;", escape(one_line(text))))  # noqa: S704  # escaped before


def _facts(stop: StopFacts) -> str:
    return f"{stop.number} {stop.name}: " + ". ".join(hold_words(stop) or [stop.kind])


def to_html(
    *,
    title: str,
    level: str,
    north: str,
    totals: Sequence[tuple[str, str]],
    stops: Sequence[StopFacts],
    legs: Sequence[LegFacts],
    left_out: Sequence[tuple[Sequence[str], str]],
    questions: Sequence[tuple[str, str]],
    map_svg: str,
    hot_spots: Sequence[tuple[str, str, float, float]],
    cards: Sequence[tuple[str, str]],
) -> str:
    """Write the sheet.

    Parameters
    ----------
    title, level, north
        Heading, what level and day the depths stand for, and which north bearings are counted from.
    totals, questions
        Pairs of words.
    stops, legs
        Facts of the plan.
    left_out
        Names of spots the plan leaves out, with the reason they share.
    map_svg
        The map.
    hot_spots
        Places on the map to point at: number, name, share from the left and from the top.
    cards
        Pictures of cards (SVG), each with words that say what it shows.

    Returns
    -------
    A whole HTML file in UTF-8 that loads nothing.
    """
    tables = [("Legs", table_of_legs(legs))]
    tables += [("Asked of the plan", table_of_answers(questions))] if questions else []
    tables += [("Left out", table_of_left_out(left_out))] if left_out else []
    pages = Environment(
        loader=FileSystemLoader(Path(__file__).parent),
        autoescape=True,
        finalize=lambda value: value if isinstance(value, Markup) else one_line(value),
        undefined=StrictUndefined,
        keep_trailing_newline=True,
    )
    pages.filters |= {"facts": _facts, "unbroken": _unbroken}
    return pages.get_template("sheet.html.jinja").render(
        title=title, level=level, north=north, totals=totals, cautions=" ".join(CAUTIONS), layers=_LAYERS, few=_FEW,
        map=Markup(map_svg), hot_spots=hot_spots, stops=stops, stops_table=table_of_stops(stops), tables=tables,  # noqa: S704
        cards=[(Markup(svg), words) for svg, words in cards],  # noqa: S704  # pictures of our own
    )  # fmt: skip
