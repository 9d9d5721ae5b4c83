"""The steps of a file run in one process, only what has changed, and what they leave on disk.

A step is fingerprinted by its algorithm, the code, its parameters, the content of its inputs and the fingerprints of
the steps it builds on. What was made under that fingerprint is taken from the content store (`store`), with what was
noted while it was made. With the results is kept what each step of the last run was made from.

A layer that was made under the same fingerprint is left as it is; anything else that lies there is replaced only when
told to, and refused before any step is run.
"""

from __future__ import annotations

import hashlib
import json
import os
import time
import warnings
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from ..cache.store import Store, fingerprint
from ..command.outputs import check_target, lineage_text, write_result
from ..errors import CastshedError, DataWarning, LayerMissing, UsageError
from ..layers.exchange import check_output
from ..layers.geopackage import contents, holds_geopackage, read_lineage
from ..layers.reading import parse_reference
from ..layers.writing import write_layers
from ..parameters.files import FolderContents
from ..parameters.markers import Layer, LayerSet, Surface
from ..report import collecting_notes
from .steps_file import CHANGED, KEPT, MARK, RAN, Made, Step, read_steps

if TYPE_CHECKING:
    from ..algorithm.spec import Parameter


def _told(made: Made, steps: Mapping[str, Step], par: Parameter) -> str:
    """Name the layer an input takes from a step."""
    outputs = steps[made.step].spec.outputs
    surface = isinstance(par.marker, Surface)
    fitting = [o.name for o in outputs if isinstance(o.marker, Surface) == surface]
    if made.layer:
        if made.layer not in fitting:
            raise LayerMissing(f"{par.name}: {made.layer} of step {made.step} is no {par.marker.metavar}.")
        return made.layer
    usual = getattr(par.marker, "name", "")
    if usual in fitting:
        return str(usual)
    if len(fitting) == 1:
        return fitting[0]
    raise LayerMissing(
        f"{par.name}: say which layer, {MARK}{made.step}:LAYER; it makes {', '.join(o.name for o in outputs)}."
    )


def _layers_that_count(par: Parameter) -> tuple[str, ...] | None:
    if isinstance(par.marker, (Layer, Surface)):
        return (par.marker.name,)
    return () if isinstance(par.marker, LayerSet) else None


def fingerprint_steps(steps: list[Step]) -> None:
    """Work out the fingerprint of every step, and of what it is made from.

    Raises
    ------
    FileMissing, DataError, LayerMissing
        An input is not there.
    """
    from ..cache.kept_calls import of_code, of_reference

    known = {step.name: step for step in steps}
    for step in steps:
        parts = {"algorithm": step.spec.name, "code": of_code(step.entry), "crs": str(step.crs)}
        for par in step.spec.parameters:
            if par.name in step.inputs:
                found = [
                    f"{known[one.step].key} {_named(one, known, par)}"
                    if isinstance(one, Made)
                    else of_reference(one, _layers_that_count(par))
                    for one in step.inputs[par.name]
                ]
                parts[par.name] = fingerprint(*found)
            elif not par.is_input:
                parts[par.name] = repr(step.values.get(par.name, par.default))
        step.parts = parts
        step.key = fingerprint("a step", *(word for name in sorted(parts) for word in (name, parts[name])))


def _named(made: Made, known: Mapping[str, Step], par: Parameter) -> str:
    if isinstance(par.marker, LayerSet):
        return made.layer or "all"
    return _told(made, known, par)


def _mapping(told: Any) -> dict[str, Any]:
    return told if isinstance(told, dict) else {}


