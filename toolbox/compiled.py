"""Machine-speed loops: numba with its cache on disk where the disk allows, without it where not."""

from __future__ import annotations

from typing import TYPE_CHECKING, TypeVar, cast

import numba

if TYPE_CHECKING:
    from collections.abc import Callable

Function = TypeVar("Function", bound="Callable[..., object]")


def compiled(function: Function) -> Function:
    """Compile a loop over arrays.

    Notes
    -----
    The compiled code is kept between runs beside the module or in the user's cache folder. Where neither can be
    written to (a read-only container without a home), numba refuses to set up its cache; the loop is then
    compiled anew in each process, which costs seconds but gives the same numbers. Fast-math stays off, so that
    every machine gives the same answer.
    """
    try:
        return cast("Function", numba.njit(cache=True, nogil=True)(function))
    except RuntimeError:  # "no locator available": nowhere to keep the cache
        return cast("Function", numba.njit(nogil=True)(function))
