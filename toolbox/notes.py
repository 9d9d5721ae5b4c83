"""Notes: what was repaired, left out or is less certain than it looks, collected by whoever asked for the work.

Python keeps one list of warnings for all threads, so that of two calls at the same time one would get the notes of the
other, or none. Where notes are being collected they go to the collector of this call, threads begun by it included;
where nobody collects they are warnings like any other. Imports nothing heavy.
"""

from __future__ import annotations

import contextlib
import contextvars
import warnings
from collections.abc import Iterator
from typing import Final

from .errors import DataWarning

_collected: Final[contextvars.ContextVar[list[str] | None]] = contextvars.ContextVar(
    "castshed_notes", default=None
)


def note(text: str, *, stacklevel: int = 1) -> None:
    """Tell something about the data to whoever collects notes, or as a `DataWarning`.

    Parameters
    ----------
    text
        What was found and done.
    stacklevel
        How many calls above the caller the warning is shown at, as in `warnings.warn`.
    """
    found = _collected.get()
    if found is None:
        warnings.warn(text, DataWarning, stacklevel=stacklevel + 1)
    else:
        found.append(text)


@contextlib.contextmanager
def collecting_notes() -> Iterator[list[str]]:
    """Collect the notes of the work within, in their order; those of other threads' work are not among them.

    Examples
    --------
    >>> with collecting_notes() as found:
    ...     note("two rows were left out")
    >>> found
    ['two rows were left out']
    """
    found: list[str] = []
    token = _collected.set(found)
    try:
        yield found
    finally:
        _collected.reset(token)
