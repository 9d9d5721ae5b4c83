"""Every command on a good lake, with options, layers and files that are none: what it may end with."""

from __future__ import annotations

import datetime as dt
import shutil
import warnings
from pathlib import Path

import geopandas as gpd
import numpy as np
import shapely
from typer.testing import CliRunner

from castshed.toolbox.algorithm.catalogue import entries, load_entry
from castshed.toolbox.cli import make_app
from castshed.toolbox.layers import write_layers
from castshed.toolbox.parameters import Choice, Flag, Many, Number, Quantity
from hostile_cases import CRS, DEMO, LONGEST_S, WORDS, TooLong, at_most, lake_file
from made_lake import make_lake

# Inputs by the files that `chain` lays; OUT where the result goes.
CALLS = {
    "boat-hold": "LAKE:spots LAKE:depth --zones LAKE:zones --out OUT/new.gpkg",
    "bring-lake": "LAKE:shoreline LAKE:contours LAKE:soundings LAKE:ramps --name Bent --cell 40m --out OUT/new",
    "cast-reach": "LAKE:spots LAKE:water --depth LAKE:depth --out OUT/new.gpkg",
    "day-plan": "LAKE:holds LAKE:ramps LAKE:water --hazards LAKE:shallow_hazards --zones LAKE:zones --depth LAKE:depth "
    "--depart 2026-05-16T06:00-05:00 --back-by 13:00 --out OUT/new.gpkg",
    "demo": "OUT/new",
    "depth-surface": "LAKE:shoreline --contours LAKE:contours --soundings LAKE:soundings --cell 40m --out OUT/new.gpkg",
    "export": "LAKE:spots --formats geojson --out OUT/new",
    "find-structure": "LAKE:depth --out OUT/new.gpkg",
    "fishable": "LAKE:spots LAKE:water --depth LAKE:depth --holds LAKE:holds --zones LAKE:zones --out OUT/new.gpkg:judged",
    "fishable-holds": "LAKE:holds LAKE:judged --out OUT/new.gpkg",
    "gather-spots": "FOLDER/habitat_sites.csv LAKE:spots --shoreline LAKE:shoreline --depth-unit ft --out OUT/new.gpkg",
    "hold-lines": "LAKE:spots LAKE:depth --zones LAKE:zones --out OUT/new.gpkg",
    "level": "OUT/new --table FOLDER/pool_levels.csv --zone America/Chicago --normal-pool 712ft --normal-datum NGVD29 "
    "--time 2026-05-16T06:00-05:00",
    "line-up": "LAKE:holds LAKE:landmarks --water LAKE:water --out OUT/new.gpkg",
    "plan": "FOLDER/day.toml --out OUT/new",
    "plan-sheet": "PLAN --depth LAKE:depth --out OUT/new",
    "prove-run": "FOLDER/plan.gpkg:stops FOLDER/plan.gpkg:legs LAKE:holds LAKE:water --hazards LAKE:shallow_hazards "
    "--zones LAKE:zones --depth LAKE:depth --out OUT/new.gpkg",
    "read-log": "FOLDER/log.nmea --shoreline LAKE:shoreline --level 0ft --transducer 1ft --outside 900km --out OUT/new.gpkg",
    "safe-ways": "LAKE:holds LAKE:ramps LAKE:water --hazards LAKE:shallow_hazards --zones LAKE:zones --out OUT/new.gpkg",
    "shallow-hazards": "LAKE:depth LAKE:water --known-hazards LAKE:known_hazards --out OUT/new.gpkg",
    "shortest-run": "LAKE:holds LAKE:ramps LAKE:water --zones LAKE:zones --depth LAKE:depth --out OUT/new.gpkg",
    "structure-map": "LAKE:structure LAKE:depth LAKE:shoreline --out OUT/new",
    "trip-log": "LAKE:spots FOLDER/own_waypoints.gpx --shoreline LAKE:shoreline --outside 900km --out OUT/new.gpkg",
    "water-today": "LAKE:depth LAKE:shoreline --out OUT/new.gpkg",
    "wind-exposure": "LAKE:spots LAKE:water --wind-from SW --wind-speed 12mph --out OUT/new.gpkg",
    "wind-picture": "LAKE:exposure --spots LAKE:spots --time-zone America/Chicago --out OUT/new",
    "write-tables": "LAKE:spots --out OUT/new",
}
SLOW = (
    "bring-lake",
    "plan",
    "plan-sheet",
    "structure-map",
    "demo",
    "wind-picture",
)  # seconds each: drawn now and then


