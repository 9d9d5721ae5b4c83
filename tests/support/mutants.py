"""Are the tests of what keeps a boat off the rocks worth their name? Faults are put in, and counted when no test sees them.

    python tests/support/mutants.py [MODULE ...] [--seed 1] [--each 40] [--all] [--jobs 1] [--coverage] [--short] [--json FILE]

Draws places in the safety-critical modules at random, puts one fault in at a time (`mutant_places.py`) and runs the tests
that reach it (`mutant_trials.py`). Those that survive are looked up in `survivors.toml`, where they were read and
explained: `same` (no input tells it from the sound module) or `open` (a test could, and does not yet). The raw share
counts all, the other leaves out what is explained as the same. `--coverage` shows lines and branches only.
`--picked` puts in the faults of `picked_mutants.toml`, as the tests do. With `--short` only the tests of the short run
are tried, with as many cases of a law as it has: how much a newcomer's run sees of what the whole one does.

Needs the extras `test` and `trust` (`--picked` only the first), and an operating system that can fork.
"""

from __future__ import annotations

import argparse
import json
import math
import os
import re
import sys
import tomllib
from dataclasses import asdict
from hashlib import sha256
from multiprocessing.pool import ThreadPool
from pathlib import Path

TESTS = Path(__file__).resolve().parent.parent
sys.path[:0] = [str(TESTS)]

from mutant_places import Mutant, mutants  # noqa: E402
from mutant_trials import Known, file_of, measure_tests, suite, trial, try_tests, warm  # noqa: E402

MODULES = (
    "toolbox.water.level.pool_level", "toolbox.water.level.uncertainty", "toolbox.water.level.hazards",
    "toolbox.water.level.isobaths", "toolbox.water.bottom.areas", "algorithms.shallow_hazards",
    "toolbox.water.ways.safe_water", "toolbox.water.ways.navigation", "toolbox.water.ways.visibility",
    "toolbox.water.ways.passages", "toolbox.water.ways.bottlenecks", "toolbox.water.runs.afloat",
    "toolbox.water.holds.casting", "toolbox.water.holds.hold_tables", "toolbox.water.holds.hold_rules",
    "toolbox.water.holds.surroundings", "toolbox.water.holds.cast_ring", "toolbox.water.proof.last_check",
    "toolbox.water.proof.keep_out", "toolbox.water.proof.stops_check",
)  # fmt: skip
FILES = (
    "algorithms/test_level.py", "water/level/test_safe_side.py", "algorithms/test_water_and_hazards.py",
    "water/level/test_hazard_limits.py", "water/level/test_isobaths.py", "water/bottom/test_areas.py",
    "water/ways/test_safe_water.py", "water/ways/test_navigation.py", "water/ways/test_ways_exact.py",
    "water/ways/test_rounding.py", "water/ways/test_passages.py", "water/ways/test_bottleneck_width.py",
    "water/ways/test_bottleneck_depth.py", "algorithms/test_safe_ways.py", "water/ways/test_alongside.py",
    "water/holds/test_casting.py", "water/holds/test_hold_choices.py", "algorithms/test_boat_hold.py",
    "algorithms/test_cast_reach.py", "water/holds/test_hold_limits.py", "water/proof/test_last_check.py",
    "water/proof/test_last_check_limits.py", "water/proof/test_last_check_chain.py",
)  # fmt: skip
"""Of the tests those that are quick and speak of these modules."""
SHORT = "not long"
SHORT_SEES = 0.8
"""The least share of the picked faults that the short run has to see."""


def explained() -> tuple[dict[tuple[str, str, str], str], list[dict]]:
    """Survivors that were read, by module and change, and kinds of change that change nothing."""
    table = tomllib.loads((TESTS / "survivors.toml").read_text(encoding="utf-8"))
    return {(s["module"], s["was"], s["now"]): s["verdict"] for s in table.get("survivor", [])}, table.get(
        "kind", []
    )


def verdict(mutant: Mutant, one_by_one: dict, kinds: list[dict]) -> str:
    """``same``, ``open``, or ``unread``."""
    for kind in kinds:
        if re.fullmatch(kind["operator"], mutant.operator) and re.search(kind["was"], mutant.was):
            return "same"
    return one_by_one.get(mutant.key, "unread")


