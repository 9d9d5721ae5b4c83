"""Where the boat sits at each spot and whether it gets there; and the commonest reasons against spots."""

from __future__ import annotations

import re
from collections import Counter
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import shapely

from ...errors import DataError, UsageError

if TYPE_CHECKING:
    from collections.abc import Iterable

    from geopandas import GeoDataFrame
    from numpy.typing import NDArray

CLOSED: Final = {"no_entry": "no entry", "no_motor": "no motor"}
"""Kinds of zone that a boat under motor stays out of."""

_SEVERAL: Final = re.compile(r"^(?P<spot>.*) hold (?P<number>\d+)$")


@dataclass(frozen=True, eq=False)
class Reach:
    """How n spots are reached.

    Attributes
    ----------
    hold_row
        Row of the hold each is fished from; -1: none.
    way
        Line from the ramp to it; None: not told.
    against
        What speaks against each: no hold, out of reach.
    start
        Id of the ramp.
    """

    hold_row: NDArray[np.intp]
    way: list[Any | None]
    against: list[list[str]]
    start: str


def _good_holds(
    holds: GeoDataFrame, barred: NDArray[np.bool_]
) -> tuple[dict[str, list[tuple[int, str]]], dict[str, str]]:
    """Rows of the good holds of each spot with the name their way has, by number; and why the others have none."""
    status = holds["status"].to_numpy()
    spot = holds["spot_id"].astype(str).to_numpy()
    number = holds["hold_no"].to_numpy(dtype=float)
    good: dict[str, list[tuple[int, str]]] = {}
    for row in np.flatnonzero(status == "ok"):
        good.setdefault(spot[row], []).append((int(row), ""))
    named = {
        one: [(row, f"{one} hold {at + 1}" if len(rows) > 1 else one) for at, (row, _) in enumerate(rows)]
        for one, rows in good.items()
    }
    for rows in named.values():
        rows.sort(key=lambda pair: (bool(barred[pair[0]]), number[pair[0]]))
    why: dict[str, str] = {}
    for row in np.argsort(number, kind="stable"):
        if status[row] != "ok":
            why.setdefault(spot[row], str(holds["reason"].iloc[row]) or "none found")
    return named, why


def _ways_from(ways: GeoDataFrame, start: str, spots: set[str]) -> tuple[str, dict[str, Any]]:
    """Lines from the start to each place it has a way to, drawn from the start on."""
    origin, goal = ways["from_id"].astype(str).to_numpy(), ways["to_id"].astype(str).to_numpy()
    known = sorted({*origin, *goal} - spots)
    ramps = [one for one in known if not ((found := _SEVERAL.match(one)) and found["spot"] in spots)]
    if not start:
        if len(ways) and origin[0] not in ramps:
            raise DataError(
                f"The ways begin with '{origin[0]}', which is no ramp; name the ramp the day starts from with "
                "--from-ramp."
            )
        start = str(origin[0]) if len(ways) else ""
    elif start not in {*origin, *goal}:
        raise UsageError(
            f"start is '{start}'; the ways know no such ramp. Choose one of: {', '.join(ramps) or 'none'}."
        )
    lines = ways.geometry.to_numpy()
    out = {goal[row]: lines[row] for row in np.flatnonzero(origin == start)}
    back = {origin[row]: shapely.reverse(lines[row]) for row in np.flatnonzero(goal == start)}
    return start, {**back, **out}


def _left(left_out: GeoDataFrame) -> tuple[dict[str, list[str]], dict[str, str]]:
    """Rows that say out of reach, and that there is no hold, by spot."""
    cut: dict[str, list[str]] = {}
    none: dict[str, str] = {}
    for spot, reason in zip(left_out["spot_id"].astype(str), left_out["reason"].astype(str), strict=True):
        if reason.startswith("out of reach"):
            cut.setdefault(spot, []).append(reason)
        elif reason.startswith("no hold"):
            none.setdefault(spot, reason)
    return cut, none


