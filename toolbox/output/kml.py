"""Write a plan as OGC KML 2.2: a folder for each layer, styles, values, words that any viewer can show.

A viewer shows ``description`` as HTML, so everything in it is escaped twice: once as HTML, once as XML. The
balloon shows the description and nothing else, because a viewer's own balloon would put names and values into
HTML unescaped.
"""

from __future__ import annotations

import html
from typing import TYPE_CHECKING, Final
from xml.etree import ElementTree as ET

import shapely
from shapely.geometry import Polygon
from shapely.geometry.base import BaseMultipartGeometry

from .cautions import CAUTIONS, level_text
from .earth import on_earth
from .features import Feature, check_layers, features_of
from .lineage import lineage_lines
from .looks import LOOKS, Look, band_looks, band_names, look_of
from .markup import child, document, tag_names, value_text
from .names import PLAIN, NameRule
from .roles import TABLES
from .text import clean, one_line, stamp

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping
    from datetime import datetime

    import geopandas as gpd
    import numpy as np
    from shapely.geometry.base import BaseGeometry

_KML: Final = "http://www.opengis.net/kml/2.2"
_HIDDEN: Final = TABLES | {
    "contours",
    "soundings",
    "cast_reach",
    "depth_bands",
    "shoreline",
    "safe_water",
    "ways",
}


def _colour(colour: str, opacity: float = 1.0) -> str:
    """KML's order: opacity, blue, green, red."""
    return f"{round(opacity * 255):02x}{colour[5:7]}{colour[3:5]}{colour[1:3]}"


def _style(parent: ET.Element, name: str, look: Look) -> None:
    style = child(parent, "Style", None, {"id": name})
    icon = child(style, "IconStyle")
    child(icon, "color", _colour(look.line))
    child(icon, "scale", "0.9")
    lines = child(style, "LineStyle")
    child(lines, "color", _colour(look.line))
    child(lines, "width", f"{look.width:g}")
    areas = child(style, "PolyStyle")
    child(areas, "color", _colour(look.area or look.line, look.opacity))
    child(areas, "fill", "1" if look.area else "0")
    child(areas, "outline", "1")
    child(child(style, "BalloonStyle"), "text", "$[description]")


def _coordinates(points: np.ndarray[tuple[int, ...], np.dtype[np.float64]]) -> str:
    return " ".join(f"{x:.7f},{y:.7f}" for x, y in points.tolist())


def _geometry(parent: ET.Element, geometry: BaseGeometry) -> None:
    if geometry.geom_type == "Point":
        child(child(parent, "Point"), "coordinates", _coordinates(shapely.get_coordinates(geometry)))
    elif geometry.geom_type in {"LineString", "LinearRing"}:
        line = child(parent, "LineString")
        child(line, "tessellate", "1")
        child(line, "coordinates", _coordinates(shapely.get_coordinates(geometry)))
    elif isinstance(geometry, Polygon):
        polygon = child(parent, "Polygon")
        child(polygon, "tessellate", "1")
        for tag, rings in (
            ("outerBoundaryIs", [geometry.exterior]),
            ("innerBoundaryIs", list(geometry.interiors)),
        ):
            for ring in rings:
                edge = child(child(polygon, tag), "LinearRing")
                child(edge, "coordinates", _coordinates(shapely.get_coordinates(ring)))
    elif isinstance(geometry, BaseMultipartGeometry):
        several = child(parent, "MultiGeometry")
        for part in geometry.geoms:
            _geometry(several, part)


def _paragraphs(lines: Iterable[str]) -> str:
    return "".join(f"<p>{html.escape(clean(line), quote=True)}</p>" for line in lines if line)


def _placemark(parent: ET.Element, feature: Feature, name: str, mark_id: str, style: str) -> None:
    mark = child(parent, "Placemark", None, {"id": mark_id})
    child(mark, "name", name)
    child(mark, "description", _paragraphs([name, *feature.words]))
    child(mark, "styleUrl", f"#{style}")
    written = {column: text for column, value in feature.values.items() if (text := value_text(value))}
    if written:
        extended = child(mark, "ExtendedData")
        for column, text in written.items():
            child(child(extended, "Data", None, {"name": column}), "value", text)
    if feature.geometry is not None:
        _geometry(mark, on_earth(feature.geometry))


def to_kml(
    layers: Mapping[str, gpd.GeoDataFrame],
    *,
    title: str,
    description: str = "",
    level_m: float | None = None,
    date: str | None = None,
    made: datetime | None = None,
    rule: NameRule = PLAIN,
) -> bytes:
    """Write layers as one KML 2.2 document.

    Parameters
    ----------
    layers
        Layers by name, in any reference system; each becomes a folder, in the order given. Folders that would cover
        the map (depth bands, contours, soundings, cast reach, shoreline, safe water, ways, tables by the hour) are
        there but switched off.
    title
        Name of the plan.
    description
        What the reader should know besides the cautions, which are always added.
    level_m
        Today's surface minus chart datum in metres, signed; None where it is not known.
    date
        Day of that level, as text.
    made
        When the plan was made, with its zone; told in UTC.
    rule
        How names are written: cut to a length, in ASCII.

    Returns
    -------
    bytes
        The document in UTF-8. Heights are never written: everything lies on the surface.

    Raises
    ------
    CrsError
        A layer has no reference system.
    DataError
        Something is not a layer.
    UsageError
        ``made`` carries no zone.
    """
    layers = check_layers(layers)
    features = features_of(layers, level_m=level_m)
    root = ET.Element("kml", {"xmlns": _KML})
    plan = child(root, "Document")
    child(plan, "name", one_line(title) or "plan")
    child(plan, "open", "1")
    moment = stamp(made)
    about = [one_line(description), level_text(level_m, date), *CAUTIONS, f"Made {moment}." if moment else ""]
    about += lineage_lines(layers)
    child(plan, "description", _paragraphs(about))
    bands = band_names(f.values for f in features if f.role == "depth_bands")
    for name, look in {**LOOKS, **band_looks(bands)}.items():
        _style(plan, name, look)
    ids = tag_names((f.key for f in features), reserved={*LOOKS, *bands.values()})
    for layer in layers:
        own = [feature for feature in features if feature.layer == layer]
        folder = child(plan, "Folder")
        child(folder, "name", layer.replace("_", " "))
        hidden = bool(own) and own[0].role in _HIDDEN
        child(folder, "visibility", "0" if hidden else "1")
        child(folder, "open", "0")
        for feature, name in zip(own, rule.unique(f.name for f in own), strict=True):
            _placemark(folder, feature, name, ids[feature.key], look_of(feature.role, feature.values, bands))
    return document(root)