class Chain:
    """The steps of a file with what is known of earlier runs.

    Parameters
    ----------
    path
        The steps file.
    store
        Where results are kept; None keeps nothing, so that all is run each time.
    steps
        The steps where they are known already; by default those of the file.
    """

    def __init__(self, path: Path, store: Store | None, steps: list[Step] | None = None) -> None:
        self.path, self.store = path, store
        self.steps = read_steps(path) if steps is None else steps
        self.by_name = {step.name: step for step in self.steps}
        fingerprint_steps(self.steps)
        last = self._read_last()
        self._last = _mapping(last.get("steps"))
        for name, written in _mapping(last.get("folders")).items():
            if name in self.by_name:
                self.by_name[name].written = _mapping(written)

    def _read_last(self) -> dict[str, Any]:
        arrays = None if self.store is None else self.store.get(self._last_key())
        try:
            told = {} if arrays is None else json.loads(arrays["told"].tobytes())
        except (ValueError, KeyError):
            return {}
        return told if isinstance(told, dict) else {}

    def _last_key(self) -> str:
        """Fingerprint the file's place: what a stranger's steps of the same name did is no concern of these."""
        return fingerprint("the last run of a steps file", os.fsencode(self.path.absolute()))

    def remember(self) -> None:
        """Write down what the steps were made from, and what was written into folders."""
        import numpy as np

        if self.store is None:
            return
        told = {
            "steps": {step.name: step.parts for step in self.steps},
            "folders": {step.name: step.written for step in self.steps if step.written},
        }
        self.store.put(self._last_key(), {"told": np.frombuffer(json.dumps(told).encode(), dtype=np.uint8)})

    def why(self, step: Step) -> str:
        """Tell what is different from the last run."""
        if step.forgetful:
            return "a day file leads to more files than it is"
        before = self._last.get(step.name)
        if not isinstance(before, dict):
            return "not run before"
        other = sorted(k for k in {*before, *step.parts} if before.get(k) != step.parts.get(k))
        return f"changed: {', '.join(other)}" if other else "its result is no longer kept"

    def look(self) -> None:
        """Find out what would be run, without running anything."""
        for step in self.steps:
            kept = not step.forgetful and self.store is not None and self.store.get(step.key) is not None
            step.state, step.because = (KEPT, "unchanged") if kept else (CHANGED, self.why(step))

    def _recall(self, step: Step) -> bool:
        from ..cache.kept_results import unpack

        if self.store is None or step.forgetful:
            return False
        arrays = self.store.get(step.key)
        if arrays is None:
            return False
        try:
            step.result, step.notes = unpack(step.spec, arrays)
        except Exception:  # noqa: BLE001  # kept in a shape that is not ours: whatever it lacks, it is made anew
            return False
        step.state, step.because = KEPT, "unchanged"
        return True

    def _input(self, step: Step, par: Parameter) -> Any:
        from ..algorithm.contracts import output_items
        from ..command.arguments import read_input, takes_many

        given = step.inputs[par.name]
        if not any(isinstance(one, Made) for one in given):
            texts = [str(one) for one in given]
            single = isinstance(par.marker, (Layer, Surface)) or not takes_many(par)
            return read_input(par, texts[0] if single else texts, step.crs)
        found: dict[str, Any] = {}
        for one in given:
            if isinstance(one, Made):
                earlier = self.by_name[one.step]
                made = {o.name: v for o, v in output_items(earlier.spec, earlier.result)}
                if not isinstance(par.marker, LayerSet):
                    name = _told(one, self.by_name, par)
                    if name not in made:
                        raise LayerMissing(
                            f"[{step.name}] {par.name}: step {one.step} made no {name} this time."
                        )
                    return made[name]
                found |= {n: v for n, v in made.items() if one.layer in (None, n) and hasattr(v, "geometry")}
            else:
                found |= read_input(par, [str(one)], step.crs)
        return found

    def _run(self, step: Step) -> None:
        from ..cache.kept_results import pack

        step.because = self.why(step)
        started = time.perf_counter()
        with collecting_notes() as notes, warnings.catch_warnings(record=True) as caught:
            warnings.simplefilter("ignore")
            warnings.simplefilter("always", DataWarning)
            try:
                arguments = {
                    par.name: self._input(step, par)
                    for par in step.spec.parameters
                    if par.name in step.inputs
                } | step.values
                positional = [
                    arguments.pop(p.name)
                    for p in step.spec.parameters
                    if p.positional and p.name in arguments
                ]
                step.result = step.spec.function(*positional, **arguments)
            except CastshedError as error:
                raise type(error)(f"[{step.name}] {error}") from error
        step.notes = [*notes, *(str(w.message) for w in caught)]  # those of plugins are caught
        arrays = pack(step.spec, step.result, step.notes)
        if self.store is not None and not step.forgetful:
            self.store.put(step.key, arrays, f"step {step.name}")
        step.state, step.seconds = RAN, time.perf_counter() - started

    def run(self) -> None:
        """Run every step whose result is not kept; afterwards every step has its result."""
        for step in self.steps:
            if not self._recall(step):
                self._run(step)


_KEY: Final = "steps_fingerprint"


def _target(chain: Chain, step: Step) -> str:
    assert step.out is not None
    return str(chain.path.parent / step.out)


def _same_layers(path: Path, names: list[str], key: str) -> bool:
    """Whether the layers that lie there were made under that fingerprint."""
    if not holds_geopackage(path):
        return False
    there = contents(path)
    for name in names:
        told = read_lineage(path, name) if name in there else None
        if told is None or json.loads(told).get(_KEY) != key:
            return False
    return True