def interval(hits: int, tries: int) -> tuple[float, float]:
    """Where the true share lies with 95 % (E. B. Wilson, J. Am. Stat. Assoc. 22 (1927), 209-212)."""
    if not tries:
        return 0.0, 1.0
    z, share = 1.959964, hits / tries
    middle = (share + z * z / (2 * tries)) / (1 + z * z / tries)
    half = z / (1 + z * z / tries) * math.sqrt(share * (1 - share) / tries + z * z / (4 * tries * tries))
    return middle - half, middle + half


def counted(trials: list[tuple[Mutant, str, str]], table: tuple[dict, list[dict]]) -> dict:
    """Count the outcomes of one module, or of all."""
    states = [state for _, state, _ in trials]
    read = [verdict(mutant, *table) for mutant, state, _ in trials if state in ("survived", "not run")]
    found = sum(state in ("killed", "no end") for state in states)
    tried = len(trials)
    return {
        "tried": tried,
        "found": found,
        "no_end": states.count("no end"),
        "survived": tried - found,
        "same": read.count("same"),
        "open": read.count("open"),
        "unread": read.count("unread"),
        "raw": found / tried if tried else None,
        "score": found / (tried - read.count("same")) if tried > read.count("same") else None,
        "from_to": interval(found, tried - read.count("same")),
    }


def branches(known: Known) -> dict:
    """Lines and branches run, by module, in per cent, and what is left out."""
    found = {}
    for module, of in known.coverage.items():
        all_, done = of["num_branches"], of["covered_branches"]
        found[module] = {
            "branches": 100.0 * done / all_ if all_ else 100.0,
            "lines": 100.0 * of["covered_lines"] / max(of["num_statements"], 1),
            "of": all_,
            "missing": of["missing_branches"],
            "missing_lines": of["missing_lines"],
        }
    return found


def _merged(one: Known, other: Known) -> Known:
    """Put together what two sets of tests run."""
    lines = {module: dict(of) for module, of in one.lines.items()}
    for module, of in other.lines.items():
        for line, tests in of.items():
            lines[module][line] = lines[module].get(line, []) + tests
    coverage = {}
    for module, of in one.coverage.items():
        new = other.coverage.get(module, of)  # no entry: those tests do not import it
        branches = [pair for pair in of["missing_branches"] if pair in new["missing_branches"]]
        missing = [line for line in of["missing_lines"] if line in new["missing_lines"]]
        coverage[module] = of | {
            "missing_branches": branches,
            "missing_lines": missing,
            "covered_branches": of["num_branches"] - len(branches),
            "covered_lines": of["num_statements"] - len(missing),
        }
    return Known(one.seconds | other.seconds, lines, coverage)


def known_tests(modules: list[str], kept: Path | None, files: list[str]) -> Known:
    """Measure the tests, or take what was measured from a file and measure the test files that are new or changed."""
    paths = {f"tests/{f}": TESTS / f for f in files}
    stamps = {name: sha256(path.read_bytes()).hexdigest() for name, path in paths.items() if path.exists()}
    known, fresh = None, dict(stamps)
    if kept is not None and kept.exists():
        found = json.loads(kept.read_text())
        fresh = {name: stamp for name, stamp in stamps.items() if found["stamps"].get(name) != stamp}
        good = [test for test in found["seconds"] if test.split("::")[0] not in fresh]
        lines = {
            module: {int(k): [test for test in tests if test in set(good)] for k, tests in of.items()}
            for module, of in found["lines"].items()
        }
        known = Known({test: found["seconds"][test] for test in good}, lines, found["coverage"])
        if not set(modules) <= set(lines):
            raise SystemExit(
                f"{kept} knows nothing of {sorted(set(modules) - set(lines))}; name another file"
            )
    if fresh:
        measured = measure_tests(list(known.lines) if known else modules, sorted(fresh))
        known = _merged(known, measured) if known else measured
        if kept is not None:
            kept.write_text(json.dumps(asdict(known) | {"stamps": stamps}))
    return known


