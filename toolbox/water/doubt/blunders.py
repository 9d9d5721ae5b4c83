"""What contradicts all round it, left out of the surface and said, row by row."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np
import shapely
from scipy.spatial import cKDTree

from ...text import how_many
from ...units import in_words
from .stray_lines import stray_lines
from .stray_soundings import stray_soundings

if TYPE_CHECKING:
    from collections.abc import Sequence

    from ...arrays import Floats
    from ..bottom.measured import Measured

_LINE_POINTS: Final = 200_000  # places along shore and contours that soundings are compared with, at most
_SHOWN: Final = 20
_LOOK: Final = (
    "Each may be a tree, a boulder or an error: look before you run there, and enter what is there as a known "
    "hazard."
)
_NONE: Final = np.empty(0, dtype=np.int64)


def _listed(labels: Sequence[object], depth_m: Floats, expected_m: Floats) -> str:
    told = [
        f"row {label}: {in_words(depth, 'length')} where {in_words(expected, 'length')} is expected"
        for label, depth, expected in zip(labels[:_SHOWN], depth_m, expected_m, strict=False)
    ]
    more = f"; and rows {', '.join(map(str, labels[_SHOWN:]))}" if len(labels) > _SHOWN else ""
    return "; ".join(told) + more


def without_blunders(
    known: Measured,
    contour_rows: Sequence[object],
    sounding_rows: Sequence[object],
    *,
    keep: bool = False,
    apart: bool = False,
) -> tuple[Measured, list[str], Floats]:
    """Leave out contours and soundings that contradict what lies round them.

    Parameters
    ----------
    known
        What was measured.
    contour_rows, sounding_rows
        What the rows are called to people.
    keep
        Say so, and leave nothing out.
    apart
        Judge soundings by each other and the shore only: the contours contradict them.

    Returns
    -------
    What is left; what to say to people; and the soundings left out that read less water than expected, as rows of
    x, y, depth, expected depth: a tree or a boulder, or an error.

    Notes
    -----
    See `stray_lines` and `stray_soundings` for what is a contradiction and what is missed.
    """
    fate = "kept all the same" if keep else "left out"
    said: list[str] = []
    lines = stray_lines(known.lines, known.line_depth_m, known.shores)
    if len(lines.rows):
        labels = [contour_rows[k] for k in known.line_row[lines.rows]]
        listed = _listed(labels, known.line_depth_m[lines.rows], lines.expected_m)
        were = "was" if len(labels) == 1 else "were"
        said.append(
            f"contours: {how_many(len(labels), 'line contradicts', 'lines contradict')} what lies beside and {were} "
            f"{fate} "
            f"({listed}). Check their depths."
        )
    clean = known.without(lines.rows, _NONE)
    spacing = max(float(shapely.length(clean.lines).sum()) / _LINE_POINTS, 1.0)
    others = clean.along_lines(spacing, shore=True)[:, :3]
    if apart and len(clean.xy) > 1:
        # No denser than the soundings are, so that a steep bank does not outvote them.
        own = clean.without(np.arange(clean.shores, len(clean.lines)), _NONE)
        nearest = np.asarray(cKDTree(clean.xy).query(clean.xy, k=2)[0])[:, 1]
        others = own.along_lines(max(spacing, float(np.median(nearest))), shore=True)[::2, :3]
    points = stray_soundings(clean.xy, clean.depth_m, others, clean.lines[: clean.shores])
    depth = known.depth_m[points.rows]
    shoal = depth < points.expected_m
    for which, words, advice in (
        (
            shoal,
            "less",
            _LOOK,
        ),
        (~shoal, "more", "Check their depths and units."),
    ):
        if which.any():
            labels = [sounding_rows[k] for k in points.rows[which]]
            listed = _listed(labels, depth[which], points.expected_m[which])
            were = "was" if len(labels) == 1 else "were"
            said.append(
                f"soundings: {how_many(len(labels), 'reads', 'read')} {words} water than any bottom through the "
                f"neighbours and {were} "
                f"{fate} ({listed}). {advice}"
            )
    shoals = np.column_stack([known.xy[points.rows], depth, points.expected_m])[shoal]
    if keep:
        return known, said, shoals[:0]
    return clean.without(_NONE, points.rows), said, shoals
