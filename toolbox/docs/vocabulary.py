"""The table of shared parameters in DEVELOPERS.md, written from the types, and what two algorithms must not do.

A notion that several algorithms ask for is one type of `castshed.toolbox.parameters`, with one name, one help text and
one default. `second_meanings` tells where a name stands for two things.
"""

from __future__ import annotations

import dataclasses
import typing
from collections.abc import Iterable, Iterator, Mapping
from typing import Any, Final

from .. import parameters as types
from ..algorithm.describe import UNITS
from ..algorithm.spec import Parameter, Spec
from ..parameters.annotations import marker_of, shared_of
from ..parameters.markers import Layer, Quantity, SeriesInput, Shared
from ..plan.day_file import SECTIONS, key_of
from ..units import default_in_words

BEGIN: Final = "<!-- shared parameters: written by python -m castshed.toolbox.docs -->"
END: Final = "<!-- end of shared parameters -->"


_ABOUT_FILES: Final = {"bring-lake": ("--pool", "--unit", "--water")}
"""Options that tell of files before there is a lake: they answer a question of the algorithm, in its words."""


def _meaning(par: Parameter) -> object:
    """Tell what a parameter is: its notion, or what it reads, else its own type, help and default."""
    if par.shared is not None:
        return par.shared
    if par.is_input:
        named = par.marker.name if isinstance(par.marker, Layer) else ""
        holds = par.marker.holds if isinstance(par.marker, SeriesInput) else ""
        return (type(par.marker), named, holds)
    return (par.marker, par.help, repr(par.default))


def second_meanings(specs: Iterable[Spec]) -> list[str]:
    """List options that stand for two things in two algorithms.

    Two inputs are one thing where they read the same layer; each algorithm tells what it takes from it. Anything else
    has to be of one shared type, not the same words written twice.
    """
    seen: dict[str, tuple[str, Parameter]] = {}
    found = []
    for spec in specs:
        for par in spec.parameters:
            if par.option in _ABOUT_FILES.get(spec.name, ()):
                continue
            first, other = seen.setdefault(par.option, (spec.name, par))
            if first == spec.name:
                continue
            shared = par.is_input or par.shared is not None
            if other.name != par.name or _meaning(other) != _meaning(par) or not shared:
                found.append(
                    f"{par.option} of {spec.name} is not that of {first}: give both one type of "
                    "castshed.toolbox.parameters, or two names."
                )
    return found


def in_day_file() -> Iterator[tuple[str, str, str, Shared | None]]:
    """List section, key, field and notion of every value a day file may state."""
    for section, kind in SECTIONS.items():
        hints = typing.get_type_hints(kind, include_extras=True)
        for one in dataclasses.fields(kind):
            yield section, key_of(one.name, section), one.name, shared_of(hints[one.name])


def _default(shared: Shared, marker: Any) -> str:
    if shared.default is None or shared.default in ("", ()):
        return "-"
    return (
        default_in_words(shared.default, marker.kind) if isinstance(marker, Quantity) else str(shared.default)
    )


def _users(name: str, specs: Mapping[str, Spec]) -> str:
    users = [
        spec.name
        for spec in specs.values()
        if any(par.name == name and par.shared for par in spec.parameters)
    ]
    users += [
        f"[{section}] {key}" for section, key, field, shared in in_day_file() if shared and field == name
    ]
    return ", ".join(users)


def table(specs: Mapping[str, Spec]) -> str:
    """Write the table: every shared parameter with its type, unit, default and users."""
    lines = ["| parameter | type | unit | default | who asks for it |", "|---|---|---|---|---|"]
    for word in sorted(types.__all__):
        hint = getattr(types, word)
        shared = shared_of(hint)
        if shared is not None:
            marker, _ = marker_of(hint)
            unit = UNITS[marker.kind] if isinstance(marker, Quantity) else "-"
            users = _users(shared.name, specs)
            lines.append(f"| `{shared.name}` | `{word}` | {unit} | {_default(shared, marker)} | {users} |")
    return "\n".join([lines[0], lines[1], *sorted(lines[2:])])


def with_table(page: str, specs: Mapping[str, Spec]) -> str:
    """Put the table into the text of DEVELOPERS.md, between its two marks."""
    before, _, rest = page.partition(BEGIN)
    _, _, after = rest.partition(END)
    return f"{before}{BEGIN}\n{table(specs)}\n{END}{after}"