def run(
    modules: list[str],
    seed: int,
    each: int | None,
    *,
    jobs: int = 1,
    most_s: float = 20.0,
    kept: Path | None = None,
    files=FILES,
    again: set | None = None,
    say=print,
) -> dict:
    """Measure coverage and try mutants; see the text of this file."""
    warm()
    known = known_tests(list(modules), kept, list(files))
    result: dict = {"branches": branches(known), "modules": {}, "survivors": []}
    table = explained()
    everything = []
    for module in modules if each != 0 else ():
        drawn, places = mutants(module, file_of(module), seed, each)
        if again is not None:
            drawn = [mutant for mutant in drawn if mutant.key in again]
        outcome = []
        with ThreadPool(jobs) as pool:
            for one in pool.imap(lambda mutant: (mutant, *trial(mutant, known, most_s)), drawn):
                outcome.append(one)
                mutant, state, _ = one
                if state in ("survived", "not run"):
                    found = {k: v for k, v in asdict(mutant).items() if k != "source"}
                    found |= {"state": state, "verdict": verdict(mutant, *table)}
                    result["survivors"].append(found)
                    say(f"  {found['verdict']} {module}:{mutant.line} {mutant.operator}")
                    say(f"    - {mutant.was}\n    + {mutant.now}")
        everything += outcome
        result["modules"][module] = {"places": places, **counted(outcome, table)}
        say(f"{module}: {result['modules'][module]}")
    result["all"] = counted(everything, table)
    return result


def picked(say=print) -> tuple[int, list[str]]:
    """Put in each fault of `picked_mutants.toml`: how many there are, and those its tests do not see."""
    warm()
    missed = []
    faults = tomllib.loads((TESTS / "picked_mutants.toml").read_text(encoding="utf-8"))["fault"]
    for fault in faults:
        source = file_of(fault["module"]).read_text(encoding="utf-8")
        if source.count(fault["was"]) != 1:
            missed.append(f"{fault['module']} has no single '{fault['was']}'")
            continue
        mutant = Mutant(
            fault["module"],
            0,
            "picked",
            fault["was"],
            fault["now"],
            source.replace(fault["was"], fault["now"]),
        )
        state, by = try_tests(mutant, [f"tests/{one}" for one in fault["tests"]], 120.0)
        if state != "killed" or by == "collection":
            missed.append(f"{fault['module']}: {fault['now']} ({state})")
    say(f"{len(faults)} faults put in, {len(faults) - len(missed)} seen; missed: {missed}")
    return len(faults), missed


def _survivors(outcome: Path | None) -> set[tuple[str, str, str]] | None:
    if outcome is None:
        return None
    return {(s["module"], s["was"], s["now"]) for s in json.loads(outcome.read_text())["survivors"]}


def main() -> int:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("modules", nargs="*", metavar="MODULE", help=f"of: {', '.join(MODULES)}")
    parser.add_argument("--seed", type=int, default=1, help="another seed draws other faults")
    parser.add_argument("--each", type=int, default=40, help="faults a module")
    parser.add_argument("--all", action="store_true", help="every fault at every place (hours)")
    parser.add_argument("--jobs", type=int, default=1, help="faults tried at once")
    parser.add_argument(
        "--most-s", type=float, default=20.0, help="tests tried on a fault, as long as they take without one"
    )
    parser.add_argument("--files", nargs="+", default=FILES, metavar="FILE", help="test files, below tests/")
    parser.add_argument(
        "--again", type=Path, help="outcome of a run: try only what survived in it, with the same draw"
    )
    parser.add_argument("--coverage", action="store_true", help="branch coverage only")
    parser.add_argument("--known", type=Path, help="file that keeps which test runs which line, between runs")
    parser.add_argument("--json", type=Path, help="write the outcome there")
    parser.add_argument("--picked", action="store_true", help="the few faults of picked_mutants.toml only")
    parser.add_argument(
        "--short",
        action="store_true",
        help="with the tests of the short run only; use a file of its own with --known",
    )
    given = parser.parse_args()
    if given.short:
        suite["marks"] = SHORT
    os.environ.setdefault("CASTSHED_STORE", "off")
    if given.picked:
        count, missed = picked()
        return int(len(missed) > (1.0 - SHORT_SEES) * count if given.short else bool(missed))
    each = 0 if given.coverage else None if given.all else given.each
    found = run(
        given.modules or list(MODULES),
        given.seed,
        each,
        jobs=given.jobs,
        most_s=given.most_s,
        kept=given.known,
        files=given.files,
        again=_survivors(given.again),
    )
    for module, of in found["branches"].items():
        print(
            f"{module:<16} {of['branches']:5.1f} % of {of['of']} branches, {of['lines']:5.1f} % of lines; left out: {of['missing']}"
        )
    if given.json:
        given.json.write_text(json.dumps(found, indent=1))
    print(found["all"])
    return 0


if __name__ == "__main__":
    sys.exit(main())
