"""Twenty mistakes in depths and levels, each planted in a sound lake: stopped, or mended with a note; sound lakes come in.

A mistake counts as met where an algorithm stops with an error of the data that says what is wrong, or where what comes
out is what the sound input gives. `refused` counts those, `sound_stopped` the sound lakes that are stopped all the same.
"""

from __future__ import annotations

import re
import tempfile
import warnings
from pathlib import Path

import numpy as np
import shapely

from castshed.algorithms.boat_hold import boat_hold
from castshed.algorithms.depth_surface import depth_surface
from castshed.algorithms.export import export
from castshed.algorithms.gather_spots import gather_spots
from castshed.algorithms.safe_ways import safe_ways
from castshed.algorithms.shallow_hazards import shallow_hazards
from castshed.algorithms.water_today import water_today
from castshed.toolbox.errors import CastshedError, DataError, DataWarning
from castshed.toolbox.sources import read_source
from castshed.toolbox.water.doubt.depth_agreement import doubt_against
from made_lake import frame, make_lake
from sound_lakes import WAYS, sound_lake

FOUR_DOWN = -1.2192
_POOL_M = 345.0
_MEND = "See the unit."
_BARE = ("plain", "steep", "humps")
"""Ways of sound lakes with land round the water, into which mistakes are planted."""
_MARKS = {
    "-9999": -9999.0,
    "-32768": -32768.0,
    "3.4e38": 3.4e38,
    "-3.4e38": -3.4e38,
    "9999": 9999.0,
    "repeated": 1500.0,
}


def _stated(surface, shoreline, rng):
    """Depths somebody sounded by hand, right to 0.3 m."""
    west, south, east, north = shoreline.total_bounds
    x, y = rng.uniform(west, east, 6000), rng.uniform(south, north, 6000)
    depth = surface.at(x, y) + rng.normal(0.0, 0.3, 6000)
    use = np.flatnonzero(shapely.contains_xy(shoreline.geometry.iloc[0], x, y) & (depth > 1.5))[:40]
    return frame(shapely.points(x[use], y[use]), crs=surface.crs, depth_m=depth[use])


def _come_in(surface, shoreline, stated):
    """Take a raster in as a coverage, as water for today, and hold it against what is stated beside it."""
    made = depth_surface(shoreline, raster=surface).depth
    water_today(made, shoreline)
    doubt_against(made, stated, what="spots", mend=_MEND)


def _marked(surface, number):
    made = surface.depth_m.copy()
    made[:3], made[:, :3] = number, number
    return surface.with_depth(made)


def _of_depths(seed):
    """Mistakes of the numbers of a raster: name and what is then done."""
    rng = np.random.default_rng([seed, 1])
    surface, shoreline = sound_lake(_BARE[int(rng.integers(len(_BARE)))], seed)
    stated = _stated(surface, shoreline, rng)
    depth = surface.depth_m.astype(float)
    planted = {
        "elevation": _POOL_M - depth,
        "feet taken for metres": depth / 0.3048,
        "metres taken for feet": depth * 0.3048,
        "sign": -depth,
        "datum off by 10 m": depth + rng.choice([-10.0, 10.0]),
    }
    found = {name: surface.with_depth(made.astype("f4")) for name, made in planted.items()}
    found |= {f"undeclared {name}": _marked(surface, number) for name, number in _MARKS.items()}
    return {name: lambda made=made: _come_in(made, shoreline, stated) for name, made in found.items()}


def _moved(layer, code, east_deg=0.0):
    """Write a layer in another system; ``east_deg`` puts the lake so far off the middle of its zone."""
    made = layer.to_crs(4326)
    made = made.set_geometry(made.geometry.translate(east_deg, 0.0), crs=4326)
    return made.to_crs(code)


def _of_places(lake):
    def mercator():
        gather_spots([], shoreline=_moved(lake.shoreline, 3857))

    def far_zone():
        gather_spots([], shoreline=_moved(lake.shoreline, 32615, 12.0))

    return {"Mercator": mercator, "far zone": far_zone}


class _Unmet(AssertionError):
    """A mistake went through."""


