"""Way points that castshed itself wrote, come home: what it put into them is told from what somebody added."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Final

from ..output.formats.gpx import NAMESPACE
from ..output.words.row_words import describe
from ..text import one_line

if TYPE_CHECKING:
    from collections.abc import Mapping

    from .xml_reading import Element

# Points of a plan that are no spots, though they may bear a spot's id: by their type, and by columns only they have.
_TYPES: Final = {
    "hold": "a hold", "stop": "a stop", "ramp": "a ramp", "hazard": "a hazard", "left out": "a spot left out",
    "sounding": "a sounding", "landmarks": "a landmark", "turn": "a turn",
}  # fmt: skip
_COLUMNS: Final = {
    "hold_no": "a hold", "stop_no": "a stop", "leg_no": "a leg", "ramp_id": "a ramp", "hazard_id": "a hazard",
    "landmark_id": "a landmark",
}  # fmt: skip
_TURN: Final = re.compile(r"leg \d+ turn \d+")
_LENGTH: Final = r"[-\d.,]+ [a-z]+ \([-\d.,]+ [a-z]+\)"
# What is said of depths hangs on the level of the day of the export, which the file does not tell.
_DEPTHS: Final = re.compile(
    rf"(?:Bottom|Top) (?:stands dry by )?{_LENGTH} ?(?:down today|today|below chart datum; take the level off)\.|"
    rf"Stands {_LENGTH} off the bottom\."
)


def own_values(point: Element) -> dict[str, str]:
    """Columns that castshed wrote into a point's extension, by name; empty for a point of another program.

    Parameters
    ----------
    point
        A ``wpt`` or ``rtept``. Some programs take elements out of ``extensions`` and put them beside the others.
    """
    return {one.name: one.text for one in point.walk() if one.namespace == NAMESPACE and one is not point}


def why_no_spot(point: Element, own: Mapping[str, str]) -> str:
    """Say why a point of an exported plan is no spot; empty where it may be one."""
    if own:
        what = next(
            (words for column, words in _COLUMNS.items() if own.get(column)),
            _TYPES.get(point.text_of("type")),
        )
        return f"it is {what} of an exported plan, no spot" if what else ""
    if point.text_of("type") == "turn" and _TURN.fullmatch(point.text_of("name")):
        return "it is a turn of an exported plan, no spot"
    return ""


def own_name(name: str, own: Mapping[str, str]) -> str:
    """Give the name a spot has in the book, where the point's name is that, made different from others by a number."""
    stated = own.get("name", "")
    shown = one_line(stated) or own.get("spot_id", "")
    made = re.fullmatch(rf"{re.escape(shown)}(?: \d+)?", name.strip(), re.IGNORECASE)
    return stated if shown and made else name


def added_words(text: str, own: Mapping[str, str]) -> str:
    """Take what castshed wrote out of a description; what is left was added by somebody."""
    left = text
    for sentence in sorted(describe("spots", dict(own), None), key=len, reverse=True):
        if sentence.strip():
            left = left.replace(sentence, "", 1)
    left = _DEPTHS.sub("", left)
    return " ".join(left.split()).strip(" ;") if re.search(r"\w", left) else ""
