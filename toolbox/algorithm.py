"""The one decorator. It reads an algorithm's signature and docstring into a `Spec` and guards every call.

The decorated function is the Python interface, the command and the catalogue page: the checks of its parameters and
layers run in the wrapper, so that every face gives the same message. Imports nothing heavy.
"""

from __future__ import annotations

import functools
import inspect
import re
import types
import typing
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, Final, ParamSpec, TypeVar

from . import units
from .errors import PluginError, UsageError
from .job_steps import STEPS
from .parameters import (
    BookFile,
    Choice,
    DayInput,
    FileSet,
    Flag,
    FolderSet,
    Layer,
    LayerSet,
    LogList,
    Many,
    Number,
    Quantity,
    SeriesInput,
    SourceList,
    Surface,
    Text,
    check_choice,
)

P = ParamSpec("P")
R = TypeVar("R")

_SUFFIXES: Final = ("_mps", "_deg", "_lph", "_m2", "_m", "_s", "_l")
_INPUTS: Final = (Layer, Surface, LayerSet, SourceList, LogList, SeriesInput, DayInput)
_OUTPUTS: Final = (Layer, Surface, FileSet, FolderSet, BookFile)


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

    @property
    def option(self) -> str:
        """The option's name on the command line: without its unit suffix."""
        return option_name(self.name)

    @property
    def is_input(self) -> bool:
        """Whether it is read from a file."""
        return isinstance(self.marker, _INPUTS)

    @property
    def default_words(self) -> str | None:
        """The default as the help shows it; None when there is nothing to show."""
        if self.required or self.default is None:
            return None
        if isinstance(self.marker, Quantity):
            return units.in_words(float(self.default), self.marker.kind)
        if isinstance(self.marker, Many) and isinstance(self.marker.of, Quantity):
            return ", ".join(units.in_words(float(v), self.marker.of.kind) for v in self.default)
        if isinstance(self.marker, Many):
            return ", ".join(str(v) for v in self.default) or None
        if isinstance(self.marker, Flag):
            return "yes" if self.default else "no"
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


def option_name(name: str) -> str:
    """Name the command-line option of a Python parameter: ``cast_m`` is ``--cast``.

    Examples
    --------
    >>> option_name("least_cast_m")
    '--least-cast'
    """
    for suffix in _SUFFIXES:
        if name.endswith(suffix):
            name = name.removesuffix(suffix)
            break
    return "--" + name.replace("_", "-")


def _docstring(function: Callable[..., Any]) -> tuple[str, str, dict[str, str]]:
    """Split a numpydoc docstring into summary, description and help by parameter."""
    text = inspect.getdoc(function) or ""
    head, _, rest = text.partition("\n")
    sections = re.split(r"(?m)^([A-Z][A-Za-z ]+)\n-{3,}\n", rest)
    helps: dict[str, str] = {}
    for title, body in zip(sections[1::2], sections[2::2], strict=True):
        if title.strip() == "Parameters":
            for entry in re.split(r"(?m)^(?=\S)", body):
                name, _, words = entry.partition("\n")
                for one in name.split(","):
                    helps[one.strip().lstrip("*")] = " ".join(words.split())
    return head.strip(), sections[0].strip(), helps


def marker_of(hint: Any) -> tuple[Any, bool]:
    """Find the marker in an annotation, and whether None is allowed."""
    if typing.get_origin(hint) in (typing.Union, types.UnionType):
        kinds = [h for h in typing.get_args(hint) if h is not type(None)]
        if len(kinds) == 1:
            return marker_of(kinds[0])[0], True
    if typing.get_origin(hint) is typing.Annotated:
        for extra in hint.__metadata__:
            if isinstance(extra, (*_INPUTS, *_OUTPUTS, Quantity, Number, Text, Flag, Choice, Many)):
                return extra, False
    if typing.get_origin(hint) is typing.Literal:
        return Choice(tuple(str(a) for a in typing.get_args(hint))), False
    plain = {float: Number(), int: Number(whole=True), str: Text(), bool: Flag()}
    return plain.get(hint), False


def _outputs(hint: Any, name: str) -> tuple[tuple[Output, ...], bool]:
    marker, _ = marker_of(hint)
    if isinstance(marker, _OUTPUTS):
        return (Output(getattr(marker, "name", name), marker),), False
    if inspect.isclass(hint) and issubclass(hint, tuple) and hasattr(hint, "_fields"):
        hints = typing.get_type_hints(hint, include_extras=True)
        found = [(field, marker_of(hints[field])[0]) for field in hint._fields]
        if found and all(isinstance(m, _OUTPUTS) for _, m in found):
            return tuple(Output(field, m) for field, m in found), True
    raise PluginError(
        f"{name}: the return type must be a layer, a depth surface, files, a folder, "
        "or a NamedTuple of layers from castshed.toolbox.parameters."
    )


