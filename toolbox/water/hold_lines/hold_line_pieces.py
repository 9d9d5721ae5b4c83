"""Pieces of track on which a boat keeps every rule, put into the direction of travel, with headings in words."""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
import shapely

from ..holds.hold_tables import bearings_deg
from .line_rules import BREAKS

if TYPE_CHECKING:
    from ...arrays import Floats, Indices
    from .line_marks import Marks


_BEND_M: Final = 3.0  # how far a leg of constant heading may leave the line
_ACROSS: Final = 0.17  # cosine below which the wind is across the line: 80 to 100 degrees
_MOST_LEGS: Final = 12


@dataclass(frozen=True, eq=False)
class LinePiece:
    """A stretch of track that keeps every rule."""

    marks: Indices  # its marks, in the direction of travel
    # what is broken before and after it: a sum of keys of
    # `castshed.toolbox.water.hold_lines.line_rules.BREAKS`; 0 where the track itself ends
    before: int
    after: int
    loop: bool  # whether it comes back to its first mark

    def turned(self) -> LinePiece:
        """Give the same piece in the other direction."""
        return LinePiece(self.marks[::-1], self.after, self.before, self.loop)

    def xy(self, marks: Marks) -> Floats:
        """Give the places along the piece."""
        at = np.append(self.marks, self.marks[0]) if self.loop else self.marks
        return np.column_stack([marks.x[at], marks.y[at]])


def _ring_piece(marks: Marks, chain: Indices) -> LinePiece:
    """Make a loop that starts where its path does."""
    start = int(marks.along_m[chain].argmin())
    return LinePiece(np.roll(chain, -start), 0, 0, loop=True)


def pieces_of(marks: Marks) -> list[LinePiece]:
    """Cut tracks into the longest pieces that keep every rule, in the order of the tracks."""
    good = marks.broken == 0
    linked = good & (marks.following >= 0) & (marks.broken_after == 0)
    linked[linked] = good[marks.following[linked]]
    pieces: list[LinePiece] = []
    bounds = np.flatnonzero(np.diff(marks.track, prepend=-1, append=-2))
    for first, stop in itertools.pairwise(bounds):
        chain = np.arange(first, stop)
        if not good[chain].any():
            continue
        ring = marks.following[stop - 1] >= 0
        if ring and linked[chain].all():
            pieces.append(_ring_piece(marks, chain))
            continue
        if ring:  # start behind a break, so that no piece runs over the seam
            chain = np.roll(chain, -(int(np.flatnonzero(~linked[chain])[0]) + 1))
        begins = np.flatnonzero(good[chain] & ~np.append(False, linked[chain[:-1]]))
        ends = np.flatnonzero(good[chain] & ~linked[chain])
        for begin, end in zip(begins, ends, strict=True):
            if end > begin:
                pieces.append(
                    LinePiece(
                        chain[begin : end + 1],
                        _broken_before(marks, chain, int(begin), ring=bool(ring)),
                        _broken_after(marks, int(chain[end])),
                        loop=False,
                    )
                )
    return pieces


def _broken_before(marks: Marks, chain: Indices, at: int, *, ring: bool) -> int:
    if at == 0 and not ring:
        return 0
    previous = int(chain[at - 1])
    return int(marks.broken[previous] | marks.broken_after[previous])


def _broken_after(marks: Marks, at: int) -> int:
    following = int(marks.following[at])
    return 0 if following < 0 else int(marks.broken[following] | marks.broken_after[at])


def break_words(broken: int) -> str:
    """Say what ends a piece: the first of `BREAKS` that applies."""
    return next((words for rule, words in BREAKS.items() if broken & rule), "the isobath ends")


def headings(xy: Floats) -> str:
    """Say the headings along a line, leg by leg: `045 deg 60 m, 070 deg 35 m`.

    Parameters
    ----------
    xy
        Places along the line.

    Returns
    -------
    Legs of constant heading that leave the line by no more than three metres, or by more where that would make more
    than a dozen of them.
    """
    line, bend_m = shapely.LineString(xy), _BEND_M
    legs = np.diff(shapely.get_coordinates(line.simplify(bend_m)), axis=0)
    while len(legs) > _MOST_LEGS:
        bend_m *= 1.5
        legs = np.diff(shapely.get_coordinates(line.simplify(bend_m)), axis=0)
    bearing = np.rint(bearings_deg(legs[:, 0], legs[:, 1])) % 360.0
    length = np.hypot(legs[:, 0], legs[:, 1])
    return ", ".join(f"{one:03.0f} deg {far:.0f} m" for one, far in zip(bearing, length, strict=True))


def upwind(xy: Floats, wind_from_deg: float | None) -> float:
    """Tell how far a line leads into the wind: 1 straight into it, -1 straight before it, 0 across, round or calm."""
    if wind_from_deg is None:
        return 0.0
    east, north = xy[-1] - xy[0]
    size = float(np.hypot(east, north))
    if size < 1e-6:
        return 0.0
    wind = np.radians(wind_from_deg)
    share = float((east * np.sin(wind) + north * np.cos(wind)) / size)
    return share if abs(share) > _ACROSS else 0.0
