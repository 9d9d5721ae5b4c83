"""Hold lines: where the boat goes along a ledge, a bank, a weed edge or long cover, on the deep side, a cast off it."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import geopandas as gpd
import numpy as np
import shapely

from ...errors import CrsError, DataError, UsageError
from ...lon_lat import grid_north_deg
from ...same_system import same_crs
from ..holds.hold_rules import HoldRules, Setting, longest_cast_m
from ..holds.hold_tables import bearings_deg
from ..holds.surroundings import Surroundings
from .hold_line_pieces import break_words, headings, in_travel, one_side, pieces_of, why_here, why_none
from .hold_paths import cast_tracks, isobath_tracks, structure_paths
from .line_rules import Fished, mark_tracks
from .side_depths import BOTH, LEFT, RIGHT, side_depths

if TYPE_CHECKING:
    from typing import Any

    from geopandas import GeoDataFrame

    from ...arrays import Floats
    from ...depth import DepthSurface
    from .hold_line_pieces import LinePiece
    from .line_rules import Marks
    from .side_depths import Sides


_COLLINEAR_M = 1e-6
_ROOM_M = 0.5  # between a line and the casts it must not exceed, for its chords and bends

COLUMNS = (
    "spot_id", "line_no", "length_m", "heading_deg", "headings", "cast_side", "cast_m", "least_depth_m",
    "most_depth_m", "deep_bearing_deg", "wind_angle_deg", "starts", "ends", "reason",
)  # fmt: skip
"""Columns of hold lines, beside the geometry."""


class Followed(NamedTuple):
    """Hold lines, and the structures that have none."""

    lines: GeoDataFrame  # lines in the direction of travel, with the columns of `COLUMNS`
    left_out: GeoDataFrame  # a point on each structure without a line: `spot_id`, `name`, `reason`


def _column(frame: GeoDataFrame, name: str, gap: float) -> Floats:
    """Take a column of numbers, with gaps filled; all gaps where it is not there."""
    if name not in frame.columns:
        return np.full(len(frame), gap)
    values = frame[name].to_numpy(dtype=float)
    return np.where(np.isnan(values), gap, values)


def _check(lines: GeoDataFrame, depth: DepthSurface, level_m: float, follow_m: float | None) -> None:
    if lines.crs is None or not same_crs(lines.crs, depth.crs):
        raise CrsError(
            f"The lines are in {lines.crs.name if lines.crs else 'no reference system'}, the depth in "
            f"{depth.crs.name}; reproject one of them."
        )
    if not np.isfinite(level_m):
        raise UsageError(
            f"The level is {level_m}; give today's surface minus chart datum as a finite length."
        )
    if follow_m is not None and not (np.isfinite(follow_m) and follow_m > 0):
        raise UsageError(
            f"The depth to follow is {follow_m} m; give a depth below today's surface, such as 25ft."
        )
    geometry = lines.geometry.to_numpy()
    if (shapely.is_missing(geometry) | shapely.is_empty(geometry)).any():
        raise DataError("Some of the lines have no geometry; leave them out.")


def _record(
    piece: LinePiece, marks: Marks, sides: Sides, *, area: bool, wind_from_deg: float | None, crs: Any
) -> dict[str, Any]:
    at, xy = piece.marks, piece.xy(marks)
    north = float(grid_north_deg(crs, *xy[:1].T)[0]) if crs is not None and crs.is_projected else 0.0
    east, north = xy[-1] - xy[0]
    round_trip = bool(np.hypot(east, north) < 1e-6)
    heading = float("nan") if round_trip else float(bearings_deg(east, north))
    ahead = np.diff(xy, axis=0)
    to_aim = np.column_stack([marks.aim_x[at] - marks.x[at], marks.aim_y[at] - marks.y[at]])[: len(ahead)]
    left = float(np.sum(np.sign(ahead[:, 0] * to_aim[:, 1] - ahead[:, 1] * to_aim[:, 0]))) > 0
    station = marks.station[at]
    clear = bool((sides.deep[station] != BOTH).any())
    off = np.array([np.mean(marks.x[at] - marks.aim_x[at]), np.mean(marks.y[at] - marks.aim_y[at])])
    # Round a hump the deep side is all round: no one bearing tells it.
    deep = (
        float(bearings_deg(*off) + north) % 360.0
        if clear and np.hypot(*off) > 0.5 * np.mean(marks.cast_m[at])
        else float("nan")
    )
    angle = float("nan")
    if wind_from_deg is not None and not round_trip:
        angle = abs((heading - wind_from_deg + 180.0) % 360.0 - 180.0)
    starts = "where the line began: it goes all round" if piece.loop else break_words(piece.before)
    return {
        "length_m": float(np.hypot(ahead[:, 0], ahead[:, 1]).sum()),
        "heading_deg": (heading + north) % 360.0,
        "headings": headings(xy, north),
        "cast_side": "port" if left else "starboard",
        "cast_m": float(np.median(marks.cast_m[at])),
        "least_depth_m": float(marks.depth_m[at].min()),
        "most_depth_m": float(marks.depth_m[at].max()),
        "deep_bearing_deg": deep,
        "wind_angle_deg": angle,
        "starts": starts,
        "ends": starts if piece.loop else break_words(piece.after),
        "reason": why_here(
            sides, station, deep, area=area, wind_from_deg=wind_from_deg, wind_angle_deg=angle
        ),
        "geometry": shapely.LineString(xy).simplify(_COLLINEAR_M),
    }


def _casts_m(sides: Sides, paths: int, rules: HoldRules) -> Floats:
    """Give the cast at which each path is held: the preferred one, or less where it goes against the wind."""
    cast = np.full(paths, rules.cast_m)
    for side in (LEFT, RIGHT):
        here = (sides.deep == side) | (sides.deep == BOTH)
        longest = longest_cast_m(-side * sides.north[here], side * sides.east[here], rules)
        np.minimum.at(cast, sides.path[here], longest - _ROOM_M)
    return np.asarray(np.maximum(cast, rules.least_cast_m + _ROOM_M))


def hold_lines(
    lines: GeoDataFrame,
    depth: DepthSurface,
    *,
    level_m: float = 0.0,
    rules: HoldRules | None = None,
    surroundings: Surroundings | None = None,
    follow_m: float | None = None,
    smooth_m: float = 5.0,
    least_length_m: float = 15.0,
    surely: DepthSurface | None = None,
) -> Followed:
    """Draw the lines that a boat follows beside structures.

    Call it as ``hold_lines(frame, surface, level_m=..., rules=HoldRules(...)).lines``; only ``frame`` and ``surface``
    are needed.

    Parameters
    ----------
    lines
        Structures: lines and polygons; points have no line and are left out with that reason. Columns ``spot_id``
        (else the row's label), ``name``, ``depth_m`` and ``height_m`` are used where they are there.
    depth
        Depth below chart datum, in the same reference system.
    level_m
        Today's surface minus chart datum.
    rules
        Casts, draft, margin, drift and wind of a hold; by default those of `HoldRules`.
    surroundings
        What to keep off: its structures are the same rows as ``lines``. By default nothing.
    follow_m
        Today's depth of the isobath to follow; by default the line lies at the preferred cast.
    smooth_m
        Wiggles shorter than a few of these are taken out of structures and isobaths.
    least_length_m
        Pieces shorter than this are left out.
    surely
        The depths lowered where they are less sure; water enough for the boat is judged by them.

    Returns
    -------
    Lines, numbered from 1 along each structure in the direction of travel, and what has none.

    Raises
    ------
    CrsError, DataError, UsageError
        Reference systems that differ, rows without geometry, lengths that are not finite.

    Notes
    -----
    All water at the preferred cast, or at the longest that carries against the wind, from the smoothed structure and
    no nearer to any part of it (`castshed.toolbox.water.hold_lines.hold_paths`), or the isobath within casts, is
    marked every three metres or finer. A mark stays where it lies on the deep side (`side_depths`) and keeps the
    rules of a hold (`line_rules`). Direction: into the wind where the line leads into it at all, else as the
    structure is drawn.
    """
    rules = HoldRules() if rules is None else rules
    _check(lines, depth, level_m, follow_m)
    structures = np.asarray(lines.geometry.to_numpy(), dtype=object)
    if surroundings is None:
        none, nothing = np.empty(0, dtype=object), np.empty(0)
        surroundings = Surroundings(none, nothing, none, nothing)
    setting = Setting(depth, level_m, rules, surroundings, surely)
    paths = structure_paths(structures, smooth_m)
    sides = side_depths(paths, depth, level_m=level_m, cast_m=rules.cast_m, most_cast_m=rules.most_cast_m)
    if follow_m is None:
        tracks = cast_tracks(paths, _casts_m(sides, len(paths), rules))
    else:
        tracks = isobath_tracks(
            paths, depth, depth_m=follow_m - level_m, reach_m=rules.most_cast_m, smooth_m=smooth_m
        )
    marks = mark_tracks(
        tracks,
        paths,
        sides,
        Fished(structures, _column(lines, "depth_m", np.nan), _column(lines, "height_m", 0.0), setting),
    )
    wind = rules.wind_from_deg
    pieces = one_side(pieces_of(marks), marks, tracks, paths, sides, wind)
    length = np.array([shapely.LineString(piece.xy(marks)).length for piece in pieces])
    ids = (lines["spot_id"] if "spot_id" in lines.columns else lines.index.to_series()).astype(str).tolist()
    by_row: dict[int, list[tuple[int, LinePiece]]] = {}
    longest = np.zeros(len(lines))
    for piece, long in zip(pieces, length, strict=True):
        path = int(tracks.path[marks.track[piece.marks[0]]])
        row = int(paths.row[path])
        longest[row] = max(longest[row], long)
        if long >= least_length_m:
            by_row.setdefault(row, []).append((path, piece))
    records: list[dict[str, Any]] = []
    for row in sorted(by_row):
        for number, (path, piece) in enumerate(in_travel(by_row[row], marks, paths.closed, wind), 1):
            told = _record(
                piece, marks, sides, area=bool(paths.area[path]), wind_from_deg=wind, crs=lines.crs
            )
            records.append({"spot_id": ids[row], "line_no": number, **told})
    geometry = [record.pop("geometry") for record in records]
    found = gpd.GeoDataFrame(records, columns=list(COLUMNS), geometry=geometry, crs=lines.crs)
    bare = [row for row in range(len(lines)) if row not in by_row]
    reasons = why_none(
        bare,
        structures,
        marks,
        paths.row[tracks.path[marks.track]],
        setting,
        longest_m=longest,
        least_length_m=least_length_m,
        follow_m=follow_m,
    )
    names = (
        lines["name"].astype(object).to_numpy()
        if "name" in lines.columns
        else np.full(len(lines), "", object)
    )
    left_out = gpd.GeoDataFrame(
        {
            "spot_id": np.array([ids[row] for row in bare], dtype=object),
            "name": names[bare] if bare else np.empty(0, dtype=object),
            "reason": np.array(reasons, dtype=object),
        },
        geometry=shapely.point_on_surface(structures[bare]) if bare else np.empty(0, dtype=object),
        crs=lines.crs,
    )
    return Followed(found, left_out)
