"""The command line inside the tests' own process answers as a process does, and leaves nothing behind."""

import os
import sys
import warnings
from pathlib import Path

import pytest

from castshed.toolbox.layers import write_layers
from in_process import AS_PROCESSES, castshed

OPEN_FILES = Path("/proc/self/fd")
ONE_FILE = """
from typing import Annotated
from geopandas import GeoDataFrame
from castshed.toolbox.algorithm import algorithm
from castshed.toolbox.parameters import Layer, Spots


@algorithm(step="hold", example="castshed said a.gpkg --out b.gpkg")
def said(spots: Spots) -> Annotated[GeoDataFrame, Layer("spots", ("Point",))]:
    '''{said}

    Parameters
    ----------
    spots
        Places to say.
    '''
    return spots
"""


@pytest.mark.parametrize(
    "words",
    [
        ("--version",),
        ("--help",),
        ("level", "--help"),
        ("boat-hold", "--no-such-option"),
        ("no-such-command",),
        ("describe", "level", "--json"),
        ("cast-reach", "lake.gpkg:spots", "lake.gpkg:shoreline", "--out", "-"),
        ("cast-reach", "lake.gpkg:spots", "gone.gpkg", "--out", "new.gpkg"),
        ("cast-reach", "-:nothing", "lake.gpkg:shoreline", "--out", "new.gpkg"),
    ],
    ids=" ".join,
)
def test_code_and_both_streams_are_those_of_a_process(tmp_path, lake, monkeypatch, words):
    write_layers(tmp_path / "lake.gpkg", {"spots": lake.spots, "shoreline": lake.shoreline})
    env = {**os.environ, "NO_COLOR": "1", "COLUMNS": "100"}
    here = castshed(*words, cwd=tmp_path, env=env, given=b"no sequence", text=False)
    monkeypatch.setenv(AS_PROCESSES, "1")
    there = castshed(*words, cwd=tmp_path, env=env, given=b"no sequence", text=False)
    assert (here.returncode, here.stdout, here.stderr) == (there.returncode, there.stdout, there.stderr)


def test_nothing_of_a_command_is_left_behind(tmp_path):
    def state():
        return (
            Path.cwd(), dict(os.environ), sys.argv, sys.stdin, sys.stdout, sys.stderr,
            list(warnings.filters), warnings.showwarning, len(list(OPEN_FILES.iterdir())) if OPEN_FILES.is_dir() else 0,
        )  # fmt: skip

    castshed("describe", "level")  # what is loaded once may hold a file open
    before = state()
    env = {**os.environ, "CASTSHED_ALGORITHMS": str(tmp_path), "ELSEWHERE": "1"}
    assert castshed("--algorithms", str(tmp_path), "describe", "level", cwd=tmp_path, env=env).returncode == 0
    assert state() == before


def test_a_changed_one_file_algorithm_is_read_anew(tmp_path):
    for said in ("Say one thing.", "Say another thing."):
        (tmp_path / "said.py").write_text(ONE_FILE.format(said=said), encoding="utf-8")
        os.utime(tmp_path / "said.py", ns=(len(said), len(said)))
        done = castshed("--algorithms", str(tmp_path), "said", "--help", env={**os.environ, "NO_COLOR": "1"})
        assert said in done.stdout, done.stderr
