"""A page as SVG to stand in an HTML page: words stay words, paths are short, ids are its own."""

from __future__ import annotations

import functools
import io
import re
from typing import TYPE_CHECKING, Final

import matplotlib as mpl
import numpy as np

from ..maps.draughting import Pen

if TYPE_CHECKING:
    from matplotlib.figure import Figure

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
