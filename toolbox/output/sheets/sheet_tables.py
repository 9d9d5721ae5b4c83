"""The tables of a sheet, as cells for the page on a screen, and set on paper with every word of every cell."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING, Final

import numpy as np

from ...text import one_line
from ..formats import palette
from ..maps.chart_page import (
    CAUTION_LINE_IN,
    CAUTION_SIZE,
    PAPERS,
    TABLE_SIZE,
    Rect,
    blank_page,
    caution_lines,
    write_cautions,
)

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from ..maps.draughting import Pen
    from ..maps.plan_facts import LegFacts, StopFacts

_EDGE: Final = 0.4
_GAP: Final = 0.09
_BODY, _LINE_IN = TABLE_SIZE, 0.14
_CAPTION_IN: Final = 0.3
_BOLDER: Final = 1.18  # bold letters are so much wider

_STOP_HEADS: Final[dict[str, float]] = {
    "No": 3.0, "Stop": 9.0, "Arrive": 3.6, "Leave": 3.6, "What": 6.0, "Depth today": 7.0, "Boat in": 7.3, "Cast": 7.4,
    "Wind": 8.4, "Wave": 7.4, "Turn back by": 4.6, "Plan B": 7.0, "Note": 11.5,
}  # fmt: skip
_LEG_HEADS: Final[dict[str, float]] = {
    "No": 3.6, "From and to": 19.0, "Distance and time": 17.0, "Courses": 44.0, "Least depth": 11.0,
    "Nearest hazard": 22.0,
}  # fmt: skip


@dataclass(frozen=True)
class SheetTable:
    """What a table is called, its heads with the share of the width of each, and its rows."""

    caption: str
    heads: dict[str, float]
    rows: list[list[str]]


def _used(table: SheetTable) -> SheetTable:
    """Leave out columns nobody filled."""
    kept = [k for k in range(len(table.heads)) if k < 2 or any(row[k] for row in table.rows)]
    heads = list(table.heads.items())
    return SheetTable(
        table.caption, dict(heads[k] for k in kept), [[row[k] for k in kept] for row in table.rows]
    )


def _what(stop: StopFacts) -> str:
    """Tell the kind, and what is said of the spot where that says more."""
    if stop.kind and stop.what and stop.kind not in stop.what:
        return f"{stop.kind}: {stop.what}"
    return stop.what or stop.kind


def table_of_stops(stops: Sequence[StopFacts]) -> SheetTable:
    """Lay out all there is to know of each stop, in order."""
    rows = [
        [
            stop.number, stop.name, stop.arrive, stop.leave,
            _what(stop), stop.depth, stop.hold, stop.cast, stop.wind, stop.wave, stop.turn_back, stop.plan_b,
            stop.note if stop.note != stop.what else "",
        ]
        for stop in stops
    ]  # fmt: skip
    return _used(SheetTable("Stops in order", _STOP_HEADS, rows))


_PAPER_HEADS: Final[dict[str, float]] = {
    "No": 3.2, "Stop": 11.5, "Time": 8.0, "Depth today": 9.2, "Boat in": 10.0, "Cast": 11.0, "Wind and waves": 13.0,
    "What and note": 16.0, "Plan B": 9.0,
}  # fmt: skip


def stops_on_paper(stops: Sequence[StopFacts]) -> SheetTable:
    """Lay out all there is to know of each stop in as many columns as a standing page has room for."""
    rows = []
    for stop in stops:
        times = " to ".join(text for text in (stop.arrive, stop.leave) if text)
        back = f"turn back by {stop.turn_back}" if stop.turn_back else ""
        wave = f"waves {stop.wave}" if stop.wave else ""
        said = [_what(stop), stop.note if stop.note != stop.what else ""]
        rows.append(
            [
                stop.number, stop.name, "; ".join(text for text in (times, back) if text), stop.depth, stop.hold,
                stop.cast, ", ".join(text for text in (stop.wind, wave) if text),
                ". ".join(text[:1].upper() + text[1:].rstrip(".") for text in said if text), stop.plan_b,
            ]
        )  # fmt: skip
    return _used(SheetTable("Stops in order", _PAPER_HEADS, rows))


def legs_on_paper(legs: Sequence[LegFacts]) -> SheetTable:
    """Lay out the legs; their turns stand on the leg cards."""
    heads = {
        "No": 4.0,
        "From and to": 30.0,
        "Distance and time": 24.0,
        "Least depth": 16.0,
        "Nearest hazard": 28.0,
    }
    rows = [
        [str(leg.number), f"{leg.start} to {leg.goal}", f"{leg.distance}, {leg.time}", leg.depth, leg.hazard]
        for leg in legs
    ]
    return SheetTable("Legs in order", heads, rows)


def table_of_legs(legs: Sequence[LegFacts]) -> SheetTable:
    """Lay out all there is to know of each leg, in order."""
    rows = [
        [
            str(leg.number),
            f"{leg.start} to {leg.goal}",
            f"{leg.distance}, {leg.time}",
            ", ".join(leg.courses),
            leg.depth,
            leg.hazard,
        ]
        for leg in legs
    ]
    return SheetTable("Legs in order", _LEG_HEADS, rows)


def table_of_left_out(groups: Sequence[tuple[Sequence[str], str]]) -> SheetTable:
    """Lay out the spots left out: one a row with its reason, or many that share a reason, all named."""
    rows = [
        [names[0], reason] if len(names) == 1 else [f"{len(names)} spots", f"{reason}: {', '.join(names)}"]
        for names, reason in groups
    ]
    return SheetTable("Spots left out, and why", {"Spot": 14.0, "Reason": 86.0}, rows)


def table_of_answers(questions: Sequence[tuple[str, str]]) -> SheetTable:
    """Lay out questions and answers."""
    return SheetTable(
        "Questions and answers", {"Question": 25.0, "Answer": 75.0}, [list(q) for q in questions]
    )


class _Paper:
    """Sets tables on as many pages as they need."""

    def __init__(self, title: str, told: str, width_px: int, paper: tuple[float, float]) -> None:
        self.title, self.told, self.width_px, self.paper = title, told, width_px, paper
        self.pages: list[Figure] = []
        self.pen, self.y = self._new()

    @property
    def room(self) -> float:
        """Width of the text."""
        return self.paper[0] - 2.0 * _EDGE

    def _new(self) -> tuple[Pen, float]:
        figure, pen = blank_page(self.paper[0], self.width_px)
        figure.set_size_inches(*self.paper)
        y = self.paper[1] - _EDGE - 0.14
        pen.write(_EDGE, y, pen.fitted(self.title, 12.0, self.room, bold=True), 12.0, palette.INK, bold=True)
        for line in pen.wrapped(self.told, _BODY, self.room):
            y -= _LINE_IN + 0.05
            pen.write(_EDGE, y, line, _BODY, palette.INK)
        foot = caution_lines(pen, self.room, CAUTION_SIZE)
        write_cautions(pen, foot, _EDGE, 0.15, size=CAUTION_SIZE, line_in=CAUTION_LINE_IN)
        self.bottom = 0.15 + CAUTION_LINE_IN * len(foot) + 0.1
        self.pages.append(figure)
        self.pen = pen
        return pen, y - 0.08

    def _heads(self, table: SheetTable, edges: list[float], rooms: list[float]) -> None:
        lines = [
            self.pen.wrapped(head, _BODY * _BOLDER, room)
            for head, room in zip(table.heads, rooms, strict=True)
        ]
        most = max(len(some) for some in lines)
        for left, some in zip(edges, lines, strict=False):
            for k, line in enumerate(some):
                y = self.y - _LINE_IN * (most - len(some) + k + 1)
                self.pen.write(left, y, line, _BODY, palette.INK, bold=True, gid="head")
        self.y -= _LINE_IN * most + 0.045
        self.pen.line([_EDGE, _EDGE + self.room], [self.y, self.y], color=palette.INK, linewidth=0.9)

    def add(self, table: SheetTable) -> None:
        """Set a table; one that does not fit goes on at the next page under its heads again."""
        shares = np.cumsum([0.0, *table.heads.values()])
        edges = [float(x) for x in _EDGE + self.room * shares / shares[-1]]
        rooms = [right - left - _GAP for left, right in pairwise(edges)]
        if self.y - _CAPTION_IN - 5 * _LINE_IN < self.bottom:
            self.pen, self.y = self._new()
        self.y -= _CAPTION_IN
        self.pen.write(_EDGE, self.y, table.caption, 9.5, palette.INK, bold=True, gid="caption")
        self.y -= 0.05
        self._heads(table, edges, rooms)
        for order, row in enumerate(table.rows):
            cells = [self.pen.wrapped(cell, _BODY, room) for cell, room in zip(row, rooms, strict=True)]
            done = 0
            while done < (most := max(len(lines) for lines in cells)):
                fits = int((self.y - self.bottom - 0.06) / _LINE_IN)
                if fits < min(most - done, 12):
                    self.pen, self.y = self._new()
                    self._heads(table, edges, rooms)
                    continue
                some = min(fits, most - done)
                self._row([lines[done : done + some] for lines in cells], edges, shaded=order % 2 == 1)
                done += some

    def _row(self, cells: list[list[str]], edges: list[float], *, shaded: bool) -> None:
        high = _LINE_IN * max(len(lines) for lines in cells) + 0.05
        if shaded:
            band = Rect(_EDGE - 0.04, self.y - high, self.room + 0.08, high)
            self.pen.box(band, facecolor=palette.BAND, linewidth=0.0, zorder=0.5)
        for column, (left, lines) in enumerate(zip(edges, cells, strict=False)):
            for k, line in enumerate(lines):
                y = self.y - _LINE_IN * (k + 1) + 0.005
                self.pen.write(
                    left, y, line, _BODY, palette.INK, bold=column == 0 and len(line) < 4, gid="cell"
                )
        self.y -= high


def draw_tables(
    tables: Sequence[SheetTable],
    *,
    title: str,
    level: str,
    totals: Sequence[tuple[str, str]],
    paper: tuple[float, float] = PAPERS["letter"],
    width_px: int = 1300,
) -> list[Figure]:
    """Set tables on paper, every cell with all its words.

    Parameters
    ----------
    tables
        The tables in order; one without rows is left out.
    title, level
        Heading, and what level and day the depths stand for.
    totals
        Pairs of words told at the head of each page.
    paper, width_px
        Width and height of a page in inches, and its width as a picture.
    """
    told = " · ".join([one_line(level).rstrip("."), *(f"{what}: {value}" for what, value in totals)])
    pages = _Paper(f"{one_line(title)}: tables", told, width_px, paper)
    for table in tables:
        if table.rows:
            pages.add(table)
    return pages.pages
