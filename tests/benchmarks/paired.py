"""What a change costs: every step of the README, `plan` and the whole day, beside an installation of before.

    CASTSHED_BEFORE=/elsewhere/.venv/bin/python python tests/benchmarks/run.py paired --json

Both installations do the same in turn, each in a folder of its own and with its own layers; who is first changes from
round to round. Told is the median over the rounds of the ratio of processor time (user and system, of all processes
and threads of the command), which a busy machine stretches for both alike. Parts: steps, plan, whole.
"""

from __future__ import annotations

import os
import re
import resource
import shlex
import shutil
import statistics
import subprocess
import sys
import tempfile
from pathlib import Path

from castshed.toolbox.cache.store import SETTING

HERE = Path(__file__).resolve().parent
HOME = HERE.parents[1]
BEFORE = "CASTSHED_BEFORE"
PARTS = ("steps", "plan", "whole")
ROUNDS, QUICK_ROUNDS = 9, 3
WHOLE_ROUNDS = 2
COMMAND = "import sys; sys.argv[0] = 'castshed'; from castshed.toolbox.cli import main; sys.exit(main())"
WHOLE_STEPS = ("day.toml", "level.toml", "wind.toml")  # cold, then warm at another level and in another wind
SHEET_LAYERS = ("stops", "legs", "holds", "spots", "water", "depth_bands", "shallow_hazards")


def readme_steps(text: str) -> list[list[str]]:
    """The words of every command in the chain of the README, without the command's name."""
    chain = re.search(r"```sh\n(L=.*?)```", text, re.DOTALL)
    if chain is None:
        raise RuntimeError("the README has no chain that begins with L=")
    lines = chain[1].replace("\\\n", " ").splitlines()
    lake = lines[0].partition("=")[2]
    return [shlex.split(line.replace("$L", lake))[1:] for line in lines[1:] if line.strip()]


def cpu_s(python: str, words: list[str], folder: Path, store: str) -> float:
    """Processor time of one command, children and threads included; an exit code but 0 ends the benchmark."""
    start = resource.getrusage(resource.RUSAGE_CHILDREN)
    run = subprocess.run(
        [python, "-c", COMMAND, *words], cwd=folder, env={**os.environ, SETTING: store},
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    end = resource.getrusage(resource.RUSAGE_CHILDREN)
    if run.returncode:
        raise RuntimeError(
            f"{python} castshed {' '.join(words)}: exit {run.returncode}\n{run.stderr[-2000:]}"
        )
    return (end.ru_utime - start.ru_utime) + (end.ru_stime - start.ru_stime)


def _told(pairs):
    """Medians of pairs (before, now): the ratio of a round, and the seconds of each."""
    return {
        "ratio": statistics.median(now / before for before, now in pairs),
        "before_cpu_s": statistics.median(before for before, _ in pairs),
        "now_cpu_s": statistics.median(now for _, now in pairs),
    }


def _in_turn(pythons, commands, rounds, place, store, prepare):
    """Run each named command with both installations in turn, in fresh folders every round."""
    times: dict[str, list[tuple[float, float]]] = {name: [] for name, _ in commands}
    for k in range(rounds + 1):
        folders = [place / f"{side}{k}" for side in ("before", "now")]
        for folder, python in zip(folders, pythons, strict=True):
            prepare(folder, python)
        for name, words in commands:
            took = [0.0, 0.0]
            for side in (0, 1) if k % 2 else (1, 0):
                kept = store and str(folders[side] / "kept")
                took[side] = cpu_s(pythons[side], words, folders[side], kept or "off")
            if k or rounds == 1:  # the first round fills the caches of compiled modules
                times[name].append((took[0], took[1]))
            print(f"  {k} {name}: {took[0]:.2f} s, now {took[1]:.2f} s", file=sys.stderr)
        for folder in folders:
            shutil.rmtree(folder)
    return {name: _told(pairs) for name, pairs in times.items()}


def _demo(folder, python):
    """Let each write the demo lake and its own day file: keys may have changed their names."""
    folder.mkdir()
    cpu_s(python, ["demo", "demo_layers"], folder, "off")


def _whole(pythons, seed, quick, place):
    """The day on one big lake; one lake for all, since to make it takes longer than a day."""
    from whole import made_folder

    made = place / "made"
    made.mkdir()
    made_folder(made, seed, 8_000 if quick else 84_000, 1e6 if quick else 1.02e7)
    commands = [(f"plan {name}", ["plan", name, "--out", f"out_{name}"]) for name in WHOLE_STEPS]
    planned = [f"out_day.toml/plan.gpkg:{layer}" for layer in SHEET_LAYERS]
    commands.append(("plan-sheet", ["plan-sheet", *planned, "--out", "sheet"]))
    return _in_turn(
        pythons, commands, WHOLE_ROUNDS, place, True, lambda folder, _: shutil.copytree(made, folder)
    )


def measure(seed: int, quick: bool, parts: tuple[str, ...] = PARTS) -> dict:
    """Measure the parts asked for; the installation of before is named by CASTSHED_BEFORE."""
    python = os.environ.get(BEFORE, "")
    if not Path(python).is_file():
        raise SystemExit(f"{BEFORE} is {python!r}; give the Python that has the castshed of before installed")
    pythons, rounds = (python, sys.executable), QUICK_ROUNDS if quick else ROUNDS
    found: dict[str, object] = {}
    with tempfile.TemporaryDirectory() as name:
        place = Path(name)
        if "steps" in parts:
            steps = [(words[0], words) for words in readme_steps((HOME / "README.md").read_text("utf-8"))]
            found["steps"] = _in_turn(pythons, steps, rounds, place, False, _demo)
        if "plan" in parts:
            plan = ["plan", "demo_layers/day.toml", "--out"]
            cold, warm = ("plan, nothing kept", [*plan, "one"]), ("plan again", [*plan, "two"])
            found["plan"] = {
                **_in_turn(pythons, [cold], rounds, place, False, _demo),
                **_in_turn(pythons, [("plan, kept", cold[1]), warm], rounds, place, True, _demo),
            }
        if "whole" in parts:
            found["whole"] = _whole(pythons, seed, quick, place)
    return found
