"""What the cells of a column say: number and unit of each, and numbers that stand for 'nothing known'."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import pandas as pd

from ...sources.cell_texts import read_depth
from ...units import FOOT_M
from .found import UNITS, unit_length_m

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from ...arrays import Flags, Floats

_TEXT: Final = re.compile(
    r"(?:.*?\b(?:depth|contour|elev(?:ation)?|sounding|deep)\b\s*(?:is|of|at)?\s*[:=]?\s*)?"
    r"([-−+]?\d+(?:[.,]\d+)?)\s*(ft|feet|foot|'|m|met(?:er|re)s?|fathoms?|fth?m?|cm|dm|us-?ft)?\.?\s*"
    r"(?:deep|depth|contour|isobath|elev(?:ation)?|below.*|line)?\s*",
    re.IGNORECASE | re.DOTALL,
)
_INCHES: Final = re.compile(
    r"\d\s*(?:'|′|’|ft|feet|foot)\.?\s*\d+(?:\.\d+)?\s*(?:\"|″|”|''|in\b|inch)", re.IGNORECASE
)
_TAGS: Final = re.compile(r"<[^>]{0,200}>")
_COMMAS: Final = re.compile(r"[-+]?\d+(?:,\d+)+(?:\.\d+)?")
_THOUSANDS: Final = re.compile(r"[-+]?[1-9]\d{0,2}(?:,\d{3})+(?:\.\d+)?")
_MOST_UNIQUE: Final = 2_000_000
ENOUGH: Final = 0.6
_MARKS: Final = (
    -32768.0, -32767.0, 32767.0, 32768.0, 65535.0, -3.4028235e38, 3.4028235e38, 1e20, 9.96921e36, 1e30, -1e30,
)  # fmt: skip
_NINES: Final = re.compile(r"9{2,}(?:\.9+)?")
_SMALL: Final = 1000.0  # a mark below that may be a depth: it has to come often, among many other numbers
_OFTEN: Final = 3
_MANY: Final = 20


def _is_mark(number: float) -> bool:
    return bool(_NINES.fullmatch(f"{abs(number):.7g}")) or any(
        np.isclose(number, m, rtol=1e-6) for m in _MARKS
    )


def _stands_alone(known: NDArray[Any], mine: Flags, mark: float) -> bool:
    others = known[~mine]
    if not others.size or float(np.abs(others - mark).min()) <= 0.2 * abs(mark):
        return False
    return abs(mark) >= _SMALL or (int(mine.sum()) >= _OFTEN and len(np.unique(others)) >= _MANY)


def without_marks(values: NDArray[np.floating[Any]], what: str = "cells") -> tuple[str, ...]:
    """Take out numbers that stand for 'nothing known' by habit, where nothing else lies near them; tell which.

    Such a mark is the greatest or the least number there is: all nines, an end of what an integer holds, or what a
    format fills with.
    """
    said: list[str] = []
    known = values[np.isfinite(values)]
    while known.size:
        for mark in (float(known.max()), float(known.min())):
            mine = np.isclose(known, mark, rtol=1e-6) if _is_mark(mark) else None
            if mine is not None and _stands_alone(known, mine, mark):
                values[np.isclose(values, mark, rtol=1e-6)] = np.nan
                said.append(f"{int(mine.sum()):,} {what} hold {mark:g}, a mark for 'nothing known'")
                known = known[~mine]
                break
        else:
            break
    return tuple(said)


def read_cells(values: pd.Series[Any]) -> tuple[Floats, str]:
    """Read numbers, with or without a unit behind them, and the unit they are in.

    Where cells name different units all are turned into metres. A unit that few cells name says nothing of the others:
    those that name it are not read.
    """
    if pd.api.types.is_numeric_dtype(values) and not pd.api.types.is_bool_dtype(values):
        found: Floats = values.to_numpy(dtype=float, na_value=np.nan)
        return np.where(np.isfinite(found), found, np.nan), ""
    if not (pd.api.types.is_object_dtype(values) or pd.api.types.is_string_dtype(values)):
        return np.full(len(values), np.nan), ""
    try:
        codes, unique = pd.factorize(values, use_na_sentinel=True)
    except TypeError:  # cells that hold lists, as frames and JSON may
        return np.full(len(values), np.nan), ""
    texts = [str(one) for one in unique[:_MOST_UNIQUE]]
    plain = np.full(len(unique), np.nan)
    plain[: len(texts)] = pd.to_numeric(pd.Series(texts, dtype=object), errors="coerce").to_numpy(dtype=float)
    plain[~np.isfinite(plain)] = np.nan
    thousands = _thousands(texts, plain)
    unit = np.full(len(unique), "", dtype=object)
    for i in np.flatnonzero(np.isnan(plain[: len(texts)])).tolist():
        plain[i], unit[i] = _cell(texts[i], thousands=thousands)
    numbers, units = np.append(plain, np.nan)[codes], np.append(unit, "")[codes]
    return _in_one_unit(numbers, units)


def _in_one_unit(numbers: Floats, units: NDArray[Any]) -> tuple[Floats, str]:
    read = np.isfinite(numbers)
    named = read & (units != "")
    names = sorted({str(u) for u in units[named]})
    if not names:
        return numbers, ""
    if named.sum() < ENOUGH * read.sum():
        return np.where(named, np.nan, numbers), ""
    if len(names) == 1:
        return numbers, names[0]
    length = {name: unit_length_m(name) for name in names}
    metres = np.array([length.get(str(u), np.nan) for u in units])
    return numbers * metres, "m"


def in_metres_by_row(numbers: Floats, cells: list[str]) -> Floats:
    """Turn numbers into metres by a cell beside each that names its unit; NaN where it names none."""
    length = {
        cell: unit_length_m(UNITS[cell.lower()]) if cell.lower() in UNITS else np.nan for cell in set(cells)
    }
    metres: Floats = numbers * np.array([length[cell] for cell in cells], dtype=np.float64)
    return metres


def _thousands(texts: list[str], plain: Floats) -> bool | None:
    """Tell whether commas part thousands; None where ``1,234`` may be either, and no other cell helps."""
    cells = [text.strip() for text in texts if "," in text]
    cells = [cell for cell in cells if _COMMAS.fullmatch(cell)]
    if not cells or not all(_THOUSANDS.fullmatch(cell) for cell in cells):
        return False
    if any("." in cell or cell.count(",") > 1 for cell in cells):
        return True
    small = plain[np.isfinite(plain)]
    return (
        True
        if small.size and float(np.abs(small).max()) < 1000.0 and np.all(small == np.rint(small))
        else None
    )


def _cell(text: str, *, thousands: bool | None = False) -> tuple[float, str]:
    plain = _TAGS.sub(" ", text).strip() if len(text) < 2000 else ""
    if thousands is not False and _THOUSANDS.fullmatch(plain):
        return (float(plain.replace(",", "")) if thousands else float("nan")), ""
    if _INCHES.search(plain):
        feet = read_depth(plain, None).least_m / FOOT_M
        return feet, "ft" if np.isfinite(feet) else ""
    found = _TEXT.fullmatch(plain)
    if found is None:
        return float("nan"), ""
    unit = UNITS.get((found[2] or "").lower().replace("-", ""), "")
    return float(found[1].replace(",", ".").replace("−", "-")), unit
