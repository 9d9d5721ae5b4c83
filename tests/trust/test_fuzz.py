"""Nobody's bytes make a reader fall over: a short run of the fuzzer, and what it once found."""

from __future__ import annotations

import pytest

import fuzz
import fuzz_targets
from castshed.toolbox.errors import CastshedError, DataError, UsageError
from castshed.toolbox.intake.logs.log_table import _times

NEEDS = pytest.mark.skipif(fuzz.TOOLS is None, reason="needs atheris (Linux, macOS)")


@pytest.mark.long
@NEEDS
def test_no_bytes_show_a_traceback():
    found = fuzz.fuzz_target("all", runs=8000, seconds=15.0, seed=1)
    assert found["faults"] == {}
    assert found["inputs"] >= 300
    assert found["reached"] > 300
    assert found["grew"] > 3  # guided: what was found led on


@pytest.mark.long
@NEEDS
def test_the_fuzzer_finds_a_planted_fault_step_by_step():
    found = fuzz.fuzz_target("planted", runs=60_000, seconds=30.0, seed=1)
    (fault,) = found["faults"]
    assert "planted" in fault
    assert bytes.fromhex(found["faults"][fault]).startswith(b"rock")


@pytest.mark.parametrize("name", fuzz_targets.TARGETS)
def test_seeds_are_of_use(name, tmp_path):
    """At least one seed of each target is read to its end, so that what is changed in it lies deep."""
    work, seeds, _, _ = fuzz_targets.TARGETS[name]
    fuzz_targets.room(tmp_path)
    ended = 0
    for content in seeds():
        try:
            work(tmp_path, content)
            ended += 1
        except CastshedError:
            pass
    assert ended


@pytest.mark.parametrize(
    ("expression", "error", "says"),
    [
        ("1/0", DataError, "must be 0 or more"),
        ("rating/0 - rating/0", DataError, "must be 0 or more"),
        ("-" * 1900 + "1", UsageError, "value is"),
        ("(" * 3000 + "1" + ")" * 3000, UsageError, "value is"),
        ("rating+" * 5000 + "rating", UsageError, "value is"),
    ],
)
def test_a_worth_that_divides_by_nothing_or_has_no_end_is_refused(expression, error, says):
    with pytest.raises(error, match=says):
        fuzz_targets._offers(None, b"\x00" + expression.encode())


def test_a_log_of_another_age_has_no_time():
    """Years that do not fit into nanoseconds (pandas: 1677 to 2262) once ended in a traceback."""
    seconds = _times(
        ["2426-05-16T06:00:00Z", "0000-05-01", "9999-12-31", "2026-05-16T06:00:00.25Z", "99999999999"]
    )
    assert seconds.tolist()[:3] == pytest.approx([float("nan")] * 3, nan_ok=True)
    assert seconds[3] == 1778911200.25  # date -u -d 2026-05-16T06:00:00Z +%s
    assert seconds[4] != seconds[4]