def chain(folder):
    """The small lake with every layer and file a command may ask for."""
    from castshed.algorithms.boat_hold import boat_hold
    from castshed.algorithms.find_structure import find_structure
    from castshed.algorithms.fishable import fishable
    from castshed.algorithms.shallow_hazards import shallow_hazards
    from castshed.algorithms.shortest_run import shortest_run
    from castshed.algorithms.water_today import water_today
    from castshed.algorithms.wind_exposure import wind_exposure
    from castshed.toolbox.water.wind.forecast import Forecast

    folder = Path(folder)
    file = lake_file(folder)
    lake = make_lake(20.0)

    def frame(geometry, **columns):
        return gpd.GeoDataFrame(columns, geometry=list(geometry), crs=CRS)

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        water = water_today(lake.depth, lake.shoreline).water
        hazards = shallow_hazards(lake.depth, water, known_hazards=lake.known_hazards)
        holds = boat_hold(lake.spots, lake.depth).holds.assign(rating=4.0)
        judged = fishable(lake.spots, water, depth=lake.depth, holds=holds).judged
        structure = find_structure(lake.depth)
        run = shortest_run(holds, lake.ramps, water, hazards=hazards, zones=lake.zones, depth=lake.depth)
        hours = tuple(dt.datetime(2026, 5, 16, h, tzinfo=dt.UTC) for h in (12, 13, 14))
        forecast = Forecast(
            hours, np.array([4.0, 6.0, 8.0]), np.array([6.0, 8.0, 11.0]), np.array([200.0, 220.0, 240.0])
        )
        exposure = wind_exposure(lake.spots, water, forecast=forecast).exposure
    box = lake.shoreline.geometry.iloc[0]
    marks = frame(shapely.points([[5e5 - 300, 4e6 + 400], [5e5 + 1300, 4e6 + 500]]), landmark_id=["a", "b"])
    deep = frame([box.buffer(-100).exterior, box.buffer(-40).exterior], depth_m=[5.0, 2.0])
    x, y = np.meshgrid(np.arange(5e5 + 50, 5e5 + 1000, 100.0), np.arange(4e6 + 50, 4e6 + 1000, 100.0))
    soundings = frame(shapely.points(x.ravel(), y.ravel()), depth_m=lake.depth.at(x.ravel(), y.ravel()))
    write_layers(
        file,
        {
            "water": water, "holds": holds, "shallow_hazards": hazards, "judged": judged, "structure": structure,
            "exposure": exposure, "landmarks": marks, "contours": deep, "soundings": soundings.dropna(),
            "degrees": lake.spots.to_crs(4326), "elsewhere": lake.spots.to_crs(32616), "nothing": lake.spots.iloc[:0],
        },
    )  # fmt: skip
    write_layers(
        folder / "plan.gpkg",
        {"stops": run.stops, "legs": run.legs, "water": water, "holds": holds, "spots": judged},
    )
    for name in ("habitat_sites.csv", "own_waypoints.gpx", "pool_levels.csv", "forecast.csv"):
        (folder / name).write_bytes((DEMO / name).read_bytes())
    (folder / "log.nmea").write_bytes((DEMO / "sounder_log.nmea").read_bytes()[:9000])
    day = (DEMO / "day.toml").read_text(encoding="utf-8")
    day = (
        day.replace("reservoir.gpkg", "lake.gpkg")
        .replace("Sedgewick Landing", "South ramp")
        .replace("-4ft", "-1ft")
    )
    (folder / "day.toml").write_text(
        day.replace(', "habitat_sites.csv", "own_waypoints.gpx"', ""), encoding="utf-8"
    )
    return file


def words_of(name, file, folder):
    """A call that is as it should be."""
    text = CALLS[name].replace("LAKE", str(file)).replace("OUT", str(Path(folder) / "out"))
    return text.replace("PLAN", str(Path(folder) / "plan.gpkg")).replace("FOLDER", str(folder)).split(" ")


