"""Readings of an echo sounder as a log holds them, corrected to chart datum, and whether each is used."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import pandas as pd
import pyproj
import shapely

from ...sources.cell_texts import DEEPEST_M
from ...water.bottom.readings import jumps, spikes, track_breaks

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from ...arrays import Flags, Floats, Ints
    from ..book.placing import LakeExtent

YEARS: Final = range(1900, 2200)  # a log says when it was taken; a year beyond these is no year of one


@dataclass(frozen=True, eq=False)
class SounderLog:
    """Readings of one log."""

    name: str  # what the log is called
    kind: str  # ``nmea``, ``csv`` or ``csb``
    line: Ints  # line (or feature) each reading stands at, from 1
    time_s: Floats  # seconds since 1970 in UTC, NaN where the log does not tell
    # WGS84; NaN where no fix was near
    lon_deg: Floats
    lat_deg: Floats
    measured_m: Floats  # as the sounder said it; NaN where a cell could not be read
    # true where the depth is said to be below the water line, False where below the transducer
    below_surface: Flags
    transducer_m: Floats  # depth of the transducer below the water line where the log says so, else NaN
    counted: Mapping[str, int] = field(default_factory=dict)  # what was read and what was not, by words
    said: tuple[str, ...] = ()  # what was noticed about the log as a whole

    def __len__(self) -> int:
        return len(self.line)


def judge_log(
    log: SounderLog,
    lake: LakeExtent,
    level: Callable[[Any], Any],
    transducer_m: float | None,
    most_mps: float,
) -> pd.DataFrame:
    """Correct the readings of a log and judge them.

    Parameters
    ----------
    log
        As its reader gives it.
    lake
        The box readings may lie in.
    level
        Level at moments in seconds since 1970; NaN where it is not known.
    transducer_m
        Depth of the transducer below the water line; None to take what the log says.
    most_mps
        See `castshed.toolbox.water.bottom.readings.jumps`.

    Returns
    -------
    A row a reading: ``source``, ``line``, ``time``, ``measured_m``, ``depth_m`` below chart datum, ``used``,
    ``reason``, ``x`` and ``y`` in the lake's metres, ``shape``.
    """
    n = len(log)
    move = pyproj.Transformer.from_crs("OGC:CRS84", lake.crs, always_xy=True)
    x, y = (np.array(v, dtype=float) for v in move.transform(log.lon_deg, log.lat_deg))
    below = np.nan_to_num(log.transducer_m, nan=0.0) if transducer_m is None else np.full(n, transducer_m)
    level_m = level(log.time_s)
    depth = log.measured_m + np.where(log.below_surface, 0.0, below) - level_m
    reason = np.full(n, "", dtype=object)

    def because(rows: Any, words: str) -> None:
        reason[rows & (reason == "")] = words

    placed = np.isfinite(x) & np.isfinite(y)
    because(~placed, "no position")
    because(~np.isfinite(log.measured_m) | (log.measured_m > DEEPEST_M), "no depth that can be read")
    because(log.measured_m <= 0.0, "a depth of nothing: the sounder had lost the bottom")
    because(np.isnan(level_m), "no level is known for its time")
    shapes = np.full(n, None, dtype=object)
    shapes[placed] = shapely.points(x[placed], y[placed])
    outside = placed.copy()
    outside[placed] = ~lake.holds(shapes[placed], margin=True)
    because(outside, "outside the lake's box")
    for words, rule in (
        ("its position lies off the track", lambda r: jumps(x[r], y[r], log.time_s[r], most_mps)),
        ("a spike", lambda r: spikes(depth[r], track_breaks(x[r], y[r], log.time_s[r]))),
    ):
        rows = np.flatnonzero(reason == "")
        order = (
            rows[np.argsort(log.time_s[rows], kind="stable")] if np.isfinite(log.time_s[rows]).all() else rows
        )
        if words != "a spike":
            reason[order[rule(order)]] = words
            continue
        found, median = rule(order)
        shallow = depth[order] < median
        reason[order[found & shallow]] = (
            "a spike above its neighbours: an echo, a fish or something standing there"
        )
        reason[order[found & ~shallow]] = "a spike below its neighbours"
    stamps = pd.to_datetime(pd.Series(log.time_s), unit="s", utc=True)
    text = stamps.dt.strftime("%Y-%m-%dT%H:%M:%SZ").fillna("").astype(object)
    return pd.DataFrame(
        {
            "source": np.full(n, log.name, dtype=object), "line": log.line, "time": text.to_numpy(),
            "measured_m": log.measured_m, "depth_m": depth, "used": (reason == "").astype(np.int64), "reason": reason,
            "x": x, "y": y, "shape": shapes,
        }
    )  # fmt: skip
