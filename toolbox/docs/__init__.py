"""The catalogue page, algorithms/README.md, with a worked example and a picture for each algorithm.

The page is written from the specs and from ``pictures/examples.json`` beside it, which keeps what came of each example
when it was last run. ``--examples`` runs them again and draws the pictures; ``--check`` tells what is stale: alone in a
moment, by the text; with ``--examples`` by running them, within what can be seen (`castshed.toolbox.docs`).
"""

from __future__ import annotations

import argparse
import json
import sys
import tempfile
from collections.abc import Mapping
from pathlib import Path
from typing import Any, Final

from ..algorithm.catalogue import OWN, entries, load_entry
from ..algorithm.spec import STEPS, Parameter, Spec
from ..cli.own_commands import own_example
from .vocabulary import own_lake, second_meanings, with_table

_PAGE = Path(__file__).parents[2] / "algorithms" / "README.md"
_DEVELOPERS: Final = "DEVELOPERS.md"
FOLDER: Final = "pictures"
KEPT: Final = "examples.json"
REMEDY: Final = "run python -m castshed.toolbox.docs --examples"
_CELL: Final = 110
_NOTHING: Final = 1e-3

Told = Mapping[str, Mapping[str, Any]]


def _bundled() -> dict[str, Spec]:
    return {e.name: load_entry(e) for e in entries().values() if e.origin == "castshed"}


def _row(par: Parameter) -> str:
    what = par.marker.metavar.replace("|", " or ")
    name = par.name.upper() if par.positional else f"`{par.option}`"
    default = "needed" if par.required else (par.default_words or "-")
    return _line((name, f"`{par.name}`", what, default, par.help))


def _line(cells: Any) -> str:
    return "| " + " | ".join(str(cell).replace("|", "\\|") for cell in cells) + " |"


def _cell(column: str, value: Any) -> str:
    """Write a value of a layer as a person reads it: quantities in both systems by the suffix of their column."""
    from ..units import in_words

    if value is None:
        return ""
    if not isinstance(value, int | float) or isinstance(value, bool):
        text = " ".join(str(value).split())
        return text if len(text) <= _CELL else f"{text[: _CELL - 3]}..."
    for suffix, kind in (("_mps", "speed"), ("_deg", "bearing"), ("_m", "length"), ("_s", "time")):
        if column.endswith(suffix):
            return in_words(0.0 if abs(value) < _NOTHING else float(value), kind)
    return f"{value:g}" if abs(value) < 100 else f"{value:,.0f}"


def _came(layer: Mapping[str, Any]) -> str:
    if "coverage" in layer:
        high, wide = layer["cells"]
        return f"`{layer['coverage']}` ({high:,} x {wide:,} cells of {layer['cell_m']:g} m)"
    rows = layer["rows"]
    return f"`{layer['layer']}` ({rows:,} {'row' if rows == 1 else 'rows'})"


def _worked(spec: Spec, told: Mapping[str, Any] | None) -> list[str]:
    """Write the example: the line, its picture, what went in, what came out."""
    from .running import caption

    lines = ["```sh", spec.example, "```", ""]
    if told is None:
        return lines
    words = caption(spec.name)
    lines += [f"![{words}]({FOLDER}/{spec.name}.png)", "", f"*{words}*", ""]
    came = [_came(layer) for layer in told["layers"]] + [f"`{name}`" for name in told["files"]]
    went = f"In: {'; '.join(told['takes'])}. " if told["takes"] else ""
    lines += [f"{went}Out: {', '.join(came)}.", ""]
    figures = {k: v for k, v in told["said"].items() if not isinstance(v, str | bool)}
    if figures:
        lines += ["It says: " + ", ".join(f"{k} {_cell(k, v)}" for k, v in figures.items()) + ".", ""]
    shown = next((layer for layer in told["layers"] if layer.get("shown")), None)
    if shown:
        columns = list(shown["shown"][0])
        lines += [_line(f"`{c}`" for c in columns), "|" + "---|" * len(columns)]
        lines += [_line(_cell(c, row[c]) for c in columns) for row in shown["shown"]]
        rest = shown["rows"] - len(shown["shown"])
        lines += ["", *([f"and {rest:,} more of `{shown['layer']}`.", ""] if rest > 0 else [])]
    return lines


def _section(spec: Spec, told: Mapping[str, Any] | None) -> list[str]:
    makes = ", ".join(f"`{o.name}`" for o in spec.outputs)
    lines = [f"### {spec.name}", "", spec.summary, ""]
    if spec.description:
        lines += [spec.description, ""]
    if spec.parameters:
        lines += ["| on the command line | in Python | what | default | meaning |", "|---|---|---|---|---|"]
        lines += [_row(par) for par in spec.parameters]
        lines += [""]
    return [*lines, f"Makes: {makes}.", "", *_worked(spec, told)]


