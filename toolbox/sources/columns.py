"""Which column holds what: guessed from the header, shown to the user, overruled by the user or a file of rules."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any, Final

from ..errors import DataError, UsageError
from ..units import parse as parse_quantity
from .cell_texts import unit_of
from .kinds import KINDS

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

# Role -> header words, the surest first. Words compare without case, punctuation, units and the noise below.
ROLES: Final[dict[str, tuple[str, ...]]] = {
    "latitude": (
        "latitude", "lat", "latdd", "northing lat", "y", "point y", "y coord", "ycoord", "y coordinate",
    ),
    "longitude": (
        "longitude", "lon", "long", "lng", "londd", "longdd", "x", "point x", "x coord", "xcoord",
        "x coordinate",
    ),
    "easting": ("easting", "utm easting", "utm e", "utm x", "utmx"),
    "northing": ("northing", "utm northing", "utm n", "utm y", "utmy"),
    "zone": ("zone", "utm zone", "grid zone", "utmzone"),
    "position": (
        "utm", "utm coordinates", "position", "coordinates", "coordinate", "coords", "lat lon", "lat long",
        "latlon", "latlong",
        "lat lng", "latitude longitude", "gps coordinates", "gps coordinate", "gps position", "gps",
    ),
    "spot_id": (
        "spot id", "site id", "structure id", "habitat id", "attractor id", "waypoint id", "unique id", "id",
        "site no", "site number", "site num", "spot no", "spot number", "number", "no", "num", "code", "ref",
        "objectid", "fid",
    ),
    "name": (
        "name", "spot name", "site name", "structure name", "waypoint name", "location name", "site", "spot",
        "title", "label", "waypoint", "location",
    ),
    "kind": (
        "kind", "type", "structure type", "habitat type", "attractor type", "cover type", "site type",
        "structure", "habitat", "attractor", "cover", "material", "materials", "category", "sym", "symbol",
        "feature",
    ),
    "depth": ("depth", "bottom depth", "depth bottom", "depth to bottom", "site depth"),
    "depth_unit": ("depth unit", "depth units", "unit", "units"),
    "least_depth": (
        "least depth", "depth least", "min depth", "depth min", "minimum depth", "depth from", "shallow depth",
    ),
    "most_depth": (
        "most depth", "depth most", "max depth", "depth max", "maximum depth", "depth to", "deep depth",
    ),
    "top_depth": ("top depth", "depth top", "depth to top", "depth over top", "top"),
    "height": ("height", "structure height", "height off bottom", "height bottom", "relief", "stands"),
    "rating": ("rating", "stars", "quality"),
    "note": (
        "note", "notes", "comment", "comments", "cmt", "description", "desc", "remarks", "details", "memo",
    ),
    "surveyed": (
        "surveyed", "survey date", "date surveyed", "last checked", "checked", "date checked", "date", "time",
    ),
    "placed": (
        "placed", "date placed", "placement date", "year placed", "installed", "date installed",
        "install date", "year installed", "deployed", "date deployed", "date sunk", "year",
    ),
    "position_error": ("position error", "accuracy", "gps accuracy", "horizontal accuracy", "epe", "error"),
    "source": ("source", "data source", "provider", "agency"),
}  # fmt: skip
# Columns that only a book of this toolbox has; kept under their exact names.
OWN: Final = ("kind_text", "depth_text", "remark", "merged_from", "extra", "rows", "age_years")
_SEVERAL: Final = ("note", "kind")
_LENGTHS: Final = ("depth", "least_depth", "most_depth", "top_depth", "height", "position_error")
_NOISE: Final = frozenset(
    [
        "dd", "ddm", "dms", "dmm", "deg", "degs", "degrees", "decimal", "dec", "wgs84", "wgs", "84", "nad83",
        "nad", "83", "approx", "approximate", "avg", "average", "mean", "the", "of", "at", "normal", "full",
        "pool", "conservation", "charted", "about", "est", "estimated",
    ]
)  # fmt: skip
_UNIT_WORD: Final = re.compile(r"ft|feet|foot|m|met(?:er|re)s?|fathoms?|inch(?:es)?|cm")
_HEMISPHERE: Final = frozenset(("n", "s", "e", "w", "north", "south", "east", "west"))


@dataclass(frozen=True)
class Roles:
    """Role -> the columns that play it; column -> unit its header names; what nobody plays stays extra."""

    columns: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    units: Mapping[str, str] = field(default_factory=dict)

    def one(self, role: str) -> str | None:
        """Name the column of a role that has at most one."""
        found = self.columns.get(role, ())
        return found[0] if found else None

    def words(self) -> str:
        """Say who plays what, for people."""
        return ", ".join(
            f"{role} from {' + '.join(repr(c) for c in names)}" for role, names in self.columns.items()
        )


def header_words(header: str) -> tuple[str, str | None]:
    """Reduce a header to the words that tell, and the unit it names.

    Examples
    --------
    >>> header_words("Depth at Normal Pool (ft)")
    ('depth', 'ft')
    >>> header_words("LAT_DD")
    ('lat', None)
    """
    spaced = re.sub(r"(?<=[a-z])(?=[A-Z])", " ", header)
    words = re.findall(r"[a-z]+|\d+", spaced.lower())
    units = [word for word in words if _UNIT_WORD.fullmatch(word)]
    unit = unit_of(units[-1]) if units else None
    kept = [w for w in words if not (units and (w == units[-1] or w == "in")) and w not in _NOISE]
    if len(kept) > 1 and kept[0].startswith(("lat", "lon")) and kept[-1] in _HEMISPHERE:
        kept.pop()
    return " ".join(kept or words), unit or None


def parse_mapping(entries: Iterable[str]) -> dict[str, str]:
    """Read ``role=Header`` entries.

    Raises
    ------
    UsageError
        An entry has no ``=``, an unknown role or no header.
    """
    found: dict[str, str] = {}
    for entry in entries:
        role, equals, header = entry.partition("=")
        role, header = role.strip().lower().replace("-", "_").replace(" ", "_"), header.strip()
        if not equals or role not in ROLES or not header:
            raise UsageError(
                f"columns: '{entry}' cannot be used; write role=Header, such as depth='Bottom (ft)', with one of the "
                f"roles {', '.join(ROLES)}."
            )
        found[role] = header
    return found


def find_roles(headers: Sequence[str], mapping: Mapping[str, str]) -> Roles:
    """Guess which column plays which role.

    Parameters
    ----------
    headers
        Column names of one source.
    mapping
        Role -> column as the user said; goes before any guess. A column named here but not in this source is passed
        over: with several sources it may belong to another one (`check_mapping` sees to it that one has it).

    Returns
    -------
    A column plays one role at most.
    """
    free = {header: header_words(header) for header in headers if header not in OWN}
    units = {header: unit for header, (_, unit) in free.items() if unit}
    columns: dict[str, tuple[str, ...]] = {}
    by_folded = {header.casefold(): header for header in reversed(list(free))}
    for role, wanted in mapping.items():
        chosen = wanted if wanted in free else by_folded.get(wanted.casefold())
        if chosen is not None:
            columns[role] = (chosen,)
            free.pop(chosen, None)
    for role, words in ROLES.items():
        if role in columns:
            continue
        ranked = sorted(
            (words.index(head), place, header)
            for place, (header, (head, unit)) in enumerate(free.items())
            if head in words and not (unit and role not in _LENGTHS and role not in ("latitude", "longitude"))
        )
        taken = [header for _, _, header in (ranked if role in _SEVERAL else ranked[:1])]
        for header in taken:
            free.pop(header)
        if taken:
            columns[role] = tuple(taken)
    if "zone" in columns and "zone" not in mapping and "easting" not in columns:
        columns.pop("zone")  # zones of the lake, not of a grid
    return Roles(columns, units)


def known_headers(cells: Sequence[str]) -> int:
    """Count the cells of a line that are headers of some role; how a title line is told from the header line."""
    every = {word for words in ROLES.values() for word in words}
    return sum(bool(cell.strip()) and header_words(cell)[0] in every for cell in cells)


def check_mapping(mapping: Mapping[str, str], headers_by_source: Mapping[str, Sequence[str]]) -> None:
    """Demand that each column the user named is in one source at least.

    Raises
    ------
    UsageError
        It is in none; the message lists the columns there are.
    """
    for role, wanted in mapping.items():
        every = {header.casefold() for headers in headers_by_source.values() for header in headers}
        if wanted.casefold() not in every:
            there = "; ".join(
                f"{name}: {', '.join(headers) or 'none'}" for name, headers in headers_by_source.items()
            )
            raise UsageError(
                f"columns: no source has a column '{wanted}' for {role}. Columns there are: {there}."
            )


_TOP: Final = ("columns", "kinds", "lists")
_LIST: Final = ("columns", "depth_unit", "depth_of", "spot_error", "crs")


@dataclass(frozen=True)
class ListRules:
    """Rules for one list; what is None is left to the options of the command."""

    columns: Mapping[str, str] = field(default_factory=dict)
    depth_unit: str | None = None
    depth_of: str | None = None
    spot_error_m: float | None = None
    crs: str | None = None


@dataclass(frozen=True)
class Rules:
    """Rules for all lists, and for some by their file name."""

    columns: Mapping[str, str] = field(default_factory=dict)
    kinds: Mapping[str, str] = field(default_factory=dict)
    lists: Mapping[str, ListRules] = field(default_factory=dict)

    def under_name(self, source: str) -> ListRules:
        """Give the rules that stand under a source's own name."""
        return self.lists.get(source) or self.lists.get(source.partition(":")[0]) or ListRules()

    def of(self, source: str) -> ListRules:
        """Give the rules for a source: those under its own name go before those for all."""
        own = self.under_name(source)
        return replace(own, columns={**self.columns, **own.columns})

    def joined(self, other: Rules) -> Rules:
        """Add other rules, which go before these."""
        return Rules(
            {**self.columns, **other.columns}, {**self.kinds, **other.kinds}, {**self.lists, **other.lists}
        )


