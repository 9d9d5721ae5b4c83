"""Unions of areas that are asked for again and again in one piece of work: each is worked once."""

from __future__ import annotations

import functools
import threading
from collections import OrderedDict
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import shapely

from ...cache.store import fingerprint

if TYPE_CHECKING:
    from collections.abc import Sequence

    from ...arrays import Geometries

_MOST: Final = 6  # unions remembered: those of one lake's layers; they are large

_lock = threading.Lock()
_remembered: OrderedDict[str, Any] = OrderedDict()


def union_of(areas: Sequence[Any] | Geometries) -> Any:
    """Unite areas as `shapely.union_all` does, to the bit.

    Parameters
    ----------
    areas
        Geometries; None counts as empty.

    Returns
    -------
    shapely.Geometry
        The union. It is found again by every bit of the areas, so it is that of no others; like all geometries it
        cannot be changed.
    """
    given = np.asarray(areas, dtype=object)
    bits = shapely.to_wkb(given, byte_order=1, include_srid=False)
    key = fingerprint(*(b"" if one is None else one for one in bits))
    with _lock:
        if key in _remembered:
            _remembered.move_to_end(key)
            return _remembered[key]
    made = shapely.union_all(given)
    with _lock:
        _remembered[key] = made
        while len(_remembered) > _MOST:
            _remembered.popitem(last=False)
    return made


@functools.lru_cache(maxsize=2)
def without(area: Any, taken: Any) -> Any:
    """Take one area away from another as `shapely.difference` does; the last few are remembered."""
    return shapely.difference(area, taken)
