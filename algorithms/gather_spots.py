"""Gather spot lists of any make into one book, joining what is the same place."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, NamedTuple

from castshed.toolbox.algorithm import algorithm
from castshed.toolbox.parameters import (
    BoxMargin,
    Choice,
    Columns,
    DayOf,
    DepthUnit,
    GatheredFrom,
    SetAside,
    Shoreline,
    Sources,
    SpotError,
    Spots,
    WordList,
    YesNo,
    defaults,
)
from castshed.toolbox.text import how_many

if TYPE_CHECKING:
    from castshed.toolbox.intake.book.records import Records
    from castshed.toolbox.sources.columns import Roles
    from castshed.toolbox.sources.source_table import SourceTable


DepthOf = Annotated[str, Choice(("bottom", "top"))]


class Gathered(NamedTuple):
    """The book, the rows that found no place in it, and where it all came from."""

    spots: Spots
    set_aside: SetAside
    gathered_from: GatheredFrom


def _parse_synonyms(entries: tuple[str, ...]) -> dict[str, str]:
    from castshed.toolbox.errors import UsageError
    from castshed.toolbox.sources.kinds import KINDS

    found: dict[str, str] = {}
    for entry in entries:
        word, equals, kind = (part.strip() for part in entry.partition("="))
        if not equals or not word or kind not in KINDS:
            raise UsageError(
                f"kinds: '{entry}' cannot be used; write word=kind, such as 'spring hole=pocket', with one of "
                f"the kinds {', '.join(KINDS)}."
            )
        found[word] = kind
    return found


def _tell(table: SourceTable, roles: Roles, records: Records) -> list[str]:
    """Say what was noticed, guessed, repaired and set aside in one source."""
    from castshed.toolbox.intake.book.book import COLUMNS
    from castshed.toolbox.sources.columns import ROLES

    said = list(table.said)
    known = {*COLUMNS, *ROLES}
    if any(name.lower() not in known for names in roles.columns.values() for name in names):
        said.append(
            f"columns taken as {roles.words()} (another way: columns, or a .toml file among the sources)"
        )
    lost = sum(bool(reason) for reason in records.reason)
    remarks = [str(words) for words in records.table["remark"]]
    moved = sum("(written: " in words for words in remarks)
    unitless = sum("has no unit" in words for words in remarks)
    if moved:
        said.append(f"{how_many(moved, 'position')} repaired (see remark)")
    if unitless:
        said.append(
            f"{how_many(unitless, 'row has', 'rows have')} a depth or height without a unit, which is not used: give "
            "depth_unit ft or m"
        )
    if lost:
        said.append(f"{lost} of {how_many(len(table), 'row')} set aside")
    return [f"{table.name}: {words}." for words in said]


@algorithm(
    step="gather",
    example=(
        "castshed gather-spots demo_layers/reservoir.gpkg:spots demo_layers/habitat_sites.csv "
        "demo_layers/own_waypoints.gpx --shoreline demo_layers/reservoir.gpkg:shoreline --depth-unit ft "
        "--date 2026-05-16 --out book.gpkg"
    ),
)
def gather_spots(
    sources: Sources,
    *,
    shoreline: Shoreline,
    depth_unit: DepthUnit | None = None,
    depth_of: DepthOf = "bottom",
    columns: Columns = (),
    kind_words: WordList = (),
    spot_error_m: SpotError = defaults.SPOT_ERROR_M,
    outside_m: BoxMargin = defaults.OUTSIDE_M,
    merge: YesNo = True,
    take_apart: WordList = (),
    date: DayOf = "",
) -> Gathered:
    """Gather spot lists of any make into one book, joining what is the same place.

    Agency lists, own waypoints and earlier books become one spots layer in the lake's reference system. Column
    names are guessed and shown; coordinates are read as decimal degrees, degrees-minutes or degrees-minutes-seconds
    on WGS84, or as eastings and northings of the lake's own system or a UTM zone; depth texts keep their range;
    kinds are translated. A lost minus sign or swapped columns are repaired only when exactly one repair lands on
    the lake, and the row's remark says so. Rows from different sources that lie within their position errors and
    have like kinds become one spot, which keeps both sources, names and notes and takes the better position; what
    it was made of stands in merged_from. Two structures of one source are never joined. Every row is in a spot or
    in set_aside, with its line, its text and the reason. The rounding of coordinates is added to position errors; the
    ages of sunk wood are of the date, by default today.

    Parameters
    ----------
    sources
        Lists of spots: CSV and its kin, XLSX, ODS, GPX, GeoJSON, KML, KMZ, shapefiles, or layers of a GeoPackage
        (FILE.gpkg:LAYER, FILE.xlsx:SHEET). The order decides whose ids stay. A .toml file among them says how to read
        the others: tables [columns] (role = header), [kinds] (word = kind), [lists."file.csv"] (columns, depth_unit,
        depth_of, spot_error, crs).
    shoreline
        The lake's water edge: its reference system and its extent are the book's.
    depth_of
        What a depth is of where the row does not say: the bottom, or the top of the structure.
    kind_words
        Further words for kinds, as word=kind, such as 'spring hole=pocket'.
    merge
        Join the same place of different sources.
    take_apart
        Spots of an earlier book that were joined and are to be the rows again that they were made of: their ids, or
        all.

    Returns
    -------
    Gathered
        ``spots``, ``set_aside``, and ``gathered_from``: a line a source, with the day, its rows, how many are in the
        book, how many were set aside, and what was noticed, guessed and repaired.

    Raises
    ------
    UsageError
        A source has no coordinates that could be found, or ``columns``, ``kind_words`` or ``take_apart`` names what is
        not there.
    CrsError
        A source has geometry without a reference system.

    Notes
    -----
    The shallow end of a depth range, and the least of two depths that differ, go into ``depth_m``: the safe side.
    Errors of two surveys are taken as independent, so their squares are added. What makes the result wrong: coordinates
    on another datum than WGS84 (NAD27 lies up to some hundred metres off), minutes written as decimals of a degree, a
    list whose position errors are larger than stated.

    Examples
    --------
    >>> from castshed.toolbox.sources import read_source
    >>> tables = [read_source("habitat.csv")]  # doctest: +SKIP
    >>> book, aside, came_from = gather_spots(tables, shoreline=lake, depth_unit="ft")  # doctest: +SKIP
    """
    from datetime import UTC, datetime
    from datetime import date as calendar_day

    import geopandas as gpd
    import numpy as np

    from castshed.toolbox.errors import UsageError
    from castshed.toolbox.intake.book.book import (
        ALL,
        collect,
        make_book,
        make_set_aside,
        repair_shapes,
        take_rows_apart,
    )
    from castshed.toolbox.intake.book.placing import LakeExtent
    from castshed.toolbox.intake.book.records import old_wood, read_records
    from castshed.toolbox.report import note
    from castshed.toolbox.sources.columns import Rules, check_mapping, find_roles, parse_mapping
    from castshed.toolbox.sources.source_table import SourceTable

    tables = list(sources)
    for table in tables:
        if not isinstance(table, SourceTable):
            raise UsageError(
                f"sources holds a {type(table).__name__}; give tables of castshed.toolbox.sources.read_source, or "
                "SourceTable.from_frame for a frame."
            )
    rules = Rules()
    for table in tables:
        rules = rules.joined(table.rules) if table.rules is not None else rules
    tables = [table for table in tables if table.rules is None]
    if unknown := sorted(
        set(rules.lists) - {t.name for t in tables} - {t.name.partition(":")[0] for t in tables}
    ):
        raise UsageError(
            f"Rules are given for '{unknown[0]}', but the sources are {', '.join(t.name for t in tables)}."
        )
    try:
        today = calendar_day.fromisoformat(date.strip()) if date.strip() else datetime.now(UTC).date()
    except ValueError as fault:
        raise UsageError(f"date is '{date}'; write a day as year-month-day, such as 2026-05-16.") from fault
    mapping = parse_mapping(columns)
    check_mapping({**rules.columns, **mapping}, {t.name: [str(c) for c in t.rows.columns] for t in tables})
    for table in tables:
        check_mapping(
            rules.under_name(table.name).columns, {table.name: [str(c) for c in table.rows.columns]}
        )
    words = {**rules.kinds, **_parse_synonyms(tuple(kind_words))}
    lake = LakeExtent.of(shoreline, outside_m)
    parts: list[Records] = []
    read_from: list[tuple[str, int, int, str]] = []
    open_ids = set(take_apart) - {ALL}
    for table in tables:
        own = rules.of(table.name)
        roles = find_roles([str(c) for c in table.rows.columns], {**own.columns, **mapping})
        part = repair_shapes(
            read_records(
                table,
                roles,
                lake,
                depth_unit=own.depth_unit or depth_unit,
                depth_of=own.depth_of or depth_of,
                position_error_m=spot_error_m if own.spot_error_m is None else own.spot_error_m,
                synonyms=words,
                crs=own.crs,
            )
        )
        if take_apart:
            part, found = take_rows_apart(part, take_apart)
            open_ids -= found
        parts.append(part)
        noticed = _tell(table, roles, part)
        for text in noticed:
            note(text, stacklevel=2)
        aside = sum(bool(reason) for reason in part.reason)
        read_from.append((table.name, len(part.reason), aside, " ".join(noticed)))
    if open_ids:
        raise UsageError(
            f"take-apart: no source has a spot '{min(open_ids)}'; give spot_id values of an earlier book."
        )
    records = collect(parts)
    book = make_book(records, shoreline.crs, merge=merge, today=today)
    if old := old_wood(book["kind"].tolist(), book["age_years"].to_numpy()):
        note(
            f"{how_many(old, 'spot is', 'spots are')} wood that has been down longer than it usually lasts "
            "(age_years): look before you "
            "count on it.",
            stacklevel=2,
        )
    return Gathered(
        book,
        make_set_aside(records, [table.counted for table in tables], shoreline.crs),
        gpd.GeoDataFrame(
            {
                "source": np.array([name for name, *_ in read_from], dtype=object),
                "day": np.full(len(read_from), today.isoformat(), dtype=object),
                "rows": np.array([rows for _, rows, _, _ in read_from], dtype=int),
                "kept": np.array([rows - aside for _, rows, aside, _ in read_from], dtype=int),
                "set_aside": np.array([aside for _, _, aside, _ in read_from], dtype=int),
                "noticed": np.array([noticed for *_, noticed in read_from], dtype=object),
            },
            geometry=[shoreline.geometry.iloc[0].representative_point()] * len(read_from),
            crs=shoreline.crs,
        ),
    )