def command(arguments, folder):
    """Run a command in this process; what is wrong with its outcome, or None; and its exit code."""
    out = Path(folder) / "out"
    shutil.rmtree(out, ignore_errors=True)
    out.mkdir()
    try:
        with warnings.catch_warnings(), at_most(3 * LONGEST_S):
            warnings.simplefilter("ignore")
            done = CliRunner().invoke(make_app(), [*arguments, "--quiet"])
    except TooLong:
        return "not done in time", None
    if done.exception is not None and not isinstance(done.exception, SystemExit):
        return f"{type(done.exception).__name__}: {done.exception}", None
    if done.exit_code not in (0, 2, 3, 4, 5):
        return f"exit code {done.exit_code}: {done.output[-300:]}", done.exit_code
    if done.exit_code and not done.output.strip():
        return f"exit code {done.exit_code} without a word", done.exit_code
    left = sorted(p.name for p in out.iterdir())
    if done.exit_code and left:
        return f"exit code {done.exit_code}, yet {left} was written", done.exit_code
    return None, done.exit_code


def run_command(name, file, folder):
    """Run a command as it should be on some file; AssertionError when it ends as it may not."""
    must(command([name, *words_of(name, file, folder)], folder)[0])


def must(fault):
    if fault:
        raise AssertionError(fault)


def _option_words(par, rng):
    marker = par.marker
    if isinstance(marker, Flag):
        return None
    good = {
        "length": "30ft",
        "speed": "9mph",
        "time": "20min",
        "bearing": "200deg",
        "volume": "9gal",
        "flow": "2gal/h",
    }
    if isinstance(marker, Quantity) and rng.random() < 0.3:
        number = rng.choice(("0", "-1", "1e-9", "1e6", str(rng.uniform(-50, 5000))))
        return number + {"length": "m", "speed": "mph", "time": "min", "bearing": "deg"}.get(
            marker.kind, "gal"
        )
    if isinstance(marker, Quantity) and rng.random() < 0.1:
        return good.get(marker.kind, "1")
    if isinstance(marker, Number) and rng.random() < 0.5:
        return rng.choice(("0", "-1", "1", "3", "1e9", "0.5", "999999999999"))
    if isinstance(marker, (Choice, Many)) and rng.random() < 0.3:
        return rng.choice((",", "a,b", "1ft,2ft", "none", "3ft,3ft", "9ft,1ft"))
    return rng.choice(WORDS)


# What is given instead of a layer or a file: another geometry, degrees, another zone, no rows, no layer, no file.
WRONG = (
    "LAKE:shoreline", "LAKE:spots", "LAKE:depth", "LAKE:ramps", "LAKE:holds", "LAKE:exposure", "LAKE:contours", "LAKE:degrees",
    "LAKE:elsewhere", "LAKE:nothing", "LAKE:none", "LAKE", "LAKE:", "FOLDER", "FOLDER/none.gpkg:spots", "FOLDER/day.toml",
    "FOLDER/habitat_sites.csv", "FOLDER/pool_levels.csv:spots", "FOLDER/forecast.csv", "FOLDER/log.nmea", "/dev/null", "-", "",
    "LAKE:spots:more", "LAKE:sqlite_master", "LAKE:gpkg_contents", "LAKE:SPOTS",
)  # fmt: skip


def _is_file(word, folder):
    return word.startswith(str(folder)) and not word.startswith(str(Path(folder) / "out"))


def parameter_cases(folder, rng):
    """Endless: each command in turn, with bad options, or with another layer or file than it asks for."""
    folder = Path(folder)
    file = folder / "lake.gpkg"
    names = []
    while True:
        if not names:
            names = [n for n in CALLS if n not in SLOW or rng.random() < 0.15]
            rng.shuffle(names)
        name = names.pop()
        spec = load_entry(entries()[name])
        words = words_of(name, file, folder)
        options = [p for p in spec.parameters if not p.is_input]
        files = [k for k, word in enumerate(words) if _is_file(word, folder)]
        told = []
        if files and (rng.random() < 0.4 or not options):
            at = rng.choice(files)
            words[at] = rng.choice(WRONG).replace("LAKE", str(file)).replace("FOLDER", str(folder))
            told.append(
                f"{words[at - 1] if at and words[at - 1].startswith('--') else f'input {at + 1}'} {words[at]}"
            )
        for par in rng.sample(options, min(len(options), rng.randint(0 if told else 1, 2))):
            text = _option_words(par, rng)
            words += [par.option] if text is None else [f"{par.option}={text}"]
            told.append(words[-1])
        yield (
            f"{name} {' '.join(told)[:160]}",
            lambda name=name, words=words: must(command([name, *words], folder)[0]),
        )
