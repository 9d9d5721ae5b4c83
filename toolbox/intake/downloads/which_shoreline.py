"""Which of several shorelines is the lake's: the one that a person names, or that holds the data; where they differ."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

import numpy as np
import shapely

from ...errors import DataError, UsageError
from ...lon_lat import to_degrees
from ...text import how_many
from ...units import compass_point, in_words
from .found import DEPTH_ROLES, FoundLayer, Questions
from .layer_roles import shape_of
from .measures import moved
from .shore_lines import areas_of_lines
from .systems import system_of
from .water_body import PickedLake, counted, evidence, listing, mended, pick_from, waters_of

if TYPE_CHECKING:
    from collections.abc import Sequence

_AGREE: Final = 0.98  # in common, of both together: more is how two people draw one shore
_ASKED: Final = 0.95


def without_islands(lake: PickedLake, founds: Sequence[FoundLayer], crs: Any) -> None:
    """Take islands out of the lake."""
    for found in founds:
        if found.role != "islands" or found.frame is None or system_of(found) is None:
            continue
        shapes = moved(found.frame.geometry.to_numpy(), system_of(found), crs)
        shapes = shapes[~shapely.is_missing(shapes)]
        if shape_of(found) == "line":
            shapes = areas_of_lines(shapes).areas
        shapes = mended(shapes)
        inside = shapes[shapely.intersects(lake.area, shapes) & np.isin(shapely.get_type_id(shapes), (3, 6))]
        if len(inside):
            before = shapely.area(lake.area)
            lake.area = shapely.difference(lake.area, shapely.union_all(inside))
            found.taken = len(inside)
            taken = before - shapely.area(lake.area)
            lake.why.append(
                f"{how_many(len(inside), 'island')} of {found.name} taken out, {taken / 1e4:.3g} ha"
            )


def _where(piece: Any, lake: Any, crs: Any) -> str:
    """Tell where a piece lies: from the middle of the lake, and in degrees."""
    at, middle = shapely.point_on_surface(piece), shapely.centroid(lake)
    bearing = float(np.degrees(np.arctan2(at.x - middle.x, at.y - middle.y))) % 360.0
    lon, lat = to_degrees(crs).transform(at.x, at.y)
    off = in_words(float(shapely.distance(at, middle)), "length")
    return f"{off} {compass_point(bearing)} of the middle ({lat:.4f}, {lon:.4f})"


def _hold_together(
    best: PickedLake, other: PickedLake, crs: Any, questions: Questions, *, sure: bool
) -> None:
    """Tell where another shoreline differs, with figures; ask which one counts where they differ by much."""
    assert best.found is not None
    assert other.found is not None
    more, less = shapely.difference(other.area, best.area), shapely.difference(best.area, other.area)
    share = 1.0 - (shapely.area(more) + shapely.area(less)) / max(
        float(shapely.area(shapely.union(best.area, other.area))), 1e-9
    )
    if share >= _AGREE:
        return
    pieces = shapely.get_parts(shapely.union_all([more, less]))
    largest = pieces[int(np.argmax(shapely.area(pieces)))]
    told = (
        f"the shorelines of {best.found.name} ({best.area.area / 1e6:.4g} km2) and {other.found.name} "
        f"({other.area.area / 1e6:.4g} km2) disagree: they have {share:.0%} in common; {more.area / 1e4:.3g} ha lie in "
        f"that of {other.found.name} alone, {less.area / 1e4:.3g} ha in that of {best.found.name} alone, the largest "
        f"piece ({largest.area / 1e4:.3g} ha) {_where(largest, best.area, crs)}"
    )
    if share < _ASKED and not sure and best.found.kind != "S-57":
        questions.ask(
            f"{best.found.name} and {other.found.name}",
            f"which one is believed? {told[0].upper()}{told[1:]}.",
            f"--as {best.found.name}=shoreline (or the other one)",
        )
    best.why.append(f"{told}; that of {best.found.name} counts")
    best.differs += [
        (f"water by {other.found.name} alone", more),
        (f"no water by {other.found.name}", less),
    ]


def pick_lake(
    founds: Sequence[FoundLayer], crs: Any, *, name: str, water: str, questions: Questions
) -> PickedLake | None:
    """Pick the lake out of the shorelines; None where there is no shoreline, or a question was asked.

    Raises
    ------
    UsageError
        No water bears the name that was asked for.
    DataError
        No depth lies in any water.
    """
    data = evidence(founds, crs, DEPTH_ROLES)
    marks = evidence(founds, crs, ("ramps", "spots"))
    every = [
        waters
        for found in founds
        if found.role == "shoreline" and (waters := waters_of(found, crs)) is not None
    ]
    every = [w for w in every if len(w.shapes)]
    every.sort(key=lambda w: shape_of(w.found) != "polygon")
    picked: list[PickedLake] = []
    asked = Questions()
    for waters in every:
        lake = pick_from(waters, data, marks, name, water, asked)
        if lake is None:
            continue
        lake.why += waters.said
        picked.append(lake)
    if every and water and not picked and not asked.asked:
        raise UsageError(f"--water-body: no water is called '{water}'; there are {listing(every[0])}.")
    if not picked:
        questions.asked += [one for one in asked.asked if one not in questions.asked]
        return None
    if len(data):
        holding = [int(counted(np.array([one.area], dtype=object), data)[0]) for one in picked]
        if not any(holding):
            raise DataError(
                f"No depth lies in the water of {picked[0].found.name if picked[0].found else ''} "
                f"({picked[0].name or 'no name'}): "
                "the files are of different lakes, or a reference system is wrong (--file-crs FILE=EPSG:NUMBER)."
            )
        picked = [lake for lake, held in zip(picked, holding, strict=True) if held]
    named = [lake for lake in picked if lake.found is not None and lake.found.role_said]
    best = (named or picked)[0]
    for other in picked:
        if other is not best and other.found is not None and best.found is not None:
            _hold_together(best, other, crs, questions, sure=bool(named))
    without_islands(best, founds, crs)
    parts = [p for p in shapely.get_parts(best.area) if shapely.area(p) > 1.0 and shapely.get_type_id(p) == 3]
    best.area = shapely.multipolygons(parts) if len(parts) > 1 else parts[0] if parts else best.area
    return best
