"""SLD: elements in the order of the OGC schemas, colours of the palette, a rule for every row."""

from __future__ import annotations

import xml.etree.ElementTree as ET

import pytest

from castshed.toolbox.output.formats import palette
from castshed.toolbox.output.formats.styles import to_sld, to_sld_files
from castshed.toolbox.output.words.cautions import CAUTIONS

# Order of children by StyledLayerDescriptor.xsd 1.0.0 (OGC 02-070) and FeatureStyle.xsd 1.1.0 (OGC 05-077r4); what the schemas themselves say is asked in test_other_readers.py
ORDER = {
    "NamedLayer": ("Name", "UserStyle"),
    "UserStyle": ("Name", "Description", "Title", "Abstract", "IsDefault", "FeatureTypeStyle"),
    "Rule": ("Name", "Filter", "ElseFilter", "PolygonSymbolizer", "LineSymbolizer", "PointSymbolizer"),
    "PolygonSymbolizer": ("Fill", "Stroke"),
    "Mark": ("WellKnownName", "Fill", "Stroke"),
    "Graphic": ("Mark", "Size"),
}


VERSIONS = ("1.0.0", "1.1.0")  # of the standard


def local(element):
    return element.tag.rsplit("}", 1)[-1]


@pytest.mark.parametrize("version", VERSIONS)
def test_elements_stand_in_the_order_of_the_schema(plan, version):
    for content in to_sld_files(plan, title="run", version=version).values():
        root = ET.fromstring(content)
        assert root.get("version") == version
        for element in root.iter():
            if local(element) in ORDER:
                places = [ORDER[local(element)].index(local(child)) for child in element]
                assert places == sorted(places), local(element)


@pytest.mark.parametrize("version", VERSIONS)
def test_symbology_is_in_the_namespace_of_its_version(plan, version):
    wanted = "http://www.opengis.net/se" if version == "1.1.0" else "http://www.opengis.net/sld"
    root = ET.fromstring(to_sld("legs", plan["legs"], version=version))
    names = {
        element.tag.split("}")[0][1:]
        for element in root.iter()
        if local(element) in {"Rule", "Stroke", "Name"}
    }
    assert names == {wanted}
    assert {local(e) for e in root.iter() if local(e).endswith("Parameter")} == {
        "SvgParameter" if version == "1.1.0" else "CssParameter"
    }


def test_layers_are_called_as_in_the_geopackage_with_the_cautions(plan):
    files = to_sld_files(plan, title="run", level_m=-1.2192)
    names = {}
    for name, content in files.items():
        root = ET.fromstring(content)
        names[name] = root.findtext("{*}NamedLayer/{*}Name")
        abstract = root.findtext(".//{*}Abstract")
        assert all(caution in abstract for caution in CAUTIONS)
    assert names == {f"plan-{layer}.sld": layer for layer in plan}


def test_depth_bands_have_a_rule_each_in_the_colours_of_the_palette(plan):
    root = ET.fromstring(to_sld("depth_bands", plan["depth_bands"]))
    fills = [e.text for e in root.iter() if local(e) == "CssParameter" and e.get("name") == "fill"]
    assert fills == palette.depth_colours(5)
    literals = [float(e.text) for e in root.iter() if local(e) == "Literal"]
    assert literals == sorted(plan["depth_bands"]["from_m"])


def test_every_colour_is_one_of_the_palette(plan):
    own = {value for value in vars(palette).values() if isinstance(value, str) and value.startswith("#")}
    for content in to_sld_files(plan, title="run").values():
        root = ET.fromstring(content)
        used = {e.text for e in root.iter() if e.get("name") in {"fill", "stroke"}}
        assert used <= own | set(palette.depth_colours(5))


def test_hostile_layers_make_well_formed_styles(hostile_layers, empty_layers):
    for layers in (hostile_layers, empty_layers):
        for content in to_sld_files(layers, title="<x>").values():
            ET.fromstring(content)
