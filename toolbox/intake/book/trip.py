"""What came home from a trip held against the book: new, moved, changed, same, missing; nothing in the book is lost."""

from __future__ import annotations

import json
import re
from typing import TYPE_CHECKING, Any, Final

import geopandas
import numpy as np
import pandas as pd
import shapely

from ...numbers import numbers_of
from ...sources.kinds import kind_of
from .book import COLUMNS, NUMBERS, TEXTS
from .merging import find_same

if TYPE_CHECKING:
    from collections.abc import Sequence

    from .records import Records

STATUS: Final = ("new", "moved", "changed", "same", "missing")
OUTCOME: Final = ("fished", "result", "trip_note", "trip_date")
"""Columns a trip leaves in the book: whether the spot was fished, what came of it, what was noted, on which day."""
ROUNDING_M: Final = 0.1  # seven decimals of a degree are a centimetre; some programs keep six
_OUTCOME_WORDS: Final = {
    "fished": ("fished", "tried", "visited"),
    "result": ("result", "outcome", "fish", "caught", "catch"),
}
_NUMBERS: Final = ("depth_m", "height_m", "rating")
_DIFFER: Final = {"depth_m": 0.005, "height_m": 0.005, "rating": 0.005}


def book_of(spots: geopandas.GeoDataFrame) -> geopandas.GeoDataFrame:
    """Give a spots layer all columns of a book and of outcomes, gaps filled; other columns stay."""
    book = spots.reset_index(drop=True).copy()
    for name in (*COLUMNS, *OUTCOME):
        if name in NUMBERS:
            column = numbers_of(book[name], f"spots.{name}") if name in book else np.full(len(book), np.nan)
            book[name] = np.asarray(column, dtype=float)
        elif name == "rows":
            book[name] = pd.to_numeric(book[name]).fillna(1).astype("int64") if name in book else 1
        elif name in TEXTS or name in OUTCOME or name == "spot_id":
            cells = book[name].tolist() if name in book else [""] * len(book)
            book[name] = pd.Series(["" if _gap(v) else str(v) for v in cells], dtype=object)
    return book


def _gap(value: Any) -> bool:
    return value is None or (not isinstance(value, str) and bool(pd.isna(value)))


def _unique(names: Sequence[str]) -> dict[str, int]:
    """Rows of names that stand once, without case."""
    folded = [" ".join(name.split()).casefold() for name in names]
    return {name: row for row, name in enumerate(folded) if name and folded.count(name) == 1}


def match(book: geopandas.GeoDataFrame, brought: Records, farthest_m: float) -> list[tuple[int, str]]:
    """Find the spot of the book each row brought home is of.

    Parameters
    ----------
    book
        As `book_of` gives it.
    brought
        Rows; those without a place are of no spot, they are set aside.
    farthest_m
        How far a spot that keeps its name may have moved.

    Returns
    -------
    Row of the book, -1 for none, and how it was found: ``id``, ``name`` or ``place``. A spot is matched once by
    each source: by its id, else by a name that stands once in both, else by place (within both position errors,
    kinds alike), nearest first. Rows that bear its id may be several.
    """
    table, n = brought.table, len(brought.table)
    found: list[tuple[int, str]] = [(-1, "")] * n
    if n == 0 or len(book) == 0:
        return found
    shapes = book.geometry.to_numpy()
    ids = {spot_id: row for row, spot_id in enumerate(book["spot_id"])}
    own, names = ([str(v) for v in table[c]] for c in ("own_id", "name"))
    book_names = _unique(book["name"].tolist())
    for source in table["source_no"].unique():
        here = (table["source_no"].to_numpy() == source) & ~shapely.is_missing(brought.geometry)
        rows = np.flatnonzero(here).tolist()
        taken: set[int] = set()
        for i in rows:
            row = ids.get(own[i], -1)
            if row >= 0:
                found[i] = (row, "id")
                taken.add(row)
        open_rows = [i for i in rows if found[i][0] < 0]
        own_names = _unique([names[i] for i in open_rows])
        for name, k in own_names.items():
            row, i = book_names.get(name, -1), open_rows[k]
            place = brought.geometry[i]
            near = row >= 0 and shapely.distance(place, shapes[row]) <= farthest_m
            if near and row not in taken:
                found[i] = (row, "name")
                taken.add(row)
        left = [i for i in rows if found[i][0] < 0]
        free = [row for row in range(len(book)) if row not in taken]
        group = find_same(
            np.concatenate([shapes[free], brought.geometry[left]]),
            np.nan_to_num(
                np.concatenate(
                    [book["position_error_m"].to_numpy()[free], table["position_error_m"].to_numpy()[left]]
                ),
                nan=8.0,
            ),
            np.concatenate([np.zeros(len(free), dtype=np.int64), np.ones(len(left), dtype=np.int64)]),
            [kind_of(k) for k in book["kind"].iloc[free]] + [brought.kinds[i] for i in left],
        )
        for k, i in enumerate(left):
            if group[len(free) + k] < len(free):
                found[i] = (free[int(group[len(free) + k])], "place")
    return found


