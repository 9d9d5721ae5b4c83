"""Whether a run that is timed keeps its hours: light, forecast, verdicts at its stops, and seas on its legs.

Part of the proof of a run; shares nothing with what plans by the hour. The sun stands where the Astronomical Almanac's
low-precision formulas put it (0.01 degrees), and every minute of the run is looked at.

Part of the proof of a run; shares nothing with what plans by the hour: rays cut with the shore, and the deep-water law
of the Shore Protection Manual (US Army CERC 1984, eq. 3-33: H = 5.112e-4 UA F^0.5, UA = 0.71 U^1.23).
"""

from __future__ import annotations

import datetime as dt
import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import pandas as pd
import pyproj
import shapely

from ...errors import DataError
from ...lon_lat import north_of
from .keep_out import Violation

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence

    import geopandas as gpd
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

LET_PASS: Final = 1.15
"""Laws of growth differ, and a plan judges other places of the same way: so much over a limit is let pass."""

_EVERY_M: Final = 150.0
_NAMES: Final = ("head", "beam", "following")


@dataclass(frozen=True)
class SeasLet:
    """Greatest wave by where it meets the boat; infinite: not looked at."""

    head_m: float = math.inf
    beam_m: float = math.inf
    following_m: float = math.inf


NO_LIMIT: Final = SeasLet()


@dataclass(frozen=True, eq=False)
class ToldWinds:
    """Winds of the hours, and which rows of them stand at a moment."""

    wind_mps: Floats
    from_deg: Floats
    stands: Callable[[float], list[int]]


def told_winds(
    exposure: pd.DataFrame, at_s: Floats, stands: Callable[[Floats, float], list[int]]
) -> ToldWinds:
    """Take of each hour the strongest wind, and where it comes from where all places are told the same.

    Parameters
    ----------
    exposure, at_s
        Rows by place and hour, and the moment of each.
    stands
        Which of the hours, in order, stand at a moment.
    """
    wind = pd.to_numeric(exposure["wind_mps"], errors="coerce").to_numpy(dtype=float)
    origin = pd.to_numeric(exposure["wind_from_deg"], errors="coerce").to_numpy(dtype=float)
    known = np.isfinite(wind)
    hours = np.unique(at_s[known])
    strongest, comes = np.empty(len(hours)), np.empty(len(hours))
    north = north_of(exposure)  # winds are told from true north, headings here from the grid's
    for k, moment in enumerate(hours):
        own = known & (at_s == moment)
        strongest[k] = wind[own].max()
        bearings = np.unique(origin[own])
        comes[k] = bearings[0] - north if len(bearings) == 1 else np.nan
    return ToldWinds(strongest, comes, lambda at: stands(hours, at))


def _points(line: Any) -> tuple[Floats, Floats, Floats]:
    """Points along a line, its heading at each, and the share of the line that is run by then."""
    xy = shapely.get_coordinates(line)
    moves = np.diff(xy, axis=0)
    length = np.hypot(moves[:, 0], moves[:, 1])
    xy, moves, length = xy[:-1][length > 0.0], moves[length > 0.0], length[length > 0.0]
    count = np.maximum(np.ceil(length / _EVERY_M), 1).astype(int)
    of = np.repeat(np.arange(len(length)), count)
    share = (np.arange(len(of)) - np.repeat(np.cumsum(count) - count, count) + 0.5) / count[of]
    before = np.cumsum(length) - length
    heading = np.degrees(np.arctan2(moves[:, 0], moves[:, 1]))[of]
    return xy[of] + share[:, None] * moves[of], heading, (before[of] + share * length[of]) / length.sum()


def _fetch_m(points: Floats, bearing_deg: float, shore: Any, reach_m: float) -> Floats:
    angle = math.radians(bearing_deg)
    ends = points + reach_m * np.array([math.sin(angle), math.cos(angle)])
    rays = shapely.linestrings(np.stack([points, ends], axis=1))
    away = shapely.distance(shapely.points(points), shapely.intersection(rays, shore))
    return np.where(np.isnan(away), 0.0, away)  # a ray that meets no shore begins off the water