def _of_levels(lake):
    """Mistakes of the level: left out at a step it is that of the layers, another one stops."""
    water = water_today(lake.depth, lake.shoreline, level_m=FOUR_DOWN).water
    hazards = shallow_hazards(lake.depth, water, level_m=FOUR_DOWN)
    holds = boat_hold(lake.spots, lake.depth, level_m=FOUR_DOWN, hazards=hazards).holds

    def left_out(step, sound, what):
        made = step()
        told, due = made[what].to_numpy(dtype=float), sound[what].to_numpy(dtype=float)
        if len(told) != len(due) or not np.allclose(told, due, equal_nan=True):
            raise _Unmet(what)

    def another(step):
        try:
            step(level_m=0.0)
        except DataError:
            return
        raise _Unmet("another level was taken")

    def at_hazards():
        left_out(lambda: shallow_hazards(lake.depth, water), hazards, "least_depth_m")
        another(lambda **level: shallow_hazards(lake.depth, water, **level))

    def at_holds():
        left_out(lambda: boat_hold(lake.spots, lake.depth, hazards=hazards).holds, holds, "depth_today_m")
        another(lambda **level: boat_hold(lake.spots, lake.depth, hazards=hazards, **level))

    def at_ways():
        sound = safe_ways(holds, lake.ramps, water, hazards=hazards, depth=lake.depth, level_m=FOUR_DOWN).ways
        left_out(
            lambda: safe_ways(holds, lake.ramps, water, hazards=hazards, depth=lake.depth).ways,
            sound,
            "distance_m",
        )
        another(
            lambda **level: safe_ways(holds, lake.ramps, water, hazards=hazards, depth=lake.depth, **level)
        )

    def twice(word, file):
        def met():
            with tempfile.TemporaryDirectory() as folder:
                for name, content in export({"holds": holds}, formats=[word]).items():
                    Path(folder, name).write_bytes(content)
                book = gather_spots([read_source(str(Path(folder, file)))], shoreline=lake.shoreline)
            if book.spots["depth_m"].notna().any():
                raise _Unmet("today's depth became a charted one")

        return met

    own = {"KML": "plan.kml", "GeoJSON": "plan.geojson", "GPX": "run.gpx", "CSV": "plan-holds.csv"}
    return {
        "level forgotten at shallow-hazards": at_hazards,
        "level forgotten at boat-hold": at_holds,
        "level forgotten at safe-ways": at_ways,
        **{f"level twice by {name}": twice(name.lower(), file) for name, file in own.items()},
    }


_MENDED = ("level forgotten", "level twice")
_SAYS = {
    "elevation": "holds elevations",
    "feet taken for metres": "feet taken for metres|deepest of all",
    "metres taken for feet": "metres taken for feet",
    "sign": "sign|another datum|lies above chart datum.*negative-depth",
    "datum off by 10 m": "another datum|above chart datum",
    "undeclared": "nothing known",
    "Mercator": "lengths are off by.*EPSG:32615",
    "far zone": "(turned|lengths are off by).*EPSG:326",
}
"""What the message of a stop must say, for it to be no stop for another reason."""


def _outcome(name, act):
    """Try a mistake: stopped, mended, taken (missed), or an error that is no answer."""
    try:
        act()
    except _Unmet as unmet:
        return f"missed: {unmet}"
    except CastshedError as error:
        says = next((words for start, words in _SAYS.items() if name.startswith(start)), None)
        right = says is not None and re.search(says, str(error), re.DOTALL)
        return "stopped" if right else f"missed: {str(error)[:160]}"
    return "mended" if name.startswith(_MENDED) else "missed: taken without a word"


def measure(seed: int, quick: bool) -> dict:
    """Plant each mistake, and let the sound lakes in."""
    lake = make_lake(10.0)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", DataWarning)
        mistakes = _of_depths(seed) | _of_places(lake) | _of_levels(lake)
        outcomes = {name: _outcome(name, act) for name, act in mistakes.items()}
        stopped: dict[str, str] = {}
        ways = WAYS[::5] if quick else WAYS
        for way in ways:
            for number in (seed, seed + 1000):
                surface, shoreline = sound_lake(way, number)
                try:
                    _come_in(
                        surface, shoreline, _stated(surface, shoreline, np.random.default_rng([number, 2]))
                    )
                except CastshedError as error:
                    stopped[f"{way}, {number}"] = str(error)[:160]
    met = sum(not outcome.startswith("missed") for outcome in outcomes.values())
    return {
        "refused": met,
        "planted": len(outcomes),
        "sound_stopped": len(stopped),
        "sound": 2 * len(ways),
        "outcomes": outcomes,
        "stopped": stopped,
    }
