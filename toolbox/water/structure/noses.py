"""Points and pockets: where one isobath after the other bends the same way, out from the bank or in towards it.

Points and pockets are the same form with opposite signs; what both need stands here.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import shapely
from scipy.ndimage import binary_dilation, distance_transform_edt, find_objects, label

from ...report import note
from ..landform.isobath_turning import isobath_turning
from ..landform.merge_tree import climb, closed_rises, rise_cells
from ..landform.terrain import coarsened
from .finding_table import bearing_deg, findings, require_lengths

if TYPE_CHECKING:
    import geopandas as gpd
    from numpy.typing import NDArray

    from ...arrays import Flags, Floats, Ints
    from ...depth import DepthSurface

# As shares of the length of isobath that is looked at. A nose is wide, so finer cells are averaged; ripples are none,
# so the bottom is smoothed before its isobaths are followed.
_CELL, _SMOOTH = 1 / 12, 2 / 15
_LEAST_SLOPE = 0.008  # under this rise over run isobaths wander with the least ripple
_RISE_M = 0.5  # what closes by so much is a rise of its own
_BANK_M = 2.0  # unknown ground beside water no deeper than this is taken as land
_LEVEL_M = 0.25  # along a nose a place is taken every so much depth, or finer
_LEVELS = 8
_SHOULDER = 1.2  # an isobath that turns by so much more the other way close by only leads up to that turn


@dataclass(frozen=True, eq=False)
class Nose:
    """The crest (or axis) of one nose, from its shallow to its deep end."""

    x: Floats
    y: Floats
    depth_m: Floats
    turn_deg: Floats
    area_m2: float

    @property
    def length_m(self) -> float:
        """Length of the line through its places."""
        return float(np.hypot(np.diff(self.x), np.diff(self.y)).sum())

    @property
    def relief_m(self) -> float:
        """Depth at the deep end less that at the shallow end."""
        return float(self.depth_m[-1] - self.depth_m[0])

    @property
    def slope_deg(self) -> float:
        """Mean slope from end to end."""
        return float(np.degrees(np.arctan2(self.relief_m, max(self.length_m, 1e-9))))

    @property
    def bearing_deg(self) -> float:
        """Bearing from the shallow end to the deep end."""
        return bearing_deg(float(self.x[-1] - self.x[0]), float(self.y[-1] - self.y[0]))

    @property
    def sharpest(self) -> int:
        """Which of its places turns most."""
        return int(np.argmax(self.turn_deg))


def _bank(depth: NDArray[np.float32]) -> Flags:
    """Cells of land; unknown ground only beside shallow water, or where no land is known at all."""
    unknown = np.isnan(depth)
    with np.errstate(invalid="ignore"):
        land = depth <= 0
        shallow = (depth > 0) & (depth <= _BANK_M)
    if not land.any():
        return unknown
    return np.asarray(land | (unknown & binary_dilation(shallow, np.ones((3, 3), dtype=bool))))


def _longest(good: Flags) -> slice:
    """Longest spell of true."""
    edge = np.flatnonzero(np.diff(np.concatenate([[False], good, [False]]).astype(np.int8)))
    if not len(edge):
        return slice(0, 0)
    k = int(np.argmax(edge[1::2] - edge[::2]))
    return slice(int(edge[2 * k]), int(edge[2 * k + 1]))


def _line(
    surface: DepthSurface,
    cells: tuple[Ints, Ints],
    depth: Floats,
    weight: Floats,
    turn: Floats,
    wide_m: float,
) -> Nose | None:
    """Draw the line of sharpest turn through the cells of one nose, level by level.

    A level whose cells lie further apart than a nose is wide is none of it.
    """
    row, column = (part.astype(np.float64) for part in cells)
    low, high = float(depth.min()), float(depth.max())
    levels = max(int((high - low) / _LEVEL_M), _LEVELS)
    level = np.minimum(((depth - low) / max(high - low, 1e-9) * levels).astype(np.int64), levels - 1)
    total = np.bincount(level, weight, levels)
    held = np.flatnonzero(total)

    def mean(values: Floats) -> Floats:
        return np.asarray(np.bincount(level, weight * values, levels)[held] / total[held])

    x, y = column * surface.cell_x_m, row * surface.cell_y_m
    mid_x, mid_y = mean(x), mean(y)
    apart = np.sqrt(np.maximum(mean(x * x + y * y) - mid_x**2 - mid_y**2, 0.0))
    keep = _longest(apart <= wide_m)
    if keep.stop - keep.start < 2:
        return None
    return Nose(
        surface.west_m + mid_x[keep] + 0.5 * surface.cell_x_m,
        surface.north_m - mid_y[keep] - 0.5 * surface.cell_y_m,
        mean(depth)[keep],
        mean(turn)[keep],
        float(len(row) * surface.cell_x_m * surface.cell_y_m),
    )


def noses(
    surface: DepthSurface,
    *,
    out: bool,
    turn_deg: float,
    over_m: float,
    relief_m: float,
    length_m: float,
    bank_m: float,
) -> list[Nose]:
    """Find noses of the isobaths at the bank.

    Parameters
    ----------
    surface
        Today's depths.
    out
        True for noses that run out from the bank into deeper water, False for those that run in.
    turn_deg, over_m
        An isobath turns by so much or more within such a length of it.
    relief_m, length_m
        A nose goes through isobaths over such a depth, and its line is so long, at least.
    bank_m
        Its shallow end lies no further from the bank.
    """
    sign = 1.0 if out else -1.0
    turning = isobath_turning(
        coarsened(surface, _CELL * over_m), smooth_m=_SMOOTH * over_m, over_m=over_m, least_slope=_LEAST_SLOPE
    )
    smooth, turn = turning.surface, turning.turn_deg
    depth = smooth.depth_m
    with np.errstate(invalid="ignore"):
        sharp = turn >= turn_deg if out else turn <= -turn_deg
    rises, owner = closed_rises(depth, _RISE_M)
    if out:
        whole = rises.outermost
        for top, closes_m in zip(rises.top[whole].tolist(), rises.closes_m[whole].tolist(), strict=True):
            sharp.ravel()[rise_cells(depth, top, closes_m)] = False
    parts, _ = label(sharp, np.ones((3, 3)))
    to_bank = distance_transform_edt(~_bank(depth), sampling=(smooth.cell_y_m, smooth.cell_x_m))
    found = []
    for number, box in enumerate(find_objects(parts), 1):
        row, column = np.nonzero(parts[box] == number)
        row, column = row + box[0].start, column + box[1].start
        own = depth[row, column].astype(np.float64)
        if np.ptp(own) < relief_m:
            continue
        turns = sign * turn[row, column].astype(np.float64)
        nose = _line(smooth, (row, column), own, turns - turn_deg + 1.0, turns, over_m / 2)
        if nose is None or nose.relief_m < relief_m or nose.length_m < length_m:
            continue
        head = int(own.argmin())
        if to_bank[row[head], column[head]] > bank_m:
            continue
        if climb(depth, owner, int(row[head] * depth.shape[1] + column[head])) >= 0:
            continue  # it hangs on a rise, not on the bank
        beside = -turning.least_beside(nose.x, nose.y, over_m, sign)
        if np.median(beside - _SHOULDER * nose.turn_deg) > 0:
            continue  # where the isobath turns back beside a sharper nose
        found.append(nose)
    return found


def nose_table(
    kind: str, surface: DepthSurface, found: list[Nose], *, turn_deg: float, relief_m: float, length_m: float
) -> gpd.GeoDataFrame:
    """Make the table of noses of one kind: a point each, where the isobaths turn most."""
    return findings(
        kind,
        [shapely.Point(nose.x[nose.sharpest], nose.y[nose.sharpest]) for nose in found],
        surface.crs,
        {
            "top_m": [nose.depth_m[0] for nose in found],
            "base_m": [nose.depth_m[-1] for nose in found],
            "relief_m": [nose.relief_m for nose in found],
            "slope_deg": [nose.slope_deg for nose in found],
            "length_m": [nose.length_m for nose in found],
            "area_m2": [nose.area_m2 for nose in found],
            "deep_bearing_deg": [nose.bearing_deg for nose in found],
            "strength": [
                min(nose.relief_m / relief_m, nose.length_m / length_m, nose.turn_deg.max() / turn_deg)
                for nose in found
            ],
        },
    )


def find_noses(
    kind: str,
    surface: DepthSurface,
    *,
    out: bool,
    turn_deg: float,
    over_m: float,
    relief_m: float,
    length_m: float,
    bank_m: float,
) -> gpd.GeoDataFrame:
    """Find points or pockets: check what is asked, say when the cells cannot show any, make the table.

    Parameters
    ----------
    kind
        What the table calls them.
    surface, out, turn_deg, over_m, relief_m, length_m, bank_m
        As for `noses`.
    """
    require_lengths(turn_deg=turn_deg, over_m=over_m, relief_m=relief_m, length_m=length_m, bank_m=bank_m)
    cell_m = max(surface.cell_x_m, surface.cell_y_m)
    if cell_m > over_m / 4:
        note(
            f"{kind.capitalize()}s were not looked for: cells of {cell_m:g} m cannot show how isobaths turn within "
            f"{over_m:g} m. Make the depths on cells of {over_m / 4:g} m or less.",
            stacklevel=3,
        )
        return findings(kind, [], surface.crs, {})
    found = noses(
        surface,
        out=out,
        turn_deg=turn_deg,
        over_m=over_m,
        relief_m=relief_m,
        length_m=length_m,
        bank_m=bank_m,
    )
    return nose_table(kind, surface, found, turn_deg=turn_deg, relief_m=relief_m, length_m=length_m)


def find_points(
    surface: DepthSurface,
    *,
    turn_deg: float = 65.0,
    over_m: float = 60.0,
    relief_m: float = 1.0,
    length_m: float = 35.0,
    bank_m: float = 100.0,
) -> gpd.GeoDataFrame:
    """Find points.

    Parameters
    ----------
    surface
        Today's depths.
    turn_deg, over_m
        Round a point isobaths turn by so much or more within such a length of them. Wider points need more.
    relief_m, length_m
        They do so over such a depth, and along such a length of its crest, at least.
    bank_m
        The shallow end lies no further from the bank.

    Returns
    -------
    A Point each, on the crest, where the isobaths turn most. `top_m` and `base_m` are the depths of the crest at
    its shallow and its deep end, `length_m` its length between them, `slope_deg` its mean slope,
    `deep_bearing_deg` the way it runs out, `area_m2` the ground where isobaths turn so much.

    Notes
    -----
    A rise that closes is a hump, not a point, and so is what hangs on it. A bank that bends slowly is none, and the
    shoulders of a pocket, where isobaths only turn back, are none.

    What makes the result wrong: contours far apart against the depth that the point runs through; unknown ground that
    is open water but lies beside shallow water, which is taken as land.
    """
    return find_noses(
        "point",
        surface,
        out=True,
        turn_deg=turn_deg,
        over_m=over_m,
        relief_m=relief_m,
        length_m=length_m,
        bank_m=bank_m,
    )


def find_pockets(
    surface: DepthSurface,
    *,
    turn_deg: float = 65.0,
    over_m: float = 60.0,
    relief_m: float = 1.0,
    length_m: float = 35.0,
    bank_m: float = 100.0,
) -> gpd.GeoDataFrame:
    """Find pockets.

    Parameters
    ----------
    surface
        Today's depths.
    turn_deg, over_m, relief_m, length_m, bank_m
        As for `find_points`; the axis is that of the hollow.

    Returns
    -------
    A Point each, on the axis, where the isobaths turn most. `top_m` and `base_m` are the depths of the axis at its
    head and at its mouth, `length_m` its length between them, `slope_deg` its mean slope, `deep_bearing_deg` the
    way it opens, `area_m2` the ground where isobaths turn so much.

    Notes
    -----
    The hollows on both flanks of a point, where isobaths only turn back, are no pockets. The mouth of a long cove is
    found by its head, where isobaths turn.

    What makes the result wrong: contours far apart against the depth that the pocket runs through; unknown ground that
    is open water but lies beside shallow water, which is taken as land.
    """
    return find_noses(
        "pocket",
        surface,
        out=False,
        turn_deg=turn_deg,
        over_m=over_m,
        relief_m=relief_m,
        length_m=length_m,
        bank_m=bank_m,
    )
