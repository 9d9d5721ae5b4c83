"""Measure castshed beside its peers: one command, one JSON object.

    python tests/benchmarks/run.py NAME [--seed N] [--quick] [--json] [--part PART ...] [--data FOLDER] [--lake FILE]

NAME is a file of this folder. `--seed` changes every made instance, `--quick` makes them few and small. Times are
medians of the same run on the same machine. A peer that is missing, or needs more than 120 s, is reported as null with
a note. Needs the extras `test` and `bench`; peers that cannot live beside castshed get an environment of their own,
made on first use in the folder for temporary files.
"""

from __future__ import annotations

import argparse
import importlib
import inspect
import json
import sys
from pathlib import Path

HERE = Path(__file__).resolve().parent
sys.path[:0] = [str(HERE), str(HERE.parent / "support")]


def names() -> list[str]:
    """Benchmarks there are: files with a function `measure`."""
    return sorted(p.stem for p in HERE.glob("*.py") if "\ndef measure(" in p.read_text(encoding="utf-8"))


def _rows(value: object, label: str = "") -> list[tuple[str, str]]:
    if isinstance(value, dict):
        return [row for key, inner in value.items() for row in _rows(inner, f"{label} {key}".strip())]
    if isinstance(value, float):
        return [(label, f"{value:.4g}")]
    return [(label, "none" if value is None else str(value))]


def main() -> int:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("name", choices=names())
    parser.add_argument("--seed", type=int, default=1, help="another seed is another set of made instances")
    parser.add_argument("--quick", action="store_true", help="few and small instances")
    parser.add_argument("--json", action="store_true", help="one JSON object on stdout")
    parser.add_argument(
        "--part", action="append", default=[], help="of a benchmark that has parts, this one only"
    )
    parser.add_argument("--data", help="folder of public instances, for a benchmark that reads them")
    parser.add_argument("--lake", help="a real lake's file with shoreline, soundings and contours")
    given = parser.parse_args()
    benchmark = importlib.import_module(given.name)
    known = getattr(benchmark, "PARTS", ())
    if unknown := [part for part in given.part if part not in known]:
        parser.error(f"{given.name} has no part {unknown[0]}; it has {', '.join(known) or 'none'}")
    more: dict[str, object] = {"parts": tuple(given.part)} if given.part else {}
    for word, there in (("data", Path.is_dir), ("lake", Path.is_file)):
        path = getattr(given, word)
        if path is None:
            continue
        if word not in inspect.signature(benchmark.measure).parameters:
            parser.error(f"{given.name} reads no --{word}")
        if not there(Path(path)):
            parser.error(f"--{word} is {path}, and nothing of that kind is there")
        more[word] = path
    measured = benchmark.measure(given.seed, given.quick, **more)
    result = {"benchmark": given.name, "seed": given.seed, "quick": given.quick, **measured}
    if given.json:
        print(json.dumps(result))
        return 0
    rows = _rows(result)
    width = max(len(label) for label, _ in rows)
    for label, text in rows:
        print(f"{label:<{width}}  {text}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
