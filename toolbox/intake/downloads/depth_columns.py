"""Which column holds the depth, and what numbers and unit stand in it."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import pandas as pd
import shapely

from .telling_words import DEPTH_COLUMNS, NEVER_DEPTHS, WEAK_COLUMNS, unit_in, words_of
from .wishes import UNITS

if TYPE_CHECKING:
    from geopandas import GeoDataFrame

    from ...arrays import Floats

GEOMETRY_Z: Final = "z of the geometry"
_TEXT: Final = re.compile(
    r"(?:.*?\b(?:depth|contour|elev(?:ation)?|sounding|deep)\b\s*(?:is|of|at)?\s*[:=]?\s*)?"
    r"([-−+]?\d+(?:[.,]\d+)?)\s*(ft|feet|foot|'|m|met(?:er|re)s?|fathoms?|fth?m?|cm|dm|us-?ft)?\.?\s*"
    r"(?:deep|depth|contour|isobath|elev(?:ation)?|below.*|line)?\s*",
    re.IGNORECASE | re.DOTALL,
)
_RANGE: Final = re.compile(
    r"\s*(-?\d+(?:\.\d+)?)\s*(?:-|–|to)\s*(-?\d+(?:\.\d+)?)\s*"
    r"(ft|feet|foot|'|m|met(?:er|re)s?|fathoms?)?\.?\s*",
    re.IGNORECASE,
)
_TAGS: Final = re.compile(r"<[^>]{0,200}>")
_ENOUGH: Final = 0.6


@dataclass(frozen=True)
class Candidate:
    """A column that may hold the depth."""

    column: str
    score: float
    numbers: Floats
    unit: str
    holds: str
    why: str


def read_cells(values: pd.Series[Any]) -> tuple[Floats, str]:
    """Read numbers, with or without a unit behind them; the unit where all that have one agree."""
    if pd.api.types.is_numeric_dtype(values) and not pd.api.types.is_bool_dtype(values):
        found: Floats = values.to_numpy(dtype=float, na_value=np.nan)
        return np.where(np.isfinite(found), found, np.nan), ""
    if not (pd.api.types.is_object_dtype(values) or pd.api.types.is_string_dtype(values)):
        return np.full(len(values), np.nan), ""
    known: dict[str, tuple[float, str]] = {}
    numbers = np.full(len(values), np.nan)
    units: set[str] = set()
    for i, value in enumerate(values):
        if value is None or (isinstance(value, float) and np.isnan(value)):
            continue
        text = str(value)
        if text not in known:
            known[text] = _cell(text)
        number, unit = known[text]
        numbers[i] = number
        if unit:
            units.add(unit)
    return numbers, units.pop() if len(units) == 1 else ""


def _cell(text: str) -> tuple[float, str]:
    plain = _TAGS.sub(" ", text).strip() if len(text) < 2000 else ""
    found = _TEXT.fullmatch(plain)
    if found is None:
        return float("nan"), ""
    unit = UNITS.get((found[2] or "").lower().replace("-", ""), "")
    return float(found[1].replace(",", ".").replace("−", "-")), unit


def _is_ladder(numbers: Floats) -> bool:
    """Whether numbers are the steps of contours: few, evenly spaced, used again or not just counted through."""
    there = numbers[np.isfinite(numbers)]
    steps = np.unique(there)
    if not 3 <= len(steps) <= 400 or len(there) < 3:
        return False
    apart = np.diff(steps)
    least = float(apart.min())
    even = (
        bool(np.all(np.abs(apart / least - np.rint(apart / least)) < 1e-6))
        and float(np.median(apart)) <= 3 * least
    )
    counted = len(steps) == len(there) and least == 1.0 and float(steps[0]) in (0.0, 1.0)
    return even and not counted and least >= 0.25


def candidates(frame: GeoDataFrame, *, lines: bool) -> list[Candidate]:
    """List the columns that may hold the depth, the likeliest first."""
    found: list[Candidate] = []
    for column in map(str, frame.columns):
        if column == frame.geometry.name:
            continue
        words = words_of(column)
        if column == "depth_m":
            numbers, _ = read_cells(frame[column])
            found.append(
                Candidate(column, 9.0, numbers, "m", "depth", "depth_m: metres, as castshed writes it")
            )
            continue
        if any(w in NEVER_DEPTHS for w in words) and not any(
            w in ("depth", "elev", "elevation", "contour") for w in words
        ):
            continue
        telling = [w for w in words if w in DEPTH_COLUMNS]
        weak = [w for w in words if w in WEAK_COLUMNS] or (["column"] if column.startswith("column ") else [])
        if not telling and not weak and not lines:
            continue
        numbers, unit = read_cells(frame[column])
        known = np.isfinite(numbers)
        if (not len(numbers) or known.mean() < _ENOUGH) and not (telling and known.any()):
            continue
        if telling == ["height"] and not lines and not float(np.nanmean(numbers < 0)) > 0.5:
            continue  # of a structure or a mark, not of the bottom
        if telling:
            strong = any(DEPTH_COLUMNS[w] == "depth" for w in telling)
            score = 5.0 if strong else 4.0
            score += 0.5 if len(words) == 1 else 0.0
            score -= (
                2.0
                if any(w in ("min", "max", "mean", "avg", "least", "most", "secchi") for w in words)
                else 0.0
            )
            holds = next((DEPTH_COLUMNS[w] for w in telling if DEPTH_COLUMNS[w]), "")
            why = f"its name says so ('{column}')"
        elif lines and _is_ladder(numbers):
            score = 3.0 if weak and words[0] != "id" else 2.0
            holds, why = "", f"the values of '{column}' are the steps of contours"
        elif unit:
            score, holds, why = 2.5, "", f"the cells of '{column}' are lengths"
        else:
            continue
        if "below" in words:
            holds = "depth"
        found.append(Candidate(column, score, numbers, unit or unit_in(column), holds, why))
    z = (
        shapely.get_coordinates(frame.geometry.to_numpy(), include_z=True)[:, 2]
        if len(frame)
        else np.empty(0)
    )
    if len(z) and np.isfinite(z).mean() > _ENOUGH and len(np.unique(z[np.isfinite(z)])) > 1:
        found.append(
            Candidate(GEOMETRY_Z, 3.5, z_of(frame), "", "", "the geometry has heights or depths of its own")
        )
    return sorted(found, key=lambda one: -one.score)


def z_of(frame: GeoDataFrame) -> Floats:
    """Tell the height of each row: the mean over its corners."""
    xyz, owner = shapely.get_coordinates(frame.geometry.to_numpy(), include_z=True, return_index=True)
    with np.errstate(invalid="ignore"):
        total = np.bincount(owner, weights=xyz[:, 2], minlength=len(frame))
        found: Floats = total / np.maximum(np.bincount(owner, minlength=len(frame)), 1)
    return found


def ends_of_ranges(frame: GeoDataFrame) -> tuple[str, str, Floats, Floats, str] | None:
    """Find the shallow and the deep end of depth areas: two columns, or one of texts such as ``5-10 ft``."""
    low = {str(c).lower(): str(c) for c in frame.columns}
    pairs = (
        ("drval1", "drval2", "m"), ("from_m", "to_m", "m"), ("min_depth", "max_depth", ""),
        ("mindepth", "maxdepth", ""), ("depth_min", "depth_max", ""), ("depth_from", "depth_to", ""),
        ("depthmin", "depthmax", ""), ("from", "to", ""), ("shallow", "deep", ""),
        ("least_depth", "most_depth", ""), ("depth1", "depth2", ""),
    )  # fmt: skip
    units = ("", "_ft", "_m", "_feet")
    for one, two, unit in pairs:
        for end in units:
            if one + end in low and two + end in low:
                first, second = low[one + end], low[two + end]
                a, told = read_cells(frame[first])
                b, told_too = read_cells(frame[second])
                return first, second, a, b, unit or told or told_too or unit_in(first)
    for column in map(str, frame.columns):
        if column == frame.geometry.name or (
            not pd.api.types.is_string_dtype(frame[column])
            and not pd.api.types.is_object_dtype(frame[column])
        ):
            continue
        read = [_RANGE.fullmatch(str(v)) if v is not None else None for v in frame[column]]
        if read and sum(one is not None for one in read) > _ENOUGH * len(read):
            a = np.array([float(m[1]) if m else np.nan for m in read])
            b = np.array([float(m[2]) if m else np.nan for m in read])
            told_units = {UNITS.get((m[3] or "").lower(), "") for m in read if m} - {""}
            unit = told_units.pop() if len(told_units) == 1 else unit_in(column)
            return column, column, np.fmin(a, b), np.fmax(a, b), unit
    return None
