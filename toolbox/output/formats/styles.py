"""Styles beside a GeoPackage: OGC Styled Layer Descriptor 1.0.0 and 1.1.0, in the colours of the palette.

Element order is that of the OGC schemas (OGC 02-070 for 1.0.0; 05-078r4 with 05-077r4 for 1.1.0). Each file names
the layer as the GeoPackage does.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final
from xml.etree import ElementTree as ET

from ...lineage import lineage_lines
from ...text import one_line
from ..words.cautions import caution_text
from ..words.features import check_layers, rows_of
from ..words.names import role_of
from . import palette
from .palette import LOOKS, Look, band_looks, band_names
from .xml_zip_writing import child, document, file_stems

if TYPE_CHECKING:
    from collections.abc import Mapping

    import geopandas as gpd

_SLD: Final = "http://www.opengis.net/sld"
_OGC: Final = "http://www.opengis.net/ogc"

# part -> column and its value for each look; the last holds for all other rows
_CASES: Final[dict[str, tuple[tuple[str, str, str], ...]]] = {
    "shallow_hazards": (("care", "idle", "shallow_idle"), ("", "", "shallow_run")),
    "legs": (("part", "run", "leg_run"), ("", "", "leg_idle")),
    "spots": (("fishable", "0", "left_out"), ("", "", "spots")),
    "holds": (("status", "none", "left_out"), ("", "", "holds")),
}
_MARKS: Final = {
    "spots": "circle",
    "structure": "circle",
    "holds": "triangle",
    "ramps": "square",
    "stops": "star",
}


class _Writer:
    """Elements of one version of the standard."""

    def __init__(self, version: str) -> None:
        self.newer = version == "1.1.0"
        self.prefix = "se:" if self.newer else ""

    def put(self, parent: ET.Element, tag: str, text: str | None = None) -> ET.Element:
        """Append an element of the symbology."""
        return child(parent, self.prefix + tag, text)

    def parameter(self, parent: ET.Element, name: str, text: str) -> None:
        """Append a parameter of a stroke or fill."""
        tag = "SvgParameter" if self.newer else "CssParameter"
        child(parent, self.prefix + tag, text, {"name": name})

    def about(self, parent: ET.Element, title: str, words: str) -> None:
        """Append a title and words, which 1.1 puts into a description."""
        home = self.put(parent, "Description") if self.newer else parent
        self.put(home, "Title", title)
        self.put(home, "Abstract", words)

    def _fill(self, parent: ET.Element, look: Look) -> None:
        if look.area:
            fill = self.put(parent, "Fill")
            self.parameter(fill, "fill", look.area)
            self.parameter(fill, "fill-opacity", f"{look.opacity:g}")

    def _stroke(self, parent: ET.Element, look: Look) -> None:
        stroke = self.put(parent, "Stroke")
        self.parameter(stroke, "stroke", look.line)
        self.parameter(stroke, "stroke-width", f"{look.width:g}")
        if look.dashes:
            self.parameter(stroke, "stroke-dasharray", " ".join(f"{dash:g}" for dash in look.dashes))

    def symbol(self, rule: ET.Element, geometry: str, look: Look, mark: str) -> None:
        """Append the symbolizer of a kind of geometry."""
        if geometry == "area":
            area = self.put(rule, "PolygonSymbolizer")
            self._fill(area, look)
            self._stroke(area, look)
        elif geometry == "line":
            self._stroke(self.put(rule, "LineSymbolizer"), look)
        else:
            graphic = self.put(self.put(rule, "PointSymbolizer"), "Graphic")
            shape = self.put(graphic, "Mark")
            self.put(shape, "WellKnownName", mark)
            self._fill(shape, Look(look.line, 1.0, look.line, 1.0))
            self._stroke(shape, Look(palette.INK, 1.0))
            self.put(graphic, "Size", "10")


def _rules(role: str, frame: gpd.GeoDataFrame) -> list[tuple[str, str, str, Look]]:
    """Column, value, name of the look, look; without a column for all rows not met before."""
    if role == "depth_bands":
        bands = band_names(rows_of(frame))
        looks = band_looks(bands)
        return [("from_m", repr(start), name, looks[name]) for start, name in bands.items()]
    cases = [case for case in _CASES.get(role, ()) if not case[0] or case[0] in frame.columns]
    if not cases:
        name = role if role in LOOKS else "plain"
        return [("", "", name, LOOKS[name])]
    return [(column, value, name, LOOKS[name]) for column, value, name in cases]


def _geometries(frame: gpd.GeoDataFrame) -> list[str]:
    kinds = set(frame.geometry.geom_type.dropna())
    found = [
        name
        for name, words in (("area", "Polygon"), ("line", "Line"), ("point", "Point"))
        if any(words in kind for kind in kinds)
    ]
    return found or ["point"]


def to_sld(layer: str, frame: gpd.GeoDataFrame, *, version: str = "1.0.0", words: str = "") -> bytes:
    """Write the style of one layer.

    Parameters
    ----------
    layer
        What the layer is called in the GeoPackage.
    frame
        The layer: its columns, kinds of geometry and depth bands decide the rules.
    version
        ``1.0.0`` or ``1.1.0`` of the standard.
    words
        Told in the abstract.
    """
    out = _Writer(version)
    space = {"version": version, "xmlns": _SLD, "xmlns:ogc": _OGC}
    if out.newer:
        space["xmlns:se"] = "http://www.opengis.net/se"
    root = ET.Element("StyledLayerDescriptor", space)
    named = child(root, "NamedLayer")
    out.put(named, "Name", layer)
    style = child(named, "UserStyle")
    out.put(style, "Name", "castshed")
    out.about(style, layer.replace("_", " "), words or caution_text())
    child(style, "IsDefault", "1")
    kind = out.put(style, "FeatureTypeStyle")
    role = role_of(layer, frame)
    mark = _MARKS.get(role, "circle")
    for column, value, name, look in _rules(role, frame):
        rule = out.put(kind, "Rule")
        out.put(rule, "Name", name)
        if column:
            test = child(child(rule, "ogc:Filter"), "ogc:PropertyIsEqualTo")
            child(test, "ogc:PropertyName", column)
            child(test, "ogc:Literal", value)
        elif role in _CASES and len(_rules(role, frame)) > 1:
            out.put(rule, "ElseFilter")
        for geometry in _geometries(frame):
            out.symbol(rule, geometry, look, mark)
    return document(root)


def to_sld_files(
    layers: Mapping[str, gpd.GeoDataFrame],
    *,
    title: str,
    description: str = "",
    level_m: float | None = None,
    date: str | None = None,
    version: str = "1.0.0",
) -> dict[str, bytes]:
    """Write a style for each layer: file name to content.

    Parameters
    ----------
    layers
        Layers by name.
    title, description, level_m, date
        As for `to_geojson`.
    version
        ``1.0.0`` or ``1.1.0`` of the standard.
    """
    checked = check_layers(layers)
    stems = file_stems(checked)
    head = [one_line(title), one_line(description), caution_text(level_m, date)]
    files = {}
    for layer, frame in checked.items():
        words = " ".join(part for part in (*head, *lineage_lines({layer: frame})) if part)
        files[f"{stems[layer]}.sld"] = to_sld(layer, frame, version=version, words=words)
    return files
