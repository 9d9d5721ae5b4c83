"""Shapefiles, alone or packed: geometry, the table beside it, and what often lacks (reference system, encoding)."""

from __future__ import annotations

import tempfile
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Final

import numpy as np

from ..errors import DataError
from .delimited import LARGEST_BYTES
from .source_table import SourceTable

if TYPE_CHECKING:
    from .xml_zip_reading import Packed

_PARTS: Final = (".shp", ".shx", ".dbf", ".prj", ".cpg")


def _mend(text: str) -> str:
    """Read anew what was UTF-8 and was taken for Latin-1."""
    try:
        return text.encode("latin-1").decode("utf-8")
    except UnicodeError:
        return text


def _beside(path: Path, ending: str) -> Path | None:
    return next((p for p in (path.with_suffix(ending), path.with_suffix(ending.upper())) if p.exists()), None)


def read_shapefile(path: Path, name: str) -> SourceTable:
    """Read a shapefile.

    Parameters
    ----------
    path
        Its .shp part.
    name
        What the source is called.

    Returns
    -------
    One row a feature, counted from 1. Without a .prj, coordinates that can be degrees are taken as WGS84, which is
    said; without a .cpg, texts that are UTF-8 are read as such.

    Raises
    ------
    DataError
        A part is missing or broken, or it is too large.
    """
    from ..layers.reading import Reference, read_layer

    parts = {ending: _beside(path, ending) for ending in _PARTS}
    size = sum(part.stat().st_size for part in parts.values() if part is not None)
    if size > LARGEST_BYTES:
        raise DataError(
            f"{path} is larger than {LARGEST_BYTES // 1024**2} MB with its parts, too large for a list of spots."
        )
    if parts[".shx"] is None:
        raise DataError(f"{path} lacks its part {path.stem}.shx; copy all files of that name together.")
    said: list[str] = []
    if parts[".dbf"] is None:
        said.append("its .dbf part is missing: no names, kinds or depths")
    frame = read_layer(Reference(path))
    table = SourceTable.from_frame(frame, name)
    rows, crs = table.rows, table.crs
    if parts[".cpg"] is None and any(not str(v).isascii() for column in rows for v in rows[column]):
        rows = rows.map(_mend)
        said.append("its table states no encoding: look at names with accents")
    if crs is None and len(table):
        west, south, east, north = frame.total_bounds
        if (
            np.isfinite([west, east]).all()
            and max(abs(west), abs(east)) <= 180
            and max(abs(south), abs(north)) <= 180
        ):
            crs = "OGC:CRS84"
            said.append("it states no reference system (.prj): taken as degrees of WGS84")
    text = tuple(
        "; ".join(f"{k}={v}" for k, v in zip(rows.columns, values, strict=True) if v)
        for values in rows.itertuples(index=False, name=None)
    )
    return replace(
        table,
        kind="shapefile",
        rows=rows,
        crs=crs,
        said=tuple(said),
        text=text if len(rows.columns) else table.text,
    )


def read_packed_shapefile(packed: Packed, member: str) -> SourceTable:
    """Read a shapefile out of a packed file; ``member`` is its .shp part.

    Raises
    ------
    DataError
        See `read_shapefile`.
    """
    stem = member[: -len(".shp")].casefold()
    with tempfile.TemporaryDirectory(prefix="castshed-") as folder:
        for one in packed.names:
            start, dot, ending = one.rpartition(".")
            if dot and start.casefold() == stem and f".{ending.lower()}" in _PARTS:
                (Path(folder) / f"packed.{ending.lower()}").write_bytes(packed.read(one))
        inside = Path(folder) / "packed.shp"
        try:
            return read_shapefile(inside, f"{packed.name}:{Path(member).stem}")
        except DataError as fault:
            raise type(fault)(str(fault).replace(str(inside), f"{packed.name} ({member})")) from fault
