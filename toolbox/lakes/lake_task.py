"""One lake, one task: what a worker does. A lake that fails is told, never raised, so that it harms no other."""

from __future__ import annotations

import os
import time
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from ..algorithm import catalogue
from ..errors import CastshedError
from .lake_records import Record, result_digest, write_record
from .lake_work import LakeWork


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
