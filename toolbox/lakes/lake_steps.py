"""A steps file as work over many lakes.

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
from typing import Any

from ..cache.fingerprints import of_code
from ..cache.store import keeping_by_default
from ..command.outputs import lineage_text
from ..errors import UsageError
from ..layers.reference import Reference, parse_reference
from ..parameters.markers import Layer
from ..report import plain
from ..steps.steps import Chain
from ..steps.steps_file import Made, Step, read_tables, steps_of
from ..steps.steps_output import check_outputs, write_outputs
from .lake_work import LakeLayer, filled, made_layers, names_lake


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