def page(told: Told) -> str:
    """Write the catalogue of bundled algorithms.

    Parameters
    ----------
    told
        What came of each example, as `kept` reads it; an algorithm it does not hold is shown without.
    """
    lines = [
        "# The algorithms",
        "",
        "One file, one function, one command each. This page is written from the code by",
        "`python -m castshed.toolbox.docs`, its examples are run by `python -m castshed.toolbox.docs --examples`.",
        "",
        "Lengths, speeds, times and bearings are written with their unit on the command line (`80ft`, `15mph`,",
        "`25min`, `SW`); in Python they are plain numbers in metres, metres per second, seconds and degrees. Every",
        "command also takes `--out`, `--replace`, `--json` and `--quiet`; commands that read layers take `--crs`.",
        "In place of a file of layers, `-` takes them from the command before in a pipe (`-:LAYER` the one of that",
        "name), `--out -` passes them on: as a GeoJSON text sequence (RFC 8142) that states the reference system and",
        "keeps coordinates exact.",
        "",
        "The examples run one after the other, in a folder that holds `demo_layers/` (`castshed demo demo_layers`",
        "writes one) and `my_day/` (the example of `plan`). In the pictures what goes in is pale, what comes out",
        "strong; north is up the grid. The lake and everything on it is invented: nothing here is for navigation.",
        "",
    ]
    lines += own_lake()
    specs = _bundled()
    for step, title in STEPS.items():
        here = [spec for spec in specs.values() if spec.step == step]
        if here:
            lines += [f"## {title}", ""]
        for spec in here:
            lines += _section(spec, told.get(spec.name))
    lines += ["## Around the algorithms", ""]
    for name, words in OWN.items():
        lines += [f"### {name}", "", words, "", "```sh", own_example(name), "```", ""]
    return "\n".join(lines).rstrip() + "\n"


def kept(folder: Path) -> dict[str, dict[str, Any]]:
    """Read what came of the examples when they were last run; nothing where they never were."""
    try:
        told: dict[str, dict[str, Any]] = json.loads((folder / KEPT).read_text(encoding="utf-8"))
    except FileNotFoundError:
        return {}
    return told


def stale_text(page_file: Path) -> list[str]:
    """List what is stale by the text alone: the page, examples that were changed since they were run, pictures."""
    folder = page_file.parent / FOLDER
    told, specs = kept(folder), _bundled()
    found = [
        f"the example of {name} was {'changed since it was' if name in told else 'never'} run; {REMEDY}"
        for name, spec in specs.items()
        if told.get(name, {}).get("example") != spec.example
    ]
    found += [
        f"{folder / name}.png is not there; {REMEDY}"
        for name in specs
        if not (folder / f"{name}.png").exists()
    ]
    found += [
        f"{path} is of no algorithm; remove it" for path in folder.glob("*.png") if path.stem not in specs
    ]
    if not page_file.exists() or page_file.read_text(encoding="utf-8") != page(told):
        found.append(f"{page_file} is stale; run python -m castshed.toolbox.docs")
    found += second_meanings(specs.values())
    guide = page_file.parents[1] / _DEVELOPERS
    if guide.exists() and (text := guide.read_text(encoding="utf-8")) != with_table(text, specs):
        found.append(
            f"the table of shared parameters in {guide} is stale; run python -m castshed.toolbox.docs"
        )
    return found


def stale_results(page_file: Path) -> list[str]:
    """Run all examples and list what came out otherwise than the page and its pictures show."""
    from .running import collect, differences, looks_otherwise

    folder = page_file.parent / FOLDER
    with tempfile.TemporaryDirectory() as home:
        fresh, drawn = collect(_bundled(), Path(home))
    before = kept(folder)
    found = [f"{words}; {REMEDY}" for words in differences(before, fresh)]
    for name, png in drawn.items():
        path = folder / f"{name}.png"
        if path.exists() and looks_otherwise(path.read_bytes(), png):
            found.append(f"the picture of {name} looks otherwise now; {REMEDY}")
    return found


def _run_examples(folder: Path) -> None:
    from .running import collect

    with tempfile.TemporaryDirectory() as home:
        fresh, drawn = collect(_bundled(), Path(home))
    folder.mkdir(exist_ok=True)
    for old in folder.glob("*.png"):
        if old.stem not in drawn:
            old.unlink()
    for name, png in drawn.items():
        (folder / f"{name}.png").write_bytes(png)
    text = json.dumps(fresh, indent=1, ensure_ascii=False)
    (folder / KEPT).write_text(text + "\n", encoding="utf-8")


def main(arguments: list[str]) -> int:
    """Write the page, or with ``--check`` say whether the one on disk is stale (exit 1)."""
    parser = argparse.ArgumentParser(prog="python -m castshed.toolbox.docs", description=__doc__)
    parser.add_argument("--check", action="store_true", help="only say what is stale")
    parser.add_argument("--examples", action="store_true", help="run the examples; takes a minute or two")
    parser.add_argument(
        "--page", type=Path, default=_PAGE, help="the page, where it is not beside the algorithms"
    )
    told = parser.parse_args(arguments)
    if told.check:
        found = stale_text(told.page) or (stale_results(told.page) if told.examples else [])
        for words in found:
            print(words, file=sys.stderr)
        return 1 if found else 0
    folder = told.page.parent / FOLDER
    if told.examples:
        _run_examples(folder)
    told.page.write_text(page(kept(folder)), encoding="utf-8")
    guide = told.page.parents[1] / _DEVELOPERS
    if guide.exists():
        guide.write_text(with_table(guide.read_text(encoding="utf-8"), _bundled()), encoding="utf-8")
    print(f"wrote {told.page}")
    return 0
