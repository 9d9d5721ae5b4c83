"""The command that runs an algorithm or a steps file over many lakes, and the table it ends with."""

from __future__ import annotations

import json
import time
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from ..command.run_command import guarded
from ..report import Reporter, plain

if TYPE_CHECKING:
    from .many_lakes import Summary

SETTINGS = {"allow_interspersed_args": False}
"""What follows the algorithm's name is the algorithm's own."""
EXAMPLE = "castshed over-lakes --lakes demo_layers --out structure find-structure '{lake}:depth' --level -4ft --most 8"


def _body(summary: Summary, out: str, warned: list[str], seconds: float) -> dict[str, Any]:
    total: dict[str, int] = {}
    for outcome in summary.outcomes:
        for layer, count in outcome.features.items():
            total[layer] = total.get(layer, 0) + count
    rows = [
        {
            "lake": o.lake,
            "state": o.state,
            "seconds": o.seconds,
            "features": dict(o.features),
            "warnings": list(o.warnings),
            "error": o.error or None,
        }
        for o in summary.outcomes
    ]
    return {
        "algorithm": "over-lakes",
        "runs": summary.algorithm,
        "out": out,
        "features": total,
        "warnings": warned,
        "seconds": seconds,
        "tasks": summary.tasks,
        "failed": len(summary.failed),
        "lakes": rows,
    }


def _show(summary: Summary, out: str, seconds: float) -> None:
    from rich.console import Console
    from rich.table import Table
    from rich.text import Text

    table = Table(box=None, pad_edge=False)
    for title, justify in (("lake", "left"), ("seconds", "right"), ("features", "right"), ("error", "left")):
        table.add_column(title, justify=justify, overflow="fold")  # type: ignore[arg-type]  # a literal of rich's
    for o in summary.outcomes:
        rows = sum(count for name, count in o.features.items() if not name.endswith("(bytes)"))
        count = "" if o.error else f"{rows:,}"
        table.add_row(Text(o.lake), f"{o.seconds:.1f}", count, Text(o.error))
    console = Console()
    console.print(table)
    states = [o.state for o in summary.outcomes]
    words = f"{states.count('done'):,} done, {states.count('kept'):,} done before, {states.count('failed'):,} failed"
    console.print(f"{summary.algorithm}: {words}; {out} in {seconds:.1f} s", highlight=False, soft_wrap=True)


def command(
    name: Annotated[
        str,
        typer.Argument(
            metavar="ALGORITHM|STEPS.toml",
            help="What to run: an algorithm, or a steps file.",
            show_default=False,
        ),
    ],
    arguments: Annotated[
        list[str] | None,
        typer.Argument(
            metavar="[ITS ARGUMENTS]...",
            help="Its inputs and options as on its own command line; {lake} stands for the lake's file, {name} for its "
            "name. They stand in a steps file itself.",
            show_default=False,
        ),
    ] = None,
    *,
    lakes: Annotated[
        list[str],
        typer.Option(
            "--lakes",
            metavar="FOLDER|FILE",
            help="A folder of GeoPackages, a GeoPackage, or a text file that lists them; may be given again.",
            show_default=False,
        ),
    ],
    out: Annotated[
        str,
        typer.Option(
            "--out",
            "-o",
            metavar="FOLDER|FILE",
            help="A folder, for one result a lake; FILE.gpkg or FILE.parquet gathers them, with a column lake.",
            show_default=False,
        ),
    ],
    workers: Annotated[
        int | None,
        typer.Option(
            "--workers",
            min=1,
            metavar="COUNT",
            help="Workers on this machine; one a core.",
            show_default=False,
        ),
    ] = None,
    scheduler: Annotated[
        str | None,
        typer.Option(
            "--scheduler",
            metavar="ADDRESS",
            help="Use the workers of this Dask scheduler instead, such as tls://HOST:8786. They must see the same "
            "files under the same names.",
            show_default=False,
        ),
    ] = None,
    without_tls: Annotated[
        bool,
        typer.Option(
            "--without-tls",
            help="Use a --scheduler that admits everybody who reaches its port; only on a network that is yours alone.",
        ),
    ] = False,
    crs: Annotated[
        str | None,
        typer.Option(
            "--crs",
            metavar="CRS",
            help="Reference system of what is gathered, such as EPSG:5070.",
            show_default=False,
        ),
    ] = None,
    replace: Annotated[
        bool, typer.Option("--replace", help="Replace results that were made from something else.")
    ] = False,
    as_json: Annotated[bool, typer.Option("--json", help="One JSON object on stdout, for scripts.")] = False,
    quiet: Annotated[bool, typer.Option("--quiet", "-q", help="Say nothing but errors.")] = False,
) -> None:
    """Run an algorithm or a steps file over many lakes, one task a lake, on all cores or a Dask cluster.

    What belongs to over-lakes comes first, then the algorithm with its arguments, or a steps file: {lake} and {name}
    stand in it for the lake's file and name, and the out of a step is a place in the lake's own folder of results.

    A lake that fails is tried once more, then reported; it harms no other. Run again, the same command does only what
    is not done or has changed: a result is known by its inputs, parameters and version. The table at the end has a row
    for every lake.
    """

    def work() -> None:
        from .many_lakes import check_all_done, over_lakes

        reporter = Reporter(quiet=quiet, as_json=as_json)
        start = time.perf_counter()
        with reporter.open():
            summary = over_lakes(
                name,
                arguments or [],
                [Path(one) for one in lakes],
                Path(out),
                replace=replace,
                crs=crs,
                workers=workers,
                scheduler=scheduler,
                without_tls=without_tls,
            )
        seconds = round(time.perf_counter() - start, 3)
        for outcome in summary.outcomes:
            for text in outcome.warnings:
                reporter.warn(f"{outcome.lake}: {text}")
        if as_json:
            print(json.dumps(plain(_body(summary, out, reporter.warnings, seconds)), ensure_ascii=False))
        elif not quiet:
            _show(summary, out, seconds)
        check_all_done(summary)

    guarded("over-lakes", work)
