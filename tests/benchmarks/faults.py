"""Faults put into the safety-critical modules: how many the tests see, and the branches the tests run."""

from __future__ import annotations

import time

from mutants import MODULES, picked, run


def measure(seed: int, quick: bool) -> dict:
    """Put in the picked faults only, or a sample of each module's (`tests/support/mutants.py` tells how; extra `trust`)."""
    start = time.perf_counter()
    if quick:
        tried, missed = picked(say=lambda _: None)
        found = {"faults": tried, "faults_seen": tried - len(missed), "faults_missed": missed}
    else:
        try:
            import cosmic_ray  # noqa: F401  # asked for before an hour's work
            import coverage  # noqa: F401
        except ImportError as missing:
            return {"faults": None, "faults_note": f"needs the extra trust: {missing}"}
        outcome = run(list(MODULES), seed, 25, say=lambda _: None)
        whole = outcome["all"]
        found = {
            "faults": whole["tried"],
            "faults_seen": whole["found"],
            "faults_same": whole["same"],
            "score_raw": whole["raw"],
            "score": whole["score"],
            "score_from_to": whole["from_to"],
            "modules": {
                name: {"seen": of["found"], "of": of["tried"], "same": of["same"], "score": of["score"]}
                for name, of in outcome["modules"].items()
            },
            "branches_percent": {name: of["branches"] for name, of in outcome["branches"].items()},
        }
    return {**found, "faults_s": time.perf_counter() - start}
