"""The examples of the catalogue, run one after the other on the demo lake, and what came of each in figures.

What came is kept as rows and figures and compared within what can be seen, not byte for byte: the last digits, fonts
and compression differ from machine to machine, and none of them makes a page stale.

The picture of each example.
"""

from __future__ import annotations

import contextlib
import io
import json
import math
import re
import shlex
from collections.abc import Callable, Iterator, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from ..errors import CastshedError
from ..layers.reading import list_layers, parse_reference, read_layer, read_surface
from ..output.maps.example_map import Scene, coarse, draw_scene
from . import scenes_boat, scenes_lake, scenes_papers

if TYPE_CHECKING:
    from ..algorithm.spec import Spec

FIRST: Final = ("demo", "plan")
"""These make the files that all others start from."""

ROWS: Final = 3
RELATIVE: Final = 1e-3
ABSOLUTE: Final = 0.02
OF_TODAY: Final = ("age_years",)
"""Columns that change with the calendar, not with the code."""

COLUMNS: Final[dict[str, tuple[str, ...]]] = {
    "answers": ("question", "answer"),
    "cast_reach": ("spot_id", "status", "area_m2", "reason"),
    "changes": ("name", "status", "what", "found_by"),
    "depth_bands": ("from_m", "to_m"),
    "fixes": ("spot_id", "status", "words", "error_m"),
    "hold_lines": ("spot_id", "length_m", "heading_deg", "cast_side", "least_depth_m", "ends"),
    "holds": ("spot_id", "status", "depth_today_m", "cast_m", "cast_bearing_deg", "deep_bearing_deg"),
    "judged": ("name", "depth_today_m", "fishable", "reason"),
    "legs": ("leg_no", "part", "to_id", "distance_m", "min_depth_m", "min_clearance_m"),
    "line_ups": ("spot_id", "words", "bearing_deg", "distance_m", "error_m"),
    "proof": (
        "leg_no",
        "part",
        "to_id",
        "clearance_m",
        "needed_clearance_m",
        "least_depth_m",
        "needed_depth_m",
    ),
    "shallow_hazards": ("care", "reason", "least_depth_m"),
    "soundings": ("depth_m", "time", "readings"),
    "spots": ("spot_id", "name", "kind", "depth_m", "source"),
    "stops": ("stop_no", "name", "arrive", "leave"),
    "structure": ("rank", "kind", "description", "bank"),
    "ways": ("from_id", "to_id", "distance_m", "idle_m", "time_s"),
    "windy_spots": ("name", "fetch_m", "wave_m", "wind_mps", "bank"),
}
"""What the page shows of a layer; its first row is chosen where the cells are full."""

TABLES: Final[dict[str, str]] = {
    "line-up": "fixes",
    "plan": "stops",
    "safe-ways": "ways",
    "shortest-run": "legs",
    "trip-log": "changes",
    "water-today": "depth_bands",
}
"""The layer whose rows are shown, where it is not the first."""


def in_order(names: Sequence[str]) -> list[str]:
    """Put those first that make what the others start from."""
    return [*(n for n in FIRST if n in names), *(n for n in names if n not in FIRST)]


def run_example(spec: Spec) -> dict[str, Any]:
    """Run an example as it would be typed, in the folder one is in; tell what the command reports with --json.

    Raises
    ------
    CastshedError
        It ended with another exit code than 0.
    """
    from ..cli import make_app

    said, wrong = io.StringIO(), io.StringIO()
    words = [*shlex.split(spec.example)[1:], "--replace", "--json"]
    with contextlib.redirect_stdout(said), contextlib.redirect_stderr(wrong):
        code = make_app()(words, standalone_mode=False)
    if code:
        raise CastshedError(f"{spec.example}\nended with {code}: {wrong.getvalue().strip()}")
    body: dict[str, Any] = json.loads(said.getvalue())
    return body


def _figures(values: Any) -> list[float]:
    import numpy as np

    known = np.asarray(values, dtype=float)
    known = known[np.isfinite(known)]
    return [float(f"{v:.6g}") for v in (known.min(), known.mean(), known.max())] if known.size else []


def _plain(value: Any) -> Any:
    if hasattr(value, "item"):
        value = value.item()
    if value is None or (isinstance(value, float) and not math.isfinite(value)):
        return None
    return (
        float(f"{value:.6g}") if isinstance(value, float) else value if isinstance(value, int) else str(value)
    )