def seas_violations(
    legs: gpd.GeoDataFrame,
    left_s: dict[int, float],
    water: gpd.GeoDataFrame,
    winds: ToldWinds,
    limits: SeasLet,
) -> Iterator[Violation]:
    """Look at the seas along every leg, at the moment each place of it is passed.

    Parameters
    ----------
    legs
        Layer of the run, in order, with ``time_s``.
    left_s
        When each leg is left, by its number.
    water
        Today's water.
    winds, limits
        Winds of the hours, and what the boat is held to.
    """
    if not len(water) or all(math.isinf(one) for one in (limits.head_m, limits.beam_m, limits.following_m)):
        return
    shore = shapely.boundary(shapely.union_all(shapely.make_valid(water.geometry.to_numpy())))
    west, south, east, north = shapely.bounds(shore)
    reach = math.hypot(east - west, north - south) + 1.0
    allowed = np.array([limits.head_m, limits.beam_m, limits.following_m])
    clock: dict[int, float] = dict(left_s)
    worst: dict[int, tuple[float, str, float, float]] = {}
    for number, line, takes in zip(legs["leg_no"], legs.geometry, legs["time_s"], strict=True):
        leg = int(number)
        if leg not in clock or line is None or line.length == 0.0:
            continue
        points, heading, share = _points(line)
        moments = clock[leg] + share * float(takes)
        clock[leg] += float(takes)
        standing = [winds.stands(float(at)) for at in moments]
        for row in sorted({row for own in standing for row in own}):
            wind, origin = float(winds.wind_mps[row]), float(winds.from_deg[row])
            if not math.isfinite(origin) or wind <= 0.0:
                continue
            mine = np.array([row in own for own in standing])
            stress = 0.71 * wind**1.23
            fetch = _fetch_m(points[mine], origin, shore, reach)
            wave = np.minimum(5.112e-4 * stress * np.sqrt(fetch), 0.2433 * stress**2 / 9.81)
            off = np.abs((origin - heading[mine] + 180.0) % 360.0 - 180.0)
            meets = np.where(off <= 45.0, 0, np.where(off < 135.0, 1, 2))
            over = wave - allowed[meets] * LET_PASS
            k = int(np.argmax(over))
            if over[k] > 0.0 and over[k] > worst.get(leg, (0.0, "", 0.0, 0.0))[0]:
                limit = float(allowed[meets[k]])
                words = f"meets {_NAMES[meets[k]]} seas of {wave[k]:.2f} m, over the limit of {limit:.2f} m"
                at = points[mine][k]
                worst[leg] = float(over[k]), words, float(at[0]), float(at[1])
    for leg in sorted(worst):
        _, words, x, y = worst[leg]
        yield Violation(f"leg {leg}", words, x, y)


CIVIL_DEG: Final = -6.0
_FORGIVEN_DEG: Final = 0.1
"""So much two roads to the height of the sun may differ; a quarter of a minute to two at middle latitudes."""

_HOUR: Final = 3600.0
_BRIDGED: Final = 7200.0
_STEP: Final = 60.0
_ROUNDING: Final = 1e-6
_NOON_2000: Final = dt.datetime(2000, 1, 1, 12, tzinfo=dt.UTC)


@dataclass(frozen=True)
class HourLimits:
    """What the hours of a run are held to."""

    night: bool = False
    wind_mps: float = math.inf
    gust_mps: float = math.inf
    seas: SeasLet = NO_LIMIT


def sun_height_deg(when: dt.datetime, latitude_deg: float, longitude_deg: float) -> float:
    """Tell how high the sun stands, refraction left out."""
    days = (when - _NOON_2000) / dt.timedelta(days=1)
    mean = math.radians(280.460 + 0.9856474 * days)
    anomaly = math.radians(357.528 + 0.9856003 * days)
    along = mean + math.radians(1.915 * math.sin(anomaly) + 0.020 * math.sin(2.0 * anomaly))
    tilt = math.radians(23.439 - 4.0e-7 * days)
    ascension = math.atan2(math.cos(tilt) * math.sin(along), math.cos(along))
    declination = math.asin(math.sin(tilt) * math.sin(along))
    turn = math.radians(15.0 * (18.697374558 + 24.06570982441908 * days) + longitude_deg) - ascension
    up = math.radians(latitude_deg)
    return math.degrees(
        math.asin(
            math.sin(up) * math.sin(declination) + math.cos(up) * math.cos(declination) * math.cos(turn)
        )
    )


