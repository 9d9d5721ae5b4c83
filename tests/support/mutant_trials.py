"""A module with a fault in it, tried by the tests that run the faulty lines, in a child of a process that is warm.

The parent imports the libraries once and castshed never. Each child imports castshed anew with one module's text
exchanged, runs the tests that reach the changed lines, quickest first, and ends at the first failure. Loops that numba
compiles in the module under trial run as plain Python, so that they are measured and changed like all else.
"""

from __future__ import annotations

import contextlib
import importlib
import importlib.abc
import importlib.machinery
import importlib.util
import json
import os
import resource
import sys
import tempfile
import time
import traceback
from dataclasses import dataclass
from pathlib import Path

from mutant_places import Mutant, span_of

TESTS = Path(__file__).resolve().parent.parent
TOO_LONG = ("tests/water/ways/test_navigation.py::test_lengths_equal_plain_visibility_graphs_on_200_waters",)
suite = {"marks": ""}
"""Which tests: all, or with ``not long`` those of the short run, with its fewer cases of laws."""
_NONE_LEFT = 5  # pytest: all tests named are left out
_WARM = (
    *(
        "numpy",
        "scipy.spatial",
        "scipy.sparse.csgraph",
        "scipy.ndimage",
        "pandas",
        "shapely",
        "geopandas",
        "pyogrio",
    ),
    *(
        "pyproj",
        "rasterio",
        "rasterio.features",
        "networkx",
        "contourpy",
        "numba",
        "pint",
        "typer",
        "rich.table",
    ),
    *("pytest", "hypothesis", "hypothesis.strategies", "hypothesis.extra.numpy", "matplotlib"),
)


@dataclass(frozen=True)
class Known:
    """What the tests do without a fault: seconds of each, and by module and line the tests that run it."""

    seconds: dict[str, float]
    lines: dict[str, dict[int, list[str]]]
    coverage: dict[str, dict]


def warm() -> None:
    """Import what takes long, so that children have it."""
    for name in _WARM:
        importlib.import_module(name)


def full_name(module: str) -> str:
    """Name to import of a module that is said from castshed on (``algorithms.shallow_hazards``)."""
    return f"castshed.{module}"


def file_of(module: str) -> Path:
    """File of a module, without importing it."""
    room, *within = full_name(module).removeprefix("castshed.").split(".")
    package = importlib.util.find_spec(f"castshed.{room}")
    found = Path(package.submodule_search_locations[0]).joinpath(*within).with_suffix(".py")
    forget()
    return found


def forget() -> None:
    for name in [name for name in sys.modules if name == "castshed" or name.startswith("castshed.")]:
        del sys.modules[name]


class _Exchanged(importlib.abc.MetaPathFinder):
    """Gives one module another text."""

    def __init__(self, mutant: Mutant) -> None:
        self.name, self.source = full_name(mutant.module), mutant.source
        self.path = file_of(mutant.module)

    def find_spec(self, fullname, path=None, target=None):
        if fullname != self.name:
            return None
        text = self.source

        class Loader(importlib.machinery.SourceFileLoader):
            def get_code(self, fullname):
                return self.source_to_code(text.encode(), self.path)

        return importlib.util.spec_from_file_location(
            fullname, self.path, loader=Loader(fullname, str(self.path))
        )


def _uncompiled(names: set[str]) -> None:
    """Let loops of these modules be plain Python."""
    room = importlib.import_module("castshed.toolbox.compiled")
    real = room.compiled
    room.compiled = lambda function: function if function.__module__ in names else real(function)


class _Watch:
    """Writes which test failed, or of all how long each took and where it was."""

    def __init__(self, measure=None) -> None:
        self.failed: list[str] = []
        self.seconds: dict[str, float] = {}
        self.measure = measure

    def pytest_runtest_logstart(self, nodeid, location):
        self.start = time.process_time()
        if self.measure is not None:
            self.measure.switch_context(nodeid)

    def pytest_runtest_logfinish(self, nodeid, location):
        self.seconds[nodeid] = time.process_time() - self.start

    def pytest_runtest_logreport(self, report):
        if report.failed:
            self.failed.append(report.nodeid)

    def pytest_collectreport(self, report):
        if report.failed:
            self.failed.append(report.nodeid or "collection")


