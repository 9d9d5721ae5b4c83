"""Tasks on Dask: workers of this machine, or those of a scheduler by its address; what fails is tried once more."""

from __future__ import annotations

import contextlib
import logging
import tempfile
import time
import uuid
from collections import deque
from collections.abc import Iterator, Sequence
from typing import Any, Final

from ..errors import CastshedError, UsageError
from ..report import progress
from .lake_work import Job, Outcome, run_lake

_WAIT_S: Final = 60
_TRIES: Final = 2
_PROTECTED: Final = ("tls", "wss")
_COUNT_EVERY_S: Final = 1.0
_ONE_THREAD: Final = ("OMP_NUM_THREADS", "MKL_NUM_THREADS", "OPENBLAS_NUM_THREADS")


@contextlib.contextmanager
def local_crew(workers: int | None = None) -> Iterator[Any]:
    """Start workers on this machine, one process and one thread each, and end them with the block.

    Parameters
    ----------
    workers
        How many; by default one a core.

    Yields
    ------
    distributed.LocalCluster
        `do_lakes` takes it as a scheduler. Every port of it asks for a certificate that is made here and goes to its
        own workers only: whoever else is on the machine is turned away before a word of his is read. There is no
        dashboard.

    Raises
    ------
    CastshedError
        The workers could not be started, or ended as they were.
    """
    import dask
    from distributed import LocalCluster
    from distributed.security import Security

    # A worker that dies has had one lake in hand: that lake is told to us at once, and we try it once more. Nobody
    # looks at Dask's own profile of the workers, which costs a look at their stack every 10 ms. Dask would also have
    # memory given back to the system at every turn (MALLOC_TRIM_THRESHOLD_), which costs find-structure a quarter.
    settings = {
        "distributed.nanny.pre-spawn-environ": dict.fromkeys(_ONE_THREAD, 1),
        "distributed.scheduler.allowed-failures": 0,
        "distributed.scheduler.worker-saturation": 1.0,
        "distributed.worker.profile.enabled": False,
        # No page that shows or steers the work, whatever the user's own settings of Dask ask for.
        "distributed.scheduler.http.routes": [],
        "distributed.worker.http.routes": [],
    }
    try:
        security = Security.temporary()
    except ImportError as error:
        raise CastshedError(
            "over-lakes needs cryptography, which is not installed: pip install 'castshed[many]'."
        ) from error
    with (
        tempfile.TemporaryDirectory(prefix="castshed-", ignore_cleanup_errors=True) as folder,
        dask.config.set(settings),
    ):
        try:
            cluster = LocalCluster(
                n_workers=workers,
                threads_per_worker=1,
                processes=True,
                host="127.0.0.1",
                protocol="tls://",
                security=security,
                dashboard_address=None,
                scheduler_kwargs={"dashboard": False, "dashboard_address": "127.0.0.1:0"},
                local_directory=folder,
                silence_logs=logging.CRITICAL,
            )
        except (RuntimeError, OSError, TimeoutError) as error:
            raise CastshedError(
                f"The workers could not be started ({error}); were they ended from outside, or is memory short? Run "
                "the command again, with fewer --workers."
            ) from error
        with cluster:
            yield cluster


def _check_scheduler(address: str, *, without_tls: bool) -> None:
    """Refuse a scheduler that lets anybody who reaches its port run code as the user, unless that is wished."""
    kind = address.partition("://")[0].casefold() if "://" in address else "tcp"
    if kind not in _PROTECTED and not without_tls:
        raise UsageError(
            f"The scheduler '{address}' speaks without TLS: whoever reaches its port runs code under your name. "
            "Start it and its workers with --protocol tls and certificates (docs.dask.org, TLS/SSL), name yours in "
            "Dask's settings and give tls://HOST:8786; or, on a network that only you reach, add --without-tls."
        )


