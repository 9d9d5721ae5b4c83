"""Ramps and known hazards out of any list of points: ids made, a ramp's low-water elevation turned into a level."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from ...errors import DataError, UsageError
from ...parameters import defaults
from ...report import note
from ...sources.cell_texts import read_pair
from ...sources.columns import check_mapping, find_roles, parse_mapping
from ...text import how_many
from ...units import convert
from .positions import find_positions
from .records import read_records

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from geopandas import GeoDataFrame

    from ...arrays import Floats, Geometries
    from ...sources.columns import Roles
    from ...sources.source_table import SourceTable
    from .placing import LakeExtent

    Left = Callable[[int, str], object]

RAMP_ROLES: Final = ("low_water", "min_level")
HAZARD_ROLES: Final = ("radius",)
_LOW: Final = frozenset(
    ("low", "lowest", "min", "minimum", "usable", "unusable", "bottom", "toe", "end", "below", "to")
)
_ELEVATION: Final = frozenset(("elev", "elevation", "pool", "level", "msl", "water"))
_NAMED: Final = frozenset(("name", "ramp", "access", "launch", "site", "title", "label", "facility", "park"))
_UNITS: Final = {
    "ft": "ft", "feet": "ft", "foot": "ft", "m": "m", "meter": "m", "meters": "m", "metre": "m", "metres": "m",
}  # fmt: skip
_NUMBER: Final = re.compile(
    r"([+-]?(?:\d{1,3}(?:,\d{3})+|\d+)(?:\.\d+)?)\s*([a-z]*)\.?(?:\s*(?:above\s+)?(?:ngvd|navd|a?msl)[\s\d]*)?",
    re.IGNORECASE,
)
_NONE: Final = frozenset(("", "-", "--", "na", "n/a", "none", "null", "unknown", "?"))
FARTHEST_M: Final = 150.0
"""Launches, and what endangers a boat, lie nearer to the water; farther off a place is misread, or another lake's."""
POOL_ASKED: Final = (
    'give normal_pool = "712.0ft" under [level] of the day file, or a column min_level_m against it'
)
UNIT_ASKED: Final = "give depth_unit"
_KINDS: Final = frozenset(("kind", "type", "hazard", "obstruction", "category"))
_HIGHEST_M, _LOWEST_M = 15.0, -120.0
"""A ramp that needs the water so far above normal pool, or serves so far below it, is in another unit or datum."""


def _words(header: str) -> list[str]:
    return re.findall(r"[a-z]+", re.sub(r"(?<=[a-z])(?=[A-Z])", " ", header).lower())


def _its_own(table: SourceTable, what: str) -> SourceTable:
    """Take rows that castshed wrote as what they are: a ramp of a plan is no spot, but it is a ramp."""
    told = f"it is {what} of an exported plan"
    return replace(table, problem=tuple("" if why.startswith(told) else why for why in table.problem))


def _own_roles(
    table: SourceTable, columns: Sequence[str], own: Sequence[str]
) -> tuple[dict[str, str], dict[str, str]]:
    """Split what the user said of columns into roles of these lists alone, and those of all lists."""
    mine: dict[str, str] = {}
    others = []
    headers = [str(c) for c in table.rows.columns]
    for entry in columns:
        role, equals, header = entry.partition("=")
        role = role.strip().lower().replace("-", "_")
        if role not in own or not equals:
            others.append(entry)
            continue
        same = [h for h in headers if h.casefold() == header.strip().casefold()]
        if not same:
            raise UsageError(
                f"columns: {table.name} has no column '{header.strip()}' for {role}; it has {', '.join(headers)}."
            )
        mine[role] = same[0]
    told = parse_mapping(others)
    check_mapping(told, {table.name: headers})
    return mine, told


