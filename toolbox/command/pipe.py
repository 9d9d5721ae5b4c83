"""A pipe in place of a file: asked for as ``-``, its layers read once and written in the form of `text_sequence`."""

from __future__ import annotations

import os
import sys
from collections.abc import Sequence
from typing import Any, Final

from ..algorithm.spec import Spec
from ..errors import LayerMissing, OutputFailed, UsageError
from ..parameters.markers import Layer

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
