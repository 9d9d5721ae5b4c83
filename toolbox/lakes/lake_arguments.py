"""An algorithm with its arguments as work over many lakes; placeholders stand where each lake's file or name goes."""

from __future__ import annotations

import functools
import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import typer

from ..algorithm import catalogue
from ..algorithm.spec import Spec
from ..cache.fingerprints import of_code
from ..command.arguments import read_value
from ..command.command import make_command
from ..command.outputs import lineage_text
from ..command.run_command import run
from ..errors import UsageError
from ..parameters.markers import BookFile, FileSet, FolderSet, Layer
from ..report import Reporter, plain
from .lake_work import LakeLayer, filled, made_layers, names_lake

_OURS: Final = ("--out", "-o", "--replace", "--json", "--quiet", "-q")


class _Listener(Reporter):
    """Hears what a command would say."""

    def __init__(self) -> None:
        super().__init__(quiet=True)
        self.features: dict[str, int] = {}

    def finish(self, name: str, out: str, features: Mapping[str, int], figures: Mapping[str, Any]) -> None:  # noqa: ARG002  # as its parent's
        self.features = {str(k): int(v) for k, v in plain(features).items()}


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
