"""Trust: writers killed, hostile input, runs verified by another road, a planner that cheats, faults put into code."""

from __future__ import annotations

import time

import faults

import hostile_cases
from crash_harness import kill_writers
from verifier import proof


def _kills(seed, quick):
    start = time.perf_counter()
    found = kill_writers(60 if quick else 1000, seed)
    if found is None:
        return {"kills": None, "kills_lost": None, "crash_note": "needs a C compiler and LD_PRELOAD (Linux)"}
    return {
        "kills": found["kills"],
        "kills_lost": found["kills_lost"],
        "crash_moments": found["moments"],
        "crash_faults": found["faults"],
        "crash_s": time.perf_counter() - start,
    }


def _fuzz(seed, quick):
    start = time.perf_counter()
    with hostile_cases.quick_folder() as folder:
        count, faults = hostile_cases.fuzz(seed, folder, *((200, 300, 30) if quick else (4000, 6000, 600)))
    return {
        "fuzz_cases": count,
        "tracebacks": len(faults),
        "fuzz_faults": faults[:20],
        "fuzz_s": time.perf_counter() - start,
    }


def _proof(seed, quick):
    start = time.perf_counter()
    found = proof(20 if quick else 500, seed)
    return {
        "lakes": found["lakes"],
        "violations": found["violations"],
        "mutants": found["mutants"],
        "mutants_caught_share": found["mutants_caught_share"],
        "proof_faults": found["faults"],
        "mutants_missed": found["missed"],
        "proof_s": time.perf_counter() - start,
    }


def measure(seed: int, quick: bool) -> dict:
    """Measure all; see the functions above."""
    return {**_kills(seed, quick), **_fuzz(seed, quick), **_proof(seed, quick), **faults.measure(seed, quick)}
