"""Lists as they come from others: an agency's habitat sites in untidy columns, waypoints, a forecast, pool levels."""

from __future__ import annotations

import csv
import io
import re
from typing import TYPE_CHECKING
from xml.sax.saxutils import escape

import numpy as np
import pyproj

from castshed.demo_layers import names
from castshed.demo_layers.edges import CRS, FOOT_M

if TYPE_CHECKING:
    import geopandas as gpd

    from castshed.demo_layers.edges import Chart
    from castshed.demo_layers.places import Shore
    from castshed.demo_layers.relief import Floats

NORMAL_POOL_FT = 712.0
SITES = 168
# Waypoints that mark what the agency also lists, by a word of their name, and the word of the agency for it.
_TWICE = {
    "Brush off": "Brush",
    "Lone cedar": "Cedar trees",
    "Rockpile": "Rock pile",
    "Culvert": "Concrete rubble",
}
_STRUCTURES = (
    ("Cedar trees", 2.2), ("hardwood brush pile", 1.5), ("PVC cubes", 1.2), ("Rock pile", 0.9), ("Stake bed", 1.0),
    ("Brush", 1.3), ("Xmas trees", 1.8), ("Concrete rubble", 0.8), ("hardwood tops", 1.7),
)  # fmt: skip
_REMARKS = (
    "",
    "",
    "",
    "",
    "refreshed",
    "marked w/ buoy until 2019",
    "check depth",
    "volunteers",
    "see map 4",
    "partly silted",
)


def _degrees(xy: Floats) -> Floats:
    to_earth = pyproj.Transformer.from_crs(CRS, "EPSG:4326", always_xy=True)
    lon, lat = to_earth.transform(xy[:, 0], xy[:, 1])
    return np.column_stack([lon, lat])


def _minutes(value: float) -> str:
    whole = int(abs(value))
    return f"{'-' if value < 0 else ''}{whole} {(abs(value) - whole) * 60:.4f}"


def _seconds(value: float, plus: str, minus: str) -> str:
    whole = int(abs(value))
    minutes = int((abs(value) - whole) * 60)
    seconds = ((abs(value) - whole) * 60 - minutes) * 60
    return f"{whole}°{minutes:02d}'{seconds:04.1f}\"{minus if value < 0 else plus}"


def _depth_words(rng: np.random.Generator, feet: float) -> str:
    near = max(2, round(feet))
    return str(rng.choice(
        [f"{near}", f"{near - 1}-{near + 2}", f"{near}'", f"{near - 1} to {near + 1} ft", "unknown", f"{near} ft"],
        p=[0.42, 0.2, 0.12, 0.1, 0.06, 0.1],
    ))  # fmt: skip


def habitat_csv(rng: np.random.Generator, shore: Shore, spots: gpd.GeoDataFrame) -> str:
    """Write the agency's list: mixed coordinate styles, depths as words, some rows wrong as they are in life."""
    depth = np.nan_to_num(shore.chart.depth_m, nan=-4.0)
    places = (depth > 2.2) & (depth < 9.0) & (shore.off_m > 18.0) & (shore.off_m < 400.0)
    bare = (depth > 0.35) & (depth < 1.05) & (shore.off_m > 8.0)
    taken: list[Floats] = []
    for _ in range(SITES - 10):
        shore.pick(rng, places, taken, 130.0)
    for _ in range(6):
        shore.pick(rng, bare, taken, 130.0)
    brush = spots[spots["kind"].isin(["conifer_brush", "brush", "point", "standing_timber"])]
    same = np.column_stack([brush.geometry.x, brush.geometry.y])[:4]
    xy = np.vstack([np.array(taken), same + rng.normal(0.0, 2.5, same.shape)])
    feet = shore.chart.read(xy) / FOOT_M
    earth = _degrees(xy)
    text = io.StringIO()
    out = csv.writer(text, lineterminator="\n")
    out.writerow(
        ["Site No", "Lake", "Structure", "LAT", "LONG", "Depth (ft)", "Year placed", "Qty", "Remarks"]
    )
    style = rng.choice(3, len(xy), p=[0.7, 0.18, 0.12])
    lost, swapped = {17, 58, 121}, {83}
    for k, ((lon, lat), deep) in enumerate(zip(earth, feet, strict=True)):
        if k in lost:
            first, second = f"{lat:.6f}", f"{-lon:.6f}"
        elif k in swapped:
            first, second = f"{lon:.6f}", f"{lat:.6f}"
        elif style[k] == 1:
            first, second = _minutes(lat), _minutes(lon)
        elif style[k] == 2:
            first, second = _seconds(lat, "N", "S"), _seconds(lon, "E", "W")
        else:
            first, second = f"{lat:.6f}", f"{lon:.6f}"
        structure, _ = _STRUCTURES[int(rng.integers(len(_STRUCTURES)))]
        if k >= len(xy) - len(same):
            structure = (
                "Cedar trees" if brush["kind"].iloc[k - len(xy) + len(same)] == "conifer_brush" else "Brush"
            )
        year = "" if rng.random() < 0.08 else str(int(rng.integers(1998, 2026)))
        remark = _REMARKS[int(rng.integers(len(_REMARKS)))]
        out.writerow([
            f"LM-{k + 1:03d}", names.RESERVOIR.split()[0], structure, first, second,
            _depth_words(rng, float(deep)), year,
            int(rng.integers(1, 12)), remark,
        ])  # fmt: skip
    return text.getvalue()


