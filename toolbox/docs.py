"""The catalogue page, algorithms/README.md, written from the specs; ``--check`` tells whether it is stale."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from .catalogue import entries, load_entry
from .job_steps import STEPS
from .spec import Parameter, Spec

_PAGE = Path(__file__).parent.parent / "algorithms" / "README.md"


def _row(par: Parameter) -> str:
    what = par.marker.metavar.replace("|", " or ")
    name = par.name.upper() if par.positional else f"`{par.option}`"
    default = "needed" if par.required else (par.default_words or "-")
    cells = (name, f"`{par.name}`", what, default, par.help)
    return "| " + " | ".join(cell.replace("|", "\\|") for cell in cells) + " |"


def _section(spec: Spec) -> list[str]:
    makes = ", ".join(f"`{o.name}`" for o in spec.outputs)
    lines = [f"### {spec.name}", "", spec.summary, ""]
    if spec.description:
        lines += [spec.description, ""]
    if spec.parameters:
        lines += ["| on the command line | in Python | what | default | meaning |", "|---|---|---|---|---|"]
        lines += [_row(par) for par in spec.parameters]
        lines += [""]
    return [*lines, f"Makes: {makes}.", "", "```sh", spec.example, "```", ""]


def page() -> str:
    """Write the catalogue of bundled algorithms."""
    lines = [
        "# The algorithms",
        "",
        "One file, one function, one command each. This page is written from the code by",
        "`python -m castshed.toolbox.docs`.",
        "",
        "Lengths, speeds, times and bearings are written with their unit on the command line (`80ft`, `15mph`,",
        "`25min`, `SW`); in Python they are plain numbers in metres, metres per second, seconds and degrees. Every",
        "command also takes `--out`, `--replace`, `--json` and `--quiet`; commands that read layers take `--crs`.",
        "In place of a file of layers, `-` takes them from the command before in a pipe (`-:LAYER` the one of that",
        "name), `--out -` passes them on: as a GeoJSON text sequence (RFC 8142) that states the reference system and",
        "keeps coordinates exact.",
        "The examples run in a folder that holds `demo_layers/` (`castshed demo demo_layers` writes one).",
        "",
    ]
    bundled = [e for e in entries().values() if e.origin == "castshed"]
    for step, title in STEPS.items():
        here = [e for e in bundled if e.step == step]
        if here:
            lines += [f"## {title}", ""]
        for entry in here:
            lines += _section(load_entry(entry))
    return "\n".join(lines).rstrip() + "\n"


def main(arguments: list[str]) -> int:
    """Write the page, or with ``--check`` say whether the one on disk is stale (exit 1)."""
    parser = argparse.ArgumentParser(prog="python -m castshed.toolbox.docs", description=__doc__)
    parser.add_argument("--check", action="store_true", help="only say whether the page is stale")
    parser.add_argument(
        "--page", type=Path, default=_PAGE, help="the page, where it is not beside the algorithms"
    )
    told = parser.parse_args(arguments)
    fresh = page()
    if told.check:
        if not told.page.exists() or told.page.read_text(encoding="utf-8") != fresh:
            print(f"{told.page} is stale; run python -m castshed.toolbox.docs", file=sys.stderr)
            return 1
        return 0
    told.page.write_text(fresh, encoding="utf-8")
    print(f"wrote {told.page}")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
