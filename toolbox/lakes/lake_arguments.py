"""What is run over many lakes: an algorithm with its arguments, a placeholder for each lake's, or a steps file.

``{lake}`` and ``{name}`` stand in the file for a lake's file and name. The ``out`` of a step names a place within the
lake's own folder of results. All other file names are relative to the steps file, as ever.
"""

from __future__ import annotations

import contextlib
import functools
import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path, PurePosixPath
from typing import Any, Final

import typer

from ..algorithm import catalogue
from ..algorithm.spec import Spec
from ..cache.kept_calls import of_code
from ..cache.store import keeping_by_default
from ..command.arguments import read_value
from ..command.command import make_command
from ..command.outputs import lineage_text
from ..command.run_command import run
from ..errors import UsageError
from ..layers.reading import Reference, parse_reference
from ..parameters.markers import BookFile, FileSet, FolderSet, Layer
from ..report import Counts, Reporter, plain
from ..steps.steps import Chain, check_outputs, write_outputs
from ..steps.steps_file import Made, Step, read_tables, steps_of
from .lake_work import LakeLayer, filled, made_layers, names_lake

_OURS: Final = ("--out", "-o", "--replace", "--json", "--quiet", "-q")


class _Listener(Reporter):
    """Hears what a command would say."""

    def __init__(self) -> None:
        super().__init__(quiet=True)
        self.features: dict[str, int] = {}

    def finish(
        self,
        name: str,  # noqa: ARG002  # as its parent's
        out: str,  # noqa: ARG002
        written: Counts,
        figures: Mapping[str, Any],  # noqa: ARG002
        *,
        last: str = "",  # noqa: ARG002
        then: str = "",  # noqa: ARG002
    ) -> None:
        files = {f"{name} (bytes)": count for name, count in written.bytes.items()}
        self.features = {
            str(k): int(v) for k, v in plain({**written.features, **written.cells, **files}).items()
        }


@functools.lru_cache(maxsize=16)
def _spec(algorithm: str, folders: str) -> Spec:  # noqa: ARG001  # where plugins lie is part of the key
    """Find an algorithm once for all lakes of a worker: looking through what is installed costs a tenth of a lake."""
    return catalogue.load(algorithm)


@dataclass(frozen=True)
class AlgorithmWork:
    """An algorithm over many lakes; see `castshed.toolbox.lakes.lake_work.LakeWork`."""

    name: str
    told: str
    typed: Mapping[str, Any]
    options: Mapping[str, Any]
    crs: str | None
    folders: str
    """Where the plugins lie, which a worker elsewhere is told."""

    @property
    def spec(self) -> Spec:
        """The algorithm."""
        return _spec(self.name, self.folders)

    @property
    def folder(self) -> bool:
        """Whether it writes a folder."""
        return isinstance(self.spec.outputs[0].marker, (FileSet, FolderSet))

    @property
    def layers(self) -> tuple[LakeLayer, ...]:
        """Its layers."""
        return tuple(LakeLayer(o.name, o.marker.geometry) for o in made_layers(self.spec, self.typed))

    @property
    def others(self) -> tuple[str, ...]:
        """Its outputs that are no vector layers."""
        return tuple(o.name for o in self.spec.outputs if not isinstance(o.marker, Layer))

    def given(self, lake: str, path: Path) -> Mapping[str, Any]:
        """Fill its arguments for one lake."""
        return {name: filled(value, lake, path) for name, value in self.typed.items()}

    def inputs(self, given: Mapping[str, Any]) -> Iterator[tuple[str, Sequence[str], Any]]:
        """List the files its inputs name."""
        for par in self.spec.parameters:
            value = given[par.name]
            if par.is_input and value:
                yield (
                    par.name,
                    [str(v) for v in value] if isinstance(value, list) else [str(value)],
                    par.marker,
                )

    def do(self, given: Mapping[str, Any], out: Path) -> tuple[dict[str, int], tuple[str, ...]]:
        """Run it as its command would."""
        heard = _Listener()
        run(self.spec, given, str(out), replace=True, crs=self.crs, reporter=heard)
        return heard.features, tuple(heard.warnings)

    def lineage(self, lakes: Sequence[str]) -> str:
        """Write down its arguments and the lakes."""
        inputs = {p.name: str(v) for p in self.spec.parameters if p.is_input and (v := self.typed[p.name])}
        return lineage_text(self.spec, inputs, {**self.options, "lakes": list(lakes)})


