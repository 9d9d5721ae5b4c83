"""What may be done when: windows of each spot from verdicts, daylight and wishes; lengths of stay and their worth.

What is wished of a day, spot by spot: what has to be in it and what must not, what is done, and wishes of hours.
"""

from __future__ import annotations

import ast
import datetime as dt
import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import pandas as pd

from ...errors import DataError, UsageError
from ...numbers import numbers_of
from ...units import parse
from ..wind.lake_winds import good_spans

if TYPE_CHECKING:
    from geopandas import GeoDataFrame
    from numpy.typing import NDArray

Spans = list[tuple[float, float]]
"""Stretches of time in seconds after a moment, in order, apart from each other."""

_WISH: Final = re.compile(
    r"^(?P<who>.+?)\s*(?:(?P<word>before|after)\s+(?P<one>\d{1,2}:\d{2})|(?P<from>\d{1,2}:\d{2})\s*-\s*(?P<to>\d{1,2}:\d{2}))$"
)
_ALLOWED: Final = (
    ast.Expression, ast.BinOp, ast.UnaryOp, ast.Add, ast.Sub, ast.Mult, ast.Div, ast.USub, ast.UAdd,
    ast.Constant, ast.Name, ast.Load,
)  # fmt: skip


def both(one: Spans, other: Spans) -> Spans:
    """Keep the time that lies in both."""
    found = [(max(a, c), min(b, d)) for a, b in one for c, d in other]
    return sorted((a, b) for a, b in found if b > a)


def spans_of_hours(times: Sequence[pd.Timestamp], good: Sequence[bool], start: pd.Timestamp) -> Spans:
    """Join hours that hold into stretches.

    Each hour stands until the next one told, at most for an hour; a gap of up to two hours more is bridged where both
    its neighbours hold, a longer one is a gap.

    Parameters
    ----------
    times, good
        Hours and whether they hold; of an hour told twice both must.
    start
        The moment seconds are counted from.
    """
    holds: dict[float, bool] = {}
    for at, able in zip(times, good, strict=True):
        seconds = (at - start).total_seconds()
        holds[seconds] = bool(able) and holds.get(seconds, True)
    order = sorted(holds)
    return good_spans(order, [holds[at] for at in order])


def verdict_windows(verdicts: GeoDataFrame, start: pd.Timestamp) -> dict[str, Spans]:
    """Windows of each spot from verdicts by hour.

    Raises
    ------
    DataError
        A time has no zone.
    """
    found: dict[str, Spans] = {}
    times = [pd.Timestamp(text) for text in verdicts["time"]]
    if any(pd.isna(at) or at.tzinfo is None for at in times):
        raise DataError("verdicts has a time without a zone; make them with fishable.")
    good = pd.to_numeric(verdicts["fishable"], errors="coerce").fillna(0).to_numpy() == 1
    for spot, rows in verdicts.reset_index(drop=True).groupby("spot_id").groups.items():
        at = np.asarray(rows, dtype=int)
        found[str(spot)] = spans_of_hours([times[k] for k in at], good[at].tolist(), start)
    return found


def _clock_s(text: str, start: pd.Timestamp) -> float:
    hour, minute = text.split(":")
    try:
        moment = dt.datetime.combine(start.date(), dt.time(int(hour), int(minute)), start.tzinfo)
    except ValueError:
        raise UsageError(f"'{text}' is no time of day; write it as 09:00.") from None
    return (pd.Timestamp(moment) - start).total_seconds()


