"""Calls of algorithms whose results are taken from the open store where the very same call was made before.

What a result depends on is the algorithm, all code of castshed, the libraries that do its work, and every argument by
its content. One changed bit in any of them is another call.
"""

from __future__ import annotations

import contextlib
import functools
import importlib.metadata
import inspect
import sys
from typing import TYPE_CHECKING, Any, Final, ParamSpec, TypeVar, get_type_hints

from ..notes import collecting_notes, note
from .store import fingerprint, open_store

if TYPE_CHECKING:
    from collections.abc import Callable

    from ..algorithm.spec import Spec

P = ParamSpec("P")
R = TypeVar("R")

_LIBRARIES: Final = (
    "numpy",
    "scipy",
    "pandas",
    "shapely",
    "geopandas",
    "pyproj",
    "rasterio",
    "numba",
    "contourpy",
    "networkx",
)


@functools.lru_cache(maxsize=1)
def code_and_libraries() -> str:
    """Fingerprint all that works: castshed's own code, Python, and the libraries with their versions."""
    import shapely

    from .fingerprints import own_code

    told = [f"{name} {importlib.metadata.version(name)}" for name in _LIBRARIES]
    return fingerprint(own_code(), sys.version, shapely.geos_version_string, *told)


def _content(value: Any) -> str | None:
    """Fingerprint an argument; None where its content cannot be told."""
    if hasattr(value, "geometry"):
        from .kept_frames import frame_to_arrays

        apart = frame_to_arrays(value)
        if apart is None:
            return None
        head, arrays = apart
        return fingerprint("layer", repr(head), *(part for name in arrays for part in (name, arrays[name])))
    if hasattr(value, "depth_m"):
        from .kept_results import SHAPE

        told = [repr(getattr(value, name)) for name in SHAPE]
        return fingerprint("surface", value.depth_m, value.crs.to_json(), *told)
    if isinstance(value, tuple | list):
        parts = [_content(one) for one in value]
        return None if None in parts else fingerprint(type(value).__name__, *(str(part) for part in parts))
    if value is None or isinstance(value, bool | int | float | str):
        return f"{type(value).__name__} {value!r}"
    return None


def _key(spec: Spec, arguments: dict[str, Any]) -> str | None:
    parts = []
    for name, value in arguments.items():
        content = _content(value)
        if content is None:
            return None
        parts += [name, content]
    return fingerprint("a call", spec.name, code_and_libraries(), *parts)


def _as_made(function: Any, spec: Spec, result: Any) -> Any:
    """Give several results the names they have when the algorithm itself returns them."""
    if not spec.several:
        return result
    kind: Any = get_type_hints(function).get("return")
    return kind(*result) if hasattr(kind, "_fields") else result


def kept(function: Callable[P, R], what: str) -> Callable[P, R]:
    """Make an algorithm take its result from the open store, and keep it there.

    Parameters
    ----------
    function
        An algorithm of layers and surfaces.
    what
        What it makes, as a person would call it; told when the work is stopped.

    Returns
    -------
    Takes and gives the same; what was noted while a result was made is noted again with it. Where no store is
    open, or an argument is something whose content cannot be told, the algorithm is simply run.
    """
    from ..algorithm import mark_outputs, spec_of

    spec = spec_of(function)

    @functools.wraps(function)
    def call(*args: P.args, **kwargs: P.kwargs) -> R:
        from .kept_results import pack, unpack

        store = open_store()
        if store is None:
            return function(*args, **kwargs)
        bound = inspect.signature(function).bind(*args, **kwargs)
        bound.apply_defaults()
        key = _key(spec, bound.arguments)
        if key is None:
            return function(*args, **kwargs)
        arrays = store.get(key)
        kept_result: tuple[Any, list[str]] | None = None
        if arrays is not None:
            # kept in a shape that is not ours: whatever it lacks, it is made anew
            with contextlib.suppress(Exception):
                kept_result = unpack(spec, arrays)
        if kept_result is not None:
            found, notes = kept_result
            store.tell(what)
            mark_outputs(spec, found, bound.arguments)
            result: R = _as_made(function, spec, found)
        else:
            with collecting_notes() as notes:
                result = function(*args, **kwargs)
            store.put(key, pack(spec, result, notes), what)
        for told in notes:
            note(told, stacklevel=2)
        return result

    return call