def reach(
    spots: GeoDataFrame,
    holds: GeoDataFrame | None = None,
    ways: GeoDataFrame | None = None,
    left_out: GeoDataFrame | None = None,
    start: str = "",
    barred: NDArray[np.bool_] | None = None,
) -> Reach:
    """Tell of each spot where the boat sits and whether it gets there.

    Parameters
    ----------
    spots
        Spots.
    holds
        Holds; a spot without a good one fails. None: not judged.
    ways
        Ways of safe-ways, between ramps and holds; a spot without one from the start fails. None: not judged.
    left_out
        Rows that safe-ways or shortest-run left out; those out of reach fail, unless another hold of the spot is not
        among them. Spots that only were beyond the number wanted do not.
    start
        Id of the ramp the day starts from; empty: the first of the ways.
    barred
        Holds that lie in a closed zone, one flag a row; another good hold of the spot goes before them.

    Returns
    -------
    Reach
        In the order of the spots. Of several good holds the first by number with a way is taken.

    Raises
    ------
    UsageError
        The ways know no such ramp.
    DataError
        No start is named and the ways do not begin at a ramp.
    """
    ids = [str(one) for one in spots["spot_id"]]
    named, why = (
        ({}, {})
        if holds is None
        else _good_holds(holds, np.zeros(len(holds), dtype=bool) if barred is None else barred)
    )
    cut, none = ({}, {}) if left_out is None else _left(left_out)
    lines: dict[str, Any] = {}
    if ways is not None:
        start, lines = _ways_from(ways, start, set(ids))
    by_spot: dict[str, Any] = {}
    for name, line in lines.items():
        found = _SEVERAL.match(name)
        by_spot.setdefault(name if found is None else found["spot"], line)
    rows = np.full(len(ids), -1, dtype=np.intp)
    told: list[Any | None] = [None] * len(ids)
    against: list[list[str]] = [[] for _ in ids]
    for place, spot in enumerate(ids):
        good = named.get(spot, [])
        if holds is not None and not good:
            words = why.get(spot, "the holds layer has none for it")
            # The verdict says by how much it is dry; how far the water would have to rise reads as another figure.
            words = "it lies dry today" if words.startswith("dry today") else words
            against[place].append(f"no hold: {words}")
        elif holds is None and spot in none:
            against[place].append(none[spot])
        reached = [(row, lines[name]) for row, name in good if name in lines]
        if holds is None:
            told[place] = lines.get(spot, by_spot.get(spot))
        elif reached:
            rows[place], told[place] = reached[0]
        elif good:
            rows[place] = good[0][0]
        if against[place] or told[place] is not None:
            continue
        if len(cut.get(spot, [])) >= max(1, len(good)):
            against[place].append(cut[spot][0])
        elif ways is not None:
            against[place].append(f"out of reach: the ways layer has none from {start or 'a ramp'} to it")
    return Reach(rows, told, against, start)


def closed_to_boats(zones: GeoDataFrame | None, places: NDArray[np.float64], what: str) -> list[list[str]]:
    """Say of each place in which closed zones it lies.

    Parameters
    ----------
    zones
        Zones, or None.
    places
        Coordinates (n, 2); NaN: nowhere.
    what
        How a reason begins.
    """
    told: list[list[str]] = [[] for _ in places]
    if zones is None:
        return told
    at = np.flatnonzero(np.isfinite(places).all(axis=1))
    for kind, why, area in zip(zones["zone"], zones["reason"], zones.geometry, strict=True):
        if kind in CLOSED:
            for row in at[shapely.intersects_xy(area, places[at])]:
                told[row].append(f"{what} in a closed zone ({CLOSED[kind]}{f': {why}' if why else ''})")
    return told


_FIGURE: Final = re.compile(r"[-+]?\d+(?:\.\d+)?\s*(?:m/s|mph|kn|km/h|m|ft|mi|km|cm|in)\b(?:\s*\([^()]*\))?")
_NAMED: Final = (
    ("wind ", "wind over the limit"),
    ("gusts ", "gusts over the limit"),
    ("waves ", "waves over the limit"),
    ("head seas", "seas on the way over the limit"),
    ("beam seas", "seas on the way over the limit"),
    ("following seas", "seas on the way over the limit"),
)
_SHOWN: Final = 3


def kind_of(reason: str) -> str:
    """Name what a reason is, without its figures.

    Examples
    --------
    >>> kind_of("wind 9.4 m/s (21.0 mph), Beaufort 5, 0.4 m/s (1.0 mph) over the limit")
    'wind over the limit'
    >>> kind_of("not on today's water, 12.1 m (39.7 ft) from it")
    "not on today's water"
    >>> kind_of("0.61 m (2.0 ft) too shallow")
    'too shallow'
    >>> kind_of("dark in 10 of 16 hours")
    'dark in 10 of 16 hours'
    """
    text = reason.strip()
    if " hours" not in text:
        for start, words in _NAMED:
            if text.startswith(start):
                return words
    plain = _FIGURE.sub("", text)
    plain = re.sub(r",\s*(?:from it|by\s*(?:at least)?|at least)\s*$", "", re.sub(r"\s+", " ", plain))
    return re.sub(r"\s*\bby\s*$", "", plain).strip(" ,;") or text


def commonest(reasons: Iterable[str]) -> str:
    """Tell the commonest kinds of reasons, each with one of them in full where that says more.

    Parameters
    ----------
    reasons
        What speaks against each spot, joined by ``; ``.
    """
    counted: Counter[str] = Counter()
    shown: dict[str, str] = {}
    for one in reasons:
        parts = [part for part in one.split("; ") if part]
        hourly = [part for part in parts if " hours" in part]
        kind = ", ".join(dict.fromkeys(map(kind_of, hourly or parts[:1])))
        counted[kind] += 1
        shown.setdefault(kind, "; ".join(hourly or parts[:1]))
    told = []
    for kind, count in counted.most_common(_SHOWN):
        more = f" ({shown[kind]})" if kind.endswith("over the limit") else ""
        told.append(f"{count} x {kind}{more}")
    return "; ".join(told)