def _metres(table: SourceTable, column: str, unit: str | None, what: str, asked: str = UNIT_ASKED) -> Floats:
    """Read a column of lengths in metres, the sign kept; NaN for a gap.

    Raises
    ------
    DataError, UsageError
        A cell is no number, or nothing names its unit.
    """
    stated = next((_UNITS[w] for w in reversed(_words(column)) if w in _UNITS), unit)
    made = np.full(len(table), np.nan)
    for row, cell in enumerate(table.rows[column].tolist()):
        text = str(cell).strip()
        if text.lower() in _NONE:
            continue
        found = _NUMBER.fullmatch(text)
        tail = found[2].lower() if found else ""
        if found is None or (tail and tail not in _UNITS):
            raise DataError(
                f"{table.name} {table.counted} {table.line[row]}: {what} is '{text[:40]}', which is no length; write a "
                "number, or a number with its unit."
            )
        own = _UNITS.get(tail, stated)
        if own is None:
            raise UsageError(
                f"{table.name}: column '{column}' names no unit; write it into the header, such as '{column} (ft)', or "
                f"{asked}."
            )
        made[row] = convert(float(found[1].replace(",", "")), own, "length")
    return made


def _least_levels(
    table: SourceTable,
    mine: dict[str, str],
    unit: str | None,
    normal_pool_m: float | None,
    asked: tuple[str, str],
) -> Floats:
    """Find the level below which a ramp is of no use, against normal pool."""
    headers = [str(c) for c in table.rows.columns]
    level = mine.get("min_level") or next((h for h in headers if _words(h)[:2] == ["min", "level"]), None)
    if level is not None:
        return _metres(table, level, "m" if level == "min_level_m" else unit, "the least level", asked[1])
    low = mine.get("low_water")
    if low is None:
        fits = [h for h in headers if _LOW & set(_words(h)) and _ELEVATION & set(_words(h))]
        if len(fits) > 1:
            raise UsageError(
                f"{table.name} has several columns that may be the elevation down to which a ramp serves: "
                f"{', '.join(fits)}. Choose with columns, such as low_water={fits[0]}."
            )
        low = fits[0] if fits else None
    if low is None:
        return np.full(len(table), np.nan)
    elevation = _metres(table, low, unit, "the low-water elevation", asked[1])
    if not np.isfinite(elevation).any():
        return elevation
    if normal_pool_m is None:
        raise UsageError(
            f"{table.name} gives elevations down to which ramps serve ('{low}'), and that of normal pool is not known: "
            f"{asked[0]}."
        )
    levels = elevation - normal_pool_m
    wrong = np.flatnonzero((levels > _HIGHEST_M) | (levels < _LOWEST_M))
    if wrong.size:
        row = int(wrong[0])
        raise DataError(
            f"{table.name} {table.counted} {table.line[row]}: '{low}' is {table.rows[low].iloc[row]}, "
            f"{levels[row]:+.0f} m from normal pool; check its unit and its datum."
        )
    return levels


def _tell(
    table: SourceTable,
    rows: Sequence[int],
    names: Sequence[str],
    why: Sequence[str],
    what: str,
    left: Left | None,
) -> None:
    if left is not None:
        for k in rows:
            left(k, why[k])
    elif rows:
        listed = "; ".join(f"{names[k] or f'{table.counted} {table.line[k]}'}: {why[k]}" for k in rows[:5])
        more = f" and {len(rows) - 5} more" if len(rows) > 5 else ""
        note(f"{how_many(len(rows), what)} of {table.name} left out ({listed}{more}).", stacklevel=3)


def _far(shapes: Geometries, water: Any, reach_m: Floats | float = 0.0) -> Floats:
    """Tell how far from the water each place lies beyond what is allowed, metres; 0 where the water is not known."""
    import shapely

    if water is None:
        return np.zeros(len(shapes))
    off: Floats = shapely.distance(shapes, water)
    return np.where(off > FARTHEST_M + reach_m, off, 0.0)


