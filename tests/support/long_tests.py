"""Two suites in one: what a newcomer needs to trust a copy, and all of it.

A test marked `long` is left out unless it is asked for, by `-m ""` as the gate does. The end of a run says how many were.
Of a law's examples the short run tries a quarter (`as_many`), the gate all.
"""

from __future__ import annotations

from collections import Counter

import hypothesis
import pytest

WORKERS = 2  # as many as a small machine has cores
_LEFT_OUT = pytest.StashKey[int]()
_WHAT = "faults put in, long kills, fuzzing, the browser, examples and the demo day run afresh, large lakes, three of four cases of a law"
_SHORT = "not long"
_FIRST = ("test_catalogue_page.py",)
"""Runs nearly all there is, so that it compiles the loops of most others, in a process beside its worker."""
_COMPILE_LITTLE = (
    *("test_crash.py", "test_fuzz.py", "test_sheet_browser.py", "test_sample_plugin.py"),
    *("test_mutants.py", "test_chart.py", "test_hostile.py"),
)
"""The other worker's first files: what they need is not being compiled by the first at the same time."""
_FEWEST = 5
_asked = {"all": True}


def words(count: int) -> str:
    """Say how many long tests were left out, which kinds that are, and how to run them."""
    tests = "1 long test" if count == 1 else f"{count:,} long tests"
    return f"{tests} left out ({_WHAT}); run pytest -m '' for all"


def as_many(full):
    """So many examples in the whole run; in the short one a quarter of them, five at least."""
    return full if _asked["all"] else min(full, max(full // 4, _FEWEST))


def first_of(cases):
    """All cases in the whole run; in the short one the first, where each takes long and all say the same."""
    return cases if _asked["all"] else cases[:1]


def pytest_configure(config):
    """Before any test file is read: is this the short run?"""
    _asked["all"] = config.option.markexpr != _SHORT
    if not _asked["all"]:
        usual = hypothesis.settings.default
        hypothesis.settings.register_profile("short", usual, max_examples=as_many(usual.max_examples))
        hypothesis.settings.load_profile("short")


@pytest.hookimpl(tryfirst=True)
def pytest_collection_modifyitems(items):
    """Files with long tests come first, those of few tests before others: no worker is left with one at the end.

    Before all come those whose order keeps two workers from compiling the same loops at the same time.
    """
    tests = Counter(item.path for item in items)
    long = {item.path for item in items if item.get_closest_marker("long")}

    def place(item):
        for rank, names in enumerate((_FIRST, _COMPILE_LITTLE)):
            if item.path.name in names:
                return rank, names.index(item.path.name)
        return (2, tests[item.path]) if item.path in long else (3, 0)

    items.sort(key=place)


def pytest_deselected(items):
    """Count the long ones among what an expression of marks leaves out."""
    for item in items:
        if item.get_closest_marker("long"):
            item.config.stash[_LEFT_OUT] = item.config.stash.get(_LEFT_OUT, 0) + 1


def pytest_sessionfinish(session):
    """Tell the process that started this one; each worker leaves out the same."""
    if hasattr(session.config, "workeroutput"):
        session.config.workeroutput["long_left_out"] = session.config.stash.get(_LEFT_OUT, 0)


@pytest.hookimpl(optionalhook=True)
def pytest_testnodedown(node):
    """Take a worker's count."""
    node.config.stash[_LEFT_OUT] = getattr(node, "workeroutput", {}).get("long_left_out", 0)


def pytest_terminal_summary(terminalreporter, config):
    """Say what is left out, just above the closing line."""
    count = config.stash.get(_LEFT_OUT, 0)
    if count:
        terminalreporter.write_line(words(count), yellow=True)


def pytest_report_header(config):
    """Say at the beginning that the long ones are not run."""
    return f"long tests are left out ({_WHAT}); -m '' runs all" if config.option.markexpr == _SHORT else ""


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_auto_num_workers(config):
    """Two workers; none for files that are named, which are done before a worker has started."""
    named = config.option.file_or_dir
    return 0 if named and all(".py" in one for one in named) else WORKERS