def read_spec(function: Callable[..., Any], *, step: str, example: str, name: str | None = None) -> Spec:
    """Read an undecorated function into its `Spec`.

    Raises
    ------
    PluginError
        A parameter has no usable type or no help, a parameter that is not an input is positional, or the
        return type is not one of `castshed.toolbox.parameters`.
    """
    name = name or getattr(function, "__name__", "").replace("_", "-")
    if step not in STEPS:
        raise PluginError(f"{name}: step is '{step}'; choose one of: {', '.join(STEPS)}.")
    summary, description, helps = _docstring(function)
    if not summary:
        raise PluginError(
            f"{name}: the docstring is missing; its first line is the summary in the catalogue."
        )
    hints = typing.get_type_hints(function, include_extras=True)
    parameters: list[Parameter] = []
    for par in inspect.signature(function).parameters.values():
        marker, optional = marker_of(hints.get(par.name))
        if marker is None:
            raise PluginError(f"{name}: parameter {par.name} needs a type from castshed.toolbox.parameters.")
        if par.name not in helps:
            raise PluginError(f"{name}: parameter {par.name} has no entry under Parameters in the docstring.")
        positional = par.kind is not inspect.Parameter.KEYWORD_ONLY
        if positional and not isinstance(marker, _INPUTS):
            raise PluginError(f"{name}: {par.name} is not an input layer; put it after * (keyword-only).")
        required = par.default is inspect.Parameter.empty
        default = None if required else par.default
        parameters.append(
            Parameter(par.name, marker, helps[par.name], default, required, positional, optional)
        )
    outputs, several = _outputs(hints.get("return"), name)
    return Spec(name, function, step, summary, description, tuple(parameters), outputs, several, example)


def check_value(value: Any, marker: Any, name: str) -> Any:
    """Check a value against its marker; return it in the type the algorithm expects.

    Raises
    ------
    UsageError
        Of the wrong kind or out of its limits.
    """
    if isinstance(marker, (Quantity, Number)):
        number = units.check_finite(value, name)
        if isinstance(marker, Number) and marker.whole and number != int(number):
            raise UsageError(f"{name} is {value}; give a whole number.")
        kind = marker.kind if isinstance(marker, Quantity) else ""

        def words(v: float) -> str:
            return units.in_words(v, kind) if kind else f"{v:g}"

        if marker.least is not None and number < marker.least:
            raise UsageError(f"{name} is {words(number)}; it must be at least {words(marker.least)}.")
        if marker.most is not None and number > marker.most:
            raise UsageError(f"{name} is {words(number)}; it must be at most {words(marker.most)}.")
        return int(number) if isinstance(marker, Number) and marker.whole else number
    if isinstance(marker, Choice):
        return check_choice(value, marker.words, name)
    if isinstance(marker, Text):
        return str(value)
    if isinstance(marker, Flag):
        return bool(value)
    if isinstance(marker, Many):
        if isinstance(value, str) or not isinstance(value, Sequence):
            raise UsageError(f"{name} is {value!r}; give a list.")
        return tuple(check_value(one, marker.of, name) for one in value)
    return value


def check_call(spec: Spec, given: Mapping[str, Any]) -> dict[str, Any]:
    """Check bound arguments of a call; return them repaired and completed.

    Raises
    ------
    UsageError
        A parameter is missing, of the wrong kind or out of its limits.
    DataError
        A layer breaks its contract (`castshed.toolbox.contracts`).
    """
    checked: dict[str, Any] = {}
    inputs: dict[str, tuple[Any, Any]] = {}
    for par in spec.parameters:
        value = given[par.name]
        if value is None:
            if not par.optional and par.default is not None:
                raise UsageError(f"{par.name} must not be empty.")
            checked[par.name] = None
        elif par.is_input:
            inputs[par.name] = (value, par.marker)
        else:
            checked[par.name] = check_value(value, par.marker, par.option.removeprefix("--"))
    if inputs:
        from .contracts import check_inputs

        checked.update(check_inputs(inputs))
    return checked


def algorithm(
    *, step: str, example: str, name: str | None = None, steps: Callable[..., str] | None = None
) -> Callable[[Callable[P, R]], Callable[P, R]]:
    """Make a pure function an algorithm of the toolbox.

    Parameters
    ----------
    step
        The step of the job under which the catalogue lists it, a key of `STEPS`.
    example
        One command line that can be pasted and run on the demo lake.
    name
        The command's name; by default the function's, with hyphens.
    steps
        For an algorithm that is a chain of others: given its one input and the name of its file, it writes the chain
        as a steps file (`castshed.toolbox.steps_file`), which ``--show-steps`` prints.

    Returns
    -------
    Callable
        The same function with every call checked; its `Spec` is the attribute ``spec``.
    """

    def decorate(function: Callable[P, R]) -> Callable[P, R]:
        bare = read_spec(function, step=step, example=example, name=name)
        signature = inspect.signature(function)

        @functools.wraps(function)
        def checked_call(*args: P.args, **kwargs: P.kwargs) -> R:
            bound = signature.bind(*args, **kwargs)
            bound.apply_defaults()
            arguments = check_call(bare, bound.arguments)
            for par in signature.parameters.values():
                bound.arguments[par.name] = arguments[par.name]
            result = function(*bound.args, **bound.kwargs)
            from .contracts import check_outputs

            check_outputs(bare, result)
            return result

        checked_call.spec = replace(bare, function=checked_call, steps=steps)  # type: ignore[attr-defined]  # a function may carry attributes; mypy cannot say so
        return checked_call

    return decorate


def spec_of(function: Any) -> Spec:
    """Return the `Spec` of a decorated function.

    Raises
    ------
    PluginError
        The function is not under ``@algorithm``.
    """
    spec = getattr(function, "spec", None)
    if not isinstance(spec, Spec):
        raise PluginError(f"{function!r} is not under @algorithm of castshed.toolbox.algorithm.")
    return spec
