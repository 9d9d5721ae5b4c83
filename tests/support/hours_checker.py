"""Whether a run keeps its hours, judged minute by minute by another hand: it shares no code with the planner.

The sun by the almanac's formulas, fetch by cutting rays with the shore, waves by the deep-water law of the Shore
Protection Manual (1984, eq. 3-33, UA = 0.71 U^1.23), hours of the forecast read as they are written.
"""

from __future__ import annotations

import datetime as dt
import math

import numpy as np
import pyproj
import shapely

from almanac import sun_by_almanac

CIVIL_DEG = -6.0
SUN_SLACK_DEG = 0.1  # two roads to the sun's height differ by less
HOUR, BRIDGE = dt.timedelta(hours=1), dt.timedelta(hours=2)
MINUTE = dt.timedelta(minutes=1)


def governing(times, moment):
    """Hours of a forecast that stand at a moment: the one told for it, or both neighbours of a gap of two hours."""
    before = [t for t in times if t <= moment]
    after = [t for t in times if t > moment]
    if before and moment < before[-1] + HOUR:
        return [before[-1]]
    if before and after and after[0] - (before[-1] + HOUR) <= BRIDGE:
        return [before[-1], after[0]]
    return []


def fetch_m(x, y, bearing, edge, reach=20_000.0):
    """Straight fetch by cutting a ray with the shore."""
    end = x + reach * math.sin(math.radians(bearing)), y + reach * math.cos(math.radians(bearing))
    met = shapely.intersection(shapely.LineString([(x, y), end]), edge)
    return shapely.distance(shapely.Point(x, y), met) if not met.is_empty else reach


def wave_m(wind, fetch):
    """Deep-water wave of the Shore Protection Manual."""
    stress = 0.71 * wind**1.23
    return min(5.112e-4 * stress * math.sqrt(fetch), 0.2433 * stress**2 / 9.81) if wind > 0 else 0.0


