"""The chain of a day run in memory, or written as a steps file with the same values, to be changed by hand."""

from __future__ import annotations

import json
import os
from collections.abc import Mapping
from dataclasses import fields, replace
from importlib import import_module
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from .. import units
from ..algorithm import spec_of
from ..algorithm.catalogue import load
from ..algorithm.contracts import output_items
from ..algorithm.describe import UNITS
from ..algorithm.spec import Spec
from ..cache.kept_calls import kept
from ..parameters.markers import Flag, Many, Number, Quantity
from .day_chain import MadeBy, OfDay, chain_of
from .day_file import is_list

if TYPE_CHECKING:
    from ..depth import DepthSurface
    from .day_file import Day


def _own(name: str) -> Spec:
    """Take the algorithm that comes with castshed, whatever else bears its name."""
    word = name.replace("-", "_")
    return spec_of(getattr(import_module(f"castshed.algorithms.{word}"), word))


class DayRun:
    """The steps of a day, run one by one; what each gave is kept for those after it.

    Parameters
    ----------
    day
        The day with its layers.
    """

    def __init__(self, day: Day) -> None:
        self.day = day
        self.steps = chain_of(day)
        self._made: dict[str, dict[str, Any]] = {}
        lake = {one.name: getattr(day.layers, one.name) for one in fields(day.layers)}
        self._brought = lake | {"sources": day.spots, "forecast": day.forecast}
        self._brought["depth"] = self._as_stated(day.layers.depth)

    def _as_stated(self, depth: DepthSurface | None) -> DepthSurface | None:
        """Let the depth error that the day file states go before the surface's own."""
        stated = self.day.lake.depth_error_m
        return depth if depth is None or stated is None else replace(depth, error_m=stated)

    def _input(self, given: Any) -> Any:
        if isinstance(given, MadeBy):
            return self._made[given.step].get(given.layer)
        return self._brought[given.name] if isinstance(given, OfDay) else given

    def arguments(self, name: str) -> dict[str, Any]:
        """Put together what a step is given: values, layers of the day, and what earlier steps made."""
        return {key: self._input(given) for key, given in self.steps[name].given.items()}

    def __call__(self, name: str, keep: str = "") -> Any:
        """Run a step; with ``keep``, the words of what it makes, its result is taken from the store where it is kept.

        Returns
        -------
        Any
            What the algorithm gives.
        """
        spec = _own(self.steps[name].run)
        function = kept(spec.function, keep) if keep else spec.function
        given = self.arguments(name)
        result = function(**given)
        made = {output.name: value for output, value in output_items(spec, result)}
        self._made[name] = made | ({"depth": self._as_stated(made["depth"])} if "depth" in made else {})
        return result

    def layer(self, name: str, parameter: str) -> Any:
        """Tell what a step is given for a parameter; None where it is given nothing."""
        return self._input(self.steps[name].given.get(parameter))


_HEAD: Final = """\
# The day "{title}" of {date} as steps. Change it and run it with: castshed run-steps FILE.toml
# File names are relative to the folder of this file; it was written for the folder the command was given in.
# The last step proves the run once more; when it fails, nothing is written. plan also tells the wind of the hour at
# each stop and writes GPX, KML and the map; these steps do not.
# A planning aid, not for navigation.
"""


_WRITTEN: Final = {
    "length": ("ft", "m", "in"),
    "speed": ("mph", "kn", "m/s"),
    "time": ("min", "h", "s"),
    "bearing": ("deg",),
    "volume": ("gal", "L"),
    "flow": ("gal/h", "L/h"),
}
_DIGITS: Final = 6


def _quantity(value: float, kind: str) -> str:
    """Write a quantity as a person would, in the unit that gives the shortest text that means the very same number."""
    exact = f"{value!r}{UNITS[kind]}"
    found = [exact]
    for unit in _WRITTEN[kind]:
        text = f"{value / units.convert(1.0, unit, kind):.{_DIGITS}g}{unit}"
        if "e" not in text.removesuffix(unit) and units.parse(text, kind) == value:
            found.append(text)
    return min(found, key=len)


def _value(value: Any, marker: Any) -> str:
    if isinstance(marker, Many):
        return "[" + ", ".join(_value(v, marker.of) for v in value) + "]"
    if isinstance(marker, Quantity):
        return json.dumps(_quantity(float(value), marker.kind))
    if isinstance(marker, Flag):
        return "true" if value else "false"
    if isinstance(marker, Number):
        return repr(int(value) if marker.whole else float(value))
    return json.dumps(str(value), ensure_ascii=False)


def _table(name: str, run: str, given: Mapping[str, Any], out: str = "") -> str:
    """Write one step; what is None or as by default is left out."""
    spec: Spec = load(run)
    lines = [f"[{name}]", f"run = {json.dumps(run)}"]
    for key, value in given.items():
        par = spec.parameter(key)
        if value is None or (not par.required and not par.is_input and value == par.default):
            continue
        word = par.name if par.positional else par.option.removeprefix("--")
        if par.is_input:
            lines.append(f"{word} = {json.dumps(value, ensure_ascii=False)}")
        else:
            lines.append(f"{word} = {_value(value, par.marker)}")
    if out:
        lines.append(f"out = {json.dumps(out)}")
    return "\n".join(lines) + "\n"


def _place(folder: Path, text: str) -> str:
    """Name a file of the day as seen from the folder the command was given in."""
    try:
        return Path(os.path.relpath(folder / text)).as_posix()
    except ValueError:  # on another drive
        return str((folder / text).absolute())


def _listed(folder: Path, text: str) -> str:
    from ..intake.book.listed_marks import is_place

    return text if is_place(text) else _place(folder, text)


def _inputs(day: Day, folder: Path) -> dict[str, Any]:
    """Name every input the day brings as a steps file does; None where the lake has none."""
    brought: dict[str, Any] = {
        one.name: None
        if getattr(day.layers, one.name) is None
        else _listed(folder, getattr(day.lake, one.name))
        if is_list(getattr(day.lake, one.name))
        else f"{_place(folder, day.lake.file)}:{getattr(day.lake, one.name)}"
        for one in fields(day.layers)
    }
    brought["sources"] = [_place(folder, one) for one in day.lists.sources]
    brought["forecast"] = _place(folder, day.wind.forecast) if day.wind.forecast else None
    return brought


def steps_of_day(day: Day, file: str) -> str:
    """Write the steps of a day's plan.

    Parameters
    ----------
    day, file
        The day, and the name of its file.

    Notes
    -----
    A depth error stated in the day file is no parameter of boat-hold, which takes that of the coverage; hazards, run
    and proof take the stated one, and the text says so.
    """
    parts = [_HEAD.format(title=day.title.replace("\n", " "), date=day.date.isoformat())]
    if day.lake.depth_error_m is not None:
        parts[0] += (
            f"# The day file states a depth error of {day.lake.depth_error_m:g} m; hazards and the proof take it,\n"
            "# holds the coverage's own: where that is less, a run may fail the proof.\n"
        )
    brought = _inputs(day, Path(file).parent)

    def word(given: Any) -> Any:
        if isinstance(given, MadeBy):
            return f"@{given.step}:{given.layer}"
        return brought[given.name] if isinstance(given, OfDay) else given

    for step in chain_of(day).values():
        given = {key: word(value) for key, value in step.given.items()}
        parts.append(_table(step.name, step.run, given, "steps.gpkg" if step.leaves else ""))
    return "\n".join(parts)
