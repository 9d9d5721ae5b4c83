"""What was typed for a parameter, read by its kind of marker, or read through a pipe: asked for as ``-``."""

from __future__ import annotations

import os
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import Any, Final

from .. import units
from ..algorithm.spec import Parameter, Spec
from ..errors import CastshedError, LayerMissing, OutputFailed, UsageError
from ..parameters.markers import (
    DayInput,
    DownloadList,
    Layer,
    LayerSet,
    LogList,
    Many,
    Quantity,
    SeriesInput,
    SourceList,
    Surface,
)
from .outputs import is_listed, read_listed

PIPE: Final = "-"
"""In place of a file: standard input or output, as a GeoJSON text sequence (`text_sequence`); ``-:LAYER`` names one."""


def piped_layer(text: Any) -> str | None:
    """Tell the layer that a pipe is asked for: empty where none is named, None where no pipe is meant.

    Raises
    ------
    UsageError
        There is a colon and no name after it.

    Examples
    --------
    >>> piped_layer("-:holds"), piped_layer("-"), piped_layer("lake.gpkg:holds")
    ('holds', '', None)
    """
    file, colon, name = str(text).strip().partition(":")
    if file != PIPE:
        return None
    if colon and not name:
        raise UsageError(f"'{text}' names no layer after the colon; write {PIPE}:LAYER, or {PIPE} alone.")
    return name


def is_piped(value: Any) -> bool:
    """Whether a pipe is meant by what was typed for an input, or by one of several."""
    given = value if isinstance(value, list) else [value]
    return any(piped_layer(one) is not None for one in given)


class PipedLayers:
    """What comes through the pipe, read once, when the first input asks for it."""

    def __init__(self) -> None:
        self._layers: dict[str, Any] | None = None

    def layers(self, crs: str | None) -> dict[str, Any]:
        """Read all layers that are piped in, in the reference system ``crs`` where one is named.

        Raises
        ------
        UsageError
            Nothing is piped in.
        """
        from ..layers.reading import reprojected
        from ..layers.text_sequence import read_sequence

        if self._layers is None:
            if sys.stdin is None or sys.stdin.isatty():
                raise UsageError(
                    "Nothing is piped in; put a command with --out - before this one, or name a file."
                )
            found = read_sequence(sys.stdin.buffer)
            self._layers = found if crs is None else {n: reprojected(f, crs, n) for n, f in found.items()}
        return self._layers

    def layer(self, usual: str, crs: str | None, named: str = "") -> Any:
        """Take the layer that is named, or else that of the usual name, or the only one.

        Raises
        ------
        UsageError, LayerMissing
            Nothing is piped in, or no such layer.
        """
        found = self.layers(crs)
        wanted = named or usual
        if wanted in found:
            return found[wanted]
        if not named and len(found) == 1:
            return next(iter(found.values()))
        listing = ", ".join(found) or "no layers"
        raise LayerMissing(
            f"Standard input has no layer '{wanted}'; it has: {listing}. Name one, as {PIPE}:LAYER, or a file."
        )


def check_pipe(spec: Spec, as_json: bool) -> None:
    """Refuse a pipe for what does not fit through it.

    Raises
    ------
    UsageError
        The algorithm makes something else than layers, or stdout is wanted for a report too.
    """
    other = [o.name for o in spec.outputs if not isinstance(o.marker, Layer)]
    if other:
        raise UsageError(
            f"{spec.name} makes {', '.join(other)}, and only layers go through a pipe; give --out a file."
        )
    if as_json:
        raise UsageError(
            "--json and a pipe both want standard output; give --out a file, or leave --json away."
        )