def _worth_showing(cells: Any) -> list[dict[str, Any]]:
    """Choose a few rows: the fullest of each kind, verdict or part first, in the order of the layer."""
    full = (cells.notna() & (cells.astype(str) != "")).sum(axis=1).to_numpy()
    kind = next((c for c in ("fishable", "status", "care", "part", "kind") if c in cells.columns), None)
    ranked = cells.assign(_full=-full).sort_values("_full", kind="stable").drop(columns="_full")
    different = ranked if kind is None else ranked.drop_duplicates(kind)
    shown = set(different.index)
    chosen = [*different.index, *(row for row in ranked.index if row not in shown)][:ROWS]
    found: list[dict[str, Any]] = cells.loc[sorted(chosen)].to_dict("records")
    return found


def _of_layer(place: str, name: str, *, rows: bool) -> dict[str, Any]:
    """Tell rows, extent and the range of every column of numbers; and the first rows that are full, on wish."""
    import pandas as pd

    frame = read_layer(place)
    lengths, areas = frame.geometry.length.sum(), frame.geometry.area.sum()
    told: dict[str, Any] = {"layer": name, "rows": len(frame)}
    told["geometry"] = sorted(set(frame.geom_type.dropna()))
    told["extent_m"] = [float(f"{v:.7g}") for v in (*frame.total_bounds, lengths, areas) if math.isfinite(v)]
    plain = [c for c in frame.columns if c != frame.geometry.name and c not in OF_TODAY]
    told["columns"] = {c: _figures(frame[c]) for c in plain if pd.api.types.is_numeric_dtype(frame[c])}
    if rows:
        named = [c for c in COLUMNS.get(name, plain[:5]) if c in plain]
        told["shown"] = [{c: _plain(v) for c, v in row.items()} for row in _worth_showing(frame[named])]
    return told


def _of_surface(place: str, name: str) -> dict[str, Any]:
    surface = read_surface(place)
    high, wide = surface.shape
    return {
        "coverage": name,
        "cells": [high, wide],
        "cell_m": surface.cell_x_m,
        "range": _figures(surface.depth_m),
    }


def what_came(spec: Spec, reported: Mapping[str, Any]) -> dict[str, Any]:
    """Tell what an example left, in figures: layers, coverages, files, and what the command said itself.

    Parameters
    ----------
    spec
        The algorithm.
    reported
        What `run_example` told.
    """
    ref = parse_reference(str(reported["out"]))
    made = [n for n in (*reported["features"], *reported["cells"]) if not re.search(r"_\d{4}_\d\d_\d\d$", n)]
    files = sorted(reported["bytes"])
    home = ref.path
    if home.is_dir() and made:
        home = next(p for p in sorted(home.glob("*.gpkg")) if set(made) <= set(list_layers(p)))
        files = sorted([*files, home.name])
    there = list_layers(home) if made else {}
    table = TABLES.get(spec.name, made[0] if made else "")
    layers = [
        _of_surface(f"{home}:{name}", name)
        if there[name] == "coverage"
        else _of_layer(f"{home}:{name}", name, rows=name == table)
        for name in made
    ]
    figures = {k: _plain(v) for k, v in reported["figures"].items() if isinstance(v, int | float | str)}
    return {
        "example": spec.example,
        "takes": list(_takes(spec)),
        "layers": layers,
        "files": files,
        "said": figures,
    }


def _given(spec: Spec) -> dict[str, list[str]]:
    """Sort the words of an example to the parameters they are for."""
    words = shlex.split(spec.example)[2:]
    places = [p for p in spec.parameters if p.positional]
    options = {p.option: p.name for p in spec.parameters if not p.positional}
    found: dict[str, list[str]] = {}
    at = 0
    while words:
        word = words.pop(0)
        if word.startswith("--") and word != "--":
            value = words.pop(0) if words and not words[0].startswith("--") else ""
            if word in options:
                found.setdefault(options[word], []).append(value)
        elif places:
            par = places[min(at, len(places) - 1)]
            found.setdefault(par.name, []).append(word)
            at += 1
    return found


def _takes(spec: Spec) -> Iterator[str]:
    """Name the inputs of an example with how much there is of each."""
    from ..command.arguments import takes_many
    from ..parameters.markers import Layer, LayerSet, Surface

    given = _given(spec)
    for par in spec.parameters:
        if not par.is_input or par.name not in given:
            continue
        for text in given[par.name]:
            shown = f"`{text}`"
            if isinstance(par.marker, Surface):
                high, wide = read_surface(text, usual=par.marker.name).shape
                shown += f" ({high:,} x {wide:,} cells)"
            elif isinstance(par.marker, Layer) or (isinstance(par.marker, LayerSet) and ":" in text):
                count = len(read_layer(text, usual=getattr(par.marker, "name", None)))
                shown += f" ({count:,} {'row' if count == 1 else 'rows'})"
            yield f"{par.name.replace('_', ' ')} {shown}" if not takes_many(par) else shown