def _same_folder(folder: Path, step: Step) -> bool:
    """Whether the folder holds, byte for byte, what was written under that fingerprint."""
    files = step.written.get("files")
    if step.written.get("key") != step.key or not isinstance(files, dict) or not files:
        return False
    return all(_sha(folder / name) == digest for name, digest in files.items())


def _sha(path: Path) -> str:
    try:
        return hashlib.sha256(path.read_bytes()).hexdigest()
    except OSError:
        return ""


def _names(step: Step, target: str) -> list[str]:
    ref = parse_reference(target)
    always = [o.name for o in step.spec.outputs if not getattr(o.marker, "only_with", "")]
    return [ref.layer] if ref.layer else always


def _is_there(chain: Chain, step: Step) -> bool:
    target = _target(chain, step)
    if step.forgetful:
        return False
    if step.makes_files:
        return _same_folder(Path(target), step)
    return _same_layers(parse_reference(target).path, _names(step, target), step.key)


def _lineage(step: Step) -> str:
    inputs = {name: " ".join(map(str, given)) for name, given in step.inputs.items()}
    values = {p.name: step.values.get(p.name, p.default) for p in step.spec.parameters if not p.is_input}
    told: dict[str, Any] = json.loads(lineage_text(step.spec, inputs, values))
    return json.dumps(told | {"step": step.name, _KEY: step.key}, ensure_ascii=False, indent=1)


def _kept_layers(step: Step, result: Any) -> dict[str, tuple[Any, tuple[str, ...]]]:
    """Name the layers of a result as they are kept: STEP_LAYER."""
    from ..algorithm.contracts import output_items

    if step.makes_files:
        return {}
    return {
        f"{step.name}_{output.name}": (
            value,
            output.marker.geometry if isinstance(output.marker, Layer) else (),
        )
        for output, value in output_items(step.spec, result)
        if isinstance(output.marker, (Layer, Surface))
    }


def check_outputs(chain: Chain, keep: Path | None, *, replace: bool) -> None:
    """Refuse what cannot be written, before any step is run.

    Raises
    ------
    OutputExists, OutputFailed, UsageError
        Something else lies there, it cannot be written, or two steps write to one place.
    """
    seen: dict[str, str] = {}
    for step in chain.steps:
        if step.out is None:
            continue
        target = _target(chain, step)
        places = (
            [target]
            if step.makes_files
            else [f"{parse_reference(target).path}:{n}" for n in _names(step, target)]
        )
        for place in places:
            if place in seen:
                raise UsageError(
                    f"Steps {seen[place]} and {step.name} both write {place}; give one another out."
                )
            seen[place] = step.name
        if not _is_there(chain, step):
            check_target(step.spec, target, replace=replace, given=step.values | step.inputs)
    if keep is None:
        return
    for step in chain.steps:
        names = [f"{step.name}_{o.name}" for o in step.spec.outputs if isinstance(o.marker, (Layer, Surface))]
        if names and not _same_layers(keep, names, step.key):
            check_output(keep, names, replace=replace)


def write_outputs(chain: Chain, keep: Path | None, *, replace: bool) -> dict[str, Mapping[str, int]]:
    """Write what the steps are asked to leave; tell the rows, cells or bytes of each that was written.

    Raises
    ------
    OutputExists, OutputFailed
        It cannot be written.
    """
    written: dict[str, Mapping[str, int]] = {}
    for step in chain.steps:
        if step.out is not None and not _is_there(chain, step):
            target = _target(chain, step)
            written[step.name] = write_result(
                step.spec, step.result, target, replace=replace, lineage=_lineage(step)
            ).counts
            if step.makes_files:
                files = step.result.files if isinstance(step.result, FolderContents) else step.result
                layers = step.result.layers if isinstance(step.result, FolderContents) else {}
                step.written = {
                    "key": step.key,
                    "files": {name: _sha(Path(target) / name) for name in [*files, *layers]},
                }
        if keep is not None:
            kept = _kept_layers(step, step.result)
            if kept and not _same_layers(keep, list(kept), step.key):
                write_layers(
                    keep,
                    {name: value for name, (value, _) in kept.items()},
                    replace=replace,
                    lineage=_lineage(step),
                    words=f"step {step.name}: castshed {step.spec.name}",
                    types={name: types for name, (_, types) in kept.items()},
                )
    return written
