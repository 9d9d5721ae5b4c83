"""The spot book: lists merged, logs read, rows lost, books there and back through another program."""

from __future__ import annotations

import json
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
import warnings
from pathlib import Path
from xml.sax.saxutils import escape

import geopandas
import numpy as np
import pyproj
import shapely

from castshed.algorithms.gather_spots import gather_spots
from castshed.algorithms.trip_log import trip_log
from castshed.toolbox.errors import DataWarning
from castshed.toolbox.output.formats.gpx import to_gpx
from castshed.toolbox.sources import read_source

CRS = "EPSG:32616"
X0, Y0 = 660_000.0, 3_958_000.0
SIDE_M = 12_000.0
SHORE = geopandas.GeoDataFrame(
    {"name": ["made"]}, geometry=[shapely.box(X0, Y0, X0 + SIDE_M, Y0 + SIDE_M)], crs=CRS
)
TO_DEGREES = pyproj.Transformer.from_crs(CRS, "EPSG:4326", always_xy=True)
KINDS = ("Cedar trees", "Brush pile", "rock pile", "PVC cubes", "Stake bed", "stumps")
DEPTHS = ("12", "10-15", "10'", "8 to 12 ft", "3 m", "unknown", "")
NOTES = ("", "two piles", 'marked "X" & <seen>', "Ünsicher; prüfen", "Note: see map 4.", "=1+1")

LOG_CHILD = """
import json, sys, time, warnings
import geopandas, shapely
from castshed.algorithms.read_log import read_log
from castshed.toolbox.intake.logs.log_table import LogFile
warnings.simplefilter("ignore")
shore = geopandas.GeoDataFrame({"name": ["made"]}, geometry=[shapely.box(*json.loads(sys.argv[2]))], crs="EPSG:32616")
start = time.perf_counter()
soundings, readings = read_log([LogFile(__import__("pathlib").Path(sys.argv[1]))], shoreline=shore, level_m=-1.0)
seconds = time.perf_counter() - start
try:
    peak = next(float(line.split()[1]) / 1024.0 for line in open("/proc/self/status") if line.startswith("VmHWM:"))
except OSError:
    peak = None
print(json.dumps({"seconds": seconds, "peak_mb": peak, "readings": len(readings), "soundings": len(soundings)}))
"""


def _dms(value, letters):
    size = abs(value)
    minutes = (size - int(size)) * 60
    return f"{int(size)}°{int(minutes):02d}'{(minutes - int(minutes)) * 60:06.3f}\"{letters[int(value < 0)]}"


def _written(rng, lat, lon):
    """One position as one of the ways it is found in lists; the last few are wrong beyond repair."""
    way = rng.choice(9, p=[0.5, 0.1, 0.1, 0.08, 0.08, 0.05, 0.05, 0.02, 0.02])
    if way == 1:
        return f"{int(lat)} {(lat - int(lat)) * 60:.4f}", f"{int(lon)} {(abs(lon) - int(abs(lon))) * 60:.4f}"
    if way == 2:
        return _dms(lat, "NS"), _dms(lon, "EW")
    if way == 3:
        return f"{lat:.6f}", f"{-lon:.6f}"
    if way == 4:
        return f"{lon:.6f}", f"{lat:.6f}"
    if way == 5:
        return f"N{lat:.6f}", f"W{-lon:.6f}"
    if way == 6:
        return f"{lat:.6f}".replace(".", ","), f"{lon:.6f}".replace(".", ",")
    if way == 7:
        return "unknown", ""
    if way == 8:
        return f"{lat + 3.0:.6f}", f"{lon:.6f}"
    return f"{lat:.6f}", f"{lon:.6f}"