def _with_note(old: str, new: str) -> str:
    """Keep both notes; one that contains the other stands for both."""
    if not new or new in old:
        return old
    return new if old in new else f"{old}; {new}"


def _outcome(row: dict[str, Any]) -> dict[str, str]:
    """Take what came of a spot out of a row's further columns."""
    extra = json.loads(row["extra"]) if row["extra"] else {}
    by_word = {re.sub(r"[^a-z]+", " ", str(key).lower()).strip(): str(value) for key, value in extra.items()}
    return {
        column: next((by_word[word] for word in words if by_word.get(word)), "")
        for column, words in _OUTCOME_WORDS.items()
    }


def _shown(value: Any) -> str:
    text = f"{value:.2f}" if isinstance(value, float) else str(value)
    return f"'{text[:60]}'" if text and text != "nan" else "nothing"


def _update(spot: dict[str, Any], row: dict[str, Any], *, sure: bool) -> list[str]:
    """Bring what a row says into a spot, in place; say what changed. An empty cell changes nothing.

    ``sure`` rows bear the spot's id or name; a row that only lies there does not rename it or change its kind.
    """
    what: list[str] = []

    def change(key: str, value: Any) -> None:
        what.append(f"{key} {_shown(spot[key])} to {_shown(value)}")
        spot[key] = value

    if row["name"] and row["name"] != spot["name"] and (sure or not spot["name"]):
        if spot["name"]:
            was = f"was called {spot['name']}"
            spot["remark"] = "; ".join(filter(None, (spot["remark"], was)))
        change("name", row["name"])
    if row["kind"] != "other" and row["kind"] != spot["kind"] and (sure or spot["kind"] == "other"):
        change("kind", row["kind"])
        spot["kind_text"] = row["kind_text"]
    note = _with_note(spot["note"], row["note"])
    if note != spot["note"]:
        change("note", note)
    for key in _NUMBERS:
        if not np.isnan(row[key]) and not abs(row[key] - spot[key]) <= _DIFFER[key]:
            change(key, float(row[key]))
            if key == "depth_m":
                spot["depth_least_m"], spot["depth_most_m"] = (
                    float(row["depth_least_m"]),
                    float(row["depth_most_m"]),
                )
                spot["depth_text"] = row["depth_text"]
    return what


def _move(
    spot: dict[str, Any], old: Any, row: dict[str, Any], new: Any, how: str
) -> tuple[Any, float, list[str]]:
    """Take the place a row brings, where it tells of another one; give place, distance, and what is to be said."""
    distance = float(shapely.distance(old, new))
    if how == "place" or distance <= ROUNDING_M or old.geom_type != "Point" or new.geom_type != "Point":
        # The same place within both errors: the better position stays.
        return old, distance, []
    if not np.isnan(row["position_error_m"]):
        spot["position_error_m"] = float(row["position_error_m"])
    return new, distance, [f"moved {distance:.1f} m"]


def _new_id(row: dict[str, Any], used: set[str]) -> str:
    stem = re.sub(r"[^a-z0-9]+", "-", str(row["source_name"]).rpartition(".")[0].lower()).strip("-") or "trip"
    tries = [row["own_id"], f"{stem}-{row['own_id']}"] if row["own_id"] else []
    chosen = next((one for one in tries if one not in used), "")
    number = int(row["line"])
    while not chosen or chosen in used:
        chosen = f"{stem}-{number}"
        number += 1
    used.add(chosen)
    return chosen


