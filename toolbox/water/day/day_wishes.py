"""What is wished of a day, spot by spot: what has to be in it and what must not, what is done, and wishes of hours."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from ...errors import UsageError
from .day_offers import spot_of, stops_counted, wished_windows

if TYPE_CHECKING:
    from collections.abc import Sequence

    import pandas as pd
    from geopandas import GeoDataFrame

    from .day_offers import Spans


@dataclass(frozen=True)
class Wishes:
    """What is wished of a day, by rows of the holds.

    Attributes
    ----------
    must, never
        Holds that have to be in the plan, and those that must not.
    done
        Holds fished already, in order.
    counted
        So many stops of the plan are done, in place of `done`; None where they are named, or nothing is.
    windows
        Stretches wished for, in seconds after the start of the day, by spot.
    """

    must: frozenset[int]
    never: frozenset[int]
    done: tuple[int, ...]
    counted: int | None
    windows: dict[str, Spans]


def wishes_of(
    holds: GeoDataFrame,
    start: pd.Timestamp,
    *,
    must: Sequence[str],
    never: Sequence[str],
    done: Sequence[str],
    windows: Sequence[str],
) -> Wishes:
    """Read the wishes of a day; spots are named by id or name, whatever the case.

    Parameters
    ----------
    holds
        One hold a spot, with ``spot_id`` and ``name``.
    start
        Start of the day.
    must, never, done, windows
        As they are written.

    Raises
    ------
    UsageError
        A spot or window cannot be read, or a spot must be in the plan and must not be.
    """
    spots = [str(spot) for spot in holds["spot_id"]]
    find = {
        str(word).casefold(): spot
        for column in ("name", "spot_id")
        for word, spot in zip(holds[column], spots, strict=True)
    }
    row_of = {spot: row for row, spot in enumerate(spots)}

    def rows(words: Sequence[str]) -> tuple[int, ...]:
        return tuple(row_of[spot_of(word, find)] for word in words)

    wished = wished_windows(windows, find, start)
    counted = stops_counted(done, find)
    finished = rows(done) if counted is None else ()
    banned, wanted = frozenset(rows(never)), frozenset(rows(must))
    if torn := sorted(spots[row] for row in wanted & banned):
        raise UsageError(f"{', '.join(torn)} must be in the plan and must not be; decide on one.")
    return Wishes(wanted, banned, finished, counted, wished)
