"""The door: one typer application, its commands listed without importing them, loaded when one is called."""

from __future__ import annotations

import io
import os
import sys
from pathlib import Path
from typing import Any, Final

import typer
from typer.core import TyperGroup

from ..algorithm.catalogue import FOLDERS, OWN, entries, load_entry
from ..algorithm.spec import STEPS
from ..errors import CastshedError, UsageError

_ENDING: Final = "A planning aid, not for navigation. NAME --help shows one command with an example to paste."
_ABOUT: Final = "Around the algorithms"
_BROKEN: Final = "Cannot be used"
_COMPLETION: Final = "_CASTSHED_COMPLETE"
_ALGORITHMS: Final = "--algorithms"


def _stop(name: str, error: CastshedError) -> typer.Exit:
    print(f"castshed {name}".rstrip() + f": {error}", file=sys.stderr)
    return typer.Exit(error.exit_code)


class _LazyGroup(TyperGroup):
    """Commands stand as names until one is resolved; look-up and the first page are all of typer that is overridden."""

    def resolve_command(self, ctx: Any, args: list[str]) -> Any:
        _list_commands(self)
        name, placeholder, rest = super().resolve_command(ctx, args)
        # -:LAYER is a layer of the pipe; a space before it keeps it from being taken for an option
        rest = [f" {word}" if word.startswith("-:") else word for word in rest]
        if name is None or placeholder is None:
            return name, placeholder, rest
        try:
            app = _command(name)
        except CastshedError as error:
            if ctx.resilient_parsing:  # a shell asks what could come next: nothing after what cannot be used
                return name, placeholder, rest
            raise _stop(name, error) from None
        command = typer.main.get_command(app)
        command.name = name
        return name, command, rest

    def shell_complete(self, ctx: Any, incomplete: str) -> Any:
        _list_commands(self)
        return super().shell_complete(ctx, incomplete)

    def format_help(self, ctx: Any, formatter: Any) -> None:  # noqa: ARG002  # it prints by itself, as typer's does
        from .own_commands import print_page

        records = [p.get_help_record(ctx) for p in self.get_params(ctx)]
        options = [(names, words) for names, words in filter(None, records)]
        sections: dict[str, list[tuple[str, str]]] = {"Options": options}
        sections |= {title: [] for title in [*STEPS.values(), _ABOUT, _BROKEN]}
        for name, (panel, words) in _listing().items():
            sections[panel].append((name, words))
        usage = f"{ctx.command_path} [OPTIONS] COMMAND [ARGUMENTS]..."
        print_page(usage, " ".join((self.help or "").split()), sections, self.epilog or "")


def _listing() -> dict[str, tuple[str, str]]:
    """List every command in the order of the page: name -> (panel, words)."""
    order = list(STEPS)
    found: dict[str, tuple[str, str]] = {}
    listed = sorted(entries().values(), key=lambda e: order.index(e.step) if e.step in order else len(order))
    for entry in listed:
        if entry.problem:
            found[entry.name] = (_BROKEN, f"cannot be used: {entry.problem}")
        else:
            found[entry.name] = (STEPS[entry.step], entry.summary)
    return found | {name: (_ABOUT, words) for name, words in OWN.items()}


def _list_commands(group: TyperGroup) -> None:
    """Put a placeholder for each command into the group, once."""
    if group.commands:
        return
    app = typer.Typer(add_completion=False, rich_markup_mode=None)
    app.callback()(lambda: None)
    for name, (_, words) in _listing().items():
        app.command(name, help=words)(lambda: None)
    made = typer.main.get_command(app)
    assert isinstance(made, TyperGroup)
    group.commands.update(made.commands)


def _command(name: str) -> typer.Typer:
    if name in OWN:
        from .own_commands import own_command

        return own_command(name)
    from ..command.command import make_command

    return make_command(load_entry(entries()[name]))


def _version(value: bool) -> None:
    if value:
        from importlib import metadata

        print(f"castshed {metadata.version('castshed')}")
        raise typer.Exit


def _folders(value: list[Path] | None) -> list[Path] | None:
    """Let the folders count as if the environment named them, for this process and those it starts."""
    if not value:
        return value
    for folder in value:
        if not folder.is_dir():
            raise _stop(
                "", UsageError(f"{_ALGORITHMS} names {folder}, which is not a folder; name one that is.")
            )
    named = [str(folder.absolute()) for folder in value]
    split = [one for one in named if os.pathsep in one]
    if split:
        words = (
            f"{_ALGORITHMS}: '{split[0]}' has a '{os.pathsep}' in it, which parts folders; rename the folder."
        )
        raise _stop("", UsageError(words))
    before = [
        one for one in os.environ.get(FOLDERS, "").split(os.pathsep) if one.strip() and one not in named
    ]
    os.environ[FOLDERS] = os.pathsep.join([*before, *dict.fromkeys(named)])
    return value


def make_app() -> typer.Typer:
    """Build the application; what it lists is read from the catalogue when it is asked."""
    app = typer.Typer(
        name="castshed",
        cls=_LazyGroup,
        no_args_is_help=True,
        rich_markup_mode="rich",
        pretty_exceptions_enable=False,
        context_settings={"help_option_names": ["--help", "-h"]},
        epilog=_ENDING,
    )

    @app.callback()
    def _castshed(
        algorithms: list[Path] = typer.Option(  # noqa: B008  # its callback does the work; typer's way to say so
            None,
            _ALGORITHMS,
            metavar="DIR",
            help=f"Folder of one-file algorithms, beside those that {FOLDERS} names; may be given again.",
            callback=_folders,
            is_eager=True,
            show_default=False,
        ),
        version: bool = typer.Option(
            False, "--version", help="Show the version.", callback=_version, is_eager=True
        ),
    ) -> None:
        """Plan a day on a lake: depths at today's level, boat holds within a cast, a run over safe water."""

    return app


def main() -> None:
    """Run the command line."""
    if _COMPLETION in os.environ:
        from ..command.command import join_at_colon

        join_at_colon(os.environ)
    for stream in (sys.stdout, sys.stderr):
        if isinstance(
            stream, io.TextIOWrapper
        ):  # a file's name may be no text; within JSON that reads back the same
            stream.reconfigure(errors="backslashreplace")
    make_app()()
