"""A page as SVG to stand in an HTML page: words stay words, paths are short, ids are its own."""

from __future__ import annotations

import io
import re
from typing import TYPE_CHECKING, Final

import matplotlib as mpl

from .chart_page import pen_for

if TYPE_CHECKING:
    from matplotlib.figure import Figure

_POINTS: Final = 72.0
_PATH: Final = re.compile(r' d="([^"]*)"')
_TAG: Final = re.compile(r"<[^>]*>")
_NUMBER: Final = re.compile(r"-?\d+\.\d{2,}")
_STROKE: Final = re.compile(r'<path d="([^"]*)" (clip-path="[^"]*" )?style="([^"]*fill: none[^"]*)"/>')
_WORDS: Final = re.compile(
    r'<text style="(?P<style>[^"]*font-size: (?P<size>[\d.]+)px[^"]*)"(?P<rest>[^>]*)>(?P<text>[^<]+)</text>'
)
_ID: Final = re.compile(r' id="([^"]*)"')
_USED: Final = re.compile(r'(?:href="#|url\(#)([^")]+)')
_ENTITIES: Final = {"&amp;": "&", "&lt;": "<", "&gt;": ">", "&quot;": '"'}


def _tenth(found: re.Match[str]) -> str:
    return f"{float(found[0]):.1f}".rstrip("0").rstrip(".")


def _tenths(value: int) -> str:
    """Write a number given in tenths as short as can be."""
    sign, (whole, part) = "-" if value < 0 else "", divmod(abs(value), 10)
    return f"{sign}{whole or ''}.{part}" if part else f"{sign}{whole}"


def _short(path: str) -> str:
    """Write a path of straight lines as steps of a tenth of a point; others are left as they are."""
    words = path.split()
    if not set(words) & {"L"} or {word for word in words if word.isalpha()} - {"M", "L", "z"}:
        return path
    made: list[str] = []
    at, k = (0, 0), 0
    begin = (0, 0)
    drawing = False
    while k < len(words):
        word = words[k]
        if word == "z":
            made.append("z")
            at, k, drawing = begin, k + 1, False
            continue
        if word in {"M", "L"}:
            k += 1
        new = (round(10.0 * float(words[k])), round(10.0 * float(words[k + 1])))
        k += 2
        step = f"{_tenths(new[0] - at[0])} {_tenths(new[1] - at[1])}"
        if word == "M":
            made.append(f"M{_tenths(new[0])} {_tenths(new[1])}")
            begin, drawing = new, False
        elif new != at or not drawing:
            made.append(("" if drawing else "l") + (" " if drawing else "") + step)
            drawing = True
        at = new
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
    pen = pen_for(figure)
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