def _ids(table: SourceTable, roles: Roles, names: Sequence[str]) -> list[str]:
    """Take the ids there are, where each has one of its own; else make them of the names."""
    column = "ramp_id" if "ramp_id" in table.rows.columns else roles.one("spot_id")
    given = [str(v).strip() for v in table.rows[column].tolist()] if column else []
    if given and all(given) and len(set(given)) == len(given):
        return given
    made: list[str] = []
    for place, name in enumerate(names, start=1):
        plain = re.sub(r"[^a-z0-9]+", "-", name.lower()).strip("-")[:40] or f"ramp-{place}"
        number, one = 2, plain
        while one in made:
            one, number = f"{plain}-{number}", number + 1
        made.append(one)
    return made


def is_place(told: str) -> bool:
    """Tell whether a text is one place in degrees, such as ``35.7525, -85.2041``, and no name of a file."""
    return bool(re.search(r"\d", told)) and not read_pair(told)[0].fault


def ramp_at(told: str, crs: Any) -> GeoDataFrame:
    """Make the layer of ramps of the one place at which a boat is put in.

    Parameters
    ----------
    told
        Latitude and longitude.
    crs
        System to bring it into.
    """
    import geopandas as gpd

    lat, lon = (angle.degrees for angle in read_pair(told))
    there = gpd.GeoSeries(gpd.points_from_xy([lon], [lat]), crs="OGC:CRS84").to_crs(crs)
    return gpd.GeoDataFrame(
        {"ramp_id": ["start"], "name": ["Start"], "min_level_m": [float("nan")]}, geometry=there, crs=crs
    )


def ramps_of(
    table: SourceTable,
    lake: LakeExtent,
    *,
    columns: Sequence[str] = (),
    unit: str | None = None,
    normal_pool_m: float | None = None,
    water: Any = None,
    asked: tuple[str, str] = (POOL_ASKED, UNIT_ASKED),
    left: Left | None = None,
) -> GeoDataFrame:
    """Make the layer of ramps of a list.

    Parameters
    ----------
    table
        The list, in any format that lists of spots come in.
    lake
        The box to land in, and the metres to make.
    columns
        ``role=Header``: the roles of lists of spots, ``low_water`` (elevation down to which the ramp serves) and
        ``min_level`` (the same against normal pool).
    unit
        Unit of elevations that name none.
    normal_pool_m
        Elevation of normal pool, to which low-water elevations are turned.
    water
        The water itself, where it is known: a ramp farther than 150 m from it is told and left out.
    asked
        How to give the normal pool, and a unit, for messages.
    left
        Gets place in the list and reason of each row that is left out, instead of a note; a list of which none is left
        is then no error.

    Returns
    -------
    ramp_id, name, min_level_m and the place; in the order of the list. A row without a place is told and left out.

    Raises
    ------
    DataError
        No row lies on the lake, or an elevation cannot be.
    UsageError
        A column, unit or the normal pool cannot be told; the message says which columns there are.
    """
    import geopandas as gpd
    import shapely

    table = _its_own(table, "a ramp")
    mine, told = _own_roles(table, columns, RAMP_ROLES)
    headers = [str(c) for c in table.rows.columns]
    roles = find_roles(headers, told)
    places = find_positions(table, roles, lake)
    named = roles.one("name") or next((h for h in headers if _NAMED & set(_words(h))), None)
    names = [str(v).strip() for v in table.rows[named].tolist()] if named else [""] * len(table)
    names = [name or f"Ramp {place}" for place, name in enumerate(names, start=1)]
    reason = [
        p or why or "it has no place on the lake" for p, why in zip(table.problem, places.reason, strict=True)
    ]
    shapes = shapely.centroid(places.geometry)
    off = _far(shapes, water)
    reason = [f"{m:,.0f} m from the water" if m > 0 else why for m, why in zip(off, reason, strict=True)]
    kept = [
        k
        for k in range(len(table))
        if not table.problem[k] and shapes[k] is not None and not shapes[k].is_empty and not off[k] > 0
    ]
    _tell(table, [k for k in range(len(table)) if k not in set(kept)], names, reason, "ramp", left)
    if not kept and left is None:
        raise DataError(
            f"{table.name} holds no ramp on the lake{f': {reason[0]}' if reason else ''}. It has the columns "
            f"{', '.join(headers) or 'none'}."
        )
    least = _least_levels(table, mine, unit, normal_pool_m, asked) if kept else np.full(len(table), np.nan)
    ids = _ids(table, roles, names)
    return gpd.GeoDataFrame(
        {
            "ramp_id": [ids[k] for k in kept],
            "name": [names[k] for k in kept],
            "min_level_m": least[kept],
        },
        geometry=[shapes[k] for k in kept],
        crs=lake.crs,
    )


