"""What commands say with --json: one object of one schema; and how a plan ends on a screen."""

from __future__ import annotations

import json

import jsonschema
import pytest

from castshed.toolbox.report import REPORT_SCHEMA
from in_process import castshed


def said(folder, *words):
    done = castshed(*words, "--json", cwd=folder)
    assert done.returncode == 0, done.stderr
    body = json.loads(done.stdout)
    jsonschema.Draft202012Validator.check_schema(REPORT_SCHEMA)
    jsonschema.validate(body, REPORT_SCHEMA)
    return body


@pytest.mark.long
def test_rows_cells_bytes_and_figures_stand_apart(planned_demo_day, tmp_path):
    lake = planned_demo_day / "demo_layers" / "reservoir.gpkg"
    plan = planned_demo_day / "my_day" / "plan.gpkg"
    made = said(
        tmp_path, "water-today", f"{lake}:depth", f"{lake}:shoreline", "--level", "-4ft", "--out", "a.gpkg"
    )
    assert made["features"]["water"] >= 1
    assert made["cells"] == made["bytes"] == made["figures"] == {}
    made = said(
        tmp_path, "export", f"{plan}:stops", f"{plan}:legs", "--formats", "gpx", "--formats", "tif", "--formats", "parquet",
        "--depth", f"{lake}:depth", "--level", "-4ft", "--out", "out",
    )  # fmt: skip
    assert made["features"] == {}
    for name, size in made["bytes"].items():
        assert (tmp_path / "out" / name).stat().st_size == size
    assert set(made["bytes"]) == {"run.gpx", "plan-stops.parquet", "plan-legs.parquet", "depth_today.tif"}


@pytest.mark.long
def test_a_plan_ends_with_its_result_and_the_next_command(planned_demo_day, tmp_path):
    day = planned_demo_day / "demo_layers" / "day.toml"
    done = castshed("plan", day, "--out", "my_day", cwd=tmp_path)
    assert done.returncode == 0, done.stderr
    lines = [line for line in done.stdout.splitlines() if line.strip()]
    assert lines[0].startswith("12 stops over 31.5")
    assert lines[-2] == lines[0]
    assert lines[-1].startswith(
        "Next, the sheet for boat and client: castshed plan-sheet my_day/plan.gpkg --depth "
    )
    assert len(lines) < 15
    assert sum("stops" in line.split()[:1] for line in lines) == 1  # one count of stops, not two
    words = lines[-1].partition(": castshed ")[2]
    import shlex

    again = castshed(*shlex.split(words), cwd=tmp_path)
    assert again.returncode == 0, again.stderr
    assert (tmp_path / "my_day" / "sheet" / "sheet.pdf").stat().st_size > 100_000
