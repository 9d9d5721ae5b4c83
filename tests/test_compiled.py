"""Loops are loaded when the first is called, and Python running one reckons what the machine's own does."""

import os
import subprocess
import sys

import numpy as np
import pytest

from castshed.toolbox.water.level import isolines

ONLY_PYTHON = """
import sys
import castshed.toolbox.water.runs.afloat, castshed.toolbox.water.level.isobaths as isobaths
assert "numba" not in sys.modules, "loaded with the modules"
import numpy as np
from castshed.toolbox.depth import DepthSurface
few = isobaths.shallow_rings
y = np.arange(30.0)
few(np.add.outer(y, y) / 10.0, y, -y, 2.0, 0.5)
assert "numba" not in sys.modules, "loaded for few cells"
y = np.arange(200.0)
few(np.add.outer(y, y) / 10.0, y, -y, 2.0, 0.5)
assert "numba" in sys.modules
"""


def nothing_kept(folder):
    """Let a process find no machine code of an earlier one."""
    return {**os.environ, "XDG_CACHE_HOME": str(folder / "cache"), "XDG_DATA_HOME": str(folder / "data")}


def test_no_loop_is_loaded_before_one_is_needed(tmp_path):
    run = subprocess.run(
        [sys.executable, "-c", ONLY_PYTHON],
        env=nothing_kept(tmp_path), capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert not run.returncode, run.stderr


MADE = """
import sys, numpy as np
from castshed.toolbox.water.level import isolines
isolines._FEW_NODES = int(sys.argv[2])
rng = np.random.default_rng(7)
found = []
for k in range(40):
    rows, columns = rng.integers(2, 24, 2)
    depth = rng.normal(2.0, 1.0, (rows, columns)).round(k % 5).astype(np.float32 if k % 2 else np.float64)
    depth[rng.random(depth.shape) < 0.05 * (k % 3)] = np.nan
    found += isolines.shallow_rings(depth, 5.0 * np.arange(columns), -5.0 * np.arange(rows), 2.0, 0.7 * (k % 4))
assert ("numba" in sys.modules) == (isolines._FEW_NODES == 0)
np.savez(sys.argv[1], *found)
"""


def test_python_and_the_machine_draw_the_same_rings(tmp_path):
    for few in ("0", "4000"):
        told = [sys.executable, "-c", MADE, str(tmp_path / f"{few}.npz"), few]
        subprocess.run(told, env=nothing_kept(tmp_path), check=True)
    one, other = np.load(tmp_path / "0.npz"), np.load(tmp_path / "4000.npz")
    assert len(one.files) == 80
    assert sum(len(one[name]) for name in one.files) > 1000
    for name in one.files:
        assert one[name] == pytest.approx(other[name], abs=1e-9)
    assert isolines.shallow_rings(np.ones((3, 3)), np.arange(3.0), -np.arange(3.0), 2.0, 0.0)[0].size
