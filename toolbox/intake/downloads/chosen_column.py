"""The column of depths chosen among those that may hold them, and held to the others: where two disagree, one asks."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np
import pandas as pd

from ...errors import UsageError
from ...units import FATHOM_M, FOOT_M
from .depth_cells import in_metres_by_row, read_cells
from .depth_columns import GEOMETRY_Z, Candidate, unit_in, words_of, z_of
from .found import UNITS, FoundLayer, Questions, unit_length_m

if TYPE_CHECKING:
    from .found import FileWishes

_RIVAL: Final = 0.4
_TELLING: Final = 3.5
_ENOUGH: Final = 10
_SAME: Final = 0.1
_STRAIGHT: Final = (
    0.99  # coefficient of correlation, at which one column is the other in another unit or datum
)
_STEEPNESSES: Final = (
    1.0,
    FOOT_M,
    1.0 / FOOT_M,
    FATHOM_M,
    1.0 / FATHOM_M,
    6.0,
    1.0 / 6.0,
    10.0,
    0.1,
    100.0,
    0.01,
)


def _ask_which(found: FoundLayer, best: Candidate, rivals: list[Candidate], questions: Questions) -> None:
    questions.ask(
        found.name,
        f"which column holds the depth, {', '.join(repr(one.column) for one in [best, *rivals])}?",
        f"--column {found.name}='{best.column}'",
    )


def _without_header(found: FoundLayer, questions: Questions) -> Candidate | None:
    """Take the first number after the place, where there is no other that changes from row to row."""
    assert found.frame is not None
    columns = [c for c in map(str, found.frame.columns) if c.startswith("column ")]
    read = {c: read_cells(found.frame[c]) for c in columns}
    changing = [c for c in columns if len(np.unique(read[c][0][np.isfinite(read[c][0])])) > 1]
    if len(changing) > 1:
        listed = ", ".join(
            f"{c} ({np.nanmin(read[c][0]):.6g} to {np.nanmax(read[c][0]):.6g})" for c in changing[:6]
        )
        questions.ask(
            found.name,
            f"which column holds the depth? It has no header, and several numbers after the place: {listed}.",
            f"--column {found.name}='{changing[0]}'",
        )
        return None
    column = (changing or columns)[0]
    return Candidate(
        column, 4.0, *read[column], "", f"depths in '{column}', the only numbers beside the place"
    )


def _one_is_the_other(one: Candidate, other: Candidate) -> bool:
    """Whether two columns hold the same in two units, or one tells the unit of the other."""
    both = np.isfinite(one.numbers) & np.isfinite(other.numbers) & (one.numbers != 0)
    ratio = other.numbers[both] / one.numbers[both]
    return bool(
        ratio.size and float(np.ptp(ratio)) < 0.02 * abs(float(np.median(ratio))) and (one.unit or other.unit)
    )


def _contradicts(best: Candidate, other: Candidate) -> bool:
    """Whether a second column that tells depths too says another depth than the best one."""
    if other.score < _TELLING:
        return False
    both = np.isfinite(best.numbers) & np.isfinite(other.numbers)
    a, b = best.numbers[both], other.numbers[both]
    if len(a) < _ENOUGH or not np.ptp(a) or not np.ptp(b):
        return False
    if other.column == GEOMETRY_Z:
        steep, _ = np.polyfit(a, b, 1)
        straight = abs(float(np.corrcoef(a, b)[0, 1])) > _STRAIGHT
        return not (straight and any(abs(np.log(abs(steep) / s)) < 0.03 for s in _STEEPNESSES if steep))
    if not best.unit or not other.unit or (best.holds and other.holds and best.holds != other.holds):
        return False
    here, there = np.abs(a) * unit_length_m(best.unit), np.abs(b) * unit_length_m(other.unit)
    return bool(np.median(np.abs(there - here)) > _SAME * max(float(np.median(here)), 1e-9))


def choose_column(found: FoundLayer, ranked: list[Candidate], questions: Questions) -> Candidate | None:
    """Choose the column that holds the depth; None where a question was asked."""
    frame = found.frame
    headerless = frame is not None and frame.attrs.get("headerless")
    if headerless and frame is not None and any(str(c).startswith("column ") for c in frame.columns):
        return _without_header(found, questions)
    if not ranked:
        columns = (
            []
            if found.frame is None
            else [str(c) for c in found.frame.columns if c != found.frame.geometry.name]
        )
        questions.ask(
            found.name,
            f"which column holds the depth? Its columns are: {', '.join(columns[:20]) or 'none'}.",
            f"--column {found.name}=NAME",
        )
        return None
    best = ranked[0]
    rivals = [one for one in ranked[1:] if best.score - one.score < _RIVAL]
    for rival in rivals:
        if _one_is_the_other(best, rival):
            if not best.unit:
                best = rival
            continue
        _ask_which(found, best, rivals, questions)
        return None
    against = [one for one in ranked if one is not best and _contradicts(best, one)]
    if against:
        questions.ask(
            found.name,
            f"'{best.column}' and {', '.join(repr(one.column) for one in against)} say different depths: which one is "
            "right?",
            f"--column {found.name}='{best.column}'",
        )
        return None
    return best


def stated_column(found: FoundLayer, column: str, ranked: list[Candidate], where: str) -> Candidate:
    """Take the column a person names.

    Raises
    ------
    UsageError
        There is none of that name.
    """
    assert found.frame is not None
    for one in ranked:
        if one.column.casefold() == column.casefold():
            return one
    if column.casefold() in ("z", GEOMETRY_Z):
        return Candidate(GEOMETRY_Z, 9.0, z_of(found.frame), "", "", f"{where} says so")
    names = {str(c).casefold(): str(c) for c in found.frame.columns}
    if column.casefold() not in names:
        there = ", ".join(str(c) for c in found.frame.columns if c != found.frame.geometry.name)
        raise UsageError(f"{where}: {found.name} has no column '{column}'; it has: {there}.")
    name = names[column.casefold()]
    numbers, unit = read_cells(found.frame[name])
    return Candidate(name, 9.0, numbers, unit or unit_in(name), "", f"{where} says so")


def unit_column(found: FoundLayer, chosen: Candidate, wishes: FileWishes, questions: Questions) -> None:
    """Read a column of units beside the depths; ask where it says another one than the name of the depth's own."""
    assert found.frame is not None
    column = next(
        (
            c
            for c in map(str, found.frame.columns)
            if words_of(c) in (["unit"], ["units"], ["depth", "unit"], ["depth", "units"])
        ),
        None,
    )
    if column is None:
        return
    cells = {str(v).strip() for v in found.frame[column] if not pd.isna(v) and str(v).strip()}
    units = {UNITS.get(cell.lower(), "") for cell in cells}
    if len(units) > 1 and units - {""} and not (found.unit or chosen.unit):
        rows = ["" if pd.isna(v) else str(v).strip() for v in found.frame[column]]
        found.numbers, found.unit = in_metres_by_row(chosen.numbers, rows), "m"
        found.why.append(f"the unit of each row is in the column '{column}'")
        return
    told = units.pop() if len(units) == 1 else ""
    if told and not (found.unit or chosen.unit):
        found.unit = told
        found.why.append(f"unit in the column '{column}'")
        return
    agree = told == (found.unit or chosen.unit) if told else not cells
    if not agree and not wishes.of(found, "unit")[0]:
        questions.ask(
            found.name,
            f"'{chosen.column}' names {found.unit or chosen.unit or 'no unit'}, and '{column}' says "
            f"{', '.join(sorted(cells)[:4])}: in which unit are the depths?",
            f"--depths-in {found.name}=m or ft",
        )
