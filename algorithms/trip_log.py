"""Bring waypoints and notes home from a trip and hold them against the book."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Any

from castshed.toolbox.algorithm import algorithm
from castshed.toolbox.layers.writing import BookChange
from castshed.toolbox.parameters import (
    BookFile,
    BoxMargin,
    DayOf,
    DepthUnit,
    Length,
    Shoreline,
    Sources,
    SpotError,
    Spots,
    defaults,
)

if TYPE_CHECKING:
    from castshed.toolbox.intake.book.placing import LakeExtent
    from castshed.toolbox.intake.book.records import Records
    from castshed.toolbox.sources.source_table import SourceTable

_MOST_SHOWN = 40


def _placed_by_book(table: SourceTable, book: Any) -> SourceTable:
    """Give notes without coordinates the place of the spot they name by id or name."""
    from dataclasses import replace

    import numpy as np
    import shapely

    from castshed.toolbox.intake.book.positions import PLACING_PAIRS
    from castshed.toolbox.sources.columns import find_roles

    roles = find_roles([str(c) for c in table.rows.columns], {})
    if table.geometry is not None or any(all(roles.one(role) for role in pair) for pair in PLACING_PAIRS):
        return table
    places: dict[str, Any] = {}
    named = [" ".join(name.split()).casefold() for name in book["name"]]
    points = [shapely.point_on_surface(shape) for shape in book.geometry]
    places |= {f"name {n}": p for n, p in zip(named, points, strict=True) if n and named.count(n) == 1}
    places |= {f"id {i}": p for i, p in zip(book["spot_id"], points, strict=True)}
    shapes = np.full(len(table), None, dtype=object)
    for role, start in (("name", "name "), ("spot_id", "id ")):
        column = roles.one(role)
        for i, cell in enumerate(table.rows[column].tolist() if column else []):
            word = str(cell).strip() if role == "spot_id" else " ".join(str(cell).split()).casefold()
            shapes[i] = places.get(start + word, shapes[i])
    problem = tuple(
        why or ("" if shape is not None else "it has no position, and no spot of the book has its id or name")
        for why, shape in zip(table.problem, shapes, strict=True)
    )
    return replace(table, geometry=shapes, crs=book.crs, problem=problem)


def _read(tables: list[SourceTable], lake: LakeExtent, depth_unit: str | None, error_m: float) -> Records:
    from castshed.toolbox.intake.book.book import collect, repair_shapes
    from castshed.toolbox.intake.book.records import read_records
    from castshed.toolbox.sources.columns import find_roles

    return collect(
        [
            repair_shapes(
                read_records(
                    table,
                    find_roles([str(c) for c in table.rows.columns], {}),
                    lake,
                    depth_unit=depth_unit,
                    depth_of="bottom",
                    position_error_m=error_m,
                )
            )
            for table in tables
        ]
    )


def _say(lines: Any, aside: int) -> tuple[str, ...]:
    """Write the table of what would change, for people."""
    counts = lines["status"].value_counts()
    told = lines[~lines["status"].isin(["same", "missing"])]
    said = [
        f"{line.status:<8} {line.spot_id:<16.16} {line.name:<24.24} {line.what[:110]}"
        for line in told.head(_MOST_SHOWN).itertuples(index=False)
    ]
    if len(told) > _MOST_SHOWN:
        said.append(f"... and {len(told) - _MOST_SHOWN} more; all stand in the layer changes.")
    totals = ", ".join(
        f"{int(counts.get(word, 0))} {word}" for word in ("new", "moved", "changed", "same", "missing")
    )
    return (*said, f"{totals}; {aside} set aside.")


@algorithm(
    step="gather",
    example=(
        "castshed trip-log demo_layers/reservoir.gpkg:spots demo_layers/own_waypoints.gpx "
        "--shoreline demo_layers/reservoir.gpkg:shoreline --date 2026-05-16 --out my_book.gpkg"
    ),
)
def trip_log(
    book: Spots,
    brought: Sources,
    *,
    shoreline: Shoreline,
    date: DayOf = "",
    depth_unit: DepthUnit | None = None,
    spot_error_m: SpotError = defaults.SPOT_ERROR_M,
    most_moved_m: Length = 200.0,
    outside_m: BoxMargin = defaults.OUTSIDE_M,
) -> Annotated[BookChange, BookFile()]:
    """Bring waypoints and notes home from a trip and hold them against the book.

    Each row brought home is found in the book by its id, else by a name that stands once in both, else by its
    place. It is new, moved (and how far), changed (and what), or the same; spots of which nothing was brought are
    missing, and stay as they are. Nothing is lost: an empty cell changes nothing, a new note stands beside the old
    one, an old name goes into the remark. Columns called fished and result, with the note and the date of their
    row, become the outcome of the trip. Files that export wrote are known again: its own words are told from yours,
    and holds and stops are no spots.

    The date is that of rows that name none, by default today. Without --replace nothing is written and the table
    shows what would change. With it, the layer spots is the new state, the state before is kept as spots_ and the
    day, changes holds the table, set_aside what has no place, and history grows by what changed, when, and from which
    file.

    Parameters
    ----------
    book
        The spots as they are.
    brought
        What was brought home, in any form that gather-spots reads; notes may also name a spot by its id or name alone.
    shoreline
        The lake's water edge: its extent is the book's.
    most_moved_m
        How far a spot that is known by its name alone may have moved; beyond, the row is a new spot.

    Returns
    -------
    BookChange
        Layers ``spots``, ``changes`` and ``set_aside``, the earlier state, and lines for the history.

    Raises
    ------
    UsageError
        The date is none, or a source has nothing to be found by.
    CrsError
        Book and shoreline are in different reference systems.

    Notes
    -----
    A move is a distance of more than 0.1 m (coordinates of six decimals are that coarse) of a row that bears the spot's
    id or name. A row that is found by place alone lies within both position errors: it adds notes and fills gaps, and
    the spot keeps its place, name and kind. What makes the result wrong: two spots that changed names with each other.

    Examples
    --------
    >>> from castshed.toolbox.sources import read_source
    >>> change = trip_log(book, [read_source("home.gpx")], shoreline=lake, date="2026-05-16")  # doctest: +SKIP
    """
    from datetime import UTC, datetime
    from datetime import date as calendar_day

    import geopandas
    import numpy as np
    import pandas as pd

    from castshed.toolbox.errors import UsageError
    from castshed.toolbox.intake.book.book import make_set_aside
    from castshed.toolbox.intake.book.placing import LakeExtent
    from castshed.toolbox.intake.book.trip import STATUS, book_of, bring_home

    now = datetime.now(UTC)
    try:
        day = calendar_day.fromisoformat(date.strip()).isoformat() if date.strip() else now.date().isoformat()
    except ValueError as fault:
        raise UsageError(
            f"date is '{date}'; write the day of the trip as year-month-day, such as 2026-05-16."
        ) from fault
    before = book_of(book)
    tables = [_placed_by_book(table, before) for table in brought]
    records = _read(tables, LakeExtent.of(shoreline, outside_m), depth_unit, spot_error_m)
    spots, lines, places = bring_home(before, records, farthest_m=most_moved_m, trip_date=day)
    aside = make_set_aside(records, [table.counted for table in tables], shoreline.crs)
    changes = geopandas.GeoDataFrame(
        lines, geometry=geopandas.GeoSeries(places, crs=book.crs, index=lines.index)
    )
    past = changes[~changes["status"].isin(["same", "missing"])].reset_index(drop=True)
    past = past.assign(time=now.isoformat(timespec="seconds"), trip_date=day)
    counts = lines["status"].value_counts() if len(lines) else pd.Series(dtype=np.int64)
    return BookChange(
        layers={"spots": spots, "changes": changes, "set_aside": aside},
        earlier=book,
        history=past,
        day=now.date().isoformat(),
        said=_say(lines, len(aside)),
        figures={**{word: int(counts.get(word, 0)) for word in STATUS}, "set_aside": len(aside)},
    )
