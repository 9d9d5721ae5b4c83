"""The markers: how a value is read, what is demanded of it, how help shows it, and which one an annotation carries.

A marker stands in ``Annotated[type, marker]``; a type checker sees the plain type only.
"""

from __future__ import annotations

import types
import typing
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

from .. import units
from ..errors import UsageError

POINT: Final = ("Point",)
LINE: Final = ("LineString", "MultiLineString")
POLYGON: Final = ("Polygon", "MultiPolygon")
ANY: Final = ("Point", "MultiPoint", *LINE, *POLYGON)


@dataclass(frozen=True)
class Column:
    """A column a layer has: its kind (``number``, ``text``, ``any``) and whether gaps are allowed."""

    name: str
    kind: str = "number"
    gaps: bool = False


@dataclass(frozen=True)
class Layer:
    """A vector layer: its usual name, geometry types, id column, needed and optional columns.

    An optional column that is missing reaches the algorithm filled with NaN or empty text. ``may_lack_place`` is for
    rows of which nobody knows where they lie. ``only_with`` names the parameter without which an output is not made.
    ``repair`` tells the safe side of an invalid area: ``keep out`` never shrinks, ``water`` never grows.
    """

    name: str
    geometry: tuple[str, ...]
    id: str | None = None
    needs: tuple[Column, ...] = ()
    optional: tuple[Column, ...] = ()
    may_be_empty: bool = True
    may_lack_place: bool = False
    only_with: str = ""
    repair: str = ""
    metavar = "FILE:LAYER"

    def has(self, column: str) -> bool:
        """Whether a column of that name is one of the layer's own."""
        return any(one.name == column for one in (*self.needs, *self.optional))


@dataclass(frozen=True)
class Surface:
    """A depth coverage: metres below chart datum, positive down."""

    name: str
    metavar = "FILE:COVERAGE"


@dataclass(frozen=True)
class LayerSet:
    """Any number of vector layers, by name; ``may_lack_place`` as in `Layer`."""

    may_lack_place: bool = False
    metavar = "FILE[:LAYER]..."


@dataclass(frozen=True)
class SourceList:
    """Any number of spot lists in the formats of `castshed.toolbox.sources`."""

    metavar = "FILE[:LAYER]..."


@dataclass(frozen=True)
class LogList:
    """Any number of sounder logs in the formats of `castshed.toolbox.intake.logs.log_table`."""

    metavar = "FILE..."


@dataclass(frozen=True)
class DownloadList:
    """Any number of files as agencies hand them out, in the formats of `castshed.toolbox.intake.downloads`."""

    metavar = "FILE..."


@dataclass(frozen=True)
class DayInput:
    """A day file (TOML) with the layers it names."""

    metavar = "DAY.toml"


@dataclass(frozen=True)
class SeriesInput:
    """A table in a file: a wind ``forecast`` or pool ``levels`` over time, or ``symbols`` by kind."""

    holds: str

    @property
    def metavar(self) -> str:
        """The word the help shows."""
        return "FILE" if self.holds == "levels" else "FILE.csv"


@dataclass(frozen=True)
class Quantity:
    """A number with a unit, kept in SI: ``length``, ``speed``, ``time`` or ``bearing``; limits are inclusive."""

    kind: str
    least: float | None = None
    most: float | None = None

    @property
    def metavar(self) -> str:
        """The word the help shows."""
        return self.kind.upper()


@dataclass(frozen=True)
class Number:
    """A plain number without a unit; limits are inclusive."""

    least: float | None = None
    most: float | None = None
    whole: bool = False

    @property
    def metavar(self) -> str:
        """The word the help shows."""
        return "COUNT" if self.whole else "NUMBER"


@dataclass(frozen=True)
class Text:
    """Free text."""

    metavar: str = "TEXT"


@dataclass(frozen=True)
class Flag:
    """Yes or no."""

    metavar: str = ""


@dataclass(frozen=True)
class Choice:
    """One word of a list."""

    words: tuple[str, ...]

    @property
    def metavar(self) -> str:
        """The words the help shows."""
        return "|".join(self.words)


@dataclass(frozen=True)
class Many:
    """Several values of one marker, given one after the other."""

    of: Any

    @property
    def metavar(self) -> str:
        """The word the help shows."""
        return f"{self.of.metavar}"


@dataclass(frozen=True)
class Shared:
    """A notion that several algorithms ask for: its one name, its one help text and its one default.

    It stands beside the marker of its type. A parameter of such a type bears this name, has this default (or must be
    given, or may be left out as None), and its help is taken from here.
    """

    name: str
    help: str
    default: Any


@dataclass(frozen=True)
class FileSet:
    """Output files in a folder, by name.

    ``names`` are those it may make, so that an existing one can be refused before any work; a name with ``*`` stands
    for as many files as there are layers or parts. When they are not known, the folder must be new or empty.
    """

    names: tuple[str, ...] = ()


@dataclass(frozen=True)
class FolderSet:
    """An output folder: GeoPackages with their layers, and other files; ``names`` as in `FileSet`."""

    names: tuple[str, ...] = ()


@dataclass(frozen=True)
class BookFile:
    """An output that changes a book: a GeoPackage that is written only when replacing is asked for."""


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
