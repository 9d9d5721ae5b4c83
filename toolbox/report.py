"""What a command says: words and progress on stderr, one JSON object on stdout; and the notes it collects.

Algorithms report progress through `progress`; nothing is shown unless a command has opened a `Reporter` on a terminal.
Imports nothing heavy.

Python keeps one list of warnings for all threads, so that of two calls at the same time one would get the notes of the
other, or none. Where notes are being collected they go to the collector of this call, threads begun by it included;
where nobody collects they are warnings like any other. Imports nothing heavy.
"""

from __future__ import annotations

import contextlib
import contextvars
import json
import math
import sys
import time
import warnings
from collections.abc import Callable, Iterator, Mapping
from typing import Any, Final, Protocol

from .errors import DataWarning

Step = Callable[[float], None]
Context = contextlib.AbstractContextManager


class _Line:
    """How far the whole work is, from 0 to 1, and what is being done; pieces of work lie in pieces of the line."""

    def __init__(self, show: Callable[[float, str], object]) -> None:
        self._show = show
        self._at = 0.0
        self._end = 1.0
        self._words = ""
        self._stands = False

    def _go(self, place: float) -> None:
        if place > self._at:  # never back
            self._at = min(place, 1.0)
        self._show(self._at, self._words)

    @contextlib.contextmanager
    def piece(self, label: str, end: float, *, stands: bool) -> Iterator[None]:
        """Work from here to a place on the line; it is reached when the work is done, not when it fails.

        Where a label stands, no piece within it changes the words.
        """
        before = self._end, self._words, self._stands
        self._end = min(end, self._end)
        if not self._stands:
            self._words, self._stands = label, stands
        self._go(self._at)
        yield
        self._go(self._end)
        self._end, self._words, self._stands = before

    @contextlib.contextmanager
    def parts(self, label: str, total: float) -> Iterator[Step]:
        """Work of a known size, from here to the end of the piece it lies in."""
        begin, width, done = self._at, self._end - self._at, 0.0

        def step(more: float) -> None:
            nonlocal done
            done += more
            self._go(begin + width * min(done / total, 1.0) if total > 0 else begin)

        with self.piece(label, self._end, stands=False):
            yield step

    @contextlib.contextmanager
    def stages(self, shares: Mapping[str, float], *, stand: bool) -> Iterator[Callable[[str], Context[None]]]:
        """Go through stages with names, each with its share of the piece they lie in."""
        begin, width, whole = self._at, self._end - self._at, math.fsum(shares.values())
        ends, passed = {}, 0.0
        for name, share in shares.items():
            passed += share
            ends[name] = begin + width * passed / whole
        yield lambda name: self.piece(name, ends[name], stands=stand)


_line: contextvars.ContextVar[_Line | None] = contextvars.ContextVar("castshed_progress", default=None)


@contextlib.contextmanager
def progress(label: str, total: float = 1.0) -> Iterator[Step]:
    """Show a long piece of work.

    Parameters
    ----------
    label
        What is being done, as a person would say it (``Finding safe ways``). Within a stage the stage's name stands.
    total
        Size of the work in any unit.

    Yields
    ------
    callable
        Call it with the amount of work just done.
    """
    line = _line.get()
    if line is None:
        yield lambda done: None  # noqa: ARG005  # nobody is watching
        return
    with line.parts(label, total) as step:
        yield step


@contextlib.contextmanager
def stages(shares: Mapping[str, float], *, stand: bool = True) -> Iterator[Callable[[str], Context[None]]]:
    """Show long work that goes through stages.

    Parameters
    ----------
    shares
        Name of each stage in their order, as a person would say it, and the seconds it took where it was measured.
    stand
        Whether the names stand while longer work within a stage has a name of its own.

    Yields
    ------
    callable
        Call it with the name of a stage and work ``with`` what it gives.

    Examples
    --------
    >>> with stages({"Reading": 1.0, "Working": 3.0}) as stage:
    ...     with stage("Reading"):
    ...         pass
    """
    line = _line.get()
    if line is None:
        yield lambda name: contextlib.nullcontext()  # noqa: ARG005  # nobody is watching
        return
    with line.stages(shares, stand=stand) as stage:
        yield stage


