"""What an algorithm is, as read from its signature and docstring: its parameters, its outputs, its place in the job.

The steps of the job, in the order in which they are done; the catalogue groups the algorithms by them.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Final

from .. import units
from ..parameters.markers import INPUTS, Flag, Many, Quantity, Shared, option_name


@dataclass(frozen=True)
class Parameter:
    """One parameter of an algorithm."""

    name: str
    marker: Any
    help: str
    default: Any
    required: bool
    positional: bool
    optional: bool
    shared: Shared | None = None

    @property
    def option(self) -> str:
        """The option's name on the command line: without its unit suffix."""
        return option_name(self.name)

    @property
    def is_input(self) -> bool:
        """Whether it is read from a file."""
        return isinstance(self.marker, INPUTS)

    @property
    def default_words(self) -> str | None:
        """The default as the help shows it; None when there is nothing to show."""
        if self.required or self.default is None:
            return None
        if isinstance(self.marker, Quantity):
            return units.default_in_words(float(self.default), self.marker.kind)
        if isinstance(self.marker, Many) and isinstance(self.marker.of, Quantity):
            return ", ".join(units.default_in_words(float(v), self.marker.of.kind) for v in self.default)
        if isinstance(self.marker, Many):
            return ", ".join(str(v) for v in self.default) or None
        if isinstance(self.marker, Flag):
            return "yes" if self.default else "no"
        if isinstance(self.default, float):
            return units.default_in_words(self.default, "")
        return str(self.default) or None


@dataclass(frozen=True)
class Output:
    """One layer, surface or set of files that an algorithm makes."""

    name: str
    marker: Any


@dataclass(frozen=True)
class Spec:
    """What an algorithm is: everything the command, the catalogue and the tests need to know."""

    name: str
    function: Callable[..., Any]
    step: str
    summary: str
    description: str
    parameters: tuple[Parameter, ...]
    outputs: tuple[Output, ...]
    several: bool
    example: str
    steps: Callable[..., str] | None = None

    def parameter(self, name: str) -> Parameter:
        """Find a parameter by its Python name.

        Raises
        ------
        KeyError
            There is none of that name.
        """
        return next(p for p in self.parameters if p.name == name)


STEPS: Final[dict[str, str]] = {
    "gather": "Gather what is known",
    "water": "The lake today",
    "bottom": "Reading the bottom",
    "hold": "Where the boat sits",
    "wind": "Wind and verdict",
    "run": "The run",
    "share": "Files for others",
    "whole": "The whole job",
}