def parsed(spec: Spec, arguments: Sequence[str]) -> tuple[dict[str, Any], str | None]:
    """Read the algorithm's own arguments as its command would; return what was typed, and its --crs.

    Raises
    ------
    UsageError
        They name no lake, hold an option of over-lakes, or are not understood.
    """
    folder_out = isinstance(spec.outputs[0].marker, (FileSet, FolderSet))
    if isinstance(spec.outputs[0].marker, BookFile) or not any(p.positional for p in spec.parameters):
        raise UsageError(
            f"{spec.name} does not work lake by lake; over-lakes runs what reads a lake and writes anew."
        )
    ours = [a for a in arguments if a.partition("=")[0] in _OURS]
    if ours:
        raise UsageError(f"{ours[0]} belongs to over-lakes; write it before the name of the algorithm.")
    if not any(names_lake(a) for a in arguments):
        raise UsageError(
            f"The arguments of {spec.name} name no lake; write {{lake}} where its file goes, as in '{{lake}}:depth'."
        )
    command = typer.main.get_command(make_command(spec))
    typed = [*arguments, "--out", "made" if folder_out else "made.gpkg"]
    try:
        found: dict[str, Any] = dict(command.make_context(spec.name, typed).params)
    except typer.Exit as stop:  # its help was asked for and shown
        raise SystemExit(stop.exit_code) from None
    except Exception as error:
        words = getattr(error, "format_message", None)  # what typer raises for usage; nothing else has it
        if words is None:
            raise
        raise UsageError(f"{spec.name}: {words()}") from None
    given = {p.name: list(v) if isinstance(v := found.get(p.name), tuple) else v for p in spec.parameters}
    return given, found.get("crs")


def _read_options(spec: Spec, given: Mapping[str, Any]) -> dict[str, Any]:
    """Read the options that are no files, so that a wrong one is told before any work."""
    found = {}
    for par in spec.parameters:
        value = given[par.name]
        if par.is_input:
            continue
        holds = value is not None and value != []
        whole = holds and not names_lake(value)
        found[par.name] = read_value(par, value) if whole else value if holds else par.default
    return found


def algorithm_work(algorithm: str, arguments: Sequence[str], folders: str) -> AlgorithmWork:
    """Make work of an algorithm and its arguments.

    Parameters
    ----------
    algorithm, arguments
        As on its own command line, with placeholders.
    folders
        Where plugins lie, as `catalogue.FOLDERS` of the environment names them.

    Raises
    ------
    UsageError, PluginError
        There is none of that name, or the arguments are not understood.
    """
    entry = catalogue.entries().get(algorithm)
    spec = catalogue.load(algorithm)
    assert entry is not None
    typed, crs = parsed(spec, arguments)
    options = _read_options(spec, typed)
    inputs = {p.name: typed[p.name] for p in spec.parameters if p.is_input}
    told = json.dumps(plain([algorithm, of_code(entry), inputs, options, crs]))
    return AlgorithmWork(algorithm, told, typed, options, crs, folders)


@functools.lru_cache(maxsize=16)
def _steps(tables: str, home: Path, folders: str) -> tuple[Step, ...]:  # noqa: ARG001  # where plugins lie is part of the key
    """Read the steps once for all lakes of a worker, the placeholders still in them."""
    return tuple(steps_of(json.loads(tables), home))


def _moved(ref: Reference, home: Path, lake: str, path: Path) -> Reference:
    """Fill a file name of the steps file; what is absolute then is no longer relative to the file's folder."""
    within = str(ref.path.relative_to(home)) if ref.path.is_relative_to(home) else str(ref.path)
    return Reference(home / filled(within, lake, path), filled(ref.layer, lake, path))


def _files_of(step: Step) -> Iterator[tuple[str, Reference, Any]]:
    markers = {p.name: p.marker for p in step.spec.parameters}
    for name, given in step.inputs.items():
        for one in given:
            if isinstance(one, Reference):
                yield name, one, markers[name]


def _out(step: Step) -> Reference:
    assert step.out is not None
    return parse_reference(step.out)


