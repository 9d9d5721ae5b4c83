"""Independent pieces of work done at the same time in threads, where the libraries that do them let go of Python."""

from __future__ import annotations

import contextlib
import contextvars
from typing import TYPE_CHECKING, TypeVar

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

R = TypeVar("R")


def side_by_side(*works: Callable[[], R]) -> list[R]:
    """Do pieces of work at the same time.

    Parameters
    ----------
    works
        Each must neither depend on another nor change what another reads. None may catch or give warnings, as
        `shapely.is_valid` does: Python keeps one list of them for all threads (a `note` may be told, where notes are
        collected). None may prepare a geometry or hand
        shapely an array that another has too.

    Returns
    -------
    What each returned, in order; the same as one after the other.

    Raises
    ------
    Exception
        What the first of them in order raised.

    Notes
    -----
    Geometry and compiled loops work without Python's lock, so that two of them take little longer than one.
    """
    from concurrent.futures import ThreadPoolExecutor

    if len(works) < 2:
        return [work() for work in works]
    with ThreadPoolExecutor(len(works) - 1) as pool:
        others = [pool.submit(contextvars.copy_context().run, work) for work in works[1:]]
        return [works[0](), *(other.result() for other in others)]


@contextlib.contextmanager
def begun(work: Callable[[], R]) -> Iterator[Callable[[], R]]:
    """Begin a piece of work, and go on with something else until it is needed.

    Parameters
    ----------
    work
        As for `side_by_side`.

    Yields
    ------
    Callable
        Waits for the work and gives what it returned, or raises what it raised. When the block ends the work has
        ended too; what it raised is then told to nobody but those who asked.
    """
    from concurrent.futures import ThreadPoolExecutor

    with ThreadPoolExecutor(1) as pool:
        yield pool.submit(contextvars.copy_context().run, work).result
