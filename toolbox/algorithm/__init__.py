"""The one decorator. It reads an algorithm's signature and docstring into a `Spec` and guards every call.

The decorated function is the Python interface, the command and the catalogue page: the checks of its parameters and
layers run in the wrapper, so that every face gives the same message. Imports nothing heavy.
"""

from __future__ import annotations

import functools
import inspect
import re
import typing
from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Any, Final, ParamSpec, TypeVar

from ..errors import PluginError, UsageError
from ..lineage import OF_A_LEVEL, mark_level, settled_level
from ..parameters.markers import INPUTS, OUTPUTS, Layer, Shared, check_value, marker_of, shared_of
from .spec import STEPS, Output, Parameter, Spec

P = ParamSpec("P")
R = TypeVar("R")
_LEVEL: Final = "level_m"


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


def _outputs(hint: Any, name: str) -> tuple[tuple[Output, ...], bool]:
    marker, _ = marker_of(hint)
    if isinstance(marker, OUTPUTS):
        return (Output(getattr(marker, "name", name), marker),), False
    if inspect.isclass(hint) and issubclass(hint, tuple) and hasattr(hint, "_fields"):
        hints = typing.get_type_hints(hint, include_extras=True)
        found = [(field, marker_of(hints[field])[0]) for field in hint._fields]
        if found and all(isinstance(m, OUTPUTS) for _, m in found):
            return tuple(Output(field, m) for field, m in found), True
    raise PluginError(
        f"{name}: the return type must be a layer, a depth surface, files, a folder, "
        "or a NamedTuple of layers from castshed.toolbox.parameters."
    )


def _as_shared(par: inspect.Parameter, shared: Shared, name: str, helps: dict[str, str]) -> None:
    """Hold a parameter to the name and the default of its notion; take its help from there."""
    if par.name != shared.name:
        raise PluginError(f"{name}: parameter {par.name} has the type of {shared.name}; call it so.")
    if par.default not in (par.empty, None, shared.default):
        raise PluginError(
            f"{name}: {par.name} is {par.default!r} by default, and {shared.default!r} for every algorithm; leave the "
            "default so, or take a plain type and a name of its own."
        )
    if par.name in helps:
        raise PluginError(
            f"{name}: the help of {par.name} comes with its type; leave it out of the docstring."
        )
    helps[par.name] = shared.help


def _whole_docstring(spec: Spec, text: str) -> str:
    """Put the help of shared parameters into the docstring, for whoever asks Python for it."""
    entries = "\n".join(f"{par.name}\n    {par.help}" for par in spec.parameters)
    return re.sub(
        r"(?ms)^(Parameters\n-{3,}\n).*?(?=\n\n\S|\Z)",
        lambda m: m[1] + entries,
        inspect.cleandoc(text),
        count=1,
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
        shared = shared_of(hints[par.name])
        if shared is not None:
            _as_shared(par, shared, name, helps)
        if par.name not in helps:
            raise PluginError(f"{name}: parameter {par.name} has no entry under Parameters in the docstring.")
        positional = par.kind is not inspect.Parameter.KEYWORD_ONLY
        if positional and not isinstance(marker, INPUTS):
            raise PluginError(f"{name}: {par.name} is not an input layer; put it after * (keyword-only).")
        required = par.default is inspect.Parameter.empty
        default = None if required else par.default
        parameters.append(
            Parameter(par.name, marker, helps[par.name], default, required, positional, optional, shared)
        )
    outputs, several = _outputs(hints.get("return"), name)
    return Spec(name, function, step, summary, description, tuple(parameters), outputs, several, example)


def check_call(spec: Spec, given: Mapping[str, Any]) -> dict[str, Any]:
    """Check bound arguments of a call; return them repaired and completed.

    Raises
    ------
    UsageError
        A parameter is missing, of the wrong kind or out of its limits.
    DataError
        A layer breaks its contract (`castshed.toolbox.algorithm.contracts`).
    """
    checked: dict[str, Any] = {}
    inputs: dict[str, tuple[Any, Any]] = {}
    for par in spec.parameters:
        value = given[par.name]
        if value is None:
            if not par.optional and (par.required or par.default is not None):
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


def _settle_level(spec: Spec, bound: inspect.BoundArguments) -> None:
    """Take a level that was left out from the layers; stop where two levels meet."""
    if _LEVEL not in (par.name for par in spec.parameters):
        return
    given = bound.arguments.get(_LEVEL)
    layers: dict[str, Any] = {}
    for par in spec.parameters:
        value = bound.arguments.get(par.name) if par.is_input else None
        layers |= value if isinstance(value, Mapping) else {par.name: value}
    known = isinstance(given, int | float) and not isinstance(given, bool)
    if given is not None and not known:
        return  # its own check says what is wrong with it
    in_column = [
        par.name
        for par in spec.parameters
        if isinstance(par.marker, Layer) and (par.marker.has(_LEVEL) or par.marker.name in OF_A_LEVEL)
    ]
    level_m = settled_level(layers, given, in_column)
    if given is None and level_m is not None:
        bound.arguments[_LEVEL] = level_m


def mark_outputs(spec: Spec, result: Any, arguments: Mapping[str, Any]) -> None:
    """Let every layer that was made at a level say at which."""
    if arguments.get(_LEVEL) is None:
        return
    values = list(result) if spec.several else [result]
    for output, value in zip(spec.outputs, values, strict=True):
        mark_level(output.name, value, arguments[_LEVEL])


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
        For an algorithm that is a chain of others: given its one input, the name of its file and its other parameters,
        it writes the chain as a steps file (`castshed.toolbox.steps.steps_file`), which ``--show-steps`` prints.

    Returns
    -------
    The same function with every call checked; its `Spec` is the attribute ``spec``.
    """

    def decorate(function: Callable[P, R]) -> Callable[P, R]:
        bare = read_spec(function, step=step, example=example, name=name)
        signature = inspect.signature(function)

        @functools.wraps(function)
        def checked_call(*args: P.args, **kwargs: P.kwargs) -> R:
            bound = signature.bind(*args, **kwargs)
            _settle_level(bare, bound)
            bound.apply_defaults()
            arguments = check_call(bare, bound.arguments)
            for par in signature.parameters.values():
                bound.arguments[par.name] = arguments[par.name]
            result = function(*bound.args, **bound.kwargs)
            from .contracts import check_outputs

            check_outputs(bare, result)
            mark_outputs(bare, result, bound.arguments)
            return result

        checked_call.__doc__ = _whole_docstring(bare, function.__doc__ or "")
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
