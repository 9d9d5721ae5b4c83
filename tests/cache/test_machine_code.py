"""Machine code kept of a loop: the compiler is not loaded where it is found, and it is run only where it is the user's."""

import os
import subprocess
import sys

import numpy as np
import pytest

from castshed.toolbox.cache import machine_code
from castshed.toolbox.cache.machine_code import kept_code
from castshed.toolbox.cache.store import Store
from castshed.toolbox.compiled import compiled

DRAWN = """
import hashlib, sys
import numpy as np
from castshed.toolbox.water.level.isolines import shallow_rings
rng = np.random.default_rng(3)
depth = rng.uniform(0.0, 5.0, (160, 150)).astype(np.float32)
rings = shallow_rings(depth, np.arange(150.0), -np.arange(160.0), 2.0, 0.4)
print("numba" in sys.modules, hashlib.sha256(b"".join(one.tobytes() for one in rings)).hexdigest())
"""


def drawn(home):
    homes = {"XDG_CACHE_HOME": str(home / "cache"), "XDG_DATA_HOME": str(home / "data")}
    run = subprocess.run(
        [sys.executable, "-c", DRAWN],
        env={**os.environ, **homes},
        capture_output=True,
        text=True,
        check=False,
    )
    assert not run.returncode, run.stderr
    loaded, told = run.stdout.split()
    return loaded == "True", told


@pytest.mark.long
def test_the_second_run_loads_no_compiler_and_draws_the_same_and_code_laid_there_is_never_run(tmp_path):
    first, rings = drawn(tmp_path)
    assert first
    assert drawn(tmp_path) == (False, rings)
    kept = sorted((tmp_path / "cache" / "castshed" / machine_code.FOLDER).glob("*.npz"))
    assert len(kept) > 3
    for path in kept:  # another user's secret would seal it otherwise
        content = bytearray(path.read_bytes())
        content[len(content) // 2] ^= 1
        path.write_bytes(bytes(content))
    assert drawn(tmp_path) == (True, rings)


def test_where_nothing_can_be_kept_the_compiler_runs_the_loops(tmp_path):
    (tmp_path / "cache").write_text("no folder", encoding="utf-8")
    assert drawn(tmp_path)[0]
    assert drawn(tmp_path)[0]


@compiled
def _scaled(values, factor, out):
    total = 0
    for k in range(values.size):
        out[k] = values[k] * factor
        total += 1
    return total


@compiled
def _asks_for_memory(values, factor, out):
    made = np.empty(values.size)
    for k in range(values.size):
        made[k] = values[k] * factor
    out[:] = made
    return values.size


@pytest.fixture
def store(tmp_path, monkeypatch):
    made = Store(tmp_path / "loops")
    monkeypatch.setattr(machine_code, "_store", lambda: made)
    return made


def runs(loop):
    given, out = np.arange(5.0), np.zeros(5)
    assert loop(given, 3.0, out) == 5
    assert out.tolist() == [0.0, 3.0, 6.0, 9.0, 12.0]


@pytest.mark.parametrize(("loop", "is_kept"), [(_scaled, True), (_asks_for_memory, False)])
def test_only_a_loop_that_needs_nobody_is_kept(store, monkeypatch, loop, is_kept):
    runs(kept_code(loop))
    again = kept_code(loop)
    runs(again)
    (known,) = again._known.values()
    assert (known is not None) == is_kept
    made = []
    monkeypatch.setattr(machine_code, "_made", lambda *given: made.append(given))
    runs(kept_code(loop))
    assert not made, "what can't be kept is not tried again by every run"


def test_code_that_gives_another_result_is_not_kept(store, monkeypatch):
    honest = machine_code._made
    monkeypatch.setattr(machine_code, "_made", lambda _, kinds: honest(_tripled.__wrapped__, kinds))
    runs(kept_code(_scaled))
    monkeypatch.undo()
    monkeypatch.setattr(machine_code, "_store", lambda: store)
    again = kept_code(_scaled)
    runs(again)
    assert list(again._known.values()) == [None]


@compiled
def _tripled(values, factor, out):
    for k in range(values.size):
        out[k] = values[k] * factor * 3.0
    return values.size


def test_other_arguments_go_to_the_compiler(store):
    loop = kept_code(_scaled)
    out = np.zeros(3)
    assert loop(np.arange(6.0)[::2], 2.0, out) == 3  # with gaps between
    assert out.tolist() == [0.0, 4.0, 8.0]
    single = np.arange(3, dtype=np.float32)
    assert loop(single, 2.0, out) == 3
    assert out.tolist() == [0.0, 2.0, 4.0]
    assert loop(np.arange(0.0), 2.0, out) == 0
