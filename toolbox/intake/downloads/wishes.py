"""What the person says about files: options ``FILE=...`` and a .toml file beside a file; both go before any guess."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Final

from ...errors import DataError, UsageError
from .found import ROLES, VALUES

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping
    from pathlib import Path

    from .found import Found

KEYS: Final = ("role", "column", "unit", "values", "crs")
_OPTIONS: Final = {"role": "as", "column": "column", "unit": "unit", "values": "values", "crs": "file-crs"}
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
class Wishes:
    """What was said, by the file it was said of; the empty name stands for all files."""

    said: dict[str, dict[str, str]] = field(default_factory=dict)
    beside: dict[str, dict[str, str]] = field(default_factory=dict)
    used: set[str] = field(default_factory=set)

    def of(self, found: Found, key: str) -> tuple[str, str]:
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

    def check_used(self, founds: Iterable[Found]) -> None:
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


def _names_of(found: Found) -> set[str]:
    last = found.file.replace("\\", "/").rpartition("/")[2]
    stem = last.rpartition(".")[0] or last
    names = {found.file, last, stem, found.name, f"{last}:{found.layer}", f"{stem}:{found.layer}"}
    if found.layer:
        names.add(found.layer)
        inner = found.layer.rpartition("/")[2]
        names |= {inner, inner.rpartition(".")[0] or inner}
    return {name.casefold() for name in names}


def read_wishes(given: Mapping[str, Iterable[str]]) -> Wishes:
    """Read the options: key of `KEYS` -> entries ``FILE=VALUE``, or a value alone that holds for all files.

    Raises
    ------
    UsageError
        An entry has no file where one is needed, or its value cannot be used.
    """
    wishes = Wishes()
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
