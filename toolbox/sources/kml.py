"""Placemarks of a KML 2.2 file: points, lines and areas, with their extended data."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from ..text import how_many
from .source_table import SourceTable

if TYPE_CHECKING:
    from .xml_zip_reading import Element

_SHAPES = ("Point", "LineString", "LinearRing", "Polygon", "MultiGeometry")


def _numbers(text: str) -> list[tuple[float, float]]:
    pairs = []
    for group in text.split():
        lon, lat, *_ = (float(part) for part in group.split(","))
        pairs.append((lon, lat))
    return pairs


def _shape(element: Element) -> Any:
    """Build one geometry; ValueError where its coordinates cannot be read."""
    import shapely

    if element.name == "Point":
        return shapely.Point(_numbers(element.text_of("coordinates"))[0])
    if element.name in ("LineString", "LinearRing"):
        return shapely.LineString(_numbers(element.text_of("coordinates")))
    if element.name == "Polygon":
        outer, holes = None, []
        for edge in element.children:
            ring = edge.child("LinearRing")
            if ring is None:
                continue
            if edge.name == "outerBoundaryIs":
                outer = _numbers(ring.text_of("coordinates"))
            elif edge.name == "innerBoundaryIs":
                holes.append(_numbers(ring.text_of("coordinates")))
        if outer is None:
            raise ValueError("no outer edge")
        return shapely.Polygon(outer, holes)
    parts = [_shape(one) for one in element.children if one.name in _SHAPES]
    if len(parts) == 1:
        return parts[0]
    kinds = {part.geom_type for part in parts}
    several: dict[str, Any] = {
        "Point": shapely.MultiPoint,
        "LineString": shapely.MultiLineString,
        "Polygon": shapely.MultiPolygon,
    }
    if len(kinds) != 1 or not kinds <= set(several):
        raise ValueError("shapes of several types in one place")
    return several[kinds.pop()](parts)


def _geometry(placemark: Element) -> tuple[Any, str]:
    import numpy as np
    import shapely

    holder = next((one for one in placemark.children if one.name in _SHAPES), None)
    if holder is None:
        return None, ""
    try:
        shape = _shape(holder)
    except (ValueError, IndexError, shapely.errors.GEOSException) as fault:
        return None, f"its {holder.name} cannot be read: {str(fault)[:60]}"
    if not np.isfinite(shapely.get_coordinates(shape)).all():
        return None, f"its {holder.name} has coordinates that are not numbers"
    return shape, ""


def _cells(placemark: Element, folder: str) -> dict[str, str]:
    cells = {
        "name": placemark.text_of("name"),
        "description": placemark.text_of("description"),
        "folder": folder,
    }
    for one in placemark.walk():
        if one.name == "Data" and one.attributes.get("name"):
            cells.setdefault(one.attributes["name"], one.text_of("value"))
        elif one.name == "SimpleData" and one.attributes.get("name"):
            cells.setdefault(one.attributes["name"], one.text)
        elif one.name == "when":
            cells.setdefault("surveyed", one.text)
    return {key: value for key, value in cells.items() if value}


def _placemarks(root: Element) -> list[tuple[Element, str]]:
    found: list[tuple[Element, str]] = []
    stack = [(root, "")]
    while stack:
        one, folder = stack.pop()
        if one.name == "Placemark":
            found.append((one, folder))
            continue
        inside = one.text_of("name") if one.name == "Folder" else folder
        stack.extend((child, inside) for child in reversed(one.children))
    return found


def read_kml(root: Element, name: str) -> SourceTable:
    """Take the placemarks out of a parsed KML file.

    Parameters
    ----------
    root
        The ``kml`` element.
    name
        What the source is called.

    Returns
    -------
    Name, description (as written, markup and all), folder, and the extended data under its own names. Links to
    other files and the network are not followed.
    """
    found = _placemarks(root)
    shapes = [_geometry(one) for one, _ in found]
    links = sum(one.name == "NetworkLink" for one in root.walk())
    return SourceTable.make(
        name,
        "kml",
        [_cells(one, folder) for one, folder in found],
        line=[one.line for one, _ in found],
        counted="line",
        text=[one.outline() for one, _ in found],
        problem=[why for _, why in shapes],
        geometry=[shape for shape, _ in shapes],
        crs="OGC:CRS84",
        said=[f"{how_many(links, 'network link')} not followed"] if links else [],
    )