def _seconds(texts: Sequence[Any], what: str) -> np.ndarray[Any, np.dtype[np.float64]]:
    found = []
    for text in texts:
        try:
            at = dt.datetime.fromisoformat(str(text).strip())
        except ValueError:
            at = None
        if at is None or at.utcoffset() is None:
            raise DataError(
                f"{what} is '{text}'; it must be date, time and zone, such as 2026-05-16T06:00-05:00."
            )
        found.append(at.timestamp())
    return np.array(found, dtype=float)


def _stands(told: np.ndarray[Any, np.dtype[np.float64]], at: float) -> list[int]:
    """Rows of the hours that stand at a moment: the one told for it, else both neighbours of a gap of two hours."""
    before = int(np.searchsorted(told, at, side="right")) - 1
    if before >= 0 and at < told[before] + _HOUR:
        return [before]
    if 0 <= before < len(told) - 1 and told[before + 1] - told[before] - _HOUR <= _BRIDGED:
        return [before, before + 1]
    return []


class _Day:
    """What is held against a moment."""

    def __init__(
        self,
        place: tuple[float, float],
        limits: HourLimits,
        exposure: pd.DataFrame | None,
        verdicts: pd.DataFrame | None,
    ) -> None:
        self.place, self.limits = place, limits
        self.told = np.empty(0)
        self.winds: list[tuple[float, float]] = []
        self.forecast = exposure is not None and len(exposure) > 0
        if exposure is not None and self.forecast:
            at = _seconds(exposure["time"].tolist(), "exposure time")
            wind = pd.to_numeric(exposure["wind_mps"], errors="coerce").to_numpy(dtype=float)
            gust = (
                pd.to_numeric(exposure["gust_mps"], errors="coerce").to_numpy(dtype=float)
                if "gust_mps" in exposure.columns
                else np.full(len(at), np.nan)
            )
            at, wind, gust = (one[np.isfinite(wind)] for one in (at, wind, gust))
            self.told = np.unique(at)
            for moment in self.told:
                own = at == moment
                gusts = gust[own][np.isfinite(gust[own])]
                self.winds.append((float(wind[own].max()), float(gusts.max()) if gusts.size else -math.inf))
        self.verdicts: dict[str, tuple[np.ndarray[Any, np.dtype[np.float64]], list[str]]] = {}
        if verdicts is not None and len(verdicts):
            at = _seconds(verdicts["time"].tolist(), "verdicts time")
            good = pd.to_numeric(verdicts["fishable"], errors="coerce").to_numpy(dtype=float) == 1.0
            why = verdicts["reason"].astype(str).to_numpy()
            spots = verdicts["spot_id"].astype(str).to_numpy()
            for spot in np.unique(spots):
                rows = np.flatnonzero(spots == spot)
                rows = rows[np.argsort(at[rows], kind="stable")]
                texts = ["" if good[row] else why[row] or "not fishable" for row in rows]
                self.verdicts[str(spot)] = at[rows], texts

    def afloat(self, at: float) -> str:
        moment = dt.datetime.fromtimestamp(at, dt.UTC)
        if not self.limits.night and sun_height_deg(moment, *self.place) < CIVIL_DEG - _FORGIVEN_DEG:
            return "lies in the dark"
        if not self.forecast:
            return ""
        stands = _stands(self.told, at)
        if not stands:
            return "lies where the forecast says nothing"
        wind = max(self.winds[row][0] for row in stands)
        gust = max(self.winds[row][1] for row in stands)
        if wind > self.limits.wind_mps + _ROUNDING:
            return f"lies in a wind of {wind:.1f} m/s, {wind - self.limits.wind_mps:.1f} m/s over the limit"
        if gust > self.limits.gust_mps + _ROUNDING:
            return f"lies in gusts of {gust:.1f} m/s, {gust - self.limits.gust_mps:.1f} m/s over the limit"
        return ""

    def stop(self, spot: str, at: float) -> str:
        if why := self.afloat(at):
            return why
        if spot not in self.verdicts:
            return ""
        told, texts = self.verdicts[spot]
        stands = _stands(told, at)
        if not stands:
            return "lies in an hour without a verdict"
        return next(
            (f"lies in an hour its verdict forbids ({texts[row]})" for row in stands if texts[row]), ""
        )