def waypoints_gpx(rng: np.random.Generator, shore: Shore) -> str:
    """Write waypoints out of a handheld, as GPX 1.1."""
    depth = np.nan_to_num(shore.chart.depth_m, nan=-4.0)
    taken: list[Floats] = []
    for _ in names.WAYPOINTS:
        shore.pick(
            rng, (depth > 2.5) & (depth < 7.0) & (shore.off_m > 20.0) & (shore.off_m < 150.0), taken, 500.0
        )
    lines = [
        '<?xml version="1.0" encoding="UTF-8"?>',
        '<gpx version="1.1" creator="castshed demo" xmlns="http://www.topografix.com/GPX/1/1">',
    ]
    for (name, note), (lon, lat) in zip(names.WAYPOINTS, _degrees(np.array(taken)), strict=True):
        lines += [
            f'  <wpt lat="{lat:.7f}" lon="{lon:.7f}">',
            "    <time>2025-03-22T14:05:00Z</time>",
            f"    <name>{escape(name)}</name>",
            f"    <desc>{escape(note)}</desc>",
            "  </wpt>",
        ]
    return "\n".join([*lines, "</gpx>", ""])


def plant_repeats(rng: np.random.Generator, chart: Chart, habitat: str, waypoints: str) -> str:
    """Move four of the agency's sites beside waypoints of the same cover, a few metres off, as two surveys differ.

    Parameters
    ----------
    rng
        Numbers of its own, so that the rest of both lists stays what it is.
    chart
        Where depths are read.
    habitat, waypoints
        What `habitat_csv` and `waypoints_gpx` wrote.
    """
    marks = re.findall(r'lat="([-\d.]+)" lon="([-\d.]+)">.*?<name>(.*?)</name>', waypoints, re.DOTALL)
    rows = list(csv.reader(io.StringIO(habitat)))
    to_lake = pyproj.Transformer.from_crs("EPSG:4326", CRS, always_xy=True)
    planted = 0
    for lat, lon, name in marks:
        word = next((word for start, word in _TWICE.items() if name.startswith(start)), None)
        if word is None:
            continue
        xy = np.array([to_lake.transform(float(lon), float(lat))]) + rng.normal(0.0, 2.0, (1, 2))
        ((east, north),) = _degrees(xy)
        row = rows[SITES - 10 - planted]  # below the header: the last sites before those on bare banks
        row[2:5] = [word, f"{north:.6f}", f"{east:.6f}"]
        row[5] = f"{max(2, round(float(chart.read(xy)[0]) / FOOT_M))}"
        planted += 1
    text = io.StringIO()
    csv.writer(text, lineterminator="\n").writerows(rows)
    return text.getvalue()


