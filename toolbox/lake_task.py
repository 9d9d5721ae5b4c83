"""One lake, one task: what a worker does. A lake that fails is told, never raised, so that it harms no other."""

from __future__ import annotations

import functools
import os
import time
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from . import catalogue
from .command import run
from .errors import CastshedError
from .lake_records import Record, result_digest, write_record
from .report import Reporter, plain
from .spec import Spec


@dataclass(frozen=True)
class Job:
    """One lake to be done: the algorithm, its arguments as typed for this lake, where the result and its record go."""

    lake: str
    algorithm: str
    given: Mapping[str, Any]
    crs: str | None
    out: Path
    record: Path
    key: str
    folders: str = ""


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


class _Listener(Reporter):
    """Hears what a command would say."""

    def __init__(self) -> None:
        super().__init__(quiet=True)
        self.features: dict[str, int] = {}

    def finish(self, name: str, out: str, features: Mapping[str, int], figures: Mapping[str, Any]) -> None:  # noqa: ARG002  # as its parent's
        self.features = {str(k): int(v) for k, v in plain(features).items()}


@functools.lru_cache(maxsize=16)
def _spec(algorithm: str, folders: str) -> Spec:  # noqa: ARG001  # where plugins lie is part of the key
    """Find an algorithm once for all lakes of a worker: looking through what is installed costs a tenth of a lake."""
    return catalogue.load(algorithm)


def _work(job: Job) -> tuple[dict[str, int], tuple[str, ...]]:
    if job.folders:
        os.environ[catalogue.FOLDERS] = job.folders
    heard = _Listener()
    write_record(job.record, Record(job.lake, job.key))  # from here on what lies at `out` is ours
    run(_spec(job.algorithm, job.folders), job.given, str(job.out), replace=True, crs=job.crs, reporter=heard)
    return heard.features, tuple(heard.warnings)


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
