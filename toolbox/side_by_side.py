"""Independent pieces of work done at the same time in threads, where the libraries that do them let go of Python."""

from __future__ import annotations

import contextvars
from typing import TYPE_CHECKING, TypeVar

if TYPE_CHECKING:
    from collections.abc import Callable

R = TypeVar("R")


def side_by_side(*works: Callable[[], R]) -> list[R]:
    """Do pieces of work at the same time.

    Parameters
    ----------
    works
        Each must neither depend on another nor change what another reads, and must not catch or give warnings: Python
        keeps one list of them for all threads.

    Returns
    -------
    list
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
