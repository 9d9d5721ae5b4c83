"""How a boat may lie to a structure: the point it casts at and the direction in which it stands off."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

if TYPE_CHECKING:
    from ...arrays import Floats


class Lie(NamedTuple):
    """Aims and directions of rays: points of the structure, and unit vectors from there to the boat."""

    x: Floats
    y: Floats
    east: Floats
    north: Floats
