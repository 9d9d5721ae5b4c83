"""Write a plan as OGC KML 2.2: a folder for each layer, styles, values, words that any viewer can show.

A viewer shows ``description`` as HTML, so everything in it is escaped twice: once as HTML, once as XML. The
balloon shows the description and nothing else, because a viewer's own balloon would put names and values into
HTML unescaped.
"""

from __future__ import annotations

import html
import math
from typing import TYPE_CHECKING, Final
from xml.etree import ElementTree as ET

import shapely
from shapely.geometry import Polygon
from shapely.geometry.base import BaseMultipartGeometry

from . import palette
from .cautions import CAUTIONS, level_text
from .earth import on_earth
from .features import Feature, check_layers, features_of
from .markup import child, document, tag_names, value_text
from .text import clean, number, one_line, stamp, unique_names

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping
    from datetime import datetime

    import geopandas as gpd
    import numpy as np
    from shapely.geometry.base import BaseGeometry

_KML: Final = "http://www.opengis.net/kml/2.2"
_HIDDEN: Final = frozenset({"contours", "soundings", "cast_reach", "depth_bands", "shoreline"})

# style id -> line colour, line width, area colour (None: outline only), area opacity
_STYLES: Final[dict[str, tuple[str, float, str | None, float]]] = {
    "water": (palette.LAND_EDGE, 1.5, None, 0.0),
    "shoreline": (palette.LAND_EDGE, 1.0, None, 0.0),
    "dry_ground": (palette.DRY_DOTS, 1.0, palette.DRY, 0.55),
    "shallow_run": (palette.HAZARD, 1.0, palette.HAZARD, 0.2),
    "shallow_idle": (palette.HAZARD, 2.0, palette.HAZARD, 0.45),
    "known_hazards": (palette.KNOWN, 2.0, palette.KNOWN, 0.4),
    "zones": (palette.ZONE, 2.5, None, 0.0),
    "cast_reach": (palette.CAST, 1.0, palette.CAST, 0.15),
    "cast_lines": (palette.CAST, 2.0, None, 0.0),
    "leg_run": (palette.RUN, 3.5, None, 0.0),
    "leg_idle": (palette.LEFT_OUT, 3.5, None, 0.0),
    "holds": (palette.HOLD, 1.0, None, 0.0),
    "stops": (palette.RUN, 1.0, None, 0.0),
    "ramps": (palette.RAMP, 1.0, None, 0.0),
    "spots": (palette.CASING, 1.0, None, 0.0),
    "left_out": (palette.LEFT_OUT, 1.0, None, 0.0),
    "plain": (palette.QUIET, 1.5, None, 0.0),
}


def _colour(colour: str, opacity: float = 1.0) -> str:
    """KML's order: opacity, blue, green, red."""
    return f"{round(opacity * 255):02x}{colour[5:7]}{colour[3:5]}{colour[1:3]}"


def _style(parent: ET.Element, name: str, look: tuple[str, float, str | None, float]) -> None:
    line, width, area, opacity = look
    style = child(parent, "Style", None, {"id": name})
    icon = child(style, "IconStyle")
    child(icon, "color", _colour(line))
    child(icon, "scale", "0.9")
    lines = child(style, "LineStyle")
    child(lines, "color", _colour(line))
    child(lines, "width", f"{width:g}")
    areas = child(style, "PolyStyle")
    child(areas, "color", _colour(area or line, opacity))
    child(areas, "fill", "1" if area else "0")
    child(areas, "outline", "1")
    child(child(style, "BalloonStyle"), "text", "$[description]")


def _style_of(feature: Feature, bands: Mapping[float, str]) -> str:
    if feature.role == "shallow_hazards":
        return "shallow_idle" if feature.values.get("care") == "idle" else "shallow_run"
    if feature.role == "legs":
        return "leg_run" if feature.values.get("part") == "run" else "leg_idle"
    if feature.role == "depth_bands":
        return bands.get(number(feature.values.get("from_m")), "plain")
    if feature.role == "spots" and number(feature.values.get("fishable")) == 0.0:
        return "left_out"
    if feature.role == "holds" and feature.values.get("status") == "none":
        return "left_out"
    return feature.role if feature.role in _STYLES else "plain"


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
) -> bytes:
    """Write layers as one KML 2.2 document.

    Parameters
    ----------
    layers
        Layers by name, in any reference system; each becomes a folder, in the order given. Folders that would cover
        the map (depth bands, contours, soundings, cast reach, shoreline) are there but switched off.
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
    child(plan, "description", _paragraphs(about))
    for name, look in _STYLES.items():
        _style(plan, name, look)
    starts = sorted(
        {
            start
            for f in features
            if f.role == "depth_bands" and math.isfinite(start := number(f.values.get("from_m")))
        }
    )
    bands = {start: f"band_{place}" for place, start in enumerate(starts, start=1)}
    for name, colour in zip(bands.values(), palette.depth_colours(len(bands)) if bands else (), strict=True):
        _style(plan, name, (palette.LAND_EDGE, 0.5, colour, 0.8))
    ids = tag_names((f.key for f in features), reserved={*_STYLES, *bands.values()})
    for layer in layers:
        own = [feature for feature in features if feature.layer == layer]
        folder = child(plan, "Folder")
        child(folder, "name", layer.replace("_", " "))
        hidden = bool(own) and own[0].role in _HIDDEN
        child(folder, "visibility", "0" if hidden else "1")
        child(folder, "open", "0")
        for feature, name in zip(own, unique_names(f.name for f in own), strict=True):
            _placemark(folder, feature, name, ids[feature.key], _style_of(feature, bands))
    return document(root)