def collect(specs: Mapping[str, Spec], folder: Path) -> tuple[dict[str, dict[str, Any]], dict[str, bytes]]:
    """Run all examples in a folder; tell what came of each, and draw it.

    A picture is drawn as soon as its example has run, since another may write under the same name.

    Raises
    ------
    CastshedError
        One of them does not run.
    """
    told: dict[str, dict[str, Any]] = {}
    drawn: dict[str, bytes] = {}
    with contextlib.chdir(folder):
        for name in in_order(list(specs)):
            told[name] = what_came(specs[name], run_example(specs[name]))
            drawn[name] = picture(name, specs[name].example)
    return told, drawn


def _near(one: Any, other: Any) -> bool:
    if isinstance(one, bool) or isinstance(other, bool) or not isinstance(one, int | float):
        words = [re.sub(r"\d+(\.\d+)?", "#", v) if isinstance(v, str) else v for v in (one, other)]
        return bool(words[0] == words[1])
    if not isinstance(other, int | float):
        return False
    return math.isclose(one, other, rel_tol=RELATIVE, abs_tol=ABSOLUTE)


def differences(kept: Any, fresh: Any, where: str = "") -> list[str]:
    """List where two tellings differ by more than can be seen; figures within words do not count.

    Examples
    --------
    >>> differences({"rows": 25}, {"rows": 24})
    ['rows: 25 is now 24']
    >>> differences({"depth_m": [1.0, 2.0]}, {"depth_m": [1.0001, 2.0]})
    []
    """
    if isinstance(kept, Mapping) and isinstance(fresh, Mapping):
        found = []
        for key in dict.fromkeys([*kept, *fresh]):
            place = f"{where} {key}".strip()
            if key not in kept or key not in fresh:
                found.append(f"{place}: {'new' if key not in kept else 'gone'}")
            else:
                found += differences(kept[key], fresh[key], place)
        return found
    if isinstance(kept, list) and isinstance(fresh, list):
        if len(kept) != len(fresh):
            return [f"{where}: {len(kept)} are now {len(fresh)}"]
        return [
            w
            for k, (a, b) in enumerate(zip(kept, fresh, strict=True))
            for w in differences(a, b, f"{where} {k}")
        ]
    return [] if _near(kept, fresh) else [f"{where}: {kept} is now {fresh}"]


SCENES: Final[dict[str, Callable[[str], Scene | bytes]]] = {
    "boat-hold": scenes_boat.boat_hold,
    "bring-lake": scenes_papers.bring_lake,
    "cast-reach": scenes_boat.cast_reach,
    "day-plan": scenes_boat.day_plan,
    "demo": scenes_lake.demo,
    "depth-surface": scenes_lake.depth_surface,
    "export": scenes_papers.export,
    "find-structure": scenes_lake.find_structure,
    "fishable": scenes_boat.fishable,
    "fishable-holds": scenes_boat.fishable_holds,
    "gather-spots": scenes_lake.gather_spots,
    "hold-lines": scenes_boat.hold_lines,
    "level": scenes_papers.level,
    "line-up": scenes_boat.line_up,
    "plan": scenes_papers.plan,
    "plan-sheet": scenes_papers.plan_sheet,
    "prove-run": scenes_boat.prove_run,
    "read-log": scenes_lake.read_log,
    "safe-ways": scenes_boat.safe_ways,
    "shallow-hazards": scenes_lake.shallow_hazards,
    "shortest-run": scenes_boat.shortest_run,
    "structure-map": scenes_papers.structure_map,
    "trip-log": scenes_lake.trip_log,
    "water-today": scenes_lake.water_today,
    "wind-exposure": scenes_boat.wind_exposure,
    "wind-picture": scenes_papers.wind_picture,
    "write-tables": scenes_papers.write_tables,
}


def picture(name: str, example: str) -> bytes:
    """Draw the picture of an example in the folder its files lie in.

    Parameters
    ----------
    name, example
        The algorithm, and the line that was run.

    Raises
    ------
    KeyError
        There is none of that name: a new algorithm needs its scene.
    """
    made = SCENES[name](example)
    return made if isinstance(made, bytes) else draw_scene(made)


def caption(name: str) -> str:
    """Say what the picture shows: the words its scene begins with."""
    return " ".join((SCENES[name].__doc__ or "").split())


MEAN_OFF: Final = 3.0
CELL_OFF: Final = 48.0
"""How far two pictures may differ, of 255: on the whole, and in one of 24 by 15 cells."""


def looks_otherwise(one: bytes, other: bytes) -> bool:
    """Whether two pictures differ by more than fonts and compression of another machine explain."""
    import numpy as np

    off = np.abs(coarse(one) - coarse(other))
    return bool(off.mean() > MEAN_OFF or off.max() > CELL_OFF)