class Checker:
    """Judges one made day."""

    def __init__(self, water, centre, crs, hours, limits, night, zone, verdicts):
        self.edge = shapely.boundary(water)
        self.lon, self.lat = pyproj.Transformer.from_crs(crs, 4326, always_xy=True).transform(*centre)
        self.hours = dict(sorted(hours.items()))  # moment -> (wind, gust, from); empty: no forecast
        self.limits, self.night, self.zone = limits, night, zone
        self.verdict = {}
        for spot, text, good, why in verdicts:
            self.verdict[spot, dt.datetime.fromisoformat(text)] = good, why

    def lake(self, moment):
        """What forbids the whole lake at a moment; empty text for nothing."""
        if not self.night and sun_by_almanac(moment, self.lat, self.lon)[1] < CIVIL_DEG - SUN_SLACK_DEG:
            return "dark"
        if None in self.hours:
            stands = [None]
        else:
            stands = governing(list(self.hours), moment)
            if not stands:
                return "no forecast"
        for hour in stands:
            wind, gust, _ = self.hours[hour]
            if wind > self.limits["wind"] + 1e-6:
                return "wind"
            if not math.isnan(gust) and gust > self.limits["gust"] + 1e-6:
                return "gust"
        return ""

    def stop(self, spot, moment):
        """What forbids lying at a spot."""
        if why := self.lake(moment):
            return why
        told = sorted(at for one, at in self.verdict if one == spot)
        if told:
            stands = governing(told, moment)
            if not stands:
                return "no verdict"
            for hour in stands:
                if self.verdict[spot, hour][0] != 1:
                    return f"verdict: {self.verdict[spot, hour][1]}"
        return ""

    def seas(self, line, moment, slack=1.1):
        """What forbids running a line: seas by the straight fetch, a tenth and five degrees let pass."""
        stands = [None] if None in self.hours else governing(list(self.hours), moment)
        for hour in stands:
            wind, _, origin = self.hours[hour]
            if math.isnan(origin):
                continue
            xy = shapely.get_coordinates(line)
            for (x0, y0), (x1, y1) in zip(xy[:-1], xy[1:], strict=True):
                length = math.hypot(x1 - x0, y1 - y0)
                if length < 1.0:
                    continue
                heading = math.degrees(math.atan2(x1 - x0, y1 - y0))
                off = abs((origin - heading + 180.0) % 360.0 - 180.0)
                allowed = max(
                    self.limits["head"]
                    if a <= 45
                    else self.limits["beam"]
                    if a < 135
                    else self.limits["following"]
                    for a in (off - 5, off, off + 5)
                )
                for share in np.linspace(0.05, 0.95, max(2, int(length / 150))):
                    x, y = x0 + share * (x1 - x0), y0 + share * (y1 - y0)
                    if wave_m(wind, fetch_m(x, y, origin, self.edge)) > slack * allowed:
                        return "seas"
        return ""

    def run(self, stops, legs):
        """List what a run breaks: (what, where, when)."""
        broken = []
        arrive = [dt.datetime.fromisoformat(t) if t else None for t in stops["arrive"]]
        leave = [dt.datetime.fromisoformat(t) if t else None for t in stops["leave"]]
        spots = list(stops["spot_id"])
        for text in [*stops["arrive"], *stops["leave"]]:
            if text and self.zone is not None:
                at = dt.datetime.fromisoformat(text)
                if at.utcoffset() != at.astimezone(self.zone).utcoffset():
                    broken.append(("offset", text, text))
        for k in range(1, len(spots)):
            own = legs[legs["leg_no"] == k]
            takes = float(own["time_s"].sum())
            there = leave[k - 1] + dt.timedelta(seconds=takes)
            if (arrive[k] - leave[k - 1]).total_seconds() < takes - 2.0:
                broken.append(("too fast", spots[k], leave[k - 1]))
            last = k + 1 == len(spots)
            # By way of the planner's own whole seconds the leg lies between leaving and the latest arrival of it.
            moment = leave[k - 1]
            while moment < there:
                if why := self.lake(moment):
                    broken.append(("leg " + why, spots[k], moment))
                    break
                if why := self.seas(own.geometry.iloc[0], moment):
                    broken.append(("leg " + why, spots[k], moment))
                    break
                moment += 5 * MINUTE
            broken += [
                ("leg seas", spots[k], leave[k - 1])
                for line in own.geometry.iloc[1:]
                if self.seas(line, leave[k - 1])
            ]
            if last:
                if why := self.lake(there - dt.timedelta(seconds=1)):
                    broken.append(("home " + why, spots[k], there))
                continue
            moment = min(there, arrive[k]) + dt.timedelta(seconds=1)
            while moment < leave[k]:
                if why := self.stop(spots[k], moment):
                    broken.append(("stop " + why, spots[k], moment))
                    break
                moment += MINUTE
        return broken

    def one_stop_fits(self, spot, lines, begin, over, out_s, stay_s, step=15):
        """Whether one stop, there and straight back, fits anywhere between two moments, with a minute to spare."""
        moment = begin
        whole = dt.timedelta(seconds=2 * out_s + stay_s)
        while moment + whole + 4 * MINUTE <= over:
            there = moment + dt.timedelta(seconds=out_s)
            home = there + dt.timedelta(seconds=stay_s)
            end = moment + whole
            if (
                all(not self.lake(t) for t in (moment - MINUTE, there, home, end + MINUTE))
                and not any(
                    self.stop(spot, there - MINUTE + k * 3 * MINUTE) for k in range(int(stay_s // 180) + 3)
                )
                and not any(self.seas(one, t, slack=0.4) for t in (moment, there) for one in (lines[0],))
                and not any(self.seas(shapely.reverse(lines[0]), t, slack=0.4) for t in (home, end))
            ):
                return moment
            moment += step * MINUTE
        return None
