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

from ...lineage import CHART_DATUM, IN_LINEAGE, VERTICAL_DATUM, lineage_lines
from ...text import clean, one_line, stamp
from ..words.cautions import BEARINGS, CAUTIONS, level_text
from ..words.features import Feature, check_layers
from ..words.names import PLAIN, TABLES, NameRule
from .palette import LOOKS, Look, band_looks, band_names, look_of
from .prepared_features import Ready, parts_of, ready_features
from .xml_zip_writing import child, document, escaped, tag_names, value_text

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping
    from datetime import datetime

    import geopandas as gpd
    from shapely.geometry.base import BaseGeometry

_KML: Final = "http://www.opengis.net/kml/2.2"
_TESSELLATE: Final = "<tessellate>1</tessellate>"
_END_OF_FOLDER: Final = "  </Folder>\n"
_HIDDEN: Final = TABLES | {
    "contours",
    "soundings",
    "cast_reach",
    "depth_bands",
    "isobaths",
    "route",
    "left_out",
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


def _geometry(geometry: BaseGeometry, runs: Iterator[str]) -> str:
    if geometry.geom_type == "Point":
        return f"<Point><coordinates>{next(runs)}</coordinates></Point>"
    if geometry.geom_type in {"LineString", "LinearRing"}:
        return f"<LineString>{_TESSELLATE}<coordinates>{next(runs)}</coordinates></LineString>"
    if isinstance(geometry, Polygon):
        edges = "".join(
            f"<{tag}><LinearRing><coordinates>{next(runs)}</coordinates></LinearRing></{tag}>"
            for tag in ("outerBoundaryIs", *["innerBoundaryIs"] * shapely.get_num_interior_rings(geometry))
        )
        return f"<Polygon>{_TESSELLATE}{edges}</Polygon>"
    parts = "".join(_geometry(part, runs) for part in parts_of(geometry))
    return f"<MultiGeometry>{parts}</MultiGeometry>"


def _paragraphs(lines: Iterable[str]) -> str:
    return "".join(f"<p>{html.escape(clean(line), quote=True)}</p>" for line in lines if line)


def _placemark(feature: Feature, name: str, mark_id: str, style: str, shape: str) -> str:
    """Write a feature as text: one by one as elements, those of a big plan would take several times as long."""
    told = escaped(_paragraphs([name, *feature.words]))
    data = "".join(
        f'\n     <Data name="{escaped(column)}"><value>{escaped(text)}</value></Data>'
        for column, value in feature.values.items()
        if (text := value_text(value))
    )
    place = f"    {shape}\n" if shape else ""
    values = f"\n    <ExtendedData>{data}\n    </ExtendedData>" if data else ""
    return (
        f'   <Placemark id="{escaped(mark_id)}">\n    <name>{escaped(name)}</name>\n'
        f"    <description>{told}</description>\n    <styleUrl>#{escaped(style)}</styleUrl>{values}\n"
        f"{place}   </Placemark>\n"
    )


def to_kml(
    layers: Mapping[str, gpd.GeoDataFrame],
    *,
    title: str,
    description: str = "",
    level_m: float | None = None,
    date: str | None = None,
    made: datetime | None = None,
    rule: NameRule = PLAIN,
    ready: Ready | None = None,
) -> bytes:
    """Write layers as one KML 2.2 document.

    Parameters
    ----------
    layers
        Layers by name, in any reference system; each becomes a folder, in the order given. Folders that would cover
        the map (depth bands, contours, soundings, cast reach, shoreline, safe water, ways, spots left out, tables by
        the hour) are there but switched off.
    title, description, level_m, date, made, rule, ready
        As for `to_geojson`.

    Returns
    -------
    The document in UTF-8. Heights are never written: everything lies on the surface.

    Raises
    ------
    CrsError, DataError, UsageError
        As for `to_geojson`.
    """
    layers = check_layers(layers)
    made_ready = ready_features(layers, level_m=level_m) if ready is None else ready
    features = made_ready.features
    shapes = [
        "" if shape is None else _geometry(shape, iter(runs))
        for shape, runs in zip(made_ready.shapes, made_ready.runs, strict=True)
    ]
    root = ET.Element("kml", {"xmlns": _KML})
    plan = child(root, "Document")
    child(plan, "name", one_line(title) or "plan")
    child(plan, "open", "1")
    moment = stamp(made)
    about = [
        one_line(description),
        level_text(level_m, date),
        BEARINGS,
        *CAUTIONS,
        f"Made {moment}." if moment else "",
    ]
    about += lineage_lines(layers)
    child(plan, "description", _paragraphs(about))
    bands = band_names(f.values for f in features if f.role == "depth_bands")
    for name, look in {**LOOKS, **band_looks(bands)}.items():
        _style(plan, name, look)
    if level_m is not None:
        about_all = child(plan, "ExtendedData")
        for name, text in ((IN_LINEAGE, value_text(float(level_m))), (VERTICAL_DATUM, CHART_DATUM)):
            child(child(about_all, "Data", None, {"name": name}), "value", text)
    ids = tag_names((f.key for f in features), reserved={*LOOKS, *bands.values()})
    marks: list[str] = []
    for layer in layers:
        rows = [row for row, feature in enumerate(features) if feature.layer == layer]
        own = [features[row] for row in rows]
        folder = child(plan, "Folder")
        child(folder, "name", layer.replace("_", " "))
        hidden = bool(own) and own[0].role in _HIDDEN
        child(folder, "visibility", "0" if hidden else "1")
        child(folder, "open", "0")
        names = rule.unique(feature.name for feature in own)
        marks.append(
            "".join(
                _placemark(
                    feature, name, ids[feature.key], look_of(feature.role, feature.values, bands), shapes[row]
                )
                for row, feature, name in zip(rows, own, names, strict=True)
            )
        )
    # the end of a folder stands nowhere else: among words it would be escaped
    first, *others = document(root).decode().split(_END_OF_FOLDER)
    between = (f"{own}{_END_OF_FOLDER}{after}" for own, after in zip(marks, others, strict=True))
    return "".join([first, *between]).encode()