def _run_pytest(ids: list[str], watch: _Watch, *, first_only: bool) -> int:
    import hypothesis
    import pytest

    # A law that is broken need not be broken by the smallest case.
    phases = [hypothesis.Phase.explicit, hypothesis.Phase.generate]
    hypothesis.settings.register_profile(
        "trial", database=None, deadline=None, derandomize=True, phases=phases
    )
    hypothesis.settings.load_profile("trial")
    os.chdir(TESTS.parent)
    ways = [
        "-p",
        "no:cacheprovider",
        "-q",
        "-n0",
        "-m",
        suite["marks"],
        "--no-header",
        "--tb=no",
        "--assert=plain",
        *(["-x"] if first_only else []),
    ]
    return int(pytest.main([*ways, *ids], plugins=[watch]))


def _child(work, limit_s: float | None) -> tuple[int, dict]:
    """Do work in a child; its exit state (negative: the signal) and what it gave."""
    with tempfile.TemporaryDirectory() as folder:
        answer = Path(folder) / "answer.json"
        number = os.fork()
        if number == 0:
            state = 70
            try:
                quiet = os.open(
                    os.environ.get("MUTANTS_OUT", os.devnull), os.O_WRONLY | os.O_CREAT | os.O_APPEND, 0o600
                )
                os.dup2(quiet, 1)
                os.dup2(quiet, 2)
                if limit_s is not None:
                    whole = int(time.process_time() + limit_s) + 1
                    resource.setrlimit(resource.RLIMIT_CPU, (whole, whole + 5))
                    resource.setrlimit(resource.RLIMIT_AS, (6 << 30, 6 << 30))
                os.environ["TMPDIR"] = folder
                tempfile.tempdir = folder
                answer.write_text(json.dumps(work(folder)))
                state = 0
            except BaseException:  # noqa: BLE001  # a child must never go on as its parent
                traceback.print_exc()
            finally:
                os._exit(state)
        _, status = os.waitpid(number, 0)
        code = os.waitstatus_to_exitcode(status)
        return code, json.loads(answer.read_text()) if answer.exists() else {}


def measure_tests(modules: list[str], files: list[str]) -> Known:
    """Run tests without a fault: time each, and find the lines it runs and the branches all of them leave out.

    Raises
    ------
    RuntimeError
        A test fails without any fault.
    """
    paths = {module: str(file_of(module)) for module in modules}

    def work(folder):
        import coverage

        cover = coverage.Coverage(
            branch=True, data_file=f"{folder}/coverage", include=list(paths.values()), config_file=False
        )
        cover.exclude("if TYPE_CHECKING:")
        cover.start()
        _uncompiled(set(map(full_name, modules)))
        watch = _Watch(cover)
        state = _run_pytest(files, watch, first_only=False)
        cover.switch_context("")
        cover.stop()
        data = cover.get_data()
        lines = {
            module: {
                line: [test for test in tests if test]
                for line, tests in data.contexts_by_lineno(path).items()
            }
            for module, path in paths.items()
        }
        report = {}
        with contextlib.suppress(coverage.exceptions.NoDataError):  # tests of other modules
            cover.json_report(outfile=f"{folder}/report.json")
            report = json.loads(Path(f"{folder}/report.json").read_text())["files"]
        found = {str(Path(name).resolve()): value for name, value in report.items()}
        kept = ("missing_lines", "missing_branches")
        shares = {
            module: {
                **{word: found[str(Path(path).resolve())][word] for word in kept},
                **{
                    word: found[str(Path(path).resolve())]["summary"][word]
                    for word in ("num_branches", "covered_branches", "num_statements", "covered_lines")
                },
            }
            for module, path in paths.items()
            if str(Path(path).resolve()) in found
        }
        return {
            "state": state,
            "failed": watch.failed,
            "seconds": watch.seconds,
            "lines": lines,
            "coverage": shares,
        }

    code, found = _child(work, None)
    if code or found["failed"]:
        raise RuntimeError(f"without a fault these tests fail: {found.get('failed', code)}")
    return Known(
        found["seconds"],
        {module: {int(k): v for k, v in of.items()} for module, of in found["lines"].items()},
        found["coverage"],
    )


