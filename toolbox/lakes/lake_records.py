"""What the result of one lake was made from, and the record of it kept beside the result.

A lake counts as done when its record names the same inputs, parameters and version, and the result on disk is the one
that was recorded, bit for bit. Loads no GIS library.
"""

from __future__ import annotations

import contextlib
import functools
import json
import os
import tempfile
import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Any, Final

from ..cache.fingerprints import of_file
from ..cache.store import fingerprint
from ..layers.geopackage import holds_geopackage
from ..layers.reference import parse_reference
from ..parameters.markers import DayInput

FOLDER: Final = ".over-lakes"


@dataclass(frozen=True)
class Record:
    """One lake's result. ``result`` is the fingerprint of what was written; empty while it is being made."""

    lake: str
    key: str
    result: str = ""
    seconds: float = 0.0
    features: Mapping[str, int] = field(default_factory=dict)
    warnings: tuple[str, ...] = ()


def _companions(path: Path) -> Iterator[Path]:
    """List the files that count as one: a GeoPackage and its log, else all files of the same name."""
    yield path
    if holds_geopackage(path):
        log = path.with_name(path.name + "-wal")
        if log.is_file() and log.stat().st_size:
            yield log
        return
    with contextlib.suppress(OSError):
        yield from sorted(
            p for p in path.parent.iterdir() if p.stem == path.stem and p != path and p.is_file()
        )


def _named_within(value: Any, home: Path) -> Iterator[Path]:
    """List the files that a day file names, wherever in it."""
    if isinstance(value, Mapping):
        value = list(value.values())
    if isinstance(value, list):
        for one in value:
            yield from _named_within(one, home)
    elif isinstance(value, str) and value.strip():
        with contextlib.suppress(OSError, ValueError):
            path = parse_reference(str(home / value.strip())).path
            if path.is_file():
                yield path


@functools.lru_cache(maxsize=4096)
def _state(path: Path, size: int, modified_ns: int) -> str:  # noqa: ARG001  # the key: within a run a file is read once
    return "".join(of_file(one) for one in _companions(path))


def input_digest(text: str, marker: Any) -> str:
    """Fingerprint the content of the file that an argument names.

    Parameters
    ----------
    text
        ``FILE`` or ``FILE:LAYER``.
    marker
        What the parameter is; for a day file the files named in it count too.

    Returns
    -------
    Empty where there is no such file: the run itself says so better.
    """
    path = parse_reference(text).path
    try:
        about = path.stat()
        found = _state(path, about.st_size, about.st_mtime_ns) if path.is_file() else ""
        if isinstance(marker, DayInput) and found:
            named = _named_within(tomllib.loads(path.read_text(encoding="utf-8")), path.parent)
            found += "".join(input_digest(str(one), None) for one in named)
    except (OSError, ValueError):
        return ""
    return found


def result_digest(path: Path) -> str:
    """Fingerprint a result, a file or a folder of files; empty where there is none."""
    try:
        if path.is_dir():
            files = sorted(p for p in path.rglob("*") if p.is_file() and not p.name.startswith("."))
            return fingerprint(
                *(part for p in files for part in (p.relative_to(path).as_posix(), of_file(p)))
            )
        return of_file(path)
    except OSError:
        return ""


def write_whole(path: Path, content: bytes) -> None:
    """Write a small file whole or not at all."""
    path.parent.mkdir(parents=True, exist_ok=True)
    handle, made = tempfile.mkstemp(dir=path.parent, prefix=".", suffix=".part")
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
        Path(made).replace(path)
    except BaseException:
        Path(made).unlink(missing_ok=True)
        raise


def write_record(path: Path, record: Record) -> None:
    """Keep a record."""
    write_whole(path, json.dumps(asdict(record), ensure_ascii=False, indent=1).encode())


def read_record(path: Path) -> Record | None:
    """Read a record; None where there is none or it is broken."""
    try:
        body = json.loads(path.read_bytes())
        features = {str(k): int(v) for k, v in body["features"].items()}
        said = tuple(str(w) for w in body["warnings"])
        words = [str(body[k]) for k in ("lake", "key", "result")]
        return Record(words[0], words[1], words[2], float(body["seconds"]), features, said)
    except (OSError, ValueError, KeyError, TypeError, AttributeError):
        return None
