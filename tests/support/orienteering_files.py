"""Public orienteering instances, read from a folder as they are published, as days for the search."""

from __future__ import annotations

import re

import numpy as np

from castshed.toolbox.water.day.day_task import FAR, DayTask

FINE = 1_000_000
"""Steps of a unit of distance where a collection states none: what fits by rounding up fits in truth."""


def numbers_in(path):
    """Lines of a file that hold numbers, as floats."""
    lines = path.read_text(encoding="utf-8").split("\n")
    return [
        [float(word) for word in line.split()]
        for line in lines
        if re.match(r"^[\s\d.\-+eE]+$", line) and line.strip()
    ]


def day_of(xy, score, *, over, travel, boats, stay=None, opens=None, closes=None):
    """A day of points: the first two are its start and end; times in whole steps."""
    count = len(xy) - 2
    none = np.zeros(count, dtype=np.int64)
    return DayTask(
        travel_s=travel,
        fuel_ml=np.zeros_like(travel),
        stop=np.arange(2, count + 2),
        stay_s=none if stay is None else stay,
        opens_s=none if opens is None else opens,
        closes_s=np.full(count, over, dtype=np.int64) if closes is None else closes,
        worth=np.rint(score[2:]).astype(np.int64),
        must=frozenset(),
        begin_s=0,
        over_s=int(over),
        days=boats,
    )


def apart(xy):
    """Distance between all points."""
    return np.hypot(*(xy[:, None] - xy[None]).T).T


def fine(length):
    """Whole steps, rounded up."""
    made = np.ceil(np.asarray(length) * FINE - 1e-4).astype(np.int64)
    assert made.max() < FAR
    return made


def op_day(path):
    """Orienteering: first line the longest way; then points, the first the start, the second the end."""
    (longest, *_), *rows = numbers_in(path)
    xys = np.array([row[:3] for row in rows])
    return day_of(xys[:, :2], xys[:, 2], over=int(longest * FINE), travel=fine(apart(xys[:, :2])), boats=1)


def top_day(path):
    """Team orienteering: lines n, m and tmax; then points, the first the start, the last the end."""
    text = path.read_text(encoding="utf-8")
    boats = int(re.search(r"^m\s+(\d+)", text, re.MULTILINE)[1])
    longest = float(re.search(r"^tmax\s+([\d.]+)", text, re.MULTILINE)[1])
    xys = np.array([row[:3] for row in numbers_in(path)])
    xys = xys[[0, -1, *range(1, len(xys) - 1)]]
    return day_of(
        xys[:, :2], xys[:, 2], over=int(longest * FINE), travel=fine(apart(xys[:, :2])), boats=boats
    )


def toptw_day(path, boats):
    """Team orienteering with windows: two lines, the depot, then points with stay, score and first and last start.

    Distances are cut to one decimal (Solomon) or two (Cordeau), as the papers do.
    """
    steps = 100 if path.name.startswith("pr") else 10
    rows = numbers_in(path)[2:]
    depot = rows[0]
    rows = [depot, depot, *rows[1:]]
    xy = np.array([row[1:3] for row in rows])
    stay = np.array([round(row[3] * steps) for row in rows[2:]], dtype=np.int64)
    opens = np.array([round(row[-2] * steps) for row in rows[2:]], dtype=np.int64)
    closes = np.array([round(row[-1] * steps) for row in rows[2:]], dtype=np.int64) + stay
    travel = np.floor(apart(xy) * steps + 1e-9).astype(np.int64)
    score = np.array([row[4] for row in rows])
    return day_of(xy, score, over=round(depot[-1] * steps), travel=travel, boats=boats, stay=stay, opens=opens, closes=closes)  # fmt: skip
