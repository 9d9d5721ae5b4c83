"""The tests of what keeps a boat off the rocks see faults that are put in (a short version of `mutants.py`)."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from mutants import interval

TOOL = Path(__file__).parents[1] / "support" / "mutants.py"


@pytest.mark.long
@pytest.mark.skipif(not hasattr(os, "fork"), reason="faults are put into forked children")
def test_picked_faults_are_all_seen():
    done = subprocess.run(
        [sys.executable, str(TOOL), "--picked"], capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stdout + done.stderr
    assert "missed: []" in done.stdout


def test_the_interval_of_a_share_is_wilsons():
    # Worked from the formula for 8 of 10 and 95 %: E. B. Wilson, J. Am. Stat. Assoc. 22 (1927), 209-212.
    assert interval(8, 10) == pytest.approx((0.4902, 0.9433), abs=1e-4)
    assert interval(0, 0) == (0.0, 1.0)
    low, high = interval(40, 40)
    assert high == pytest.approx(1.0)
    assert low == pytest.approx(0.9124, abs=1e-4)
