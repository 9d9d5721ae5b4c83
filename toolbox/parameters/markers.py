"""The markers: each says how a value is read from the command line, what is demanded of it, how the help shows it.

A marker stands in ``Annotated[type, marker]``; a type checker sees the plain type only.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final

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
    """Any number of sounder logs in the formats of `castshed.toolbox.intake.logs.log_file`."""

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
