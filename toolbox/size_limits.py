"""How many cells a surface and corners a geometry may have: a bound on memory known before the work begins."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Final

from .errors import UsageError

ONE_PIECE_CELLS: Final = 12_000_000
"""Up to here minimum curvature works on the whole grid at once, above in blocks."""

MOST_CELLS: Final = 60_000_000
"""In one piece, where blocks do not serve."""

MOST_BLOCK_CELLS: Final = 400_000_000
"""In blocks: the coarse grid is then eight times as wide and still of the size of a block."""

MOST_CORNERS: Final = 2_000_000
"""Of one geometry: overlaying one of a million corners takes 2 GB and 23 s of processor time (measured)."""

MOST_LAYER_CORNERS: Final = 20_000_000
"""Of a layer: 320 MB of coordinates, and as much again for each copy."""

BYTES_A_CELL: Final = 75
"""Measured: 62 bytes a cell at their most, all arrays of a surface and its errors together, and a fifth to spare."""

BLOCK_BYTES_A_CELL: Final = 24
"""Depths and errors, and as much again and half while a coverage takes its copy and is written."""

BLOCK_BYTES: Final = 700_000_000
"""One block or the coarse grid at its most, the data it takes for itself, and what stays of the coarse grid."""

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


def check_room(
    bounds: tuple[float, float, float, float], cell_m: float, *, in_blocks: bool = False, otherwise: str = ""
) -> None:
    """Refuse a grid that is too large for the work or for this machine's memory, and say which cells would do.

    Parameters
    ----------
    bounds
        West, south, east and north.
    cell_m
        Size of a cell.
    in_blocks
        Whether more than `ONE_PIECE_CELLS` are made in blocks.
    otherwise
        What else would help, said last.

    Raises
    ------
    UsageError
        More than `MOST_CELLS` cells, in blocks `MOST_BLOCK_CELLS`, or more than the free memory holds.
    """
    west, south, east, north = bounds
    area = (east - west) * (north - south)
    cells = area / cell_m**2
    free = free_bytes()
    fixed, each, limit = _OWN_BYTES, BYTES_A_CELL, MOST_CELLS
    most = (free - fixed) / each
    if in_blocks:
        most = min(most, float(ONE_PIECE_CELLS))
        limit = MOST_BLOCK_CELLS
        by_block = (free - _OWN_BYTES - BLOCK_BYTES) / BLOCK_BYTES_A_CELL
        most = by_block if by_block > ONE_PIECE_CELLS else most
        if cells > ONE_PIECE_CELLS:
            fixed, each = _OWN_BYTES + BLOCK_BYTES, BLOCK_BYTES_A_CELL
    most = min(float(limit), max(most, 1.0))
    if cells <= most:
        return
    least = (area / most) ** 0.5
    if most == limit:
        why = f"at most {limit // 1_000_000} million are made"
    else:
        why = f"they need about {(cells * each + fixed) / 1e9:.1f} GB of memory and {free / 1e9:.1f} GB are free"
    raise UsageError(
        f"Cells of {cell_m:g} m would be {cells / 1e6:.3g} million; {why}. Give cells of {least + 0.05:.1f} m or more, "
        f"or a smaller lake{otherwise}."
    )