def _texts(
    table: Any, where: str, allowed: tuple[str, ...] | None, *, of_values: tuple[str, ...] | None = None
) -> dict[str, str]:
    if not isinstance(table, dict):
        raise UsageError(f'{where} has to be a table of texts, such as depth = "Bottom (ft)".')
    for key, value in table.items():
        if allowed is not None and key not in allowed:
            raise UsageError(f"{where}: '{key}' is not known; use one of {', '.join(allowed)}.")
        if not isinstance(value, str) or not value.strip():
            raise UsageError(f"{where}: {key} has to be a text that is not empty.")
        if of_values is not None and value not in of_values:
            raise UsageError(f"{where}: {key} = '{value}'; choose one of {', '.join(of_values)}.")
    return {key: str(value).strip() for key, value in table.items()}


def _list_rules(table: Any, where: str) -> ListRules:
    import pyproj

    if not isinstance(table, dict) or not set(table) <= set(_LIST):
        raise UsageError(f"{where} may hold {', '.join(_LIST)} and nothing else.")
    columns = _texts(table.get("columns", {}), f"{where} columns", tuple(ROLES))
    plain = _texts({k: v for k, v in table.items() if k != "columns"}, where, _LIST)
    for key, words in (("depth_unit", ("ft", "m")), ("depth_of", ("bottom", "top"))):
        if key in plain and plain[key] not in words:
            raise UsageError(f"{where}: {key} = '{plain[key]}'; choose one of {', '.join(words)}.")
    error = parse_quantity(plain["spot_error"], "length") if "spot_error" in plain else None
    if error is not None and not 0.0 <= error <= 1e6:
        raise UsageError(f"{where}: spot_error = '{plain['spot_error']}' has to be 0 or more.")
    if "crs" in plain:
        try:
            pyproj.CRS.from_user_input(plain["crs"])
        except pyproj.exceptions.CRSError as fault:
            raise UsageError(
                f"{where}: crs = '{plain['crs']}' is not known; write for instance EPSG:32615."
            ) from fault
    return ListRules(columns, plain.get("depth_unit"), plain.get("depth_of"), error, plain.get("crs"))


