"""The holds worth a stop today: those of fishable spots, with name, kind and rating."""

from __future__ import annotations

from castshed.toolbox.algorithm import algorithm
from castshed.toolbox.parameters import (
    Holds,
    LeastRating,
    Verdicts,
    defaults,
)


@algorithm(
    step="wind",
    example="castshed fishable-holds my_day/plan.gpkg:holds my_day/plan.gpkg:spots --least-rating 3 --out my.gpkg",
)
def fishable_holds(
    holds: Holds, spots: Verdicts, *, least_rating: LeastRating = defaults.LEAST_RATING
) -> Holds:
    """Take the holds of spots that are fishable today, with name, kind and rating.

    What is left is what shortest-run or day-plan orders. A hold of status none, a hold of a spot that is not fishable
    and one of a spot rated lower than wanted are not taken; why a spot is not fishable stands with the spot.

    Parameters
    ----------
    holds
        Holds from boat-hold, also with wind and waves from wind-exposure.
    spots
        Spots with their verdict, from fishable.

    Returns
    -------
    `holds` in their order, with `name`, `kind`, `rating` and `fishable` of their spot; it may be empty.
    """
    told = [c for c in ("name", "kind", "rating", "fishable") if c in spots.columns]
    bare = holds.drop(columns=[c for c in told if c in holds.columns])
    named = bare.merge(spots[["spot_id", *told]], on="spot_id")
    wanted = named[(named["fishable"] == 1) & (named["status"] == "ok")]
    return wanted[wanted["rating"].fillna(0.0) >= least_rating]
