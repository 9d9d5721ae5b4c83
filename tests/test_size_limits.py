"""The bound on memory: what is refused, what would do, and that the bytes a cell are those that are used."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from castshed.toolbox import real_files as room
from castshed.toolbox.errors import UsageError

SQUARE = (0.0, 0.0, 10_000.0, 10_000.0)


def test_a_grid_that_fits_is_passed(monkeypatch):
    monkeypatch.setattr(room, "free_bytes", lambda: 8e9)
    room.check_room(SQUARE, 2.0)


def test_more_cells_than_are_made_are_refused_with_the_cell_that_would_do(monkeypatch):
    monkeypatch.setattr(room, "free_bytes", lambda: 1e12)
    with pytest.raises(UsageError, match=r"100 million; at most 60 million .* cells of 1\.3 m or more"):
        room.check_room(SQUARE, 1.0)
    room.check_room(SQUARE, 1.3)


def test_more_than_the_free_memory_is_refused_with_the_cell_that_would_do(monkeypatch):
    monkeypatch.setattr(room, "free_bytes", lambda: 0.85e9)
    with pytest.raises(
        UsageError, match=r"25 million; they need about 2\.2 GB of memory and 0\.8 GB are free"
    ):
        room.check_room(SQUARE, 2.0)
    room.check_room(SQUARE, 3.9)


def test_in_blocks_more_cells_are_made_in_less_memory(monkeypatch):
    monkeypatch.setattr(room, "free_bytes", lambda: 6e9)
    with pytest.raises(UsageError, match=r"100 million; at most 60 million"):
        room.check_room(SQUARE, 1.0)
    room.check_room(SQUARE, 1.0, in_blocks=True)


def test_more_than_blocks_can_make_is_refused_with_the_cell_that_would_do(monkeypatch):
    monkeypatch.setattr(room, "free_bytes", lambda: 1e12)
    with pytest.raises(
        UsageError, match=r"625 million; at most 400 million .* cells of 0\.6 m or more, or a smaller lake\."
    ):
        room.check_room(SQUARE, 0.4, in_blocks=True)
    room.check_room(SQUARE, 0.55, in_blocks=True)


@pytest.mark.parametrize("free", [0.5e9, 0.9e9, 1.2e9, 1.4e9, 3e9])
def test_the_cell_that_is_said_to_do_in_blocks_does(monkeypatch, free):
    monkeypatch.setattr(room, "free_bytes", lambda: free)
    with pytest.raises(UsageError, match=r"need about .* are free") as refused:
        room.check_room(SQUARE, 0.8, in_blocks=True)
    said = float(str(refused.value).split("Give cells of ")[1].split(" m")[0])
    room.check_room(SQUARE, said, in_blocks=True)
    with pytest.raises(UsageError):
        room.check_room(SQUARE, 0.9 * said, in_blocks=True)


def test_triangles_that_are_too_many_are_told_of_minimum_curvature(monkeypatch):
    import shapely

    from castshed.algorithms.depth_surface import depth_surface
    from made_lake import frame

    monkeypatch.setattr(room, "free_bytes", lambda: 1e12)
    lake = frame([shapely.box(0, 0, 10_000, 10_000)], name=["made"])
    point = frame([shapely.Point(5000, 5000)], depth_m=[5.0])
    with pytest.raises(UsageError, match=r"at most 60 million .* or minimum-curvature as the method"):
        depth_surface(lake, soundings=point, cell_m=1.0, method="triangles")


def test_the_system_says_how_much_is_free():
    assert room.free_bytes() > 50e6


CHILD = """
import shapely, geopandas
from castshed.algorithms.depth_surface import depth_surface
lake = shapely.Point(500_000.0, 4_000_000.0).buffer(1000.0)
line = shapely.LineString(lake.buffer(-100.0).exterior.coords)
def frame(shape, **columns):
    return geopandas.GeoDataFrame(columns, geometry=[shape], crs="EPSG:32615")
def run(cell):
    depth_surface(frame(lake, name=["made"]), contours=frame(line, depth_m=[5.0]), cell_m=cell)
    peak = next(line for line in open("/proc/self/status") if line.startswith("VmHWM:"))  # this program's alone
    return 1024.0 * float(peak.split()[1])
few = run(50.0)
print((run(1.0) - few) / 4.0e6)
"""


@pytest.mark.long
@pytest.mark.skipif(
    not Path("/proc/self/status").exists(), reason="the system does not say a program's peak memory"
)
def test_a_cell_takes_no_more_bytes_than_is_reckoned_with():
    done = subprocess.run([sys.executable, "-c", CHILD], capture_output=True, text=True, check=True)
    assert 5.0 < float(done.stdout) <= room.BYTES_A_CELL
