"""What a form of a package is: written of a lake, with the files, the options no file tells, and the truth."""

from __future__ import annotations

import csv
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import geopandas as gpd
import numpy as np

from package_lakes import FOOT, Known, Lake, outside_lake, seam_lake, valley_lake

LAKE_NAMES = ("valley340", "valley350", "valley360", "valley380", "seam", "outside")


@dataclass(frozen=True)
class Package:
    """One form of a lake: what is handed in, and the truth about it."""

    name: str
    files: tuple[str, ...]
    options: tuple[str, ...]
    lake: Lake
    clean: Known
    answer: tuple[str, ...] = ()

    @property
    def asks_for(self) -> str:
        """The option that a form which cannot be told has to ask for."""
        return self.answer[0] if self.answer else ""


FORMS: dict[str, tuple[str, Callable]] = {}
UNTOLD: dict[str, tuple[str, Callable]] = {}


def form(lake: str, forms: dict[str, tuple[str, Callable]] = FORMS):
    """A form, and the lake it is written of."""

    def keep(function):
        forms[function.__name__] = (lake, function)
        return function

    return keep


def lake_named(name: str, seed: int = 1, outside: str | Path | None = None) -> Lake | None:
    """The lake of that name; None for the one from outside where its file is not given."""
    if name == "outside":
        return None if outside is None else outside_lake(outside, seed)
    return seam_lake(seed) if name == "seam" else valley_lake(float(name.removeprefix("valley")), seed)


def steps(step_m: float, deepest_m: float = 160.0) -> np.ndarray:
    return np.arange(1, int(deepest_m / step_m)) * step_m


def feet_lines(lake: Lake, step_ft: float, column: str, **more) -> tuple[gpd.GeoDataFrame, gpd.GeoDataFrame]:
    """Contours at whole feet, as they are and with their depth in a column of feet."""
    lines = lake.contours(steps(step_ft * FOOT))
    return lines, gpd.GeoDataFrame({column: np.round(lines.depth_m / FOOT, 3)} | more, geometry=lines.geometry, crs=lake.crs)  # fmt: skip


def degrees(points: gpd.GeoDataFrame) -> tuple[np.ndarray, np.ndarray]:
    there = points.to_crs(4326)
    return there.geometry.x.to_numpy(), there.geometry.y.to_numpy()


def table(path: Path, rows, *, head=(), delimiter=",") -> Path:
    with path.open("w", newline="", encoding="utf-8") as out:
        csv.writer(out, delimiter=delimiter).writerows([*head, *rows])
    return path
