"""Pieces of track on which a boat keeps every rule, put into the direction of travel, with headings in words.

Which pieces of track a boat takes beside a structure, in which direction and in which order.

Say in words why a hold line lies where it does, and why a structure has none.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
import shapely

from ...units import FOOT_M
from ..holds.hold_rules import THIN
from ..holds.hold_tables import bearings_deg
from .line_rules import BREAKS, ENDS, OTHER_SIDE, TOO_FAR
from .side_depths import BOTH, LEFT, RIGHT

if TYPE_CHECKING:
    from collections.abc import Sequence

    from ...arrays import Flags, Floats, Geometries, Indices
    from ..holds.hold_rules import Setting
    from .hold_paths import Paths, Tracks
    from .line_rules import Marks
    from .side_depths import Sides

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


def headings(xy: Floats, north_deg: float = 0.0) -> str:
    """Say the headings along a line, leg by leg: `045 deg 60 m, 070 deg 35 m`.

    Parameters
    ----------
    xy
        Places along the line.
    north_deg
        True bearing of the grid's north there.

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
    bearing = np.rint(bearings_deg(legs[:, 0], legs[:, 1]) + north_deg) % 360.0
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


_POINTS: Final = (0, 4)  # geometry types, as shapely counts them
_AREAS: Final = (3, 6)


def _length(metres: float) -> str:
    return f"{metres:.1f} m ({metres / FOOT_M:.1f} ft)"


def why_here(
    sides: Sides,
    station: Indices,
    deep_bearing_deg: float,
    *,
    area: bool,
    wind_from_deg: float | None,
    wind_angle_deg: float,
) -> str:
    """Say which side a line was drawn on and why, and what decided its direction."""
    clear = sides.clear[station]
    if (sides.deep[station] == BOTH).all():
        decides = "the longer side" if wind_from_deg is None else "the wind and the longer side decide"
        side = "level ground, no deep side: " + ("all round" if area else decides)
    elif sides.lonely[station][clear].all() and clear.any():
        side = "the only side with water that is known"
    else:
        fall = float(np.median(np.abs(sides.fall_m[station][clear if clear.any() else slice(None)])))
        than = "than the edge" if area else "than the other side"
        where = "deep all round" if np.isnan(deep_bearing_deg) else f"deep side {deep_bearing_deg:.0f} deg"
        side = f"{where}, {_length(fall)} deeper {than} one cast off"
    if wind_from_deg is None:
        return f"{side}; no wind given, direction as drawn"
    if np.isnan(wind_angle_deg):
        return f"{side}; all the way round, either direction serves"
    if 80.0 < wind_angle_deg < 100.0:
        return f"{side}; wind across the line, either direction serves"
    return f"{side}; " + (
        "bow into the wind" if wind_angle_deg <= 80.0 else "before the wind, as its other pieces"
    )


def _why(kind: int, mine: Marks, live: Indices, setting: Setting, follow_m: float | None) -> str:
    if kind in _POINTS:
        return "a point has no line beside it; boat-hold places the boat for it"
    if not live.size:
        if follow_m is not None:
            return (
                f"the {_length(follow_m)} isobath of today does not pass within a cast of it on its deep side"
            )
        return (
            "it lies in a hollow: the water round it is shallower than its edge on every side"
            if kind in _AREAS
            else "no water lies a cast off it on its deep side"
        )
    broken = mine.broken[live]
    counts = {rule: int(np.count_nonzero(broken & rule)) for rule in BREAKS}
    rule = max(counts, key=lambda one: counts[one])
    if rule == THIN:
        deepest = float(np.nanmax(mine.depth_m[live]))
        return (
            f"too thin: {_length(deepest)} is the deepest a cast off and {_length(setting.need_m)} is needed"
            if deepest < setting.need_m
            else f"mostly too thin: {_length(setting.need_m)} is needed for draft, margin and depth error"
        )
    return f"no stretch keeps all rules: mostly {BREAKS[rule]}"


def why_none(
    bare: Sequence[int],
    structures: Geometries,
    marks: Marks,
    mark_row: Indices,
    setting: Setting,
    *,
    longest_m: Floats,
    least_length_m: float,
    follow_m: float | None,
) -> list[str]:
    """Say why structures have no hold line.

    Parameters
    ----------
    bare
        Rows of structures without a line.
    structures, marks, mark_row
        All structures, all marks, and the structure of each mark.
    setting
        The lake on the day and the rules.
    longest_m, least_length_m
        Longest piece of each structure, 0 where there is none, and what a line must be long.
    follow_m
        Today's depth of the isobath that was to be followed.
    """
    kinds = shapely.get_type_id(structures)
    # Marks on the wrong side or off the ends say nothing about the rules.
    telling = (marks.broken & (ENDS | OTHER_SIDE)) == 0
    if follow_m is not None:
        telling &= (marks.broken & TOO_FAR) == 0
    order = np.argsort(mark_row, kind="stable")
    bounds = np.searchsorted(mark_row[order], np.arange(len(structures) + 1))
    said = []
    for row in bare:
        mine = order[bounds[row] : bounds[row + 1]]
        if longest_m[row] > 0:
            said.append(
                f"the longest stretch that keeps all rules is {_length(longest_m[row])}; "
                f"{_length(least_length_m)} is the least wanted"
            )
            continue
        said.append(_why(int(kinds[row]), marks, mine[telling[mine]], setting, follow_m))
    return said
