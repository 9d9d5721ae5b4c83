"""The column dictionary of a plan's GeoPackage, read by SQL and held to the standard by GDAL's validator."""

from __future__ import annotations

import sqlite3

import pytest

from castshed.toolbox.layers.column_words import COLUMNS, LAYERS
from castshed.toolbox.layers.reading import list_layers, read_layer, read_surface
from castshed.toolbox.layers.writing import write_layers
from other_programs import geopackage_validator, told_by


@pytest.mark.long
def test_the_plan_says_what_its_layers_and_columns_are(planned_demo_day):
    file = planned_demo_day / "my_day" / "plan.gpkg"
    with sqlite3.connect(file) as db:
        told = {
            (t, c): d
            for t, c, d in db.execute("SELECT table_name, column_name, description FROM gpkg_data_columns")
        }
        said = dict(db.execute("SELECT table_name, description FROM gpkg_contents"))
        used = {
            row[0]
            for row in db.execute(
                "SELECT table_name FROM gpkg_extensions WHERE extension_name = 'gpkg_schema'"
            )
        }
    assert used == {"gpkg_data_columns", "gpkg_data_column_constraints"}
    assert "true north" in told["holds", "cast_bearing_deg"]
    assert "true north" in told["spots", "wind_from_deg"]
    assert {name: said[name] for name in LAYERS if name in said} == {
        n: LAYERS[n] for n in LAYERS if n in said
    }
    assert set(said) <= set(LAYERS)
    for layer in ("holds", "stops", "legs", "route", "cast_lines", "isobaths", "zones", "ramps"):
        for column in read_layer(f"{file}:{layer}").columns.drop("geometry"):
            assert told[layer, column] == COLUMNS[column]
    kinds = list_layers(file)
    assert kinds["depth_today"] == "coverage"
    depth = read_surface(f"{planned_demo_day / 'demo_layers' / 'reservoir.gpkg'}:depth")
    today = read_surface(f"{file}:depth_today")
    x, y = (
        [depth.west_m + 0.4 * depth.cell_x_m * depth.shape[1]],
        [depth.north_m - 0.5 * depth.cell_y_m * depth.shape[0]],
    )
    assert today.at(x, y)[0] == pytest.approx(depth.at(x, y)[0] - 4 * 0.3048, abs=1e-3, nan_ok=True)
    python, script = geopackage_validator()
    told_by(python, script, file)


def test_a_layer_written_again_has_its_words_once(tmp_path, planned_demo_day):
    stops = read_layer(f"{planned_demo_day / 'my_day' / 'plan.gpkg'}:stops")
    for _ in range(2):
        write_layers(tmp_path / "a.gpkg", {"stops": stops}, replace=True, dictionary=True)
    with sqlite3.connect(tmp_path / "a.gpkg") as db:
        (count,) = db.execute(
            "SELECT count(*) FROM gpkg_data_columns WHERE column_name = 'stop_no'"
        ).fetchone()
    assert count == 1
