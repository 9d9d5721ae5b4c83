"""Fuzz what reads a stranger's bytes, guided by coverage (atheris, which is libFuzzer for Python).

Inputs that reach lines nobody reached before are kept and changed further. Each target runs in a process of its own,
which may take neither more memory nor, for one input, more time than told here; a fault ends no run, so that one
covers no other.

    python tests/support/fuzz.py --runs 100000 --seed 1
"""

from __future__ import annotations

import argparse
import importlib.util
import json
import os
import re
import subprocess
import sys
import tempfile
import time
import traceback
import warnings
from pathlib import Path

LONGEST_S = 20
SLOW_S = 4.0
MOST_MB = 2000
TOOLS = importlib.util.find_spec("atheris")


def _where(error):
    """The last line of ours that an error came through."""
    ours = [f for f in traceback.extract_tb(error.__traceback__) if "/toolbox/" in f.filename]
    return f"{Path(ours[-1].filename).name}:{ours[-1].lineno}" if ours else "outside"


def serve(name, runs, seconds, seed, folder):
    """Fuzz one target in this process; prints one JSON object and ends the process."""
    import atheris

    with atheris.instrument_imports(include=["castshed.toolbox"]):
        import fuzz_targets
    from castshed.toolbox.errors import CastshedError

    extra = {"all": fuzz_targets.together(), "planted": fuzz_targets.PLANTED}
    work, seeds, words, longest = {**fuzz_targets.TARGETS, **extra}[name]
    if name == "planted":
        fuzz_targets._opened = atheris.instrument_func(fuzz_targets._opened)
    folder = Path(folder)
    fuzz_targets.room(folder)
    corpus = folder / "corpus"
    corpus.mkdir()
    for number, content in enumerate(seeds()):
        (corpus / str(number)).write_bytes(content)
    dictionary = folder / "words"
    escaped = ["".join(f"\\x{b:02x}" for b in word.encode()) for word in words]
    dictionary.write_text("".join(f'"{word}"\n' for word in escaped))
    warnings.simplefilter("ignore")
    os.chdir(folder)
    count, faults, refused, began = 0, {}, 0, time.monotonic()

    def fault(what, data):
        if what not in faults or len(data) < len(faults[what]):
            faults[what] = data

    def one(data):
        nonlocal count, refused
        count += 1
        start = time.process_time()
        try:
            work(folder, data)
        except CastshedError as error:
            refused += 1
            if not str(error).strip():
                fault(f"{type(error).__name__} without a word, {_where(error)}", data)
        except Exception as error:  # noqa: BLE001  # the very thing looked for
            fault(f"{type(error).__name__}: {str(error)[:120]}, {_where(error)}", data)
        if time.process_time() - start > SLOW_S:
            fault(f"more than {SLOW_S} s for one input", data)
        if count >= runs or time.monotonic() - began > seconds:
            print(
                json.dumps(
                    {"inputs": count, "refused": refused, "faults": {k: v.hex() for k, v in faults.items()}}
                )
            )
            sys.stdout.flush()
            os._exit(0)

    atheris.Setup(
        [sys.argv[0], str(corpus), f"-runs={2 * runs + 1000}", f"-seed={seed}", f"-timeout={LONGEST_S}", f"-dict={dictionary}",
         f"-rss_limit_mb={MOST_MB}", f"-max_len={longest}", f"-artifact_prefix={folder}/"], one)  # fmt: skip
    atheris.Fuzz()


def fuzz_target(name, runs, seconds, seed):
    """Fuzz one target (or `all` as one) in a process of its own.

    Returns inputs tried, those refused, branches reached, how often more of them were, and faults with their input in hex.
    """
    memory = "/dev/shm"
    with tempfile.TemporaryDirectory(dir=memory if os.access(memory, os.W_OK) else None) as folder:
        words = [
            "--serve",
            name,
            "--runs",
            str(runs),
            "--seconds",
            str(seconds),
            "--seed",
            str(seed),
            "--folder",
            folder,
        ]
        done = subprocess.run(
            [sys.executable, "-W", "ignore", __file__, *words],
            capture_output=True,
            check=False,
            timeout=seconds + 300,
        )
        said = done.stderr.decode("utf-8", "replace")
        reached = [int(n) for n in re.findall(r"cov: (\d+)", said)]
        if done.returncode == 0 and done.stdout:
            found = json.loads(done.stdout.splitlines()[-1])
        else:
            left = [
                p for p in Path(folder).iterdir() if re.match(r"(crash|oom|timeout|slow-unit|leak)-", p.name)
            ]
            seen = [int(n) for n in re.findall(r"^#(\d+)", said, re.MULTILINE)]
            why = f"ended by itself ({done.returncode}): {said[-300:]}"
            found = {"inputs": max(seen, default=0), "refused": None,
                     "faults": {why: left[0].read_bytes().hex() if left else ""}}  # fmt: skip
    return {"target": name, "reached": max(reached, default=0), "grew": len(set(reached)), **found}


def fuzz(runs, seconds, seed, only=(), tell=None):
    """Fuzz all targets, one after the other; None where atheris is not to be had (it needs Linux or macOS)."""
    if TOOLS is None:
        return None
    from fuzz_targets import TARGETS

    results = []
    for name in only or TARGETS:
        results.append(fuzz_target(name, runs, seconds, seed))
        if tell is not None:
            tell(f"{name}: {results[-1]['inputs']} inputs, {len(results[-1]['faults'])} faults")
    return results


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--runs", type=int, default=20_000, help="inputs of each target")
    parser.add_argument("--seconds", type=float, default=60.0, help="longest time for each target")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--only", action="append", default=[], help="this target (again for more)")
    parser.add_argument("--serve", help=argparse.SUPPRESS)
    parser.add_argument("--folder", help=argparse.SUPPRESS)
    given = parser.parse_args()
    if given.serve:
        serve(given.serve, given.runs, given.seconds, given.seed, given.folder)
        return
    found = fuzz(
        given.runs,
        given.seconds,
        given.seed,
        given.only,
        lambda text: print(text, file=sys.stderr, flush=True),
    )
    print(json.dumps(found, indent=1))


if __name__ == "__main__":
    main()
