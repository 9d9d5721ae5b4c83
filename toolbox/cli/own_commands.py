"""The commands that are no algorithms, and the first page of help: every command under its step of the job.

Written with rich's console alone: the help of a single command may load what it likes, this page is what people
and scripts meet first and most often.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Final

import typer
from rich.console import Console
from rich.text import Text

from ..algorithm import catalogue
from ..command.run_command import guarded
from ..report import plain

if TYPE_CHECKING:
    from ..report import Reporter
    from ..steps.steps import Chain


def _listing_words() -> None:
    for entry in catalogue.entries().values():
        print(f"{entry.name}: {entry.summary or entry.problem}")


def _describe_words(body: dict[str, Any]) -> None:
    print(f"{body['id']} {body['version']}\n{body['description']}\n")
    for kind in ("inputs", "outputs"):
        print(f"{kind}:")
        for name, one in body[kind].items():
            schema = one["schema"]
            what = schema.get("x-unit") or schema.get("type") or "file"
            needed = " (needed)" if one.get("minOccurs") else ""
            print(f"  {name}: {what}{needed} {one.get('description', '')}".rstrip())


def _describe(
    name: Annotated[
        str | None,
        typer.Argument(
            metavar="NAME",
            help="The algorithm; without one, all are listed.",
            show_default=False,
            autocompletion=lambda incomplete: [n for n in catalogue.entries() if n.startswith(incomplete)],
        ),
    ] = None,
    as_json: Annotated[
        bool, typer.Option("--json", help="As a process description of OGC API - Processes, in JSON.")
    ] = False,
) -> None:
    """Describe an algorithm to a machine: its inputs, options and outputs with their schemas."""

    def work() -> None:
        from ..algorithm.describe import describe, describe_all, version_of

        found = catalogue.entries()
        if name is None:
            if as_json:
                print(json.dumps(describe_all(found), ensure_ascii=False, indent=1))
            else:
                _listing_words()
            return
        spec = catalogue.load(name)
        body = plain(describe(spec, version_of(found[name])))
        if as_json:
            print(json.dumps(body, ensure_ascii=False, indent=1))
        else:
            _describe_words(body)

    guarded("describe", work)


def _say_steps(chain: Chain, reporter: Reporter, *, look: bool) -> None:
    for step in chain.steps:
        told = f" in {step.seconds:.1f} s" if step.seconds else ""
        reporter.say(f"{step.name}: {step.spec.name}, {step.state}{told} ({step.because})")
        if look:
            for part, words in sorted(step.parts.items()):
                reporter.say(f"    {part}: {words[:16]}")


def _run_steps(
    file: Annotated[Path, typer.Argument(metavar="STEPS.toml", help="The steps file.", show_default=False)],
    keep: Annotated[
        Path | None,
        typer.Option(
            "--keep",
            metavar="FILE.gpkg",
            help="Write every layer between the steps too, as STEP_LAYER.",
            show_default=False,
        ),
    ] = None,
    look: Annotated[
        bool,
        typer.Option(
            "--look", help="Only tell what would be run, and what has changed; run and write nothing."
        ),
    ] = False,
    replace: Annotated[
        bool, typer.Option("--replace", help="Replace what is there under those names.")
    ] = False,
    as_json: Annotated[bool, typer.Option("--json", help="One JSON object on stdout, for scripts.")] = False,
    quiet: Annotated[bool, typer.Option("--quiet", "-q", help="Say nothing but errors.")] = False,
) -> None:
    """Run the algorithms of a steps file in one go; only what has changed is run again.

    Each table of the file is a step: run names the algorithm, the other keys are its inputs and options, quantities
    with their unit. An input "@step:layer" is a layer that an earlier step makes; out writes the result of a step.
    castshed plan DAY.toml --show-steps prints such a file to start from.

    A step is run again when its algorithm, the code, a parameter or the content of an input has changed. What is kept
    lies in your own cache folder, which may be emptied at any time; CASTSHED_STORE names another one, or is off.
    """

    def work() -> None:
        from ..cache.store import keeping_by_default
        from ..report import Reporter
        from ..steps.steps import Chain, check_outputs, write_outputs

        reporter = Reporter(quiet=quiet, as_json=as_json)
        with reporter.open(), keeping_by_default() as store:
            chain = Chain(file, store)
            if look:
                chain.look()
                written: dict[str, Any] = {}
            else:
                check_outputs(chain, keep, replace=replace)
                chain.run()
                written = {
                    name: dict(rows) for name, rows in write_outputs(chain, keep, replace=replace).items()
                }
                chain.remember()
        for step in chain.steps:
            for note in step.notes:
                reporter.warn(f"{step.name}: {note}")
        if not as_json:
            _say_steps(chain, reporter, look=look)
            return
        steps = [
            {
                "name": s.name,
                "algorithm": s.spec.name,
                "state": s.state,
                "because": s.because,
                "fingerprint": s.key,
                "made_from": s.parts,
                "seconds": round(s.seconds, 3),
                "wrote": written.get(s.name, {}),
            }
            for s in chain.steps
        ]
        ran = sum(s.state == "ran" for s in chain.steps)
        body = {"algorithm": "run-steps", "steps": steps, "ran": ran, "warnings": reporter.warnings}
        print(json.dumps(plain(body), ensure_ascii=False))

    guarded("run-steps", work)


_EXAMPLES: Final = {
    "describe": "castshed describe boat-hold --json",
    "run-steps": "castshed plan demo_layers/day.toml --show-steps > steps.toml && castshed run-steps steps.toml",
}
_COMMANDS: Final[dict[str, Callable[..., None]]] = {"describe": _describe, "run-steps": _run_steps}
_OVER_LAKES: Final = "over-lakes"


def own_example(name: str) -> str:
    """Tell a line that shows one of `catalogue.OWN`, to be pasted where demo_layers lies."""
    if name == _OVER_LAKES:
        from ..lakes import over_lakes

        return over_lakes.EXAMPLE
    return _EXAMPLES[name]


def own_command(name: str) -> typer.Typer:
    """Build the typer command of one of `catalogue.OWN`."""
    app = typer.Typer(add_completion=False, rich_markup_mode="rich")
    ending = f"Example: {own_example(name)}"
    if name == _OVER_LAKES:
        from ..lakes import over_lakes

        app.command(name=name, context_settings=over_lakes.SETTINGS, epilog=ending)(over_lakes.command)
        return app
    app.command(name=name, epilog=ending)(_COMMANDS[name])
    return app


LEAST_WORDS = 24
"""Narrower than this beside the names, the words go under them."""

Rows = Sequence[tuple[str, str]]


def _lines(console: Console, words: str | Text, room: int) -> list[Text]:
    lines = list((words if isinstance(words, Text) else Text(words)).wrap(console, room))
    for line in lines:
        line.rstrip()
    return lines


def _section(console: Console, title: str, rows: Rows) -> None:
    for line in _lines(console, Text(title, style="bold"), console.width):
        console.print(line)
    left = max(len(name) for name, _ in rows) + 4
    room = console.width - left
    for name, words in rows:
        if room < LEAST_WORDS:
            console.print(Text(f"  {name}", style="cyan"))
            for line in _lines(console, words, max(console.width - 4, 8)):
                console.print(Text("    ").append_text(line))
            continue
        for number, line in enumerate(_lines(console, words, room) or [Text("")]):
            head = Text(f"  {name}".ljust(left), style="cyan") if number == 0 else Text(" " * left)
            console.print(head.append_text(line))
    console.print()


def print_page(
    usage: str, words: str, sections: Mapping[str, Rows], ending: str, console: Console | None = None
) -> None:
    """Print the page.

    Parameters
    ----------
    usage, words, ending
        How the command is called, what it is for, what stands at the end.
    sections
        Title -> rows of name and words; a title without rows is left out.
    console
        Where to print; standard output by default, whose colours follow ``NO_COLOR`` and whether it is a terminal.
    """
    console = console or Console(highlight=False, markup=False, emoji=False)
    for line in _lines(console, Text("Usage: ", style="bold").append(usage, style="not bold"), console.width):
        console.print(line)
    console.print()
    for line in _lines(console, words, console.width):
        console.print(line)
    console.print()
    for title, rows in sections.items():
        if rows:
            _section(console, title, rows)
    for line in _lines(console, ending, console.width):
        console.print(line)