def wished_windows(wishes: Sequence[str], find: Mapping[str, str], start: pd.Timestamp) -> dict[str, Spans]:
    """Read wishes such as ``Gull rock before 09:00`` or ``brush-12 14:00-16:00``.

    Parameters
    ----------
    wishes
        One text each.
    find
        Spot id by id or name in lower case.
    start
        The moment seconds are counted from; its day and zone are those of the clock times.

    Raises
    ------
    UsageError
        A wish cannot be read, or names no spot.
    """
    found: dict[str, Spans] = {}
    for wish in wishes:
        match = _WISH.match(wish.strip())
        if match is None:
            raise UsageError(
                f"'{wish}' is no window; write such as 'Gull rock before 09:00', 'Gull rock after 14:00' or "
                "'Gull rock 09:00-11:00'."
            )
        spot = spot_of(match["who"], find)
        if match["word"] == "before":
            span = (-math.inf, _clock_s(match["one"], start))
        elif match["word"] == "after":
            span = (_clock_s(match["one"], start), math.inf)
        else:
            span = (_clock_s(match["from"], start), _clock_s(match["to"], start))
            if span[1] <= span[0]:
                raise UsageError(f"'{wish}' ends before it begins.")
        found[spot] = both(found.get(spot, [(-math.inf, math.inf)]), [span])
    return found


def spot_of(word: str, find: Mapping[str, str]) -> str:
    """Find a spot by id or name, whatever the case.

    Raises
    ------
    UsageError
        There is none.
    """
    spot = find.get(word.strip().casefold())
    if spot is None:
        some = ", ".join(list(dict.fromkeys(find.values()))[:8])
        raise UsageError(f"There is no spot '{word.strip()}' with a hold; there are {some}, ...")
    return spot


def stops_counted(words: Sequence[str], find: Mapping[str, str]) -> int | None:
    """Read "3" or "3 stops" as a number of stops; None where spots are named. A spot that is called 3 comes first.

    Raises
    ------
    UsageError
        A number beside other words: along which plan it counts could not be told.
    """
    numbers = [
        int(word.split()[0])
        for word in words
        if re.fullmatch(r"\d{1,4}( stops?)?", word.strip().casefold()) and word.strip().casefold() not in find
    ]
    if numbers and len(words) > 1:
        raise UsageError(
            f"{', '.join(words)} mixes a number of stops with other words; give one number, or name every spot."
        )
    return numbers[0] if numbers else None


def worth_of(table: GeoDataFrame, expression: str) -> NDArray[np.float64]:
    """Value of each row by a column or an expression of columns, numbers, + - * / and brackets; gaps count 1.

    Raises
    ------
    UsageError
        Something else stands in it, or a column is not there.
    DataError
        A value is negative or not finite.
    """
    try:
        tree = ast.parse(expression, mode="eval")
    except (SyntaxError, ValueError, RecursionError, MemoryError):
        raise UsageError(f"value is '{expression}'; write a column or such as 'rating * 2 + 1'.") from None
    for node in ast.walk(tree):
        number = isinstance(node, ast.Constant) and not isinstance(node.value, int | float)
        if not isinstance(node, _ALLOWED) or number or isinstance(getattr(node, "value", 0), bool):
            raise UsageError(
                f"value is '{expression}'; columns, numbers, + - * / and brackets are allowed in it."
            )

    def at(node: Any) -> Any:
        if isinstance(node, ast.Expression):
            return at(node.body)
        if isinstance(node, ast.Constant):
            # A number, or it would have been refused; numpy's own, by which 1/0 is infinite and no error.
            return np.float64(str(node.value))
        if isinstance(node, ast.Name):
            if node.id not in table.columns:
                raise UsageError(
                    f"value names '{node.id}'; there are {', '.join(map(str, table.columns[:20]))}."
                )
            return numbers_of(table[node.id], node.id).fillna(1.0).to_numpy(dtype=float)
        if isinstance(node, ast.UnaryOp):
            return -at(node.operand) if isinstance(node.op, ast.USub) else at(node.operand)
        one, other = at(node.left), at(node.right)
        if isinstance(node.op, ast.Add):
            return one + other
        if isinstance(node.op, ast.Sub):
            return one - other
        return one * other if isinstance(node.op, ast.Mult) else one / other

    try:
        with np.errstate(all="ignore"):
            found = np.broadcast_to(np.asarray(at(tree), dtype=np.float64), (len(table),)).copy()
    except RecursionError:
        raise UsageError(f"value is '{expression[:60]}...'; that is too long a sum, shorten it.") from None
    if not np.isfinite(found).all() or (found < 0.0).any():
        row = int(np.flatnonzero(~(np.isfinite(found) & (found >= 0.0)))[0])
        raise DataError(
            f"The value of {table['spot_id'].iloc[row]} is {found[row]:g}; it must be 0 or more. Look at "
            f"'{expression}'."
        )
    return found


