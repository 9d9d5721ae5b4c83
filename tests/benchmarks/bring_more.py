"""Bringing in a lake that is big, one that goes on to a plan, and files that are broken."""

from __future__ import annotations

import random
import shlex
import shutil
from pathlib import Path

import geopandas as gpd
import numpy as np
import pyogrio
import shapely
from bring_runs import TRACE, last_words, off_truth, run, words_of

from castshed.toolbox.errors import CastshedError
from castshed.toolbox.layers import list_layers, read_surface
from lake_packages import write_package
from package_lakes import valley_lake


def big_files(folder: Path, seed: int, soundings: int, lines: int) -> tuple[list[Path], object]:
    """Soundings as a table in degrees and contours of 200 vertices, of the valley; and the lake."""
    lake = valley_lake(360.0, seed)
    rng = np.random.default_rng([30, seed])
    west, south, east, north = lake.water.bounds
    shapely.prepare(lake.water)
    x, y = np.empty(0), np.empty(0)
    while len(x) < soundings:
        tried = rng.uniform(west, east, 2_000_000), rng.uniform(south, north, 2_000_000)
        wet = shapely.contains_xy(lake.water, *tried)
        x, y = np.concatenate([x, tried[0][wet]]), np.concatenate([y, tried[1][wet]])
    x, y = x[:soundings], y[:soundings]
    depth = np.maximum(lake.surface.at(x, y), 0.05)
    there = gpd.GeoSeries(gpd.points_from_xy(x, y), crs=lake.crs).to_crs(4326)
    table = folder / "soundings.csv"
    with table.open("w", encoding="utf-8") as out:
        out.write("longitude,latitude,depth_m\n")
        np.savetxt(
            out, np.column_stack([there.x, there.y, depth]), fmt=["%.7f", "%.7f", "%.2f"], delimiter=","
        )
    rows: list[tuple[float, shapely.LineString]] = []
    step = 0.5
    for level in np.arange(step, 120.0, step):
        for line in lake.contours([level]).geometry:
            coords = shapely.get_coordinates(shapely.segmentize(line, 12.0))
            rows += [
                (float(level), shapely.LineString(coords[k : k + 200]))
                for k in range(0, len(coords) - 200, 199)
            ]
    chosen = rng.permutation(len(rows))[:lines]
    frame = gpd.GeoDataFrame({"depth_m": [rows[k][0] for k in chosen]}, geometry=[rows[k][1] for k in chosen], crs=lake.crs)  # fmt: skip
    pyogrio.write_dataframe(frame, folder / "contours.shp")
    pyogrio.write_dataframe(lake.shoreline, folder / "shoreline.gpkg")
    return [table, folder / "contours.shp", folder / "shoreline.gpkg"], lake


def big(seed: int, quick: bool, root: Path) -> dict[str, object]:
    folder = root / "big"
    folder.mkdir()
    files, lake = big_files(folder, seed, 50_000 if quick else 1_000_000, 500 if quick else 5_000)
    words = [
        "bring-lake",
        *(f.name for f in files),
        "--name",
        lake.name,
        "--out",
        "brought",
        "--cell",
        "40 m",
    ]
    code, text, seconds, memory = run(*words, folder=folder)
    told: dict[str, object] = {
        "exit": code,
        "seconds": seconds,
        "mb": memory,
        "lines": len(gpd.read_file(files[1])),
    }
    if code:
        return told | {"why": last_words(text)}
    off, unknown = off_truth(read_surface(f"{folder / 'brought' / 'lake.gpkg'}:depth"), lake.truth)
    return told | {"p95_m": off, "unknown": unknown}


def day(seed: int, root: Path) -> dict[str, object]:
    """The download and a table of ramps, brought in; then the command of the last line printed, nothing edited."""
    folder = root / "day"
    folder.mkdir()
    package = write_package("file_geodatabase", folder, seed)
    lake = package.lake
    # Ramps lie where the bank is steep: of places along the shore, that with most water a cast and a half off.
    along = shapely.LineString(lake.water.exterior).interpolate(np.linspace(0.0, 1.0, 200), normalized=True)
    off = [
        lake.truth.depth_m[np.hypot(lake.truth.x - p.x, lake.truth.y - p.y) < 40.0].max(initial=0.0)
        for p in along
    ]
    ramp = gpd.GeoSeries([along[int(np.argmax(off))]], crs=lake.crs).to_crs(4326).iloc[0]
    (folder / "ramps.csv").write_text(f"Name,Latitude,Longitude\nEast ramp,{ramp.y:.7f},{ramp.x:.7f}\n")
    words = words_of(package, folder / "brought")
    code, text, seconds, _ = run(*words[:2], "ramps.csv", *words[2:], folder=folder)
    if code:
        return {"brought": False, "why": last_words(text)}
    last = [line.strip() for line in text.splitlines() if line.strip()][-1]
    told: dict[str, object] = {"brought": True, "seconds": seconds, "next": last}
    following = shlex.split(last[last.find("castshed") :])[1:] if "castshed " in last else []
    if not following:
        return told | {"planned": False, "why": "the last line is no command"}
    code, text, seconds, _ = run(*following, folder=folder)
    return (
        told | {"planned": code == 0, "plan_seconds": seconds} | ({"why": last_words(text)} if code else {})
    )


def hostile(seed: int, quick: bool, root: Path) -> dict[str, object]:
    """Forms cut short, with bytes changed, or swapped for others: no traceback, a known exit code, nothing half done."""
    rng = random.Random(seed)
    tried, tracebacks, left, read_anyway = 0, [], [], 0
    names = ["contours_zip_feet", "file_geodatabase", "csv_east_north", "kml_names", "xyz_grid"]
    for name in names[: 2 if quick else None]:
        for way in ("cut", "bytes", "empty", "text"):
            folder = root / f"{name}-{way}"
            folder.mkdir()
            package = write_package(name, folder, seed)
            path = Path(package.files[0])
            data = bytearray(path.read_bytes())
            if way == "cut":
                data = data[: len(data) // 2]
            elif way == "bytes":
                for _ in range(max(20, len(data) // 500)):
                    data[rng.randrange(len(data))] = rng.randrange(256)
            else:
                data = bytearray(b"" if way == "empty" else b"not what the name says\n" * 20)
            path.write_bytes(bytes(data))
            code, text, _, _ = run(*words_of(package, folder / "brought"), folder=folder)
            tried += 1
            if TRACE in text or code not in {0, 2, 3, 4, 5}:
                tracebacks.append(f"{name} {way}: {last_words(text)[-200:]}")
            if code and (folder / "brought").exists():
                left.append(f"{name} {way}")
            if code == 0:
                try:
                    list_layers(folder / "brought" / "lake.gpkg")
                    read_anyway += 1
                except (CastshedError, OSError) as problem:
                    left.append(f"{name} {way}: {problem}")
            shutil.rmtree(folder)
    return {"tried": tried, "tracebacks": tracebacks, "left_behind": left, "read_what_is_whole": read_anyway}