@dataclass(frozen=True)
class StepsWork:
    """A steps file over many lakes; see `castshed.toolbox.lakes.lake_work.LakeWork`."""

    name: str
    told: str
    tables: str
    """The file's tables as JSON: a worker need not see the file."""
    home: Path
    folders: str

    @property
    def folder(self) -> bool:
        """Whether a lake's result is a folder: always, for steps may leave several files."""
        return True

    @property
    def steps(self) -> tuple[Step, ...]:
        """The steps with the placeholders still in them."""
        return _steps(self.tables, self.home, self.folders)

    @property
    def layers(self) -> tuple[LakeLayer, ...]:
        """Vector layers the steps leave."""
        found = []
        for step in self.steps:
            if step.out is None or step.makes_files:
                continue
            ref = _out(step)
            outputs = made_layers(step.spec, step.values | step.inputs)
            for k, output in enumerate(outputs):
                name = ref.layer if ref.layer and k == 0 else output.name
                found.append(LakeLayer(name, output.marker.geometry, str(ref.path)))
        return tuple(found)

    @property
    def others(self) -> tuple[str, ...]:
        """What the steps leave that is no vector layer."""
        kept = [s for s in self.steps if s.out is not None]
        return tuple(
            f"{s.name}: {o.name}" for s in kept for o in s.spec.outputs if not isinstance(o.marker, Layer)
        )

    def given(self, lake: str, path: Path) -> Mapping[str, Any]:
        """Tell the lake's name and file."""
        return {"lake": lake, "path": path}

    def inputs(self, given: Mapping[str, Any]) -> Iterator[tuple[str, Sequence[str], Any]]:
        """List the files all steps read."""
        for step in self.steps:
            for name, ref, marker in _files_of(step):
                moved = _moved(ref, self.home, given["lake"], given["path"])
                yield f"{step.name}.{name}", [str(moved.path)], marker

    def _filled(self, lake: str, path: Path, out: Path) -> list[Step]:
        """Copy the steps for one lake."""
        return [
            replace(
                step,
                inputs={
                    name: [
                        one if isinstance(one, Made) else _moved(one, self.home, lake, path) for one in given
                    ]
                    for name, given in step.inputs.items()
                },
                values={name: filled(value, lake, path) for name, value in step.values.items()},
                out=None if step.out is None else str(out / filled(step.out, lake, path)),
                parts={},
                notes=[],
                written={},
            )
            for step in self.steps
        ]

    def do(self, given: Mapping[str, Any], out: Path) -> tuple[dict[str, int], tuple[str, ...]]:
        """Run the steps in this process; nothing is written before the last one is through."""
        steps = self._filled(given["lake"], given["path"], out)
        chain = Chain(self.home / self.name, None, steps=steps)
        made: list[Path] = []
        with keeping_by_default():
            chain.run()
            try:
                for step in steps:
                    if step.out is not None:
                        parent = _out(step).path.parent
                        made += [p for p in (parent, *parent.parents) if not p.exists()]
                        parent.mkdir(parents=True, exist_ok=True)
                check_outputs(chain, None, replace=True)
                written = write_outputs(chain, None, replace=True)
            except BaseException:
                for place in sorted(set(made), reverse=True):
                    with contextlib.suppress(OSError):
                        place.rmdir()  # only an empty one goes
                raise
        rows: dict[str, int] = {}
        for name, counts in written.items():
            for layer, count in counts.items():
                rows[layer if layer not in rows else f"{name} {layer}"] = int(count)
        return rows, tuple(f"{s.name}: {note}" for s in steps for note in s.notes)

    def lineage(self, lakes: Sequence[str]) -> str:
        """Write down the steps and the lakes."""
        body = json.loads(lineage_text(self.steps[0].spec, {}, {"lakes": list(lakes)}))
        body |= {"made_by": f"castshed over-lakes {self.name}", "steps": json.loads(self.tables)}
        return json.dumps(body, ensure_ascii=False, indent=1)


def _check_outs(file: str, steps: Sequence[Step]) -> None:
    """Refuse an ``out`` that would leave the lake's folder, or that two steps share."""
    if all(step.out is None for step in steps):
        raise UsageError(
            f"No step of {file} has an out, so that nothing would be left; give one to the last."
        )
    seen: dict[tuple[str, str], str] = {}
    for step in steps:
        if step.out is None:
            continue
        ref = _out(step)
        place = PurePosixPath(ref.path.as_posix())
        if ref.path.is_absolute() or ".." in place.parts or "{lake}" in step.out:
            raise UsageError(
                f"[{step.name}] out is '{step.out}'; over many lakes it is a place in each lake's own folder of "
                "results, such as 'today.gpkg', in which only {name} may stand."
            )
        names = [""] if step.makes_files else [ref.layer or o.name for o in step.spec.outputs]
        for name in dict.fromkeys(names):
            if (twin := seen.setdefault((str(place), name), step.name)) != step.name:
                raise UsageError(f"Steps {twin} and {step.name} both write {step.out}; give one another out.")


def steps_work(path: Path, folders: str) -> StepsWork:
    """Make work of a steps file.

    Parameters
    ----------
    path
        The file.
    folders
        Where plugins lie, as `castshed.toolbox.algorithm.catalogue.FOLDERS` of the environment names them.

    Raises
    ------
    UsageError, DataError, FileMissing, PluginError
        It cannot be read, a step is not what it should be, no step names a lake, or none leaves anything.
    """
    told = read_tables(path)
    home = path.absolute().parent
    steps = steps_of(told, home)
    if not any(names_lake(ref.path) for step in steps for _, ref, _ in _files_of(step)):
        raise UsageError(
            f'The steps of {path} name no lake; write {{lake}} where its file goes, as in depth = "{{lake}}:depth".'
        )
    _check_outs(str(path), steps)
    counts = []
    for step in steps:
        inputs = {
            name: [f"@{one.step}:{one.layer}" if isinstance(one, Made) else f":{one.layer}" for one in given]
            for name, given in step.inputs.items()
        }
        values = {name: repr(value) for name, value in sorted(step.values.items())}
        counts.append([step.name, step.spec.name, of_code(step.entry), inputs, values, step.out, step.crs])
    tables = json.dumps(told, ensure_ascii=False)
    return StepsWork(path.name, json.dumps(plain(counts)), tables, home, folders)
