"""Where a command's results go: checked before any work, written after it, whole or not at all."""

from __future__ import annotations

import contextlib
import json
import os
import tempfile
from collections.abc import Mapping
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from .errors import OutputExists, OutputFailed, UsageError
from .geopackage import TEMPORARY, check_output
from .layers import parse_reference, write_layers
from .parameters import FileSet, FolderContents, FolderSet, Layer
from .report import plain

if TYPE_CHECKING:
    from .algorithm import Spec


def default_out(spec: Spec) -> str:
    """Say what ``--out`` looks like for this algorithm."""
    if isinstance(spec.outputs[0].marker, (FileSet, FolderSet)):
        return "FOLDER"
    return "FILE.gpkg" if spec.several else "FILE.gpkg[:LAYER]"


def _target_layers(spec: Spec, out: str) -> tuple[Path, list[str]]:
    ref = parse_reference(out)
    if spec.several:
        if ref.layer is not None:
            names = ", ".join(o.name for o in spec.outputs)
            raise UsageError(
                f"{spec.name} makes several layers ({names}); give --out a file only, FILE.gpkg."
            )
        return ref.path, [o.name for o in spec.outputs]
    return ref.path, [ref.layer or spec.outputs[0].name]


def check_target(spec: Spec, out: str, *, replace: bool) -> None:
    """Refuse an output before any work is done.

    Raises
    ------
    OutputExists, OutputFailed, UsageError
        It is there already, cannot be written, or is no name for an output.
    """
    marker = spec.outputs[0].marker
    if not isinstance(marker, (FileSet, FolderSet)):
        check_output(*_target_layers(spec, out), replace=replace)
        return
    folder = Path(out)
    if folder.exists() and not folder.is_dir():
        raise OutputExists(f"{folder} is a file; --out names a folder here.")
    home = folder if folder.exists() else folder.resolve().parent
    if not home.is_dir():
        raise OutputFailed(f"The folder {home} is not there; make it first.")
    if not os.access(home, os.W_OK):
        raise OutputFailed(f"{home} is read-only; choose another folder.")
    if replace or not folder.exists():
        return
    there = {p.name for p in folder.iterdir()}
    taken = sorted(there & set(marker.names)) if marker.names else sorted(there)
    if taken:
        shown = ", ".join(taken[:5])
        raise OutputExists(
            f"{folder} already holds {shown}; add --replace to replace them, or choose another folder."
        )


def lineage_text(spec: Spec, inputs: Mapping[str, str], parameters: Mapping[str, Any]) -> str:
    """Write down what made a layer, from what, with which parameters, when, and the cautions."""
    from importlib import metadata

    from .output.cautions import CAUTIONS

    try:
        version = metadata.version("castshed")
    except metadata.PackageNotFoundError:
        version = "unknown"
    body = {
        "made_by": f"castshed {spec.name}",
        "version": version,
        "time": datetime.now(UTC).isoformat(timespec="seconds"),
        "inputs": dict(inputs),
        "parameters": dict(parameters),
        "cautions": list(CAUTIONS),
    }
    return json.dumps(plain(body), ensure_ascii=False, indent=1)


def _write_files(folder: Path, files: Mapping[str, bytes]) -> list[tuple[Path, Path]]:
    """Write every file beside its place; return (temporary, final) pairs."""
    pairs: list[tuple[Path, Path]] = []
    try:
        for name, content in files.items():
            handle, made = tempfile.mkstemp(prefix=TEMPORARY, suffix=".part", dir=folder)
            pairs.append((Path(made), folder / name))
            with os.fdopen(handle, "wb") as file:
                file.write(content)
                file.flush()
                os.fsync(file.fileno())
            mask = os.umask(0)
            os.umask(mask)
            os.chmod(made, 0o666 & ~mask)
    except OSError:
        for made_path, _ in pairs:
            made_path.unlink(missing_ok=True)
        raise
    return pairs


def write_folder(folder: Path, contents: FolderContents, *, replace: bool, lineage: str) -> None:
    """Write a folder's files and GeoPackages; each is the old one or the new one whole at any moment.

    Raises
    ------
    OutputFailed, OutputExists
        A write failed; files that were there before are as they were.
    """
    fresh = not folder.exists()
    pairs: list[tuple[Path, Path]] = []
    try:
        folder.mkdir(exist_ok=True)
        pairs = _write_files(folder, contents.files)
        if not replace:
            taken = [final.name for _, final in pairs if final.exists()]
            if taken:
                raise OutputExists(
                    f"{folder} already holds {', '.join(taken)}; add --replace to replace them."
                )
        for name, layers in contents.layers.items():
            write_layers(folder / name, layers, replace=replace, lineage=lineage, types=contents.types)
        for made, final in pairs:
            os.replace(made, final)
    except OSError as error:
        if isinstance(error, (OutputExists, OutputFailed)):
            raise
        raise OutputFailed(f"{folder} could not be written ({error}).") from error
    finally:
        for made, _ in pairs:
            made.unlink(missing_ok=True)
        if fresh:
            with contextlib.suppress(OSError):
                folder.rmdir()  # only an empty one goes


def write_result(spec: Spec, result: Any, out: str, *, replace: bool, lineage: str) -> dict[str, int]:
    """Write what an algorithm made.

    Returns
    -------
    dict
        Layer or file name -> number of rows, cells or bytes.
    """
    from .contracts import output_items
    from .water.depth import DepthSurface

    marker = spec.outputs[0].marker
    if isinstance(marker, (FileSet, FolderSet)):
        contents = result if isinstance(result, FolderContents) else FolderContents(files=dict(result))
        write_folder(Path(out), contents, replace=replace, lineage=lineage)
        counts = {name: len(frame) for layers in contents.layers.values() for name, frame in layers.items()}
        return counts | {f"{name} (bytes)": len(content) for name, content in contents.files.items()}
    path, names = _target_layers(spec, out)
    values = [value for _, value in output_items(spec, result)]
    types = {
        n: o.marker.geometry for n, o in zip(names, spec.outputs, strict=True) if isinstance(o.marker, Layer)
    }
    words = f"castshed {spec.name}: {spec.summary}"
    layers = dict(zip(names, values, strict=True))
    write_layers(path, layers, replace=replace, lineage=lineage, words=words, types=types)
    return {n: int(v.depth_m.size) if isinstance(v, DepthSurface) else len(v) for n, v in layers.items()}
