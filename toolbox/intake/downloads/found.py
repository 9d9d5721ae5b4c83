"""What a file or layer was taken for, with its why; and what the person says, which goes before any guess."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Final

from ...errors import DataError, UsageError

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping
    from pathlib import Path

    import numpy as np
    from geopandas import GeoDataFrame
    from numpy.typing import NDArray

ROLES: Final = (
    "contours",
    "soundings",
    "depth-areas",
    "raster",
    "shoreline",
    "islands",
    "ramps",
    "hazards",
    "zones",
    "spots",
    "ignore",
)
DEPTH_ROLES: Final = ("contours", "soundings", "depth-areas", "raster")
VALUES: Final = ("depth", "height", "elevation")


@dataclass(eq=False)
class FoundGrid:
    """A raster as it was found: its numbers in ``unit_m`` metres, row 0 first; affine as (a, b, c, d, e, f)."""

    numbers: NDArray[np.float32]
    affine: tuple[float, float, float, float, float, float]
    crs: Any
    unit: str = ""  # as the house writes it; empty where nothing states it
    unit_m: float = 1.0
    holds: str = ""  # one of `VALUES` where the format or its texts say so
    words: str = ""  # names and texts that tell what it holds
    said: tuple[str, ...] = ()  # what was noticed as it was read


@dataclass(eq=False)
class FoundLayer:
    """One layer of one file.

    Attributes
    ----------
    file, layer
        Name of the file as given, and of the layer in it; empty where it holds one.
    frame, grid
        Features with their columns (``crs`` None where none is known), or a raster.
    stems
        Names without their ending that say what it is: of the file, the layer, the file in an archive.
    role, column, unit, values, datum, system
        What it was taken for; empty where it is not known.
    unit_m
        Length of its unit in metres.
    why
        Why it was taken for that, and what was noticed.
    """

    file: str
    layer: str
    kind: str
    frame: GeoDataFrame | None = None
    grid: FoundGrid | None = None
    stems: tuple[str, ...] = ()
    standard: str = ""  # acronym of a feature class of the S-57 object catalogue
    role: str = ""
    role_said: bool = False  # by a person
    column: str = ""
    unit: str = ""
    unit_m: float = float("nan")
    values: str = ""
    datum: str = ""
    system: str = ""
    pair: tuple[str, str] = ("", "")  # of depth areas: columns of the shallow and the deep end
    numbers: Any = None  # of its depth column, as they stand
    metric: bool = False  # coordinates in a text, in metres of a system that it does not name
    rows: int = 0
    aside: list[tuple[int, str, Any]] = field(default_factory=list)  # row from 1, reason, geometry
    taken: int = 0
    why: list[str] = field(default_factory=list)

    @property
    def name(self) -> str:
        """Name it as the options do."""
        return f"{self.file}:{self.layer}" if self.layer else self.file

    def leave(self, row: int, reason: str, shape: Any = None) -> None:
        """Set a row aside."""
        self.aside.append((row, reason, shape))


class Questions:
    """What cannot be told: gathered, and asked all at once."""

    def __init__(self) -> None:
        self.asked: list[str] = []

    def ask(self, file: str, question: str, option: str) -> None:
        """Note one question with the option that answers it."""
        text = f"{file}: {question} Say it with {option}."
        if text not in self.asked:
            self.asked.append(text)

    def stop(self) -> None:
        """Stop if anything was asked.

        Raises
        ------
        DataError
            With all questions.
        """
        if self.asked:
            head = "" if len(self.asked) == 1 else f"{len(self.asked)} things cannot be told from the files. "
            raise DataError(head + " ".join(self.asked) + " Nothing was written.")


KEYS: Final = ("role", "column", "unit", "values", "crs")
_OPTIONS: Final = {
    "role": "as",
    "column": "column",
    "unit": "depths-in",
    "values": "values",
    "crs": "file-crs",
}
_FOR_ALL: Final = ("unit", "values", "crs")
_LARGEST: Final = 100_000
# Unit as people write it -> as the house writes it; symbols and names of NIST Handbook 44 and what agencies write.
UNITS: Final[dict[str, str]] = {
    word: unit
    for unit, words in {
        "m": "m metre metres meter meters mtr mtrs",
        "ft": "ft foot feet f '",
        "ftUS": ("ftus us-ft usft us_ft usfoot surveyfoot surveyfeet ussurveyfoot ussurveyfeet us-survey-foot "
            "us-survey-feet"),
        "fathom": "fathom fathoms fath fth ftm fm fms",
        "cm": "cm centimetre centimetres centimeter centimeters",
        "dm": "dm decimetre decimetres decimeter decimeters",
        "mm": "mm millimetre millimetres millimeter millimeters",
        "in": "in inch inches",
        "yd": "yd yard yards yds",
    }.items()
    for word in words.split()
}  # fmt: skip


def unit_length_m(unit: str) -> float:
    """Tell how long a unit is, in metres."""
    from ...units import convert

    return 0.1 if unit == "dm" else convert(1.0, unit, "length")


def read_unit(text: str, where: str) -> str:
    """Read a unit as written.

    Raises
    ------
    UsageError
        It is none.
    """
    unit = UNITS.get(text.strip().lower().replace(" ", ""))
    if unit is None:
        raise UsageError(
            f"{where}: '{text[:40]}' is no unit of depth; write m, ft, us-ft, fathom, dm, cm, in or yd."
        )
    return unit


def _checked(key: str, value: str, where: str) -> str:
    if key == "role" and value not in ROLES:
        raise UsageError(f"{where}: '{value[:40]}' is no role; choose one of: {', '.join(ROLES)}.")
    if key == "values" and value not in VALUES:
        raise UsageError(
            f"{where}: '{value[:40]}' cannot be used; choose depth (positive down), height (negative down) or "
            "elevation "
            "(above the sea)."
        )
    if key == "unit":
        return read_unit(value, where)
    if key == "crs":
        import pyproj

        try:
            pyproj.CRS.from_user_input(value)
        except pyproj.exceptions.CRSError as fault:
            raise UsageError(
                f"{where}: '{value[:60]}' is no coordinate reference system; write for instance EPSG:26915."
            ) from fault
    return value


@dataclass(eq=False)
class FileWishes:
    """What was said, by the file it was said of; the empty name stands for all files."""

    said: dict[str, dict[str, str]] = field(default_factory=dict)
    beside: dict[str, dict[str, str]] = field(default_factory=dict)
    used: set[str] = field(default_factory=set)

    def of(self, found: FoundLayer, key: str) -> tuple[str, str]:
        """Tell what was said of a layer itself for a key, and where: in an option, or in its .toml file."""
        names = _names_of(found)
        for name, keys in self.said.items():
            if name and name.casefold() in names:
                self.used.add(name)
                if key in keys:
                    return keys[key], f"--{_OPTIONS[key]}"
        for name, keys in self.beside.items():
            if name.casefold() in names and key in keys:
                return keys[key], f"{name}.toml"
        return "", ""

    def of_all(self, key: str) -> tuple[str, str]:
        """Tell what was said for all files that do not say it themselves."""
        if key in self.said.get("", {}):
            return self.said[""][key], f"--{_OPTIONS[key]}"
        return "", ""

    def check_used(self, founds: Iterable[FoundLayer]) -> None:
        """Demand that every file that was named is there.

        Raises
        ------
        UsageError
            It is not; the files there are get listed.
        """
        every = list(founds)
        there = {name for found in every for name in _names_of(found)}
        for name in self.said:
            if name and name.casefold() not in there:
                raise UsageError(
                    f"An option names '{name}', but the files are: {', '.join(found.name for found in every)}."
                )


def _names_of(found: FoundLayer) -> set[str]:
    last = found.file.replace("\\", "/").rpartition("/")[2]
    stem = last.rpartition(".")[0] or last
    names = {found.file, last, stem, found.name, f"{last}:{found.layer}", f"{stem}:{found.layer}"}
    if found.layer:
        names.add(found.layer)
        inner = found.layer.rpartition("/")[2]
        names |= {inner, inner.rpartition(".")[0] or inner}
    return {name.casefold() for name in names}


def read_wishes(given: Mapping[str, Iterable[str]]) -> FileWishes:
    """Read the options: key of `KEYS` -> entries ``FILE=VALUE``, or a value alone that holds for all files.

    Raises
    ------
    UsageError
        An entry has no file where one is needed, or its value cannot be used.
    """
    wishes = FileWishes()
    for key, entries in given.items():
        option = f"--{_OPTIONS[key]}"
        for entry in entries:
            file, equals, value = entry.rpartition("=")
            file, value = file.strip(), value.strip()
            if not equals and key not in _FOR_ALL:
                raise UsageError(f"{option}: '{entry[:60]}' cannot be used; write FILE=VALUE.")
            if equals and not file:
                raise UsageError(f"{option}: '{entry[:60]}' names no file before the =.")
            wishes.said.setdefault(file if equals else "", {})[key] = _checked(key, value, option)
    return wishes


def read_beside(path: Path) -> dict[str, str]:
    """Read the .toml file beside a file; empty where there is none.

    Raises
    ------
    DataError
        It cannot be read.
    UsageError
        It has a key or a value that is not known.
    """
    file = path.with_name(f"{path.name}.toml")
    if not file.is_file():
        return {}
    try:
        if file.stat().st_size > _LARGEST:
            raise DataError(
                f"{file} is larger than {_LARGEST // 1000} kB; it says in a few keys how to read {path.name}."
            )
        body: dict[str, Any] = tomllib.loads(file.read_text(encoding="utf-8"))
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError) as fault:
        raise DataError(f"{file} cannot be read as TOML: {fault}.") from fault
    for key, value in body.items():
        if key not in KEYS or not isinstance(value, str):
            raise UsageError(f"{file} has '{key}'; known keys, each with a text: {', '.join(KEYS)}.")
    return {key: _checked(key, value.strip(), str(file)) for key, value in body.items()}