def tests_for(mutant: Mutant, known: Known, most_s: float) -> tuple[list[str], list[str]]:
    """Tests that run the changed lines, quickest first, and other tests of the same files, both within a time.

    Notes
    -----
    What a test takes from a fixture or a kept result was run by the first that asked; hence the others.
    """
    lines = known.lines[mutant.module]
    span = span_of(mutant_original(mutant), mutant.line)
    hit = {test for line in (span or lines) for test in lines.get(line, ())}
    files = {test.split("::")[0] for test in hit}
    others = [test for test in known.seconds if test not in hit and test.split("::")[0] in files]
    pointed = ("limits", "exact", "safe_side", "chain", "areas")  # of one rule each: sooner at the point

    def rank(test: str) -> tuple[bool, float]:
        return not any(word in test.split("::", maxsplit=1)[0] for word in pointed), known.seconds[test]

    first, spent = [], 0.0
    for test in sorted(hit, key=rank):
        if spent + known.seconds[test] <= most_s or not first:
            first.append(test)
            spent += known.seconds[test]
    second = []
    for test in sorted(others, key=known.seconds.get):
        if spent + known.seconds[test] <= most_s:
            second.append(test)
            spent += known.seconds[test]
    return first, second


def mutant_original(mutant: Mutant) -> str:
    return file_of(mutant.module).read_text(encoding="utf-8")


def try_tests(mutant: Mutant, tests: list[str], limit_s: float) -> tuple[str, str]:
    """Run tests on a module with a fault: ``killed``, ``survived`` or ``no end``, and the test that found it."""

    def work(folder):
        sys.meta_path.insert(0, _Exchanged(mutant))
        _uncompiled({full_name(mutant.module)})
        try:
            importlib.import_module(full_name(mutant.module))
        except Exception as fault:  # noqa: BLE001  # whatever it is, everybody sees it
            return {"state": 1, "failed": [f"import: {fault}"]}
        watch = _Watch()
        state = _run_pytest(tests, watch, first_only=True)
        return {"state": state, "failed": watch.failed}

    code, found = _child(work, limit_s)
    if code < 0 or (code and not found):
        return ("no end", "") if code in (-24, -9) else ("killed", f"the process ends with {code}")
    if found["state"] == 0 or (found["state"] == _NONE_LEFT and suite["marks"]):
        return "survived", ""
    if found["state"] in (1, 2):
        return "killed", (found["failed"] or ["collection"])[0]
    files = sorted({test.split("::", maxsplit=1)[0] for test in tests})
    if found["state"] == 4 and files != tests:  # the fault changes which cases there are
        return try_tests(mutant, files, limit_s)
    raise RuntimeError(f"pytest ends with {found['state']} on {tests[:3]}")


def trial(mutant: Mutant, known: Known, most_s: float) -> tuple[str, str]:
    """Try one mutant: ``killed``, ``no end`` (more time than any test needs: found as well), ``survived``, ``not run``."""
    first, second = tests_for(mutant, known, most_s)
    if not first:
        return "not run", ""
    for tests in (first, second):
        if tests:
            spent = sum(known.seconds[test] for test in tests)
            state, by = try_tests(mutant, tests, 30.0 + 5.0 * spent)
            if state != "survived":
                return state, by
    return "survived", ""
