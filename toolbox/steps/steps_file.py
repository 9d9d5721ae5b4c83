"""A steps file: algorithms to run one after the other in one process.

Each table of the TOML file is a step, in the order of the file. ``run`` names the algorithm; the other keys are its
parameters as on the command line, inputs by their name and options without the dashes, quantities with their unit. An
input ``"@step:layer"`` is a layer an earlier step made (``"@step"`` where it made one that fits). ``out`` writes the
step's result as ``--out`` does. File names are relative to the steps file.
"""

from __future__ import annotations

import difflib
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from .. import units
from ..algorithm import catalogue
from ..errors import CastshedError, DataError, UsageError
from ..layers.reading import Reference, parse_reference
from ..parameters.markers import (
    BookFile,
    DayInput,
    FileSet,
    Flag,
    FolderSet,
    Layer,
    LayerSet,
    Many,
    Number,
    Quantity,
    Surface,
    Text,
    check_value,
)
from ..real_files import require_ordinary

if TYPE_CHECKING:
    from ..algorithm.spec import Parameter, Spec

MARK: Final = "@"
_RESERVED: Final = ("run", "out", "crs")
RAN, KEPT, CHANGED = "ran", "kept", "would run"


@dataclass(frozen=True)
class Made:
    """An input that an earlier step makes."""

    step: str
    layer: str | None


@dataclass
class Step:
    """One step: what is run on what, and, once it is known, under which fingerprint."""

    name: str
    spec: Spec
    entry: catalogue.Entry
    values: dict[str, Any]
    inputs: dict[str, list[Made | Reference]]
    out: str | None
    crs: str | None
    parts: dict[str, str] = field(default_factory=dict)
    key: str = ""
    result: Any = None
    notes: list[str] = field(default_factory=list)
    state: str = CHANGED
    because: str = ""
    seconds: float = 0.0
    written: dict[str, Any] = field(default_factory=dict)

    @property
    def makes_files(self) -> bool:
        """Whether files or a folder come out of it, and no layers."""
        return isinstance(self.spec.outputs[0].marker, (FileSet, FolderSet))

    @property
    def forgetful(self) -> bool:
        """Whether it is run each time: a day file leads to more files than it is."""
        return any(isinstance(p.marker, DayInput) for p in self.spec.parameters)


def _parameter(spec: Spec, key: str, where: str) -> Parameter:
    for par in spec.parameters:
        if key in (par.name, par.option.removeprefix("--")):
            return par
    known = [p.name if p.positional else p.option.removeprefix("--") for p in spec.parameters]
    near = difflib.get_close_matches(key, known, n=1)
    hint = f"; did you mean {near[0]}?" if near else "."
    raise UsageError(f"{where}: {spec.name} has no parameter '{key}'; it has {', '.join(known)}{hint}")


def _value(par: Parameter, given: Any, where: str) -> Any:
    """Read an option of the file as the command line would."""
    marker = par.marker

    def one(value: Any, kind: Any) -> Any:
        if isinstance(kind, Quantity):
            if not isinstance(value, str):
                raise UsageError(
                    f"{where} is {value!r}; write it as text with its unit, such as {_sample(kind)}."
                )
            try:
                return units.parse(value, kind.kind)
            except CastshedError as error:
                raise type(error)(f"{where}: {error}") from None
        fits: Any = {Number: (int, float), Flag: bool, Text: str}.get(type(kind), str)
        if not isinstance(value, fits) or (isinstance(value, bool) and not isinstance(kind, Flag)):
            raise UsageError(f"{where} is {value!r}; it must be {_KINDS.get(type(kind), 'text')}.")
        return value

    if isinstance(marker, Many):
        listed = given if isinstance(given, list) else [given]
        return check_value(tuple(one(v, marker.of) for v in listed), marker, where)
    return check_value(one(given, marker), marker, where)


_KINDS: Final = {Number: "a number", Flag: "true or false", Text: "text"}


def _sample(kind: Quantity) -> str:
    return {"length": '"80ft"', "speed": '"15mph"', "time": '"25min"', "bearing": '"SW"'}.get(
        kind.kind, '"30gal"'
    )