def plain(value: Any) -> Any:
    """Turn numpy numbers, paths and not-a-number into what JSON knows."""
    if isinstance(value, Mapping):
        return {str(k): plain(v) for k, v in value.items()}
    if isinstance(value, (list, tuple)):
        return [plain(v) for v in value]
    if isinstance(value, (str, bool, int)) or value is None:
        return value
    if hasattr(value, "item"):
        value = value.item()
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    return value if isinstance(value, (str, bool, int)) else str(value)


def _number(value: float) -> str:
    return f"{value:,.1f}" if abs(value) >= 100.0 else f"{value:.4g}"


class Counts(Protocol):
    """What was written: rows of each layer, cells of each coverage, bytes of each file."""

    @property
    def features(self) -> Mapping[str, int]: ...  # noqa: D102
    @property
    def cells(self) -> Mapping[str, int]: ...  # noqa: D102
    @property
    def bytes(self) -> Mapping[str, int]: ...  # noqa: D102


REPORT_SCHEMA: Final[dict[str, Any]] = {
    "$schema": "https://json-schema.org/draft/2020-12/schema",
    "title": "What --json says of an algorithm's run",
    "type": "object",
    "required": ["algorithm", "out", "features", "cells", "bytes", "figures", "warnings", "seconds"],
    "additionalProperties": False,
    "properties": {
        "algorithm": {"type": "string", "description": "The command."},
        "out": {"type": "string", "description": "Where the result went, as it was asked for."},
        **{
            name: {
                "type": "object",
                "description": words,
                "additionalProperties": {"type": "integer", "minimum": 0},
            }
            for name, words in (
                ("features", "Rows of each layer written."),
                ("cells", "Cells of each coverage written."),
                ("bytes", "Bytes of each file written."),
            )
        },
        "figures": {
            "type": "object",
            "description": "The few numbers that matter; the ending of a name is its unit: _m, _s, _mps, _l.",
            "additionalProperties": {"type": ["number", "string", "boolean", "null", "array", "object"]},
        },
        "warnings": {"type": "array", "items": {"type": "string"}, "description": "The notes, in order."},
        "seconds": {"type": "number", "minimum": 0, "description": "How long it took."},
    },
}
"""JSON Schema of the one object that every algorithm says with --json."""

_UNITS: Final = {"_m": "length", "_mps": "speed", "_s": "time", "_l": "volume"}


def _figure(key: str, value: Any) -> tuple[str, str]:
    """Name a figure for people, with its units in place of the ending of its name."""
    if isinstance(value, (int, float)) and not isinstance(value, bool):
        for ending, kind in _UNITS.items():
            if key.endswith(ending) and math.isfinite(value):
                from .units import in_words

                return key.removesuffix(ending).replace("_", " "), in_words(float(value), kind)
    told = _number(value) if isinstance(value, float) else str(value)
    return key.replace("_", " "), told


