"""Process descriptions against the words of OGC 18-062r2 (OGC API - Processes - Part 1: Core 1.0)."""

import json

import pytest

import in_process
from castshed.algorithms.boat_hold import boat_hold
from castshed.toolbox.algorithm.catalogue import entries, load_entry
from castshed.toolbox.algorithm.describe import describe, describe_all, version_of

NAMES = sorted(n for n, e in entries().items() if not e.problem)
# OGC 18-062r2: jobControlOptions.yaml, transmissionMode.yaml; OpenAPI 3.0.3, "Schema Object", for the types
CONTROL = {"sync-execute", "async-execute", "dismiss"}
TRANSMISSION = {"value", "reference"}
OPENAPI_TYPES = {"array", "boolean", "integer", "number", "object", "string"}
OPENAPI_WORDS = {
    "type", "format", "required", "properties", "additionalProperties", "items", "minItems", "oneOf", "enum",
    "minimum", "maximum", "default", "nullable", "contentEncoding", "contentMediaType",
}  # fmt: skip


def walk(schema):
    """Yield a schema and all schemas within it."""
    yield schema
    for inner in [
        *schema.get("oneOf", []),
        *schema.get("properties", {}).values(),
        *([schema["items"]] if "items" in schema else []),
        *([schema["additionalProperties"]] if "additionalProperties" in schema else []),
    ]:
        yield from walk(inner)


@pytest.mark.parametrize("name", NAMES)
def test_a_description_has_what_the_standard_demands(name):
    spec = load_entry(entries()[name])
    body = json.loads(json.dumps(describe(spec, version_of(entries()[name]))))
    assert body["id"] == name  # processSummary: id and version are required
    assert body["version"]
    assert body["title"]
    assert set(body["jobControlOptions"]) <= CONTROL
    assert set(body["outputTransmission"]) <= TRANSMISSION
    assert body["outputs"]
    assert set(body["inputs"]) == {p.name for p in spec.parameters}
    for one in [*body["inputs"].values(), *body["outputs"].values()]:
        assert one["title"]
        for schema in walk(one["schema"]):  # input and output: schema is required
            assert {k for k in schema if not k.startswith("x-")} <= OPENAPI_WORDS
            assert schema.get("type", "string") in OPENAPI_TYPES
    for par in spec.parameters:
        one = body["inputs"][par.name]
        assert one["minOccurs"] == (1 if par.required else 0)
        if "default" in one["schema"] and "minimum" in one["schema"]:
            assert one["schema"]["minimum"] <= one["schema"]["default"]
        if "default" in one["schema"] and "enum" in one["schema"]:
            assert one["schema"]["default"] in one["schema"]["enum"]


def test_units_limits_and_columns_are_those_of_the_algorithm():
    body = describe(boat_hold.spec, "1")
    cast = body["inputs"]["cast_m"]["schema"]
    assert (cast["type"], cast["x-unit"], cast["minimum"], cast["x-option"]) == ("number", "m", 0.0, "--cast")
    bearing = body["inputs"]["wind_from_deg"]["schema"]
    assert (bearing["x-unit"], bearing["maximum"]) == ("deg", 360.0)
    _, spots = body["inputs"]["spots"]["schema"]["oneOf"]
    assert spots["format"] == "geojson-feature-collection"
    row = spots["properties"]["features"]["items"]["properties"]["properties"]
    assert row["required"] == ["spot_id"]
    assert row["properties"]["depth_m"] == {"type": "number", "nullable": True}
    assert set(body["outputs"]) == {"holds", "cast_lines"}


def test_made_layers_pass_the_schema_that_is_told(lake):
    jsonschema = pytest.importorskip("jsonschema")
    from castshed.algorithms.shallow_hazards import shallow_hazards
    from castshed.algorithms.water_today import water_today

    water = water_today(lake.depth, lake.shoreline).water
    made = json.loads(shallow_hazards(lake.depth, water).to_json(to_wgs84=False))
    _, schema = describe(shallow_hazards.spec, "1")["outputs"]["shallow_hazards"]["schema"]["oneOf"]
    jsonschema.validate(made, schema)
    made["features"][0]["geometry"]["type"] = "Point"
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate(made, schema)


def test_the_list_names_all_that_can_be_used():
    body = describe_all(entries())
    assert {p["id"] for p in body["processes"]} == set(NAMES)
    assert all(p["version"] for p in body["processes"])


@pytest.mark.parametrize(
    ("arguments", "code"), [(["describe", "level", "--json"], 0), (["describe", "no-such"], 2)]
)
def test_the_command_prints_one_object_or_says_what_is_wrong(arguments, code):
    done = in_process.castshed(*arguments)
    assert done.returncode == code, done.stderr
    if code == 0:
        assert json.loads(done.stdout)["id"] == "level"
    else:
        assert "castshed --help lists them" in done.stderr
