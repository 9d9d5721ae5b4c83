"""DXF: read back by two programs that are not ours; nothing lost, nothing renamed alike, no depth as a height."""

from __future__ import annotations

import io
import re
import subprocess

import ezdxf
import numpy as np
import pandas as pd
import pytest
import shapely

from castshed.toolbox.errors import DataError
from castshed.toolbox.output.formats.dxf import to_dxf


def read(content):
    return ezdxf.read(io.StringIO(content.decode("utf-8")))


def test_every_place_is_there_to_the_millimetre(plan):
    drawing = read(to_dxf(plan, title="Made", level_m=-1.2))
    assert drawing.audit().errors == []
    assert drawing.units == 6  # metres
    space = drawing.modelspace()
    for name in ("spots", "holds", "stops", "ramps"):
        found = np.array([p.dxf.location for p in space.query(f'POINT[layer=="{name}"]')])
        assert found[:, :2] == pytest.approx(
            shapely.get_coordinates(plan[name].geometry.to_numpy()), abs=1e-6
        )
        assert (found[:, 2] == 0.0).all()
    legs = space.query('LWPOLYLINE[layer=="legs"]')
    assert len(legs) == len(plan["legs"])
    total = sum(np.hypot(*np.diff(np.array(list(line.vertices())), axis=0).T).sum() for line in legs)
    assert total == pytest.approx(plan["legs"].length.sum(), rel=1e-9)
    water = [line for line in space.query('LWPOLYLINE[layer=="water"]') if line.closed]
    assert len(water) == 1 + len(plan["water"].geometry.iloc[0].interiors)


def test_names_and_cautions_are_text(plan):
    text = " ".join(one.dxf.text for one in read(to_dxf(plan, title="Made")).modelspace().query("TEXT"))
    for name in plan["spots"]["name"]:
        assert name in text
    assert "not for navigation" in text


def test_hostile_names_do_no_harm(plan, hostile_names):
    layers = {"holds <&>|": plan["holds"], "Höhe": plan["ramps"], "hohe": plan["spots"].copy()}
    count = len(layers["hohe"])
    for start in range(0, len(hostile_names), count):
        some = (hostile_names * 2)[start : start + count]
        layers["hohe"]["name"] = pd.Series(some, dtype=object)  # Arrow refuses what is no UTF-8
        content = to_dxf(layers, title=some[0], description=some[1])
        drawing = read(content)
        assert drawing.audit().errors == []
        assert len(drawing.modelspace().query("POINT")) == sum(len(frame) for frame in layers.values())


def test_another_reader_counts_the_same(plan, tmp_path):
    (tmp_path / "plan.dxf").write_bytes(to_dxf(plan, title="Made"))
    told = subprocess.run(
        ["ogrinfo", "-ro", "-al", str(tmp_path / "plan.dxf")], capture_output=True, text=True, check=True
    ).stdout
    assert len(re.findall(r"Layer \(String\) = legs$", told, re.MULTILINE)) == len(plan["legs"])
    points = [
        float(x) for x in re.findall(r"Layer \(String\) = spots\n(?:.*\n)*?\s+POINT (?:Z )?\((\S+) ", told)
    ]
    assert set(np.round(plan["spots"].geometry.x, 3)) <= set(np.round(points, 3))


def test_the_same_plan_gives_the_same_drawing(plan):
    assert to_dxf(plan, title="Made") == to_dxf(plan, title="Made")


def test_degrees_and_mixed_systems_are_refused(plan):
    with pytest.raises(DataError, match="metres"):
        to_dxf({"spots": plan["spots"].to_crs(4326)}, title="x")
    with pytest.raises(DataError, match="Reproject"):
        to_dxf({"spots": plan["spots"], "ramps": plan["ramps"].to_crs(32616)}, title="x")