def hazards_of(
    table: SourceTable,
    lake: LakeExtent,
    *,
    columns: Sequence[str] = (),
    unit: str | None = None,
    water: Any = None,
    left: Left | None = None,
) -> GeoDataFrame:
    """Make the layer of known hazards of a list.

    Parameters
    ----------
    table, lake, columns, unit, water, left
        As in `ramps_of`; a depth is that of the top, and ``radius`` a role of its own.

    Returns
    -------
    kind, top_depth_m, radius_m, position_error_m and the place. One without a depth that can be read counts as if it
    broke the surface. One off the lake is told and left out.

    Raises
    ------
    DataError
        A row has no place that can be read: a hazard is not left out for a slip of the pen.
    UsageError
        A column or unit cannot be told.
    """
    import geopandas as gpd

    table = _its_own(table, "a hazard")
    mine, told = _own_roles(table, columns, HAZARD_ROLES)
    headers = [str(c) for c in table.rows.columns]
    roles = find_roles(headers, told)
    found = read_records(
        table, roles, lake, depth_unit=unit, depth_of="top", position_error_m=defaults.HAZARD_ERROR_M
    )
    names = found.table["name"].tolist()
    lost = [k for k, shape in enumerate(found.geometry) if shape is None]
    unread = [
        k
        for k in lost
        if table.problem[k] or "cannot be read" in found.reason[k] or "no position" in found.reason[k]
    ]
    if unread:
        k = unread[0]
        raise DataError(
            f"{table.name} {table.counted} {table.line[k]} is a hazard without a place: "
            f"{found.reason[k] or 'no position'}. Correct it, or take the line out if it is none."
        )
    radius = mine.get("radius") or next((h for h in headers if "radius" in _words(h)), None)
    wide = _metres(table, radius, unit, "the radius") if radius else np.full(len(table), np.nan)
    off = _far(found.geometry, water, np.nan_to_num(wide))
    why = [f"{m:,.0f} m from the water" if m > 0 else r for m, r in zip(off, found.reason, strict=True)]
    _tell(table, sorted({*lost, *np.flatnonzero(off > 0).tolist()}), names, why, "hazard", left)
    kept = [k for k in range(len(table)) if found.geometry[k] is not None and not off[k] > 0]
    top = found.table["top_depth_m"].to_numpy(dtype=float)[kept]
    if silent := int(np.isnan(top).sum()):
        note(
            f"{how_many(silent, 'hazard')} of {table.name} without a depth that can be read: taken as at the surface.",
            stacklevel=2,
        )
    words = found.table["kind_text"].tolist()
    if roles.one("kind") is None and (kind := next((h for h in headers if _KINDS & set(_words(h))), None)):
        words = [str(v).strip() for v in table.rows[kind].tolist()]
    return gpd.GeoDataFrame(
        {
            "kind": [words[k] or names[k] or "hazard" for k in kept],
            "top_depth_m": top,
            "radius_m": wide[kept],
            "position_error_m": found.table["position_error_m"].to_numpy(dtype=float)[kept],
        },
        geometry=[found.geometry[k] for k in kept],
        crs=lake.crs,
    )
