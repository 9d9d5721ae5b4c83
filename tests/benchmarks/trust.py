"""Trust: files of other drivers, writers killed, hostile input, runs verified by another road, a planner that cheats, laws.

Each part can be run apart: `--part NAME`, any of `PARTS` (again for more). What a part has found so far is told on
stderr as it goes.
"""

from __future__ import annotations

import os
import random
import re
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import adversarial_lakes
import cheats
import fuzz
import hostile_cases
import hostile_commands
import hostile_drivers
from crash_harness import kill_writers
from verifier import proof

PARTS = ("drivers", "kills", "fuzz", "lakes", "adversarial", "cheats", "laws")
TESTS = Path(__file__).resolve().parent.parent


def _tell(text):
    print(text, file=sys.stderr, flush=True)


def _drivers(_seed, _quick):
    """Files of other drivers: the cases are made by construction, the same for every seed."""
    start = time.perf_counter()
    with tempfile.TemporaryDirectory() as folder:
        well, of = hostile_drivers.run_hostile_drivers(folder, _tell)
    _tell(f"drivers: {well} of {of} refused or read harmlessly")
    return {"drivers_refused": [well, of], "drivers_s": time.perf_counter() - start}


def _kills(seed, quick):
    start = time.perf_counter()
    found = kill_writers(60 if quick else 800, seed, loud=True)
    if found is None:
        return {"kills": None, "kills_lost": None, "crash_note": "needs a C compiler and LD_PRELOAD (Linux)"}
    return {
        "kills": found["kills"],
        "kills_lost": found["kills_lost"],
        "kills_survived": found["kills"] - found["kills_lost"],
        "crash_moments": found["moments"],
        "crash_faults": found["faults"],
        "crash_s": time.perf_counter() - start,
    }


def _fuzz(seed, quick):
    start = time.perf_counter()
    count, faults, by_kind = 0, [], {}
    # Guided by coverage: so many inputs of each target, or as many as go into the time. First, while this process is
    # small: the peak of memory that its limit looks at begins, in a child, at its parent's.
    targets = fuzz.fuzz(*((300, 3.0) if quick else (50_000, 13.0)), seed, tell=_tell)
    for one in targets or ():
        count, by_kind[one["target"]] = count + one["inputs"], one["inputs"]
        faults += [f"{one['target']}: {what} ({data})" for what, data in one["faults"].items()]
    with hostile_cases.quick_folder() as name:
        folder = Path(name)
        rng = random.Random(seed)
        hostile_commands.chain(folder)
        (folder / "work").mkdir()
        for kind, cases, most in (
            ("files bent", hostile_cases.bent_files(folder / "work", rng), 200 if quick else 4000),
            ("texts", hostile_cases.texts(rng), 300 if quick else 6000),
            ("pages of a GeoPackage", hostile_cases.pages(folder, rng), 40 if quick else 200),
            ("rasters", hostile_cases.rasters(folder, rng), None),
            ("traps and geometries", hostile_cases.trap_cases(folder, rng), 60 if quick else None),
            ("parameters and layers of all commands", hostile_commands.parameter_cases(folder, rng), 60 if quick else 2000),
        ):  # fmt: skip
            made, wrong = hostile_cases.run_cases(cases, most)
            _tell(f"{kind}: {made} inputs, {len(wrong)} tracebacks")
            count, by_kind[kind] = count + made, made
            faults += wrong
    return {
        "fuzz_cases": count,
        "tracebacks": len(faults),
        "fuzz_by_kind": by_kind,
        "fuzz_guided": targets is not None,
        "fuzz_faults": faults[:20],
        "fuzz_s": time.perf_counter() - start,
    }


def _proof(seed, quick):
    start = time.perf_counter()
    found = proof(20 if quick else 500, seed, tell=_tell)
    return {
        "lakes": found["lakes"],
        "violations": found["violations"],
        "mutants": found["mutants"],
        "mutants_caught": found["mutants"] - len(found["missed"]),
        "mutants_caught_share": found["mutants_caught_share"],
        "proof_faults": found["faults"],
        "mutants_missed": found["missed"],
        "proof_s": time.perf_counter() - start,
    }


def _adversarial(seed, quick):
    """Hostile lakes, offsets to 1e8 m: runs nearer than asked, as made and as exported."""
    start = time.perf_counter()
    found = adversarial_lakes.run_lakes(20 if quick else 2000, seed, tell=_tell)
    _tell(f"adversarial lakes: {found['lakes']}, {found['runs']} runs, {found['nearer']} nearer than asked")
    return {"adversarial": {**found, "seconds": time.perf_counter() - start}}


def _cheats(seed, quick):
    start = time.perf_counter()
    found = cheats.run_cheats(seed, sound_runs=10 if quick else 500, tell=_tell)
    return {**found, "cheats_s": time.perf_counter() - start}


def _laws(seed, quick):
    """The laws with many examples of this seed, by pytest in a process of its own."""
    start = time.perf_counter()
    words = [
        "-q",
        "-n0",
        "-m",
        "",
        "-p",
        "no:cacheprovider",
        "--hypothesis-show-statistics",
        f"--hypothesis-seed={seed}",
        "tests/trust/test_laws.py",
    ]
    done = subprocess.run(
        [sys.executable, "-m", "pytest", *words], cwd=TESTS.parent, capture_output=True, text=True, check=False,
        env={**os.environ, "CASTSHED_LAWS": "quick" if quick else "long"},
    )  # fmt: skip
    tried = sum(int(n) for n in re.findall(r"(\d+) passing, ", done.stdout))
    failed = re.findall(r"^FAILED (\S+)", done.stdout, re.MULTILINE)
    held = re.search(r"(\d+) passed", done.stdout)
    _tell(f"laws: {held[1] if held else 0} hold on {tried} examples, {len(failed)} broken")
    return {
        "laws": int(held[1]) if held else 0,
        "law_examples": tried,
        "laws_broken": failed,
        "laws_s": time.perf_counter() - start,
    }


def measure(seed: int, quick: bool, parts: tuple[str, ...] = ()) -> dict:
    """Measure all, or the parts that are named."""
    work = {
        "drivers": _drivers,
        "kills": _kills,
        "fuzz": _fuzz,
        "lakes": _proof,
        "adversarial": _adversarial,
        "cheats": _cheats,
        "laws": _laws,
    }
    found = {}
    for name in parts or PARTS:
        _tell(f"-- {name}")
        found |= work[name](seed, quick)
    return found
