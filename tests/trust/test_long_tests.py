"""What a newcomer's run leaves out is said, with one worker or more, and the gate leaves nothing out."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
HOOKS = "from long_tests import *\n"
INI = "[pytest]\naddopts = -q -n auto --dist loadfile --no-loadscope-reorder -m 'not long'\nmarkers = long: left out\n"
SHORT = "def test_{n}():\n    pass\n"
LONG = "import pytest\n\n\n@pytest.mark.long\ndef test_long():\n    pass\n\n\ndef test_beside():\n    pass\n"


LAW = """
from pathlib import Path

from hypothesis import given, settings
from hypothesis import strategies as st

from long_tests import as_many


@settings(max_examples=as_many(40), deadline=None, database=None)
@given(st.integers())
def test_own_number(n):
    with Path("own").open("a") as file:
        file.write("x")


@given(st.integers())
def test_usual_number(n):
    with Path("usual").open("a") as file:
        file.write("x")
"""


@pytest.fixture
def home(tmp_path):
    (tmp_path / "conftest.py").write_text(HOOKS)
    (tmp_path / "pytest.ini").write_text(INI)
    for n in range(3):
        (tmp_path / f"test_{n}.py").write_text(SHORT.format(n=n))
    (tmp_path / "test_last.py").write_text(LONG)
    return tmp_path


def run(home, *words):
    env = {**os.environ, "PYTHONPATH": str(ROOT / "tests" / "support")}
    env.pop("PYTEST_ADDOPTS", None)
    done = subprocess.run(
        [sys.executable, "-m", "pytest", "-p", "no:cacheprovider", *words],
        cwd=home, env={k: v for k, v in env.items() if not k.startswith("PYTEST_XDIST")}, capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stdout + done.stderr
    return done.stdout.strip().splitlines()


@pytest.mark.parametrize("words", [(), ("-n0",), ("test_last.py",)], ids=["two workers", "none", "one file"])
def test_what_is_left_out_is_said_above_the_closing_line(home, words):
    *_, said, closing = run(home, *words)
    assert said.startswith("1 long test left out (")
    assert said.endswith("run pytest -m '' for all")
    assert closing.startswith("1 passed" if words == ("test_last.py",) else "4 passed")


@pytest.mark.parametrize("words", [(), ("-n0",)], ids=["two workers", "none"])
def test_all_is_all_and_files_with_long_tests_come_first(home, words):
    lines = run(home, "-m", "", "-vv", *words)
    assert lines[-1].strip("= ").startswith("5 passed")
    assert not any("left out (" in line for line in lines)
    if words:  # of two workers both begin at once
        order = [line for line in lines if line.startswith("test_")]
        assert len(order) == 5
        assert all("test_last.py" in line for line in order[:2])


@pytest.mark.parametrize(
    ("words", "own", "usual"), [((), 10, 25), (("-m", ""), 40, 100)], ids=["short", "all"]
)
def test_of_the_examples_of_a_law_the_short_run_tries_a_quarter_and_the_gate_all(home, words, own, usual):
    (home / "test_law.py").write_text(LAW)
    run(home, *words, "test_law.py")
    assert [(home / name).stat().st_size for name in ("own", "usual")] == [own, usual]


def test_the_gate_runs_all_and_the_readme_says_what_the_short_run_leaves_out():
    assert '"$bin/pytest" -m ""\n' in (ROOT / ".ci" / "run").read_text(encoding="utf-8")
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    assert "pytest -m ''" in readme[: readme.index("## Your own day")]