def parse_rules(data: bytes, name: str) -> Rules:
    """Read a .toml file of rules.

    Parameters
    ----------
    data
        Its bytes.
    name
        What it is called in messages.

    Returns
    -------
    From the tables ``[columns]`` (role = header), ``[kinds]`` (word = kind) and ``[lists."file.csv"]`` (columns,
    depth_unit, depth_of, spot_error, crs of easting and northing).

    Raises
    ------
    DataError
        It is not TOML.
    UsageError
        It holds what is not known; the message names it.
    """
    try:
        document = tomllib.loads(data.decode("utf-8-sig"))
    except (UnicodeDecodeError, tomllib.TOMLDecodeError, RecursionError) as fault:
        raise DataError(f"{name} is not TOML: {fault}.") from fault
    if odd := sorted(set(document) - set(_TOP)):
        raise UsageError(f"{name}: '{odd[0]}' is not known; rules stand in the tables {', '.join(_TOP)}.")
    lists = document.get("lists", {})
    if not isinstance(lists, dict):
        raise UsageError(f'{name}: lists has to hold tables, such as [lists."habitat.csv"].')
    return Rules(
        _texts(document.get("columns", {}), f"{name} [columns]", tuple(ROLES)),
        _texts(document.get("kinds", {}), f"{name} [kinds]", None, of_values=KINDS),
        {source: _list_rules(table, f'{name} [lists."{source}"]') for source, table in lists.items()},
    )