class Reporter:
    """One command's voice. Quiet and JSON keep stderr and stdout apart."""

    def __init__(self, *, quiet: bool = False, as_json: bool = False) -> None:
        self.quiet = quiet
        self.as_json = as_json
        self.started = time.perf_counter()
        self.warnings: list[str] = []

    @contextlib.contextmanager
    def open(self) -> Iterator[None]:
        """Show progress on a terminal while the work runs."""
        if self.quiet or not sys.stderr.isatty():
            yield
            return
        from rich.console import Console
        from rich.progress import BarColumn, Progress, TextColumn, TimeElapsedColumn

        bar = Progress(
            TextColumn("{task.description:<34}"),
            BarColumn(bar_width=28),
            TextColumn("{task.percentage:>3.0f} %"),
            TimeElapsedColumn(),
            console=Console(stderr=True),
            transient=True,
        )
        task: Any = None

        def show(place: float, words: str) -> None:
            nonlocal task
            if task is None:  # what is done at once shows nothing
                task = bar.add_task(words, total=1.0)
            bar.update(task, completed=place, description=words)

        with bar:
            token = _line.set(_Line(show))
            try:
                yield
            finally:
                _line.reset(token)

    def warn(self, text: str) -> None:
        """Keep a warning for the report, and say it unless quiet."""
        if text in self.warnings:
            return
        self.warnings.append(text)
        if not self.quiet and not self.as_json:
            print(f"note: {text}", file=sys.stderr)

    def say(self, text: str) -> None:
        """Say a line to people."""
        if not self.quiet and not self.as_json:
            print(text)

    def finish(
        self,
        name: str,
        out: str,
        written: Counts,
        figures: Mapping[str, Any],
        *,
        last: str = "",
        then: str = "",
    ) -> None:
        """Close the command with a table for people or one JSON object for machines.

        Parameters
        ----------
        name, out
            The command, and where its result went.
        written
            Rows of layers, cells of coverages and bytes of files.
        figures
            The few numbers that matter; where there are any they are the table, and what was written is one line.
        last, then
            The result in a sentence, said once more where the screen ends, and the command to run next.
        """
        seconds = round(time.perf_counter() - self.started, 3)
        if self.as_json:
            body = {
                "algorithm": name,
                "out": out,
                "features": dict(written.features),
                "cells": dict(written.cells),
                "bytes": dict(written.bytes),
                "figures": dict(figures),
                "warnings": self.warnings,
                "seconds": seconds,
            }
            print(json.dumps(plain(body), ensure_ascii=False))
            return
        if self.quiet:
            return
        from rich.console import Console
        from rich.table import Table

        table = Table(box=None, pad_edge=False, show_header=False)
        rows = [(key, value) for key, value in figures.items() if isinstance(value, (str, int, float))]
        for key, value in rows:
            table.add_row(*_figure(key, value))
        if not rows:
            for kind, unit in ((written.features, ""), (written.cells, " cells"), (written.bytes, " bytes")):
                for layer, count in kind.items():
                    table.add_row(layer, f"{count:,}{unit}")
        console = Console()
        console.print(table)
        if rows:
            parts = [
                f"{len(kind)} {one if len(kind) == 1 else one + 's'}"
                for kind, one in (
                    (written.features, "layer"),
                    (written.cells, "coverage"),
                    (written.bytes, "file"),
                )
                if kind
            ]
            console.print(f"written: {', '.join(parts)}", highlight=False, soft_wrap=True)
        console.print(f"{name}: {out} in {seconds:.1f} s", highlight=False, soft_wrap=True)
        for line in (last, then):
            if line:
                console.print(line, highlight=False, soft_wrap=True, markup=False)


_collected: Final[contextvars.ContextVar[list[str] | None]] = contextvars.ContextVar(
    "castshed_notes", default=None
)


def note(text: str, *, stacklevel: int = 1) -> None:
    """Tell something about the data to whoever collects notes, or as a `DataWarning`.

    Parameters
    ----------
    text
        What was found and done.
    stacklevel
        How many calls above the caller the warning is shown at, as in `warnings.warn`.
    """
    found = _collected.get()
    if found is None:
        warnings.warn(text, DataWarning, stacklevel=stacklevel + 1)
    else:
        found.append(text)


@contextlib.contextmanager
def collecting_notes() -> Iterator[list[str]]:
    """Collect the notes of the work within, in their order; those of other threads' work are not among them.

    Examples
    --------
    >>> with collecting_notes() as found:
    ...     note("two rows were left out")
    >>> found
    ['two rows were left out']
    """
    found: list[str] = []
    token = _collected.set(found)
    try:
        yield found
    finally:
        _collected.reset(token)
