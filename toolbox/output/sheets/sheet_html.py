"""The sheet as one HTML file: it loads nothing, and reads without scripts, by keyboard, in light and dark, on paper.

A page as SVG to stand in an HTML page: words stay words, paths are short, ids are its own.
"""

from __future__ import annotations

import functools
import io
import re
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Final

import matplotlib as mpl
import numpy as np
from jinja2 import Environment, FileSystemLoader, StrictUndefined
from markupsafe import Markup, escape

from ...text import one_line
from ..maps.draughting import Pen
from ..maps.plan_facts import LegFacts, StopFacts
from ..words.cautions import CAUTIONS
from .sheet_cards import hold_words
from .sheet_tables import table_of_answers, table_of_left_out, table_of_legs, table_of_stops

if TYPE_CHECKING:
    from matplotlib.figure import Figure

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


_POINTS: Final = 72.0
_PATH: Final = re.compile(r' d="([^"]*)"')
_TAG: Final = re.compile(r"<[^>]*>")
_NUMBER: Final = re.compile(r"-?\d+\.\d{2,}")
_NO_LETTERS: Final = b"0123456789+-. \n\t,"
_NO_COMMANDS: Final = str.maketrans("MLz", "   ")
_STROKE: Final = re.compile(r'<path d="([^"]*)" (clip-path="[^"]*" )?style="([^"]*fill: none[^"]*)"/>')
_WORDS: Final = re.compile(
    r'<text style="(?P<style>[^"]*font-size: (?P<size>[\d.]+)px[^"]*)"(?P<rest>[^>]*)>(?P<text>[^<]+)</text>'
)
_ID: Final = re.compile(r' id="([^"]*)"')
_USED: Final = re.compile(r'(?:href="#|url\(#)([^")]+)')
_ENTITIES: Final = {"&amp;": "&", "&lt;": "<", "&gt;": ">", "&quot;": '"'}


def _tenth(found: re.Match[str]) -> str:
    return f"{float(found[0]):.1f}".rstrip("0").rstrip(".")


@functools.lru_cache(maxsize=20_000)
def _tenths(value: int) -> str:
    """Write a number given in tenths as short as can be."""
    sign, (whole, part) = "-" if value < 0 else "", divmod(abs(value), 10)
    return f"{sign}{whole or ''}.{part}" if part else f"{sign}{whole}"


def _short(path: str) -> str:
    """Write a path of straight lines as steps of a tenth of a point; others are left as they are."""
    commands = path.encode().translate(None, _NO_LETTERS).decode()
    if "L" not in commands or not set(commands) <= {"M", "L", "z"}:
        return path
    numbers = path.translate(_NO_COMMANDS).split()
    if len(numbers) != 2 * (len(commands) - commands.count("z")):
        return path
    at = np.rint(10.0 * np.array(numbers, dtype=np.float64)).astype(np.int64).reshape(-1, 2)
    steps = np.diff(at, axis=0, prepend=at[:1])
    places, moves = iter(at.tolist()), iter(steps.tolist())
    made: list[str] = []
    drawing = False
    for command in commands:
        if command == "z":
            made.append("z")
            drawing = False
            continue
        (x, y), (across, up) = next(places), next(moves)
        if command == "M":
            made.append(f"M{_tenths(x)} {_tenths(y)}")
            drawing = False
        elif across or up or not drawing:
            made.append(f"{' ' if drawing else 'l'}{_tenths(across)} {_tenths(up)}")
            drawing = True
    return "".join(made)


def _joined(text: str) -> str:
    """Put strokes of the same look that follow each other into one path."""
    lines: list[str] = []
    look = ""
    for line in text.split("\n"):
        found = _STROKE.fullmatch(line.strip())
        if found is not None and f"{found[2]}{found[3]}" == look:
            last = lines[-1]
            cut = last.index('"', last.index(' d="') + 4)
            lines[-1] = last[:cut] + found[1] + last[cut:]
        else:
            look = "" if found is None else f"{found[2]}{found[3]}"
            lines.append(line)
    return "\n".join(lines)


def svg_of(figure: Figure, prefix: str) -> str:
    """Draw a page as SVG to stand in an HTML page: words stay words, numbers are short, ids its own."""
    pen = Pen(figure)
    picture = io.StringIO()
    with mpl.rc_context({"svg.fonttype": "none", "svg.hashsalt": prefix, "svg.id": prefix}):
        figure.savefig(picture, format="svg", facecolor="none", metadata={"Date": None, "Creator": None})
    text = picture.getvalue()
    text = text[text.index("<svg") :]
    text = re.sub(r"<metadata>.*?</metadata>", "", text, flags=re.DOTALL)
    text = _PATH.sub(lambda found: f' d="{_short(found[1])}"', text)
    # only inside tags: a number among the words is a depth or a wave, and stays as it was written
    text = _TAG.sub(lambda tag: _NUMBER.sub(_tenth, tag[0]), text)
    # Ids that nothing refers to would only clash with those of other pictures.
    wanted = set(_USED.findall(text))
    text = _ID.sub(
        lambda found: found[0] if found[1] in wanted or found[1].startswith("layer-") else "", text
    )
    text = re.sub(r'(id="|href="#|url\(#)', rf"\1{prefix}-", text)
    text = re.sub(r'<svg ([^>]*?)width="[^"]*" height="[^"]*"', r"<svg \1", text, count=1)
    text = _joined(re.sub(r"\n\s*", "\n", text))

    def fixed(found: re.Match[str]) -> str:
        """Hold words to the width they were laid out for, whatever font the reader has."""
        words = found["text"]
        for entity, letter in _ENTITIES.items():
            words = words.replace(entity, letter)
        wide = _POINTS * pen.width(words, float(found["size"]), bold="font-weight: 700" in found["style"])
        return (
            f'<text style="{found["style"]}"{found["rest"]} textLength="{wide:.1f}" lengthAdjust="spacingAndGlyphs">'
            f"{found['text']}</text>"
        )

    return _WORDS.sub(fixed, text)
