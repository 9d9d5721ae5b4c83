"""Work at the machine's speed: compiled loops, kept where the disk allows, and pieces done at the same time in threads.

Numba is loaded when the first loop is called: many a command loads modules with loops and calls none, and to load it
takes longer than those commands take.
"""

from __future__ import annotations

import contextlib
import contextvars
import functools
import threading
from contextvars import ContextVar
from typing import TYPE_CHECKING, Any, Final, TypeVar, cast

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

Function = TypeVar("Function", bound="Callable[..., object]")

_LOOPS: Final[list[_Loop]] = []
_LOCK: Final = threading.RLock()
_INTERPRETED: Final = ContextVar("_INTERPRETED", default=False)


class _Loop:
    """Stands for a loop until one is called; then numba's own object takes its place in all modules with loops."""

    def __init__(self, function: Callable[..., object]) -> None:
        functools.update_wrapper(self, function)
        self.py_func = function
        self.made: Any = None

    def __call__(self, *given: Any, **named: Any) -> Any:
        if self.made is None:
            if _INTERPRETED.get():
                return self.py_func(*given, **named)
            _make_all()
        return self.made(*given, **named)


def _made(function: Callable[..., object]) -> Any:
    import numba

    try:
        return numba.njit(cache=True, nogil=True)(function)
    except RuntimeError:  # "no locator available": nowhere to keep the cache
        return numba.njit(nogil=True)(function)


def _make_all() -> None:
    """Hand every loop known so far to numba, which compiles none of them before it is called."""
    with _LOCK:
        waiting = [loop for loop in _LOOPS if loop.made is None]
        made = {id(loop): _made(loop.py_func) for loop in waiting}
        # A loop that calls another finds it by name in its module, and must find what numba made of it.
        for names in {id(loop.py_func.__globals__): loop.py_func.__globals__ for loop in _LOOPS}.values():
            for name, value in list(names.items()):
                if isinstance(value, _Loop):
                    names[name] = value.made or made[id(value)]
        for loop in waiting:  # last, so that no other thread calls one whose inner loops are not in place yet
            loop.made = made[id(loop)]
        _LOOPS.clear()


def compiled(function: Function) -> Function:
    """Compile a loop over arrays, when it is first called.

    Notes
    -----
    The compiled code is kept between runs beside the module or in the user's cache folder. Where neither can be
    written to (a read-only container without a home), numba refuses to set up its cache; the loop is then
    compiled anew in each process, which costs seconds but gives the same numbers. Fast-math stays off, so that
    every machine gives the same answer.
    """
    loop = _Loop(function)
    with _LOCK:
        _LOOPS.append(loop)
    return cast("Function", loop)


def runs_interpreted() -> bool:
    """Tell whether Python itself is asked to run the loops."""
    return _INTERPRETED.get()


@contextlib.contextmanager
def interpreted() -> Iterator[None]:
    """Within the block Python itself runs the loops that numba has not been asked for yet; for few cells only."""
    token = _INTERPRETED.set(True)
    try:
        yield
    finally:
        _INTERPRETED.reset(token)


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
