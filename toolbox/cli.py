"""The door: one typer application, its commands listed without importing them, loaded when one is called."""

from __future__ import annotations

import sys
from typing import Any

import typer
from typer.core import TyperGroup

from .algorithm import STEPS
from .catalogue import entries, load_entry
from .command import escape, make_command
from .errors import CastshedError


class _LazyGroup(TyperGroup):
    """Commands stand as names until one is resolved; the only typer internal that is touched."""

    def resolve_command(self, ctx: Any, args: list[str]) -> Any:
        name, placeholder, rest = super().resolve_command(ctx, args)
        if name is None or placeholder is None:
            return name, placeholder, rest
        try:
            spec = load_entry(entries()[name])
        except CastshedError as error:
            print(f"castshed {name}: {error}", file=sys.stderr)
            raise typer.Exit(error.exit_code) from None
        command = typer.main.get_command(make_command(spec))
        command.name = name
        return name, command, rest


def _version(value: bool) -> None:
    if value:
        from importlib import metadata

        print(f"castshed {metadata.version('castshed')}")
        raise typer.Exit


def make_app() -> typer.Typer:
    """Build the application from the catalogue."""
    app = typer.Typer(
        name="castshed",
        cls=_LazyGroup,
        no_args_is_help=True,
        rich_markup_mode="rich",
        pretty_exceptions_enable=False,
        context_settings={"help_option_names": ["--help", "-h"]},
        epilog="A planning aid, not for navigation. NAME --help shows one command with an example to paste.",
    )

    @app.callback()
    def _castshed(
        version: bool = typer.Option(
            False, "--version", help="Show the version.", callback=_version, is_eager=True
        ),
    ) -> None:
        """Plan a day on a lake: depths at today's level, boat holds within a cast, a run over safe water."""

    order = list(STEPS)
    listed = sorted(entries().values(), key=lambda e: order.index(e.step) if e.step in order else len(order))
    for entry in listed:
        words = entry.summary if not entry.problem else f"cannot be used: {entry.problem}"
        panel = "Cannot be used" if entry.problem else STEPS.get(entry.step, "More")
        app.command(entry.name, help=escape(words), rich_help_panel=panel)(lambda: None)
    return app


def main() -> None:
    """Run the command line."""
    make_app()()


if __name__ == "__main__":
    main()
