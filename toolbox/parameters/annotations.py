"""The annotations of an algorithm's parameters: which marker one carries, and a value checked against it."""

from __future__ import annotations

import types
import typing
from collections.abc import Sequence
from typing import Any, Final

from .. import units
from ..errors import UsageError
from .markers import (
    BookFile,
    Choice,
    DayInput,
    DownloadList,
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
    Shared,
    SourceList,
    Surface,
    Text,
)

_SUFFIXES: Final = ("_mps", "_deg", "_lph", "_m2", "_m", "_s", "_l")
INPUTS: Final = (Layer, Surface, LayerSet, SourceList, LogList, DownloadList, SeriesInput, DayInput)
OUTPUTS: Final = (Layer, Surface, FileSet, FolderSet, BookFile)


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
    return "--" + name.removesuffix("_").replace(
        "_", "-"
    )  # a word of Python's own, as_, is written with _ behind it


def marker_of(hint: Any) -> tuple[Any, bool]:
    """Find the marker in an annotation, and whether None is allowed."""
    if typing.get_origin(hint) in (typing.Union, types.UnionType):
        kinds = [h for h in typing.get_args(hint) if h is not type(None)]
        if len(kinds) == 1:
            return marker_of(kinds[0])[0], True
    if typing.get_origin(hint) is typing.Annotated:
        for extra in hint.__metadata__:
            if isinstance(extra, (*INPUTS, *OUTPUTS, Quantity, Number, Text, Flag, Choice, Many)):
                return extra, False
    if typing.get_origin(hint) is typing.Literal:
        return Choice(tuple(str(a) for a in typing.get_args(hint))), False
    plain = {float: Number(), int: Number(whole=True), str: Text(), bool: Flag()}
    return plain.get(hint), False


def shared_of(hint: Any) -> Shared | None:
    """Find the notion an annotation stands for; None where it stands for a plain number, word or layer."""
    for one in (hint, *typing.get_args(hint)):
        for extra in getattr(one, "__metadata__", ()):
            if isinstance(extra, Shared):
                return extra
    return None


def check_choice(value: object, words: Sequence[str], name: str) -> str:
    """Return the word when it is one of the list.

    Raises
    ------
    UsageError
        It is not; the message lists the words.
    """
    if value not in words:
        raise UsageError(f"{name} is '{value}'; choose one of: {', '.join(words)}.")
    return str(value)


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
        if kind:
            number = units.check_size(number, kind, name)

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
