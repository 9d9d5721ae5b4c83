"""The arguments of an algorithm that is run over many lakes, with placeholders where each lake's file or name goes."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any, Final

import typer

from .command import make_command, read_value
from .errors import UsageError
from .parameters import BookFile, FileSet, FolderSet
from .spec import Spec

_PLACE: Final = re.compile(r"\{(lake|name)\}")
_OURS: Final = ("--out", "-o", "--replace", "--json", "--quiet", "-q")


def filled(value: Any, lake: str, path: Path) -> Any:
    """Put the lake's file and name where the placeholders stand."""
    if isinstance(value, (list, tuple)):
        return [filled(one, lake, path) for one in value]
    if isinstance(value, str):
        return _PLACE.sub(lambda found: str(path) if found[1] == "lake" else lake, value)
    return value


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
    if not any(_PLACE.search(a) for a in arguments):
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


def read_options(spec: Spec, given: Mapping[str, Any]) -> dict[str, Any]:
    """Read the options that are no files, so that a wrong one is told before any work.

    Raises
    ------
    UsageError
        A value has no unit, or is of another kind.
    """
    found = {}
    for par in spec.parameters:
        value = given[par.name]
        if par.is_input:
            continue
        holds = value is not None and value != []
        whole = holds and not _PLACE.search(str(value))
        found[par.name] = read_value(par, value) if whole else value if holds else par.default
    return found
