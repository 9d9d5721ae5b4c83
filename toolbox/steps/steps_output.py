"""What the steps of a file leave on disk: the results that are asked for, and the layers between them on wish.

A layer that was made under the same fingerprint is left as it is; anything else that lies there is replaced only when
told to, and refused before any step is run.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from ..command.outputs import check_target, lineage_text, write_result
from ..errors import UsageError
from ..layers.exchange import check_output
from ..layers.geopackage import contents, holds_geopackage, read_lineage
from ..layers.reference import parse_reference
from ..layers.writing import write_layers
from ..parameters.folder_contents import FolderContents
from ..parameters.markers import Layer, Surface

if TYPE_CHECKING:
    from .steps import Chain
    from .steps_file import Step

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
            )
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