def _source(
    par: Parameter, text: Any, where: str, folder: Path, before: Mapping[str, Step]
) -> Made | Reference:
    if not isinstance(text, str) or not text.strip():
        raise UsageError(f'{where} is {text!r}; write "FILE:LAYER" or "{MARK}step:layer".')
    if not text.startswith(MARK):
        return parse_reference(str(folder / text))
    if not isinstance(par.marker, (Layer, Surface, LayerSet)):
        raise UsageError(f"{where}: only a layer can be taken from a step; name a file.")
    step, _, layer = text.removeprefix(MARK).partition(":")
    if step not in before:
        earlier = ", ".join(before) or "none"
        raise UsageError(
            f"{where} takes from a step '{step}' that does not stand before it; those are: {earlier}."
        )
    made = [o.name for o in before[step].spec.outputs]
    if layer and layer not in made:
        raise UsageError(f"{where}: step {step} makes no '{layer}'; it makes {', '.join(made)}.")
    return Made(step, layer or None)


def _step(name: str, table: Any, folder: Path, before: Mapping[str, Step]) -> Step:
    where = f"[{name}]"
    if not isinstance(table, dict) or not isinstance(table.get("run"), str):
        raise UsageError(f'{where} needs a line run = "ALGORITHM"; castshed --help lists them.')
    for key in ("out", "crs"):
        if key in table and not isinstance(table[key], str):
            raise UsageError(f"{where} {key} must be text.")
    try:
        spec = catalogue.load(table["run"])
    except CastshedError as error:
        raise type(error)(f"{where} {error}") from None
    if any(isinstance(o.marker, BookFile) for o in spec.outputs):
        raise UsageError(f"{where} {spec.name} changes a file of yours; run it on its own, not as a step.")
    values: dict[str, Any] = {}
    inputs: dict[str, list[Made | Reference]] = {}
    for key, given in table.items():
        if key in _RESERVED:
            continue
        par = _parameter(spec, key, where)
        if par.name in values or par.name in inputs:
            raise UsageError(f"{where} gives {par.name} twice.")
        if par.is_input:
            listed = given if isinstance(given, list) else [given]
            several = isinstance(given, list) and isinstance(par.marker, (Layer, Surface))
            if several or not listed:
                raise UsageError(f"{where} {key} must be one input.")
            inputs[par.name] = [_source(par, one, f"{where} {key}", folder, before) for one in listed]
        else:
            values[par.name] = _value(par, given, f"{where} {key}")
    missing = [
        p.name for p in spec.parameters if p.required and p.name not in values and p.name not in inputs
    ]
    if missing:
        raise UsageError(f"{where} {spec.name} needs {', '.join(missing)}.")
    out = table.get("out")
    return Step(name, spec, catalogue.entries()[spec.name], values, inputs, out, table.get("crs"))


def read_tables(path: Path) -> dict[str, Any]:
    """Read the tables of a steps file, unchecked.

    Raises
    ------
    FileMissing, DataError, UsageError
        The file is not there, no TOML, or holds nothing.
    """
    require_ordinary(path, "a steps file", "castshed plan --show-steps prints one to start from")
    try:
        told = tomllib.loads(path.read_text(encoding="utf-8"))
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        raise DataError(f"{path} cannot be read as TOML ({error}).") from error
    if not told:
        raise UsageError(f"{path} holds no step.")
    return told


def steps_of(told: Mapping[str, Any], folder: Path) -> list[Step]:
    """Make steps of tables, and check all that can be checked before anything is run.

    Parameters
    ----------
    told
        The tables by the name of the step.
    folder
        What file names are relative to.

    Raises
    ------
    UsageError, PluginError
        A step, a parameter or a value is not what it should be; the message names step and key.
    """
    steps: dict[str, Step] = {}
    for name, table in told.items():
        steps[name] = _step(name, table, folder, steps)
    return list(steps.values())


def read_steps(path: Path) -> list[Step]:
    """Read a steps file; see `read_tables` and `steps_of`."""
    return steps_of(read_tables(path), path.parent)