def stays_of(stay_s: float, longest_s: float) -> list[tuple[float, float]]:
    """Lengths of stay worth choosing between, and the worth of each as a share of that of the usual one.

    Every further minute gives less than the one before: worth grows as 1 - exp(-t / usual stay), a form assumed here.
    """
    if longest_s <= stay_s:
        return [(stay_s, 1.0)]
    lengths = [stay_s, (stay_s + longest_s) / 2.0, longest_s]
    usual = 1.0 - math.exp(-1.0)
    return [(length, (1.0 - math.exp(-length / stay_s)) / usual) for length in lengths]


def stays_by_kind(table: GeoDataFrame, told: Sequence[str], stay_s: float) -> list[float]:
    """Usual stay of each row in seconds: by its kind where that is told, such as ``hump 40min``.

    Raises
    ------
    UsageError
        A text cannot be read, or there is no column ``kind``.
    """
    if not told:
        return [stay_s] * len(table)
    if "kind" not in table.columns:
        raise UsageError("stays are told by kind, but the holds have no column kind; join that of the spots.")
    by_kind: dict[str, float] = {}
    for text in told:
        kind, _, length = text.strip().partition(" ")
        if not length.strip():
            raise UsageError(f"'{text}' is no stay; write a kind and a time, such as 'hump 40min'.")
        by_kind[kind.casefold()] = parse(length, "time")
        if by_kind[kind.casefold()] <= 0.0:
            raise UsageError(f"'{text}' is no stay; give a time above 0.")
    unknown = sorted(set(by_kind) - {str(kind).casefold() for kind in table["kind"]})
    if unknown:
        there = ", ".join(sorted({str(kind) for kind in table["kind"]}))
        raise UsageError(f"stays name {', '.join(unknown)}; the kinds there are: {there}.")
    return [by_kind.get(str(kind).casefold(), stay_s) for kind in table["kind"]]


@dataclass(frozen=True)
class Wishes:
    """What is wished of a day, by rows of the holds.

    Attributes
    ----------
    must, never
        Holds that have to be in the plan, and those that must not.
    done
        Holds fished already, in order.
    counted
        So many stops of the plan are done, in place of `done`; None where they are named, or nothing is.
    windows
        Stretches wished for, in seconds after the start of the day, by spot.
    """

    must: frozenset[int]
    never: frozenset[int]
    done: tuple[int, ...]
    counted: int | None
    windows: dict[str, Spans]


def wishes_of(
    holds: GeoDataFrame,
    start: pd.Timestamp,
    *,
    must: Sequence[str],
    never: Sequence[str],
    done: Sequence[str],
    windows: Sequence[str],
) -> Wishes:
    """Read the wishes of a day; spots are named by id or name, whatever the case.

    Parameters
    ----------
    holds
        One hold a spot, with ``spot_id`` and ``name``.
    start
        Start of the day.
    must, never, done, windows
        As they are written.

    Raises
    ------
    UsageError
        A spot or window cannot be read, or a spot must be in the plan and must not be.
    """
    spots = [str(spot) for spot in holds["spot_id"]]
    find = {
        str(word).casefold(): spot
        for column in ("name", "spot_id")
        for word, spot in zip(holds[column], spots, strict=True)
    }
    row_of = {spot: row for row, spot in enumerate(spots)}

    def rows(words: Sequence[str]) -> tuple[int, ...]:
        return tuple(row_of[spot_of(word, find)] for word in words)

    wished = wished_windows(windows, find, start)
    counted = stops_counted(done, find)
    finished = rows(done) if counted is None else ()
    banned, wanted = frozenset(rows(never)), frozenset(rows(must))
    if torn := sorted(spots[row] for row in wanted & banned):
        raise UsageError(f"{', '.join(torn)} must be in the plan and must not be; decide on one.")
    return Wishes(wanted, banned, finished, counted, wished)
