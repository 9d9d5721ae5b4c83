"""A plan as files of one layer each: zipped shapefiles, every cut reported, and FlatGeobuf.

Limits after the ESRI Shapefile Technical Description (1998) and the dBASE III table it uses: one kind of geometry a
file, names of columns of ten characters, texts of 254 bytes.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Final

import numpy as np

from ...layers.writing import to_flatgeobuf, to_shapefile
from ...lineage import lineage_lines
from ...report import note
from ...text import how_many, one_line
from ..words.cautions import CAUTIONS, caution_text, level_text
from ..words.names import PLAIN, NameRule, to_ascii
from .prepared_features import tables_of
from .xml_zip_writing import file_stems, packed

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    import geopandas as gpd

_NAME_LENGTH: Final = 10
_TEXT_BYTES: Final = 254
_KINDS: Final = {
    "Point": "point",
    "MultiPoint": "points",
    "LineString": "line",
    "LinearRing": "line",
    "MultiLineString": "line",
    "Polygon": "area",
    "MultiPolygon": "area",
}
_TYPES: Final = {"point": "Point", "points": "MultiPoint", "line": "LineString", "area": "Polygon"}


def short_columns(columns: Iterable[str]) -> dict[str, str]:
    """Give each column a name of ten ASCII characters, all different regardless of case.

    Examples
    --------
    >>> short_columns(["cast_m", "cast_bearing_deg", "cast_bearing_rad"])
    {'cast_m': 'cast_m', 'cast_bearing_deg': 'cast_beari', 'cast_bearing_rad': 'cast_bea_2'}
    """
    found: dict[str, str] = {}
    taken: set[str] = set()
    for column in columns:
        base = re.sub(r"\W", "_", to_ascii(column), flags=re.ASCII) or "column"
        base = base if base[0].isalpha() else f"c{base}"
        name, number = base[:_NAME_LENGTH], 1
        while name.casefold() in taken:
            number += 1
            tail = f"_{number}"
            name = base[: _NAME_LENGTH - len(tail)] + tail
        taken.add(name.casefold())
        found[column] = name
    return found


def _short_texts(frame: gpd.GeoDataFrame) -> list[str]:
    """Cut the texts of a table in place to the bytes a cell holds; return the columns where one was cut."""
    cut = []
    for column in frame.columns:
        if column == "geometry" or frame[column].dtype.kind != "O":
            continue
        texts = [None if value is None else str(value) for value in frame[column].tolist()]
        short = [
            None if text is None else text.encode()[:_TEXT_BYTES].decode("utf-8", "ignore") for text in texts
        ]
        if short != texts:
            cut.append(str(column))
            frame[column] = np.array(short, dtype=object)
    return cut


def _by_kind(frame: gpd.GeoDataFrame, layer: str) -> dict[str, gpd.GeoDataFrame]:
    """Part the rows by kind of geometry; rows without place go with the first kind."""
    kinds = frame.geometry.geom_type.map(_KINDS)
    odd = frame.geometry.notna() & kinds.isna()
    if odd.any():
        note(
            f"layer '{layer}': {int(odd.sum())} of {how_many(len(frame), 'row')} left out, of several kinds of "
            "geometry at "
            "once, for which a shapefile has no place. Write them as fgb or geojson.",
            stacklevel=4,
        )
    there = [kind for kind in _TYPES if (kinds == kind).any()] or ["point"]
    kinds = kinds.where(frame.geometry.notna(), there[0])
    return {kind: frame[kinds == kind].reset_index(drop=True) for kind in there}


def to_shapefile_sets(
    layers: Mapping[str, gpd.GeoDataFrame],
    *,
    title: str,
    description: str = "",
    level_m: float | None = None,
    date: str | None = None,
    rule: NameRule = PLAIN,
) -> dict[str, bytes]:
    """Write each layer as a zipped set of shapefiles in its own reference system.

    Parameters
    ----------
    layers
        Layers by name. One with several kinds of geometry makes several shapefiles in its archive.
    title, description, level_m, date, rule
        As for `to_geojson`.

    Returns
    -------
    File name to content. Each archive holds the files of the set and ``README.txt``: cautions, lineage, and the
    whole name of each column. What had to be cut is warned of.
    """
    tables = tables_of(layers, level_m=level_m, rule=rule)
    stems = file_stems(layer for layer, _, _ in tables)
    files = {}
    for layer, whole, _ in tables:
        frame = whole.drop(columns="description")  # its sentences would be cut in the middle
        short = short_columns(name for name in frame.columns if name != "geometry")
        renamed = {name: own for name, own in short.items() if name != own}
        cut = _short_texts(frame)
        notes = []
        if renamed:
            told = ", ".join(f"{name} is {own}" for name, own in renamed.items())
            notes.append(f"names of columns cut to {_NAME_LENGTH} characters: {told}")
        if cut:
            notes.append(f"texts cut to {_TEXT_BYTES} bytes in {', '.join(cut)}")
        if notes:
            note(f"shapefile of layer '{layer}': {'; '.join(notes)}.", stacklevel=3)
        parts = _by_kind(frame.rename(columns=short), layer)
        stem = stems[layer]
        content: dict[str, bytes] = {}
        for kind, part in parts.items():
            content |= to_shapefile(part, stem if len(parts) == 1 else f"{stem}-{kind}", _TYPES[kind])
        own_lineage = lineage_lines({name: f for name, f in layers.items() if one_line(name) == layer})
        about = [
            f"{one_line(title) or 'plan'}: {layer}",
            one_line(description),
            level_text(level_m, date),
            *CAUTIONS,
            *own_lineage,
            "",
            "Columns:",
            *(f"{own}: {one_line(name)}" for name, own in short.items()),
            *(f"Note: {note}." for note in notes),
        ]
        content["README.txt"] = ("\r\n".join(about) + "\r\n").encode()
        files[f"{stem}.shp.zip"] = packed(content)
    return files


def to_flatgeobuf_files(
    layers: Mapping[str, gpd.GeoDataFrame],
    *,
    title: str,
    description: str = "",
    level_m: float | None = None,
    date: str | None = None,
    rule: NameRule = PLAIN,
) -> dict[str, bytes]:
    """Write each layer as a FlatGeobuf file; rows stand in the order of the layer.

    Parameters
    ----------
    layers
        Layers by name.
    title, description, level_m, date, rule
        As for `to_geojson`.
    """
    tables = tables_of(layers, level_m=level_m, rule=rule)
    stems = file_stems(layer for layer, _, _ in tables)
    head = [one_line(description), caution_text(level_m, date)]
    files = {}
    for layer, frame, _ in tables:
        own = lineage_lines({name: f for name, f in layers.items() if one_line(name) == layer})
        words = " ".join(part for part in (*head, *own) if part)
        name = f"{one_line(title) or 'plan'}: {layer}"
        files[f"{stems[layer]}.fgb"] = to_flatgeobuf(frame, stems[layer], title=name, words=words)
    return files
