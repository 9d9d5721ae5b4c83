"""Where today's water is too thin for the boat."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Annotated, Any

from castshed.toolbox.algorithm import algorithm
from castshed.toolbox.parameters import (
    Choice,
    Depth,
    DepthConfidence,
    DepthError,
    Draft,
    HazardError,
    HazardRadius,
    KnownHazards,
    LevelError,
    Margin,
    RunningDepth,
    ShallowHazards,
    TodaysLevel,
    Water,
    defaults,
)

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

SurveyOrder = Annotated[str, Choice(("none", "exclusive", "special", "order-1", "order-2"))]


def _known_reason(kind: str, top_today_m: float) -> str:
    from castshed.toolbox.units import in_words

    thing = kind.strip().replace("_", " ") or "known hazard"
    if math.isnan(top_today_m):
        return f"{thing}, depth of its top not known"
    if top_today_m <= 0:
        return f"{thing}, bare by {in_words(abs(top_today_m), 'length')} today"
    return f"{thing}, {in_words(top_today_m, 'length')} of water over it today"


def _numbers(values: object, name: str, *, least: float | None = None) -> NDArray[np.float64]:
    import numpy as np

    from castshed.toolbox.errors import DataError

    numbers = np.asarray(values, dtype=np.float64)
    if least is not None and (numbers < least).any():
        row = int(np.flatnonzero(numbers < least)[0])
        raise DataError(
            f"known_hazards.{name} is {numbers[row]:g} in row {row}; it must be {least:g} m or more, or empty."
        )
    return numbers


@algorithm(
    step="water",
    example="castshed shallow-hazards demo_layers/reservoir.gpkg:depth "
    "my_day/plan.gpkg:water --known-hazards demo_layers/reservoir.gpkg:known_hazards "
    "--level -4ft --draft 2ft --out my.gpkg:shallow_hazards",
)
def shallow_hazards(
    depth: Depth,
    water: Water,
    *,
    known_hazards: KnownHazards | None = None,
    level_m: TodaysLevel = 0.0,
    draft_m: Draft = defaults.DRAFT_M,
    running_depth_m: RunningDepth = defaults.RUNNING_DEPTH_M,
    margin_m: Margin = defaults.MARGIN_M,
    depth_confidence: DepthConfidence | None = None,
    depth_error_m: DepthError | None = None,
    survey_order: SurveyOrder = "none",
    level_error_m: LevelError = defaults.LEVEL_ERROR_M,
    hazard_error_m: HazardError = defaults.HAZARD_ERROR_M,
    hazard_radius_m: HazardRadius = defaults.HAZARD_RADIUS_M,
) -> ShallowHazards:
    """Mark the water that is too thin for the boat today.

    A place is a hazard when the depth charted there, at today's level, is less than what the boat needs, plus the
    margin, plus the errors of depth and level (the root of the sum of their squares). At idle the boat needs its
    draft; running, it needs the running depth: what it takes to get on plane. Known hazards are drawn as wide as
    their radius and the position error together, when the water over their top is less than needed or their top is
    not known. Water without a charted depth is a hazard. Every error widens a hazard, none narrows one.

    The area with care = run covers all of the area with care = idle.

    Parameters
    ----------
    depth
        Depth below chart datum.
    water
        Today's water, from water-today at the same level.
    known_hazards
        Things known to be there, any geometry: kind, top_depth_m (at chart datum), radius_m, position_error_m.
    survey_order
        Order of survey the depths were held to (IHO S-44); its error is used where it is greater than depth-error.

    Returns
    -------
    GeoDataFrame
        shallow_hazards: hazard_id, care (run: too thin to run; idle: too thin even at idle), reason, least_depth_m
        (today, before errors; empty where it is not known), needed_depth_m (today's depth that would do), cause
        (bottom: charted depth; no depth: none known;
        charted: a known hazard), level_m (today's).

    Raises
    ------
    UsageError
        The running depth is less than the draft, or the draft is more than the deepest water.

    Notes
    -----
    What makes the result wrong: a coverage coarser than the shoals, a level other than that of the water layer, and
    everything that no chart shows: new stumps, drift, silt. What you see prevails.
    """
    import geopandas
    import numpy as np
    import shapely

    from castshed.toolbox.compiled import side_by_side
    from castshed.toolbox.errors import UsageError
    from castshed.toolbox.report import note
    from castshed.toolbox.units import in_words
    from castshed.toolbox.water.level.hazards import least_depths, polygon_parts, shallow_area, widened
    from castshed.toolbox.water.level.isobaths import kept_unknown_area
    from castshed.toolbox.water.level.pool_level import depth_today
    from castshed.toolbox.water.level.uncertainty import doubted, least_error, needed_depth_m, s44_error_m
    from castshed.toolbox.water.ways.safe_water import union_of

    if running_depth_m < draft_m:
        raise UsageError(
            f"running-depth is {in_words(running_depth_m, 'length')}, less than the draft of "
            f"{in_words(draft_m, 'length')}; give the water needed to get on plane, the draft or more."
        )
    today = depth.shifted(level_m)
    deepest = float(np.nanmax(today.depth_m))
    if draft_m > deepest:
        raise UsageError(
            f"draft is {in_words(draft_m, 'length')}, but the deepest water today is {in_words(deepest, 'length')}; "
            "check the draft, the level and its sign."
        )
    error = least_error(depth, depth_confidence) if depth_error_m is None else depth_error_m
    needs: dict[str, float] = {}
    for care, boat in (("run", running_depth_m), ("idle", draft_m)):
        surveyed = 0.0 if survey_order == "none" else s44_error_m(survey_order, boat + margin_m)
        needs[care] = needed_depth_m(boat, margin_m, max(error, surveyed), level_error_m)
    if needs["run"] > deepest:
        note(
            f"Running needs {in_words(needs['run'], 'length')} with margin and errors; the deepest water today is "
            f"{in_words(deepest, 'length')}, so all of it is a hazard to run on.",
            stacklevel=2,
        )

    lake = union_of(water.geometry.to_numpy())
    unknown = shapely.union(kept_unknown_area(today), shapely.difference(lake, shapely.box(*today.bounds)))
    unknown = shapely.intersection(unknown, lake)
    # Both are drawn with a little to spare, not by the same amount at each place; together neither is narrowed.
    surfaces = [today] if depth_confidence is None else [today, doubted(today, depth_confidence, error)]

    def drawn(care: str) -> Any:
        return shapely.union_all([shallow_area(one, lake, needs[care], unknown) for one in surfaces])

    run, idle = side_by_side(lambda: drawn("run"), lambda: drawn("idle"))
    run = shapely.union(run, idle)

    geometries: list[NDArray[np.object_]] = []
    cares: list[str] = []
    reasons: list[str] = []
    causes: list[str] = []
    depths: list[NDArray[np.float64]] = []

    def add(
        care: str, cause: str, parts: NDArray[np.object_], why: list[str], least: NDArray[np.float64]
    ) -> None:
        geometries.append(parts)
        cares.extend([care] * len(parts))
        causes.extend([cause] * len(parts))
        reasons.extend(why)
        depths.append(least)

    nowhere = polygon_parts(unknown)
    for care, area in (("run", run), ("idle", idle)):
        parts = polygon_parts(area)
        doing = "to run" if care == "run" else "at idle"
        why = f"less than {in_words(needs[care], 'length')} {doing}, margin and errors counted"
        if depth_confidence is not None:
            why += "; more where the depths are less sure"
        add(care, "bottom", parts, [why] * len(parts), least_depths(today, parts))
        add(care, "no depth", nowhere, ["no depth known"] * len(nowhere), np.full(len(nowhere), np.nan))
    if known_hazards is not None and len(known_hazards):
        top = depth_today(_numbers(known_hazards["top_depth_m"], "top_depth_m"), level_m)
        radius = _numbers(known_hazards["radius_m"], "radius_m", least=0.0)
        radius = np.where(np.isnan(radius), hazard_radius_m, radius)
        placed = _numbers(known_hazards["position_error_m"], "position_error_m", least=0.0)
        placed = np.where(np.isnan(placed), hazard_error_m, placed)
        discs = widened(known_hazards.geometry.to_numpy(), radius + placed)
        kinds = known_hazards["kind"].astype(str).to_numpy()
        for care, needed in needs.items():
            hit = np.flatnonzero(np.isnan(top) | (top < needed))
            why_ = [_known_reason(kinds[row], float(top[row])) for row in hit]
            add(care, "charted", discs[hit], why_, top[hit])

    all_parts = np.concatenate(geometries)  # at least none of each, added above
    numbers: dict[str, int] = {}
    ids = []
    for care in cares:
        numbers[care] = numbers.get(care, 0) + 1
        ids.append(f"{care}-{numbers[care]}")
    order = np.argsort([care != "run" for care in cares], kind="stable")
    return geopandas.GeoDataFrame(
        {
            "hazard_id": np.array(ids, dtype=object)[order],
            "care": np.array(cares, dtype=object)[order],
            "reason": np.array(reasons, dtype=object)[order],
            "least_depth_m": np.concatenate(depths)[order],
            "needed_depth_m": np.array([needs[care] for care in cares], dtype=float)[order],
            "cause": np.array(causes, dtype=object)[order],
            "level_m": np.full(len(order), level_m),
        },
        geometry=all_parts[order],
        crs=depth.crs,
    )
