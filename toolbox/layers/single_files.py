"""One layer written as files that hold one layer only: FlatGeobuf, shapefile."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from ..errors import OutputFailed
from .door import write_features

if TYPE_CHECKING:
    from geopandas import GeoDataFrame


def to_flatgeobuf(frame: GeoDataFrame, name: str, *, title: str, words: str) -> bytes:
    """Write one frame as a FlatGeobuf file, its rows in their order.

    Parameters
    ----------
    frame
        Columns of numbers and text.
    name
        What the layer is called in the file.
    title, words
        Kept in the head of the file.

    Raises
    ------
    OutputFailed
        The frame cannot be written so.
    """
    import io

    whole = io.BytesIO()
    try:
        write_features(
            frame,
            whole,
            driver="FlatGeobuf",
            layer=name,
            geometry_type="Unknown",
            # an index would sort the rows by place, and refuse those that have none
            layer_options={"SPATIAL_INDEX": "NO", "TITLE": title, "DESCRIPTION": words},
        )
    except OutputFailed as error:
        raise OutputFailed(f"{name} could not be written as FlatGeobuf ({error}).") from error
    return whole.getvalue()


def to_shapefile(frame: GeoDataFrame, name: str, geometry: str) -> dict[str, bytes]:
    """Write one frame of a single kind of geometry as the files of a shapefile, in UTF-8.

    Parameters
    ----------
    frame
        Columns of numbers and text, their names of at most ten characters.
    name
        File name of the set, without ending.
    geometry
        ``Point``, ``MultiPoint``, ``LineString`` or ``Polygon``.

    Raises
    ------
    OutputFailed
        The frame cannot be written so.
    """
    import tempfile

    with tempfile.TemporaryDirectory() as folder:
        try:
            write_features(
                frame,
                Path(folder) / f"{name}.shp",
                driver="ESRI Shapefile",
                geometry_type=geometry,
                encoding="UTF-8",
            )
        except OutputFailed as error:
            raise OutputFailed(f"{name} could not be written as a shapefile ({error}).") from error
        return {path.name: path.read_bytes() for path in sorted(Path(folder).iterdir())}
