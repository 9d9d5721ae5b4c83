"""Write layers in open formats that other programs and devices read."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import TYPE_CHECKING, Annotated, Any, Final

from castshed.toolbox.algorithm import algorithm
from castshed.toolbox.errors import UsageError
from castshed.toolbox.parameters import Choice, FileSet, Layers, Level, Many, Words

if TYPE_CHECKING:
    from geopandas import GeoDataFrame


def _gpx(layers: Mapping[str, GeoDataFrame], told: Mapping[str, Any]) -> bytes:
    from castshed.toolbox.output.gpx import to_gpx

    return to_gpx(layers, **told)


def _kml(layers: Mapping[str, GeoDataFrame], told: Mapping[str, Any]) -> bytes:
    from castshed.toolbox.output.kml import to_kml

    return to_kml(layers, **told)


def _geojson(layers: Mapping[str, GeoDataFrame], told: Mapping[str, Any]) -> bytes:
    from castshed.toolbox.output.geojson import to_geojson

    return to_geojson(layers, **told)


FORMATS: Final[dict[str, tuple[str, Callable[[Mapping[str, GeoDataFrame], Mapping[str, Any]], bytes]]]] = {
    "gpx": ("run.gpx", _gpx),
    "kml": ("plan.kml", _kml),
    "geojson": ("plan.geojson", _geojson),
}
"""Word of each format, the file it makes, and how."""


@algorithm(
    step="share",
    example="castshed export demo_layers/reservoir.gpkg:spots --level -4ft --formats gpx --out my_files",
)
def export(
    layers: Layers,
    *,
    formats: Annotated[Sequence[str], Many(Choice(tuple(FORMATS)))] = tuple(FORMATS),
    title: Words = "Fishing run",
    description: Words = "",
    level_m: Level | None = None,
    date: Words = "",
) -> Annotated[Mapping[str, bytes], FileSet(tuple(name for name, _ in FORMATS.values()))]:
    """Write layers as GPX, KML and GeoJSON, with depths in words and the cautions in each file.

    GPX 1.1 gets way points (holds, spots, ramps), one route through the stops with the turns of the legs, and a track
    of the legs; areas have no place in it and are left out with a warning. KML 2.2 gets a folder for each layer, with
    styles. GeoJSON (RFC 7946) gets all rows and columns. All are in WGS84. A depth is told in feet and metres in the
    description and never written as an elevation.

    Parameters
    ----------
    layers
        Layers to write; a file alone stands for all its layers.
    formats
        Which formats to write: gpx, kml, geojson; repeat the option for several.
    title
        Name of the plan in the files.
    description
        What else the reader should know; the cautions are always added.
    level_m
        Today's surface minus chart datum, four feet down is -4ft; without it charted depths are called charted.
    date
        Day of that level, as it should be written.

    Returns
    -------
    Mapping
        File name to content: run.gpx, plan.kml, plan.geojson.

    Raises
    ------
    UsageError
        No layer or no format is named.
    """
    if not layers:
        raise UsageError("No layer was given to export; give one or more as FILE.gpkg:LAYER.")
    if not formats:
        raise UsageError(f"No format was given; choose one or more of: {', '.join(FORMATS)}.")
    told = {"title": title, "description": description, "level_m": level_m, "date": date.strip() or None}
    chosen = [FORMATS[word] for word in FORMATS if word in set(formats)]
    return {name: write(layers, told) for name, write in chosen}