def write_pipe(spec: Spec, result: Any, names: Sequence[str]) -> dict[str, int]:
    """Write the layers of a result to standard output under these names; return their numbers of rows.

    Raises
    ------
    OutputFailed
        Standard output cannot be written.
    """
    from ..algorithm.contracts import output_items
    from ..layers.text_sequence import write_sequence

    pairs = dict(zip(names, output_items(spec, result), strict=True))
    layers = {name: value for name, (_, value) in pairs.items()}
    types = {name: output.marker.geometry for name, (output, _) in pairs.items()}
    try:
        write_sequence(sys.stdout.buffer, layers, types)
    except BrokenPipeError:
        # Whoever reads has enough. Python would stumble over the pipe once more when it ends.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    except OSError as error:
        raise OutputFailed(f"Standard output cannot be written ({error}).") from error
    return {name: len(frame) for name, frame in layers.items()}


def takes_many(par: Parameter) -> bool:
    """Whether a parameter may be given several times."""
    return isinstance(par.marker, (Many, LayerSet, SourceList, LogList, DownloadList))


def read_value(par: Parameter, given: Any) -> Any:
    """Turn what was typed into a parameter's value.

    Raises
    ------
    UsageError
        It has no unit, or one of another kind.
    """
    marker = par.marker

    def one(text: Any, kind: Any) -> Any:
        if not isinstance(kind, Quantity):
            return text
        try:
            return units.parse(str(text), kind.kind)
        except CastshedError as error:
            raise type(error)(f"{par.option}: {error}") from None

    if isinstance(marker, Many):
        parts = [p.strip() for text in given for p in str(text).split(",") if p.strip()]
        return tuple(one(part, marker.of) for part in parts)
    return one(given, marker)


def _layer_set(given: Sequence[str], crs: str | None, piped: PipedLayers) -> dict[str, Any]:
    """Read any number of layers, named one by one or as whole files."""
    from ..layers.reading import Reference, list_layers, parse_reference, read_with_lineage

    found: dict[str, Any] = {}
    for text in given:
        if (named := piped_layer(text)) is not None:
            through = {named: piped.layer(named, crs, named)} if named else piped.layers(crs)
            if found.keys() & through.keys():
                raise UsageError("A layer of standard input was given already; rename one.")
            found |= through
            continue
        ref = parse_reference(text)
        kinds = list_layers(ref.path)
        names = [ref.layer] if ref.layer else [n for n, kind in kinds.items() if kind == "features"]
        for name in names:
            if name in found:
                raise UsageError(
                    f"Two layers called {name} were given; write one of them under another name."
                )
            found[name] = read_with_lineage(Reference(ref.path, name), crs=crs)
    return found


def read_input(par: Parameter, given: Any, crs: str | None, piped: PipedLayers | None = None) -> Any:
    """Read an input as it was named: a text, or several where the parameter takes many.

    Raises
    ------
    CastshedError
        It is not there, cannot be read, or does not come through a pipe.
    """
    from ..layers.reading import read_layer, read_surface

    piped = piped or PipedLayers()
    marker = par.marker
    if not isinstance(given, list) and (named := piped_layer(given)) is not None:
        if isinstance(marker, Layer):
            return piped.layer(marker.name, crs, named)
        raise UsageError(f"{par.name}: only layers come through a pipe; name a file.")
    if isinstance(marker, Layer) and is_listed(marker.name, given):
        return read_listed(marker.name, given, crs)
    if isinstance(marker, Layer):
        return read_layer(given, usual=marker.name, crs=crs)
    if isinstance(marker, Surface):
        return read_surface(given, usual=marker.name)
    if isinstance(marker, LayerSet):
        return _layer_set(given, crs, piped)
    if isinstance(marker, SourceList):
        from ..sources import read_source

        return [read_source(text) for text in given]
    if isinstance(marker, DownloadList):
        return list(given)  # told apart by what is in them, all together
    if isinstance(marker, LogList):
        from ..intake.logs.log_table import LogFile

        return [LogFile(Path(text)) for text in given]
    if isinstance(marker, SeriesInput):
        from ..intake.series.series_file import read_series

        return read_series(Path(given), marker.holds)
    if isinstance(marker, DayInput):
        from ..plan.day_file import read_day

        return read_day(Path(given))
    raise AssertionError(marker)