def _sentence(body: str) -> str:
    """Put a sentence of NMEA 0183 together: the exclusive or of its characters follows it."""
    total = 0
    for letter in body.encode("ascii"):
        total ^= letter
    return f"${body}*{total:02X}"


def sounder_log(rng: np.random.Generator, chart: Chart, middle: Floats) -> str:
    """Write the log of a morning's idling with the sounder on, four feet below normal pool.

    Parameters
    ----------
    rng
        Numbers of its own.
    chart
        Where depths are read.
    middle
        Where five passes of 250 m, 25 m apart, have their middle, in metres.
    """
    ways = middle + [
        (side * (1 - 2 * (k % 2)) * 125.0, 25.0 * k - 50.0) for k in range(5) for side in (-1, 1)
    ]
    step = np.hypot(*np.diff(ways, axis=0).T)
    at = np.arange(0.0, step.sum(), 1.8)
    along = np.concatenate([[0.0], np.cumsum(step)])
    xy = np.column_stack([np.interp(at, along, ways[:, k]) for k in (0, 1)])
    depth = chart.read(xy) - 4.0 * FOOT_M - FOOT_M + rng.normal(0.0, 0.04, len(at))
    lines = []
    for second, ((lon, lat), deep) in enumerate(zip(_degrees(xy), depth, strict=True)):
        clock = f"{14 + second // 3600:02d}{second // 60 % 60:02d}{second % 60:02d}.00"
        place = ",".join(
            f"{int(abs(v)):0{w}d}{(abs(v) - int(abs(v))) * 60:07.4f},{letters[int(v < 0)]}"
            for v, w, letters in ((lat, 2, "NS"), (lon, 3, "EW"))
        )
        lines.append(_sentence(f"GPRMC,{clock},A,{place},3.5,,100526,,,A"))
        shown = max(deep, 0.0) + (
            float(rng.choice([-1.0, 1.0])) * 1.5 if rng.random() < 0.01 and deep > 3.0 else 0.0
        )
        sentence = _sentence(f"SDDPT,{'' if deep < 0.4 else f'{shown:.2f}'},")
        lines.append(sentence[:-2] + "00" if rng.random() < 0.005 else sentence)
    return "\n".join([*lines, ""])


def forecast_csv(rng: np.random.Generator) -> str:
    """Write an hourly forecast for the day: a light morning, south-west wind rising after noon."""
    hour = np.arange(24)
    wind = np.clip(4.0 + 10.0 * np.exp(-(((hour - 15.5) / 5.0) ** 2)) + rng.normal(0.0, 0.5, 24), 1.0, None)
    gust = wind * rng.uniform(1.3, 1.6, 24)
    bearing = (180.0 + 45.0 * (1.0 - np.exp(-hour / 9.0)) + rng.normal(0.0, 4.0, 24)) % 360.0
    air = 58.0 + 17.0 * np.sin((hour - 9.0) / 24.0 * 2 * np.pi)
    sky = np.clip(20 + 40 * np.sin(hour / 24.0 * np.pi) + rng.normal(0, 6, 24), 0, 100)
    rows = ["time,wind_from_deg,wind_mph,gust_mph,air_f,sky_cover_pct"]
    rows += [
        f"2026-05-16T{h:02d}:00-05:00,{b:.0f},{w:.0f},{g:.0f},{a:.0f},{s:.0f}"
        for h, b, w, g, a, s in zip(hour, bearing, wind, gust, air, sky, strict=True)
    ]
    return "\n".join([*rows, ""])


def pool_levels_csv(rng: np.random.Generator) -> str:
    """Write sixty daily pool elevations, falling to four feet below normal on the day."""
    day = np.arange(60)
    fall = -4.0 * (day / 59.0) ** 1.4
    noise = np.convolve(rng.normal(0.0, 0.12, 64), np.ones(5) / 5, "valid")
    level = NORMAL_POOL_FT + fall + noise * np.minimum(1.0, (59 - day) / 6.0)
    dates = np.datetime64("2026-03-18") + day
    rows = ["date,pool_elevation_ft,vertical_datum"]
    rows += [f"{d},{v:.2f},NGVD29" for d, v in zip(dates, level, strict=True)]
    return "\n".join([*rows, ""])
