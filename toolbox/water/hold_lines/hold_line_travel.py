"""Which pieces of track a boat takes beside a structure, in which direction and in which order."""

from __future__ import annotations

import itertools
from typing import TYPE_CHECKING

import numpy as np
import shapely

from .hold_line_pieces import upwind
from .side_depths import BOTH, LEFT, RIGHT

if TYPE_CHECKING:
    from ...arrays import Flags
    from .hold_line_pieces import LinePiece
    from .hold_paths import Paths, Tracks
    from .line_marks import Marks
    from .side_depths import Sides


_DOWNWIND = 0.5  # what the wind may add to the length of a side on level ground, or take from it


def _lee(piece: LinePiece, marks: Marks, wind_from_deg: float | None) -> float:
    """Tell how far a piece lies downwind of its structure: 1 straight, -1 upwind, 0 without a wind."""
    if wind_from_deg is None:
        return 0.0
    at = piece.marks
    east, north = np.mean(marks.x[at] - marks.aim_x[at]), np.mean(marks.y[at] - marks.aim_y[at])
    size = max(float(np.hypot(east, north)), 1e-9)
    wind = np.radians(wind_from_deg)
    return float(-(east * np.sin(wind) + north * np.cos(wind)) / size)


def one_side(
    pieces: list[LinePiece],
    marks: Marks,
    tracks: Tracks,
    paths: Paths,
    sides: Sides,
    wind_from_deg: float | None,
) -> list[LinePiece]:
    """On level ground keep one side of a line: the longer one, or the one from which the wind sets the boat off.

    Parameters
    ----------
    pieces, marks, tracks, paths, sides
        Pieces and what they were cut from.
    wind_from_deg
        Where the wind comes from; None: not known. A side straight downwind counts half as long again, a side
        upwind half as long.
    """
    length = np.array([shapely.LineString(piece.xy(marks)).length for piece in pieces])
    first = np.array([piece.marks[0] for piece in pieces], dtype=np.intp)
    path = tracks.path[marks.track[first]]
    level = (sides.deep[marks.station[first]] == BOTH) & ~paths.area[path]
    keep = np.ones(len(pieces), dtype=np.bool_)
    for number in np.unique(path[level]):
        mine = np.flatnonzero(level & (path == number))
        score = {}
        for side in (LEFT, RIGHT):
            here = mine[marks.side[first[mine]] == side]
            score[side] = float(
                sum(length[at] * (1 + _DOWNWIND * _lee(pieces[at], marks, wind_from_deg)) for at in here)
            )
        # To the tenth of a metre, so that equal sides are equal on every machine; then the left one.
        best = LEFT if round(score[LEFT], 1) >= round(score[RIGHT], 1) else RIGHT
        keep[mine] = marks.side[first[mine]] == best
    return [piece for piece, use in zip(pieces, keep, strict=True) if use]


def in_travel(
    pieces: list[tuple[int, LinePiece]], marks: Marks, closed: Flags, wind_from_deg: float | None
) -> list[tuple[int, LinePiece]]:
    """Put the pieces of one structure into the direction and order of travel.

    Along a line all run the same way: the one that leads into the wind over most of their length, or the one in which
    the line is drawn. Round a closed path each piece has a way of its own, since some would always lead before the
    wind.
    """
    drawn: list[tuple[int, LinePiece]] = []
    into_wind: dict[int, float] = {}
    for path, piece in pieces:
        # Most steps tell which way a piece runs; at the seam of a closed path the distance jumps.
        backward = int(np.sum(np.sign(np.diff(marks.along_m[piece.marks])))) < 0
        one = piece.turned() if backward else piece
        xy = one.xy(marks)
        gain = upwind(xy, wind_from_deg) * float(np.hypot(*np.diff(xy, axis=0).T).sum())
        into_wind[path] = into_wind.get(path, 0.0) + gain
        drawn.append((path, one.turned() if closed[path] and gain < 0 else one))
    drawn.sort(key=lambda told: (told[0], float(marks.along_m[told[1].marks].min())))
    ordered: list[tuple[int, LinePiece]] = []
    for path, group in itertools.groupby(drawn, key=lambda told: told[0]):
        mine = list(group)
        if into_wind[path] < 0 and not closed[path]:
            mine = [(path, piece.turned()) for _, piece in reversed(mine)]
        ordered += mine
    return ordered
