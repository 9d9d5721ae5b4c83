"""Pictures of what is no map: a level in its season, tables, files, and parts of finished sheets."""

from __future__ import annotations

import csv
import datetime as dt
import json
import shlex
from pathlib import Path
from typing import Any

from ..output.formats import palette
from ..output.maps.chart_page import Rect, blank_page, png_of
from ..output.maps.example_map import HEIGHT_IN, WIDTH_IN, WIDTH_PX, part_of_picture, small_png
from ..units import FOOT_M


def level(example: str) -> bytes:
    """Readings of the pool over the season, and the level asked for: how far below normal pool."""
    with Path("demo_layers/pool_levels.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.reader(line for line in file if not line.startswith("#")))[1:]
    found = json.loads(Path("my_level/level.json").read_text(encoding="utf-8"))
    typed = shlex.split(example)
    asked = dt.datetime.fromisoformat(typed[typed.index("--time") + 1])
    days = [dt.date.fromisoformat(row[0]) for row in rows]
    noon = 0.5  # dates alone are taken as noon
    figure, _pen = blank_page(WIDTH_IN, WIDTH_PX)
    figure.set_size_inches(WIDTH_IN, HEIGHT_IN)
    axes = figure.add_axes((0.13, 0.1, 0.83, 0.84), facecolor=palette.PAPER)
    axes.plot(
        [day.toordinal() + noon for day in days], [float(row[1]) for row in rows], color=palette.DEEP, linewidth=1.6,
        marker="o", markersize=2.6, zorder=3,
    )  # fmt: skip
    at, pool = asked.toordinal() + asked.hour / 24.0, found["pool_m"] / FOOT_M
    normal = found["normal_pool_m"] / FOOT_M
    axes.axhline(normal, color=palette.INK, linewidth=0.9, linestyle=(0, (5, 2)))
    axes.text(
        days[0].toordinal(), normal + 0.06, f"normal pool {normal:g} ft", fontsize=7.5, color=palette.INK
    )
    axes.plot([at, at], [pool, normal], color=palette.HAZARD, linewidth=1.6, zorder=4)
    axes.plot([at], [pool], "o", color=palette.HOLD, markeredgecolor=palette.INK, markersize=8, zorder=5)
    label = f"level {found['level_ft']:.2f} ft ({found['level_m']:.2f} m)\n{asked:%Y-%m-%d %H:%M}"
    told: dict[str, Any] = {"ha": "right", "va": "center", "fontsize": 8.0, "color": palette.INK}
    axes.annotate(label, (at, (pool + normal) / 2.0), (-8, 0), textcoords="offset points", **told)
    axes.set_ylabel("pool elevation, ft", fontsize=7, color=palette.INK)
    shown = days[:: max(len(days) // 5, 1)]
    axes.set_xticks([day.toordinal() for day in shown], [day.isoformat()[5:] for day in shown])
    axes.tick_params(labelsize=7, colors=palette.INK)
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)
    return small_png(png_of(figure, {"Software": "castshed"}))


def bring_lake(_: str) -> bytes:
    """A part of lake.png: the depths that were made, and the lines and points they were made from."""
    return part_of_picture(Path("my_lake/lake.png").read_bytes(), (0.0, 0.02, 1.0, 0.5))


def structure_map(_: str) -> bytes:
    """A part of the map: findings by rank over today's isobaths."""
    return part_of_picture(Path("my_files/structure.png").read_bytes(), (0.015, 0.3, 0.6, 0.7))


def wind_picture(_: str) -> bytes:
    """A part of the wind picture: where the wind of the day comes from."""
    return part_of_picture(Path("my_files/wind_rose.png").read_bytes(), (0.0, 0.0, 1.0, 0.58))


def export(_: str) -> bytes:
    """The beginning of the route in run.gpx: its caution, and the ramp it leaves from."""
    text = Path("my_files/run.gpx").read_text(encoding="utf-8")
    lines = text.replace("><", ">\n<").splitlines()
    start = next(k for k, line in enumerate(lines) if "<rte>" in line)
    figure, pen = blank_page(WIDTH_IN, WIDTH_PX)
    figure.set_size_inches(WIDTH_IN, HEIGHT_IN)
    pen.box(Rect(0.0, 0.0, WIDTH_IN, HEIGHT_IN), facecolor=palette.PAPER, edgecolor="none")
    pen.write(0.12, HEIGHT_IN - 0.22, "run.gpx", 9.0, palette.INK, bold=True)
    for number, line in enumerate([lines[0], *lines[start : start + 15]]):
        y = HEIGHT_IN - 0.42 - 0.155 * number
        pen.write(0.12, y, pen.fitted(line.strip(), 6.8, WIDTH_IN - 0.24), 6.8, palette.INK)
    return small_png(png_of(figure, {"Software": "castshed"}))


def plan_sheet(_: str) -> bytes:
    """A part of the sheet: legs drawn course-up, each with its courses and least depth."""
    return part_of_picture(Path("my_sheet/legs.png").read_bytes(), (0.0, 0.0, 1.0, 0.5))


def write_tables(_: str) -> bytes:
    """The first rows of spots.csv: names, kinds, depths and where they are."""
    with Path("my_tables/spots.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.reader(file))
    wanted = [c for c in ("spot_id", "name", "kind", "depth_m", "rating", "lat", "lon") if c in rows[0]]
    at = [rows[0].index(c) for c in wanted]
    figure, pen = blank_page(WIDTH_IN, WIDTH_PX)
    figure.set_size_inches(WIDTH_IN, HEIGHT_IN)
    pen.write(0.12, HEIGHT_IN - 0.22, "spots.csv", 9.0, palette.INK, bold=True)
    room = (WIDTH_IN - 0.24) / len(wanted)
    for number, row in enumerate(rows[:13]):
        y = HEIGHT_IN - 0.48 - 0.19 * number
        if number and number % 2 == 0:
            pen.box(Rect(0.1, y - 0.05, WIDTH_IN - 0.2, 0.19), facecolor=palette.BAND, edgecolor="none")
        for place, column in enumerate(at):
            text = pen.fitted(row[column], 7.0, room - 0.06)
            pen.write(0.12 + room * place, y, text, 7.0, palette.INK, bold=number == 0)
    return small_png(png_of(figure, {"Software": "castshed"}))


def plan(_: str) -> bytes:
    """A part of map.png: the day's run over depths at today's level."""
    return part_of_picture(Path("my_day/map.png").read_bytes(), (0.015, 0.085, 0.605, 0.62))