@contextlib.contextmanager
def _client(workers: int | None, scheduler: Any, *, without_tls: bool) -> Iterator[Any]:
    """Open a way to the workers; those of this machine are started here and ended with the block."""
    try:
        from distributed import Client
    except ImportError as error:
        raise CastshedError(
            "over-lakes needs Dask, which is not installed: pip install 'castshed[many]'."
        ) from error
    if scheduler is not None:
        if isinstance(scheduler, str):
            _check_scheduler(scheduler, without_tls=without_tls)
        try:
            client = Client(scheduler, timeout=_WAIT_S, set_as_default=False)
        except (OSError, ValueError, TypeError, KeyError, RuntimeError) as error:
            raise UsageError(
                f"No Dask scheduler answers at '{scheduler}' ({error}); give its address, such as tls://HOST:8786."
            ) from error
        with client:
            yield client
        return
    with local_crew(workers) as cluster, Client(cluster, set_as_default=False) as client:
        yield client


def _failed(job: Job, future: Any) -> Outcome:
    error = future.exception()
    if type(error).__name__ == "KilledWorker":
        words = "the worker that had it in hand died (ended from outside, or out of memory); give fewer --workers."
    else:
        words = f"the worker could not do it ({type(error).__name__}: {error})."
    return Outcome(job.lake, "failed", error=words, code=1)


def _work_off(client: Any, jobs: Sequence[Job]) -> Iterator[Outcome]:
    """Give every thread of the workers one lake, no more: a worker that dies then harms no lake but its own."""
    from distributed import as_completed

    waiting = deque((job, 1) for job in jobs)
    running: dict[str, tuple[Job, int]] = {}
    line = as_completed(loop=client.loop, raise_errors=False)
    room, counted = 0, -_COUNT_EVERY_S

    def fill() -> None:
        nonlocal room, counted
        if waiting and time.monotonic() - counted >= _COUNT_EVERY_S:  # a question to the scheduler
            room, counted = max(1, sum(client.nthreads().values())), time.monotonic()
        while waiting and len(running) < room:
            job, attempt = waiting.popleft()
            key = f"{job.lake}-{attempt}-{uuid.uuid4().hex}"
            running[key] = (job, attempt)
            line.add(client.submit(run_lake, job, key=key, pure=False))

    fill()
    for future in line:
        job, attempt = running.pop(future.key)
        if future.status == "finished":
            outcome = future.result()
        elif future.status == "error":
            outcome = _failed(job, future)
            counted = -_COUNT_EVERY_S  # a worker is gone
        else:
            raise CastshedError(
                "The scheduler was lost. What is done is kept; run the same command to go on."
            )
        future.release()
        if outcome.error and attempt < _TRIES:
            waiting.append((job, attempt + 1))
        else:
            yield outcome
        fill()


def do_lakes(
    jobs: Sequence[Job],
    *,
    workers: int | None = None,
    scheduler: Any = None,
    without_tls: bool = False,
) -> list[Outcome]:
    """Do lakes on Dask workers.

    Parameters
    ----------
    jobs
        One a lake.
    workers
        Workers to start on this machine; by default one a core.
    scheduler
        Address of a scheduler to use instead, or what `local_crew` gives. Its workers must see the same files under
        the same names, and have castshed installed. ``tls://HOST:PORT``, with certificates from Dask's settings.
    without_tls
        Whether that scheduler may be one that admits everybody who reaches its port.

    Returns
    -------
    An outcome for each job, in their order.

    Raises
    ------
    UsageError
        The scheduler speaks without TLS, and that was not asked for.
    CastshedError
        Dask is not installed, the workers could not be started, or the scheduler does not answer, has no workers or
        was lost.
    """
    if not jobs:
        return []
    found: dict[str, Outcome] = {}
    with _client(workers, scheduler, without_tls=without_tls) as client, progress("Lakes", len(jobs)) as step:
        try:
            client.wait_for_workers(1, timeout=_WAIT_S)
        except TimeoutError as error:
            raise CastshedError(
                f"No worker came within {_WAIT_S} s; start some and run the command again."
            ) from error
        for outcome in _work_off(client, jobs):
            found[outcome.lake] = outcome
            step(1)
    return [found[job.lake] for job in jobs]
