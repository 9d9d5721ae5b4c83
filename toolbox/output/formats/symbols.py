"""The user's own table of symbols: what their device calls the mark of each kind."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

from ...errors import DataError
from ...text import one_line

if TYPE_CHECKING:
    from ...intake.series.series_table import SeriesTable


def symbol_key(kind: str) -> str:
    """Kinds are compared without regard to case, blanks and underscores."""
    return one_line(kind).replace("_", " ").casefold()


def symbol_table(table: SeriesTable | Mapping[str, str] | None) -> dict[str, str]:
    """Read a table of symbols: kind to text.

    Parameters
    ----------
    table
        A table with the columns ``kind`` and ``symbol``, or a mapping; None for no symbols at all.

    Raises
    ------
    DataError
        A column is missing, a kind is named twice with different texts, or a row has no kind.
    """
    if table is None:
        return {}
    if isinstance(table, Mapping):
        return {symbol_key(kind): one_line(text) for kind, text in table.items() if one_line(text)}
    lower = {column.strip().casefold(): column for column in table.columns}
    missing = [name for name in ("kind", "symbol") if name not in lower]
    if missing:
        raise DataError(
            f"{table.name} has no column {' and '.join(missing)}; give the columns kind and symbol, it has: "
            f"{', '.join(table.columns)}."
        )
    found: dict[str, str] = {}
    pairs = zip(table.texts(lower["kind"]), table.texts(lower["symbol"]), table.lines, strict=True)
    for kind, text, line in pairs:
        key, symbol = symbol_key(kind), one_line(text)
        if not key:
            raise DataError(f"{table.name} line {line} names no kind; write one, such as hump or hold.")
        if found.get(key, symbol) != symbol:
            raise DataError(f"{table.name} line {line} gives {kind} a second symbol; keep one of the two.")
        found[key] = symbol
    return {key: symbol for key, symbol in found.items() if symbol}
