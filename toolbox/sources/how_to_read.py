"""Rules for reading lists, written by their user in a .toml file: columns, units, words for kinds, reference system."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any, Final

from ..errors import DataError, UsageError
from ..units import parse as parse_quantity
from .columns import ROLES
from .kinds import KINDS

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
