"""Columns of numbers read from people's layers: a date, a span of time or a yes is none, though a computer has one."""

from __future__ import annotations

import datetime as dt
import re
from typing import TYPE_CHECKING, Any

from .errors import ContractError

if TYPE_CHECKING:
    import pandas as pd


def _other_kind(values: pd.Series[Any], name: str) -> tuple[str, Any, Any] | None:
    """Find what counts as a number to a computer and to nobody else: dates, spans of time, yes and no in a measure.

    A date would be read as the nanoseconds since 1970, a depth of 1.7e18 m.
    """
    import pandas as pd

    measure = re.search(r"_(?:m|m2|mps|deg|s|l|no)$", name) is not None
    kinds = (
        ("dates", pd.api.types.is_datetime64_any_dtype, (dt.date, dt.time)),
        ("spans of time", pd.api.types.is_timedelta64_dtype, (dt.timedelta,)),
        ("yes and no", pd.api.types.is_bool_dtype, (bool,)),
        ("complex numbers", pd.api.types.is_complex_dtype, (complex,)),
    )
    there = values[values.notna()]
    for words, is_kind, types in kinds:
        if words == "yes and no" and not measure:
            continue
        if is_kind(values.dtype):
            return (words, there.iloc[0], there.index[0]) if len(there) else None
        if values.dtype == object:
            odd = [isinstance(one, types) for one in there]
            if any(odd):
                first = odd.index(True)
                return words, there.iloc[first], there.index[first]
    return None


def other_kind_fault(values: pd.Series[Any], name: str) -> str:
    """Say why a column holds no numbers: dates, spans of time, yes and no; nothing where it may hold some.

    Parameters
    ----------
    values
        The column.
    name
        Layer and column, for messages; a name that ends in a unit is a measure, which is never yes or no.
    """
    found = _other_kind(values, name)
    if found is None:
        return ""
    words, sample, row = found
    return f"{name} must be a number; it holds {words} ({sample!s:.40} in row {row}). Write it as a column of numbers."


def numbers_of(values: pd.Series[Any], name: str) -> pd.Series[Any]:
    """Read a column as numbers; what is none is NaN.

    Parameters
    ----------
    values, name
        As for `other_kind_fault`.

    Raises
    ------
    ContractError
        It holds dates, spans of time, or yes and no in a measure.
    """
    import pandas as pd

    if fault := other_kind_fault(values, name):
        raise ContractError(fault, (fault,))
    return pd.to_numeric(values, errors="coerce")