def _column(values: list[Any], dtype: Any) -> pd.Series[Any]:
    """Make a column as the book had it, unless a new spot leaves a gap that its type cannot hold."""
    whole = (
        np.issubdtype(dtype, np.integer) or np.issubdtype(dtype, np.bool_)
        if isinstance(dtype, np.dtype)
        else False
    )
    return pd.Series(values, dtype=object if whole and any(v is None for v in values) else dtype)


def bring_home(
    book: geopandas.GeoDataFrame, brought: Records, *, farthest_m: float, trip_date: str
) -> tuple[geopandas.GeoDataFrame, pd.DataFrame, list[Any]]:
    """Hold rows brought home against the book.

    Parameters
    ----------
    book
        As `book_of` gives it; stays as it is.
    brought
        Rows of all sources, as `castshed.toolbox.intake.book.book.collect` puts them together.
    farthest_m
        See `match`.
    trip_date
        Day of the trip for rows that name none, ISO text.

    Returns
    -------
    The book as it would be; one line for each row brought and each spot that none was brought of: ``spot_id``,
    ``name``, ``status``, ``what``, ``moved_m``, ``found_by``, ``source``, ``line``; and the geometry of each line.
    """
    spots = [
        {str(k): v for k, v in row.items()}
        for row in book.drop(columns=book.geometry.name).to_dict("records")
    ]
    shapes = list(book.geometry)
    used = {spot["spot_id"] for spot in spots}
    rows = [{str(k): v for k, v in row.items()} for row in brought.table.to_dict("records")]
    met: set[int] = set()
    lines: list[dict[str, Any]] = []
    places: list[Any] = []
    for i, ((at, how), row) in enumerate(zip(match(book, brought, farthest_m), rows, strict=True)):
        place = brought.geometry[i]
        outcome = _outcome(row)
        date = row["surveyed"] if any(outcome.values()) and row["surveyed"] else trip_date
        if place is None:
            continue  # set aside by the caller
        distance = float("nan")
        if at < 0:
            spot = dict.fromkeys(book.columns.drop(book.geometry.name))
            spot |= {key: row.get(key, "") for key in (*TEXTS, *NUMBERS)}
            spot |= {"spot_id": _new_id(row, used), "rows": 1, **dict.fromkeys(OUTCOME, "")}
            status, what = "new", []
            spots.append(spot)
            shapes.append(place)
        else:
            spot = spots[at]
            met.add(at)
            what = _update(spot, row, sure=how != "place")
            shapes[at], distance, said = _move(spot, shapes[at], row, place, how)
            what += said
            status = "moved" if said else "changed" if what else "same"
        if any(outcome.values()):
            for key, value in (*outcome.items(), ("trip_note", row["note"]), ("trip_date", date)):
                if value and value != spot[key]:
                    what.append(f"{key} {_shown(spot[key])} to {_shown(value)}")
                    spot[key] = value
            status = "changed" if status == "same" and what else status
        lines.append(
            {
                "spot_id": spot["spot_id"], "name": spot["name"], "status": status, "what": "; ".join(what),
                "moved_m": distance, "found_by": how, "source": row["source_name"], "line": int(row["line"]),
            }
        )  # fmt: skip
        places.append(shapes[at] if at >= 0 else place)
    for at in range(len(book)):
        if at not in met:
            lines.append(
                {
                    "spot_id": spots[at]["spot_id"], "name": spots[at]["name"], "status": "missing", "what": "",
                    "moved_m": float("nan"), "found_by": "", "source": "", "line": 0,
                }
            )  # fmt: skip
            places.append(shapes[at])
    columns = [c for c in book.columns if c != book.geometry.name]
    frame = pd.DataFrame({c: _column([spot[c] for spot in spots], book[c].dtype) for c in columns})
    made = geopandas.GeoDataFrame(
        frame, geometry=geopandas.GeoSeries(shapes, crs=book.crs, index=frame.index)
    )
    names = ("spot_id", "name", "status", "what", "moved_m", "found_by", "source", "line")
    return made, pd.DataFrame(lines, columns=names), places
