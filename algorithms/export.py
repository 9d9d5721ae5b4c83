"""Write layers in open formats that other programs and devices read."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Annotated, Final

from castshed.toolbox.algorithm import algorithm
from castshed.toolbox.errors import UsageError
from castshed.toolbox.parameters import (
    Choice,
    Count,
    DayOf,
    Depth,
    DepthConfidence,
    FileSet,
    Layers,
    Many,
    Symbols,
    Title,
    TodaysLevel,
    Words,
    YesNo,
)

FORMATS: Final[dict[str, tuple[str, ...]]] = {
    "gpx": ("run.gpx", "run-*-of-*.gpx"),
    "kml": ("plan.kml",),
    "kmz": ("plan.kmz",),
    "geojson": ("plan.geojson",),
    "csv": ("plan-*.csv", "csv-metadata.json"),
    "fgb": ("plan-*.fgb",),
    "shp": ("plan-*.shp.zip",),
    "dxf": ("plan.dxf",),
    "sld": ("plan-*.sld",),
    "parquet": ("plan-*.parquet",),
    "tif": ("depth_today.tif", "depth.tif"),
}
"""Word of each format, and the files it may make."""

FIRST: Final = ("gpx", "kml", "geojson")
"""Formats written unless told otherwise."""


@algorithm(
    step="share",
    example="castshed export my_day/plan.gpkg:stops my_day/plan.gpkg:legs my_day/plan.gpkg:holds --level -4ft "
    "--formats gpx --out my_files",
)
def export(
    layers: Layers,
    *,
    formats: Annotated[Sequence[str], Many(Choice(tuple(FORMATS)))] = FIRST,
    title: Title = "",
    description: Words = "",
    level_m: TodaysLevel | None = None,
    depth_confidence: DepthConfidence | None = None,
    date: DayOf = "",
    name_length: Count | None = None,
    ascii: YesNo = False,  # noqa: A002 -- the name of the option
    most_points: Count | None = None,
    symbols: Symbols | None = None,
    sld_version: Annotated[str, Choice(("1.0.0", "1.1.0"))] = "1.0.0",
    waypoints: Annotated[str, Choice(("stops", "all"))] = "stops",
    depth: Depth | None = None,
) -> Annotated[Mapping[str, bytes], FileSet(tuple(name for names in FORMATS.values() for name in names))]:
    """Write layers in open formats, with depths in words and the cautions with each file.

    GPX 1.1 gets way points (where there are stops, those of their holds and of the ramps), one route through the stops
    with few turns between them, and a track of the legs; areas have no place in it. KML 2.2 gets a folder for each
    layer, with styles; KMZ is the same, packed. GeoJSON (RFC 7946) gets all rows and columns. All are in WGS84. A
    depth is told in feet and metres in the description and never written as an elevation.

    CSV gets a table for each layer, with longitude, latitude and, for lines and areas, WKT; csv-metadata.json
    beside them tells what they are. FlatGeobuf (fgb) and shapefiles (shp, zipped) get a file for each layer in its
    own reference system; a shapefile cuts names of columns to ten characters and texts to 254 bytes, which is
    reported. DXF gets one drawing in metres, with names as text. Styles (sld, by the OGC's Styled Layer Descriptor)
    draw each layer of a GeoPackage in castshed's colours. GeoParquet (parquet) gets a file for each layer. A
    cloud-optimised GeoTIFF (tif) gets the depth coverage: today's depths where the level is given, else those below
    chart datum.

    Parameters
    ----------
    layers
        Layers to write; a file alone stands for all its layers.
    formats
        Which formats to write: gpx, kml, kmz, geojson, csv, fgb, shp, dxf, sld, parquet, tif; repeat the option for
        several.
    description
        What else the reader should know; the cautions are always added.
    name_length
        Most characters of a name, for devices that cut longer ones, such as 12; names that would then be the same
        get a number at their end.
    ascii
        Whether names and words are written with the letters of ASCII only, for devices that know no others.
    most_points
        Most way points of a GPX file and most points of its route; what is more goes into further files, run-1-of-2
        and so on, and the route goes on where it ended.
    symbols
        Your own table of what your device calls the mark of each kind, columns kind and symbol; GPX gets no symbols
        without it. Kinds are those of spots, and hold, stop, turn, ramp, hazard, landmark.
    sld_version
        Version of the standard that styles are written in.
    waypoints
        Which points GPX gets as way points where there are stops: the holds they are made at and the ramps, or all.
    depth
        Depth coverage, for the format tif.

    Returns
    -------
    Mapping
        File name to content.

    Raises
    ------
    UsageError
        No layer or no format is named, or a limit leaves no room.
    DataError
        The table of symbols cannot be read.
    """
    from castshed.toolbox.output.formats.formats import Telling, write_files
    from castshed.toolbox.output.formats.gpx_run import symbol_table
    from castshed.toolbox.output.words.names import NameRule
    from castshed.toolbox.water.level.uncertainty import all_with_errors

    if not layers:
        raise UsageError("No layer was given to export; give one or more as FILE.gpkg:LAYER.")
    if not formats:
        raise UsageError(f"No format was given; choose one or more of: {', '.join(FORMATS)}.")
    if "tif" in formats and depth is None:
        raise UsageError("The format tif writes a depth coverage; give it with --depth FILE.gpkg:LAYER.")
    telling = Telling(
        title=title or "Fishing run",
        description=description,
        level_m=level_m,
        date=date.strip() or None,
        rule=NameRule(name_length, ascii),
        symbols=symbol_table(symbols),
        most_points=most_points,
        sld_version=sld_version,
        all_points=waypoints == "all",
    )
    layers = all_with_errors(layers, depth_confidence)
    return write_files(layers, [word for word in FORMATS if word in set(formats)], telling, depth)