def _place(stops: gpd.GeoDataFrame) -> tuple[float, float]:
    west, south, east, north = stops.total_bounds
    there = pyproj.Transformer.from_crs(stops.crs, 4326, always_xy=True)
    longitude, latitude = there.transform((west + east) / 2.0, (south + north) / 2.0)
    return float(latitude), float(longitude)


def hour_violations(
    stops: gpd.GeoDataFrame,
    legs: gpd.GeoDataFrame,
    limits: HourLimits,
    *,
    exposure: pd.DataFrame | None = None,
    verdicts: pd.DataFrame | None = None,
    water: gpd.GeoDataFrame | None = None,
) -> list[Violation]:
    """Look at every minute of a run: on its legs, waiting, fishing and on the way home.

    Parameters
    ----------
    stops, legs
        Layers of the run; where stops tell a ``day``, each day is a run of its own. A run without clock times has no
        hours, and nothing is found.
    limits
        What is held to.
    exposure
        Wind by spot and hour; None: wind plays no part.
    verdicts
        Verdicts by spot and hour; None: none.
    water
        Today's water, for the seas on the legs; None: they are not looked at.

    Returns
    -------
    list of Violation
        Each stop and leg that lies in an hour that forbids it, with the first such minute; and each leg whose seas are
        over their limit. Of a wind that varies no seas are looked at.
    """
    day = _Day(_place(stops), limits, exposure, verdicts)
    if "day" not in stops.columns or "day" not in legs.columns:
        return [*_of_one_run(stops, legs, day), *_seas(stops, legs, limits, exposure, water)]
    found: list[Violation] = []
    for number in sorted(set(stops["day"].tolist())):
        own = stops[stops["day"] == number], legs[legs["day"] == number]
        found += [*_of_one_run(*own, day), *_seas(*own, limits, exposure, water)]
    return found


def _seas(
    stops: gpd.GeoDataFrame,
    legs: gpd.GeoDataFrame,
    limits: HourLimits,
    exposure: pd.DataFrame | None,
    water: gpd.GeoDataFrame | None,
) -> Iterator[Violation]:
    run = stops.sort_values("stop_no", kind="stable")
    leave = run["leave"].astype(str).tolist()[:-1]
    if exposure is None or not len(exposure) or water is None or not all(text.strip() for text in leave):
        return
    left = _seconds(leave, "stops leave")
    winds = told_winds(exposure, _seconds(exposure["time"].tolist(), "exposure time"), _stands)
    ordered = legs.sort_values("leg_no", kind="stable")
    left_s = {k: float(at) for k, at in enumerate(left, start=1)}
    yield from seas_violations(ordered, left_s, water, winds, limits.seas)


def _of_one_run(stops: gpd.GeoDataFrame, legs: gpd.GeoDataFrame, day: _Day) -> Iterator[Violation]:
    run = stops.sort_values("stop_no", kind="stable")
    arrive, leave = run["arrive"].astype(str).tolist(), run["leave"].astype(str).tolist()
    if len(run) < 2 or not leave[0].strip() or not all(text.strip() for text in arrive[1:]):
        return
    came, left = _seconds(arrive[1:], "stops arrive"), _seconds(leave[:-1], "stops leave")
    takes = legs.groupby("leg_no")["time_s"].sum()
    spots = run["spot_id"].astype(str).tolist()
    points = run.geometry.to_numpy()
    for k in range(1, len(run)):
        there = min(float(left[k - 1]) + float(takes.get(k, 0.0)), float(came[k - 1]))
        told = _first(day, None, float(left[k - 1]), there)
        if told:
            home = " home" if k == len(run) - 1 else ""
            yield Violation(f"leg {k}{home}", told, float(points[k].x), float(points[k].y))
        if k == len(run) - 1:
            continue
        told = _first(day, spots[k], there, float(left[k]))
        if told:
            yield Violation(f"stop {k} ({spots[k]})", told, float(points[k].x), float(points[k].y))


def _first(day: _Day, spot: str | None, begin: float, end: float) -> str:
    """Find the first minute within a time that is forbidden, in words."""
    at = begin + 1.0
    moments = [] if end - begin <= 2.0 else [*np.arange(at, end - 1.0, _STEP).tolist(), end - 1.0]
    for moment in moments:
        why = day.afloat(moment) if spot is None else day.stop(spot, moment)
        if why:
            return f"{why} at {dt.datetime.fromtimestamp(moment, dt.UTC):%Y-%m-%d %H:%M} UTC"
    return ""
