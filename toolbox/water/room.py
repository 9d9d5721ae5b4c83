"""How many cells a surface may have: a bound on memory that is known before the work begins."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Final

from ..errors import UsageError

MOST_CELLS: Final = 60_000_000
BYTES_A_CELL: Final = 50
"""Measured: 40 bytes a cell at their most, all arrays of a surface and its errors together, and a fifth to spare."""

_OWN_BYTES: Final = 350_000_000  # the program and its libraries


def free_bytes() -> float:
    """Memory that can be had without swapping; infinite where the system does not say."""
    try:
        for line in Path("/proc/meminfo").read_text(encoding="ascii").splitlines():
            if line.startswith("MemAvailable:"):
                return 1024.0 * float(line.split()[1])
    except (OSError, ValueError, IndexError):
        pass
    try:
        return float(os.sysconf("SC_PHYS_PAGES")) * float(os.sysconf("SC_PAGE_SIZE"))
    except (AttributeError, OSError, ValueError):
        return float("inf")


def check_room(bounds: tuple[float, float, float, float], cell_m: float) -> None:
    """Refuse a grid that is too large for the work or for this machine's memory, and say which cells would do.

    Raises
    ------
    UsageError
        More than `MOST_CELLS` cells, or more than the free memory holds.
    """
    west, south, east, north = bounds
    area = (east - west) * (north - south)
    cells = area / cell_m**2
    free = free_bytes()
    most = min(float(MOST_CELLS), max((free - _OWN_BYTES) / BYTES_A_CELL, 1.0))
    if cells <= most:
        return
    least = (area / most) ** 0.5
    if most == MOST_CELLS:
        why = f"at most {MOST_CELLS // 1_000_000} million are made"
    else:
        need = (cells * BYTES_A_CELL + _OWN_BYTES) / 1e9
        why = f"they need about {need:.1f} GB of memory and {free / 1e9:.1f} GB are free"
    raise UsageError(
        f"Cells of {cell_m:g} m would be {cells / 1e6:.3g} million; {why}. Give cells of {least + 0.05:.1f} m or more, "
        "or a smaller lake."
    )
