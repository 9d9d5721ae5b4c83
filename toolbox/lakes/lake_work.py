"""The work of one lake, whatever is run: what a worker does, how a fault is told, and the record of its result.

A lake counts as done when its record names the same inputs, parameters and version, and the result on disk is the one
that was recorded, bit for bit. Loads no GIS library.
"""

from __future__ import annotations

import contextlib
import functools
import json
import os
import re
import tempfile
import time
import tomllib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Any, Final, Protocol

from ..algorithm import catalogue
from ..algorithm.spec import Output, Spec
from ..cache.kept_calls import of_file
from ..cache.store import fingerprint
from ..errors import CastshedError
from ..layers.geopackage import holds_geopackage
from ..layers.reading import parse_reference
from ..parameters.markers import DayInput, Layer

_PLACE: Final = re.compile(r"\{(lake|name)\}")


def filled(value: Any, lake: str, path: Path) -> Any:
    """Put the lake's file and name where the placeholders stand, wherever in lists."""
    if isinstance(value, (list, tuple)):
        return type(value)(filled(one, lake, path) for one in value)
    if isinstance(value, str):
        return _PLACE.sub(lambda found: str(path) if found[1] == "lake" else lake, value)
    return value


def names_lake(value: Any) -> bool:
    """Whether a placeholder stands in a text."""
    return _PLACE.search(str(value)) is not None


def made_layers(spec: Spec, given: Mapping[str, Any]) -> list[Output]:
    """List the vector layers that are made with these parameters."""
    layers = [o for o in spec.outputs if isinstance(o.marker, Layer)]
    return [o for o in layers if not o.marker.only_with or given.get(o.marker.only_with)]


@dataclass(frozen=True)
class LakeLayer:
    """A vector layer that each lake's result may have.

    ``file`` is its GeoPackage within the result, with ``{name}`` where it holds the lake's name; empty where the result
    is the GeoPackage itself.
    """

    name: str
    geometry: tuple[str, ...]
    file: str = ""

    def path(self, lake: str, result: Path) -> Path:
        """Name the GeoPackage of one lake."""
        return result / self.file.replace("{name}", lake) if self.file else result


class LakeWork(Protocol):
    """What is run over the lakes.

    ``told`` is all that counts for a result besides the content of its inputs; ``folder`` tells whether a result is a
    folder rather than a GeoPackage; ``layers`` are what can be gathered, ``others`` what cannot.
    """

    @property
    def name(self) -> str:
        """Name of the algorithm or of the steps file."""

    @property
    def told(self) -> str:
        """All that counts for a result besides the content of its inputs."""

    @property
    def folders(self) -> str:
        """Where plugins lie; a worker elsewhere is told."""

    @property
    def folder(self) -> bool:
        """Whether a lake's result is a folder."""

    @property
    def layers(self) -> tuple[LakeLayer, ...]:
        """Layers that can be gathered."""

    @property
    def others(self) -> tuple[str, ...]:
        """Outputs that cannot be gathered."""

    def given(self, lake: str, path: Path) -> Mapping[str, Any]:
        """Tell what a worker needs to know for one lake."""

    def inputs(self, given: Mapping[str, Any]) -> Iterator[tuple[str, Sequence[str], Any]]:
        """List the files read for one lake: what for, ``FILE`` or ``FILE:LAYER``, the parameter's marker."""

    def do(self, given: Mapping[str, Any], out: Path) -> tuple[dict[str, int], tuple[str, ...]]:
        """Do one lake: write its result to `out`, return rows by layer and what was noted."""

    def lineage(self, lakes: Sequence[str]) -> str:
        """Write down what the gathered layers were made from."""


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


@dataclass(frozen=True)
class Job:
    """One lake to be done: what is run, what it is told of this lake, where the result and its record go."""

    lake: str
    work: LakeWork
    given: Mapping[str, Any]
    out: Path
    record: Path
    key: str


@dataclass(frozen=True)
class Outcome:
    """How a lake went: ``done``, ``kept`` (done before) or ``failed``; ``code`` is the exit code of its error."""

    lake: str
    state: str
    seconds: float = 0.0
    features: Mapping[str, int] = field(default_factory=dict)
    warnings: tuple[str, ...] = ()
    error: str = ""
    code: int = 0


def _work(job: Job) -> tuple[dict[str, int], tuple[str, ...]]:
    if job.work.folders:
        os.environ[catalogue.FOLDERS] = job.work.folders
    write_record(job.record, Record(job.lake, job.key))  # from here on what lies at `out` is ours
    return job.work.do(job.given, job.out)


def run_lake(job: Job) -> Outcome:
    """Do one lake: the result first, whole or not at all, then its record."""
    start = time.perf_counter()
    try:
        features, said = _work(job)
        seconds = round(time.perf_counter() - start, 3)
        write_record(job.record, Record(job.lake, job.key, result_digest(job.out), seconds, features, said))
    except CastshedError as error:
        words, code = str(error), error.exit_code
    except MemoryError:
        words, code = "out of memory; use larger cells or fewer workers.", 1
    except Exception as error:  # noqa: BLE001  # the last net: one lake must not harm another
        words, code = f"a fault in castshed itself ({type(error).__name__}: {error}).", 1
    else:
        return Outcome(job.lake, "done", seconds, features, said)
    return Outcome(job.lake, "failed", round(time.perf_counter() - start, 3), error=words, code=code)