def _lists(seed, sites, waypoints):
    """An agency's list as CSV, waypoints as GPX, and how many of these mark one of its sites over again."""
    rng = np.random.default_rng([seed, 1])
    # On a lattice with 60 m between neighbours, so that what lies within 6 m of another is a repeat.
    places = rng.permutation(int(SIDE_M // 100 - 4) ** 2)[: sites + waypoints]
    side = int(SIDE_M // 100 - 4)
    xy = np.column_stack([places % side, places // side]) * 100.0 + 200.0
    xy = xy + rng.uniform(-20, 20, xy.shape) + [X0, Y0]
    repeats = int(0.6 * sites)
    xy[sites : sites + repeats] = xy[:repeats] + rng.normal(0.0, 2.0, (repeats, 2))
    lon, lat = TO_DEGREES.transform(xy[:, 0], xy[:, 1])
    rows = ["Site No;Name;LAT;LONG;Depth (ft);Structure;Remarks"]
    for k in range(sites):
        first, second = _written(rng, lat[k], lon[k])
        note = rng.choice(NOTES).replace('"', '""')
        rows.append(
            f"S{k};Site {k};{first.replace(chr(34), chr(39) * 2)};{second.replace(chr(34), chr(39) * 2)};"
            f'{rng.choice(DEPTHS)};{KINDS[k % len(KINDS)]};"{note}"'
        )
    marks = [
        '<?xml version="1.0"?><gpx version="1.1" creator="made" xmlns="http://www.topografix.com/GPX/1/1">'
    ]
    marks += [
        f'<wpt lat="{lat[k]:.7f}" lon="{lon[k]:.7f}"><name>{escape(f"Mark {k}")}</name>'
        f"<desc>{escape(str(rng.choice(NOTES)))}</desc></wpt>"
        for k in range(sites, sites + waypoints)
    ]
    return "\n".join(rows), "\n".join([*marks, "</gpx>"]), repeats


def _merge(seed, quick, folder):
    sites, waypoints = (200, 1000) if quick else (1000, 5000)
    table, marks, repeats = _lists(seed, sites, waypoints)
    (folder / "sites.csv").write_text(table, encoding="utf-8")
    (folder / "marks.gpx").write_text(marks, encoding="utf-8")
    times = []
    for _ in range(3):
        start = time.perf_counter()
        sources = [read_source(str(folder / name)) for name in ("sites.csv", "marks.gpx")]
        book, aside, _ = gather_spots(sources, shoreline=SHORE, depth_unit="ft")
        times.append(time.perf_counter() - start)
    merged = int((book["rows"] - 1).sum())
    joined = (
        book[book["rows"] > 1]["name"]
        .str.extract(r"Site (\d+) / Mark (\d+)|Mark (\d+) / Site (\d+)")
        .fillna("")
    )
    wrong = sum(
        int(a or d) != int(b or c) - sites for a, b, c, d in joined.to_numpy() if (a or d) and (b or c)
    )
    lost = len(sources[0]) + len(sources[1]) - len(book) - merged - len(aside)
    return book, {
        "merge_s": statistics.median(times), "rows": sites + waypoints, "rows_lost": lost, "spots": len(book),
        "merged": merged, "set_aside": len(aside), "repeats_planted": repeats, "joined_wrongly": int(wrong),
    }  # fmt: skip


def _sum(body):
    total = 0
    for letter in body.encode():
        total ^= letter
    return f"${body}*{total:02X}"


def _log(seed, quick, folder):
    """A log of a day: fixes twice a second, depths of two sentences, one line in a hundred damaged."""
    lines = 40_000 if quick else 1_000_000
    rng = np.random.default_rng([seed, 2])
    n = lines // 4
    at = np.arange(n) * 1.5
    x = X0 + 200 + np.abs((at + 5000) % (2 * (SIDE_M - 400)) - (SIDE_M - 400))
    y = Y0 + 200 + (at / (SIDE_M - 400)).astype(int) * 12.0 % (SIDE_M - 400)
    lon, lat = TO_DEGREES.transform(x, y)
    depth = 7.0 + 3.0 * np.sin(at / 150.0) + rng.normal(0.0, 0.05, n)
    depth[rng.random(n) < 0.005] += 2.0
    second = np.arange(n) % 86_400
    damaged = rng.random(lines) < 0.01
    with (folder / "log.nmea").open("w", encoding="ascii", newline="\r\n") as out:
        for k in range(n):
            clock = f"{second[k] // 3600:02d}{second[k] // 60 % 60:02d}{second[k] % 60:02d}.00"
            west, north = abs(lon[k]), lat[k]
            place = f"{int(north):02d}{(north - int(north)) * 60:08.5f},N,{int(west):03d}{(west - int(west)) * 60:08.5f},W"
            four = (
                _sum(f"GPRMC,{clock},A,{place},3.0,90.0,{10 + k // 86_400:02d}0526,,,A"),
                _sum(f"GPGGA,{clock},{place},1,09,0.9,210.0,M,-33.0,M,,"),
                _sum(f"SDDPT,{depth[k]:.2f},0.3"),
                _sum(f"SDDBT,{depth[k] / 0.3048:.1f},f,{depth[k]:.2f},M,{depth[k] / 1.8288:.2f},F"),
            )
            for j, text in enumerate(four):
                spoilt = text.replace(",", ";", 1) if damaged[4 * k + j] else text
                out.write(spoilt + "\n")
    box = json.dumps([X0, Y0, X0 + SIDE_M, Y0 + SIDE_M])
    done = subprocess.run(
        [sys.executable, "-c", LOG_CHILD, str(folder / "log.nmea"), box],
        capture_output=True,
        text=True,
        check=True,
    )
    told = json.loads(done.stdout)
    return {
        "log_lines": lines, "log_s": told["seconds"], "peak_mb": told["peak_mb"], "log_readings": told["readings"],
        "log_soundings": told["soundings"],
        "log_readings_lost": int(n - damaged.reshape(n, 4)[:, 2].sum()) - told["readings"],
    }  # fmt: skip


def _round_trip(book, folder):
    """Names, notes, kinds, ratings and positions of a book that are not what they were, there and back."""
    data = to_gpx({"spots": book}, title="Book", level_m=-1.2)
    (folder / "out.gpx").write_bytes(data)
    program = shutil.which("gpsbabel")
    if program:
        words = [program, "-i", "gpx", "-f", "out.gpx", "-o", "gpx", "-F", "back.gpx"]
        subprocess.run(words, cwd=folder, check=True, capture_output=True)
    back = read_source(str(folder / ("back.gpx" if program else "out.gpx")))
    change = trip_log(book, [back], shoreline=SHORE, date="2026-05-16")
    told = change.layers["changes"]
    after = change.layers["spots"]
    lost = (
        int((told["status"] != "same").sum()) + abs(len(after) - len(book)) + len(change.layers["set_aside"])
    )
    for column in ("name", "note", "kind"):
        lost += int((after[column].iloc[: len(book)].to_numpy() != book[column].to_numpy()).sum())
    # The positions in the file itself, not those the book kept because they were near enough.
    by_id = dict(zip(back.rows["spot_id"], back.geometry, strict=True))
    degrees = np.column_stack(TO_DEGREES.transform(book.geometry.x, book.geometry.y))
    written = np.array([by_id[i].coords[0] if i in by_id else (np.nan, np.nan) for i in book["spot_id"]])
    lost += int((~(np.abs(written - degrees).max(axis=1) <= 1e-7)).sum())
    return {
        "roundtrip_lost": lost,
        "roundtrip_spots": len(book),
        "roundtrip_through": "gpsbabel" if program else None,
    }


def measure(seed: int, quick: bool) -> dict:
    """Measure all; see the functions above."""
    with tempfile.TemporaryDirectory() as home, warnings.catch_warnings():
        warnings.simplefilter("ignore", DataWarning)
        folder = Path(home)
        book, result = _merge(seed, quick, folder)
        result |= _log(seed, quick, folder)
        result |= _round_trip(book, folder)
    result["note"] = (
        "" if result["roundtrip_through"] else "gpsbabel is not on this machine: read back directly"
    )
    return result
