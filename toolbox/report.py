"""What a command says: words and progress on stderr, one JSON object on stdout.

Algorithms report progress through `progress`; nothing is shown unless a command has opened a `Reporter` on a terminal.
Imports nothing heavy.
"""

from __future__ import annotations

import contextlib
import contextvars
import json
import math
import sys
import time
from collections.abc import Callable, Iterator, Mapping
from typing import Any

Step = Callable[[float], None]

_progress: contextvars.ContextVar[Callable[[str, float], contextlib.AbstractContextManager[Step]] | None] = (
    contextvars.ContextVar("castshed_progress", default=None)
)


@contextlib.contextmanager
def progress(label: str, total: float = 1.0) -> Iterator[Step]:
    """Show a long piece of work.

    Parameters
    ----------
    label
        What is being done, as a person would say it (``Finding safe ways``).
    total
        Size of the work in any unit.

    Yields
    ------
    callable
        Call it with the amount of work just done.
    """
    show = _progress.get()
    if show is None:
        yield lambda done: None  # noqa: ARG005  # nobody is watching
        return
    with show(label, total) as step:
        yield step


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

        @contextlib.contextmanager
        def show(label: str, total: float) -> Iterator[Step]:
            task = bar.add_task(label, total=total)
            try:
                yield lambda done: bar.advance(task, done)
            finally:
                bar.update(task, completed=total)

        with bar:
            token = _progress.set(show)
            try:
                yield
            finally:
                _progress.reset(token)

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

    def finish(self, name: str, out: str, features: Mapping[str, int], figures: Mapping[str, Any]) -> None:
        """Close the command with a table for people or one JSON object for machines."""
        seconds = round(time.perf_counter() - self.started, 3)
        if self.as_json:
            body = {
                "algorithm": name,
                "out": out,
                "features": dict(features),
                "warnings": self.warnings,
                "seconds": seconds,
                **figures,
            }
            print(json.dumps(plain(body), ensure_ascii=False))
            return
        if self.quiet:
            return
        from rich.console import Console
        from rich.table import Table

        table = Table(box=None, pad_edge=False, show_header=False)
        for layer, count in features.items():
            table.add_row(layer, f"{count:,}")
        for key, value in figures.items():
            if isinstance(value, (str, int, float)):
                table.add_row(
                    key.replace("_", " "), _number(value) if isinstance(value, float) else str(value)
                )
        console = Console()
        console.print(table)
        console.print(f"{name}: {out} in {seconds:.1f} s", highlight=False, soft_wrap=True)
