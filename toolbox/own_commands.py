"""The commands that are no algorithms: they speak about algorithms, or run several."""

from __future__ import annotations

import json
from collections.abc import Callable
from typing import Annotated, Any, Final

import typer

from . import catalogue
from .command import guarded
from .report import plain


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
        from .describe import describe, describe_all, version_of

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


_COMMANDS: Final[dict[str, Callable[..., None]]] = {"describe": _describe}


def own_command(name: str) -> typer.Typer:
    """Build the typer command of one of `catalogue.OWN`."""
    app = typer.Typer(add_completion=False, rich_markup_mode="rich")
    app.command(name=name)(_COMMANDS[name])
    return app
