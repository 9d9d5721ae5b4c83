"""From a `Spec` to its command: an option or argument a parameter, with its help, its default and what a shell offers.

``--out``, ``--replace``, ``--crs``, ``--json`` and ``--quiet`` are added here and nowhere else.

What a shell may offer after ``FILE.gpkg:``: the layers of the file, read without any GIS library.
"""

from __future__ import annotations

import contextlib
import inspect
import os
import re
import shlex
import sqlite3
from collections.abc import Callable, MutableMapping
from pathlib import Path
from typing import Annotated, Any, Final

import typer

from ..algorithm.spec import Parameter, Spec
from ..errors import CastshedError, UsageError
from ..parameters.markers import Choice, FileSet, Flag, FolderSet, Layer, LayerSet, Many, Number, Surface
from ..report import Reporter
from .arguments import PIPE, is_piped, read_input, read_value, takes_many
from .outputs import default_out
from .run_command import guarded, run

BASH: Final = ("_CASTSHED_COMPLETE", "complete_bash")
_file_before_colon = ""


def _tokens(line: str) -> list[str]:
    """Split a line that may be unfinished: an open quotation counts as far as it goes."""
    reader = shlex.shlex(line, posix=True, punctuation_chars=False)
    reader.whitespace_split = True
    reader.commenters = ""
    found: list[str] = []
    try:
        found.extend(reader)
    except ValueError:
        found.append(reader.token)
    return found


def join_at_colon(environment: MutableMapping[str, str]) -> None:
    """Make one word of ``FILE``, ``:`` and the beginning of a layer, which bash takes for three.

    Bash parts words at a colon and replaces only what stands after it, so the file is put aside, the words are told
    without it, and what is offered is the layer's name alone.
    """
    global _file_before_colon  # noqa: PLW0603  # one process completes one word
    _file_before_colon = ""
    name, shell = BASH
    if environment.get(name) != shell:
        return
    try:
        words, at = _tokens(environment["COMP_WORDS"]), int(environment["COMP_CWORD"])
    except (KeyError, ValueError):
        return
    words = words[: at + 1]
    if at >= 2 and len(words) > at - 1 and words[at - 1] == ":":
        file, begun = words[at - 2], words[at] if len(words) > at else ""
        kept = words[: at - 2]
    elif at >= 1 and len(words) > at and words[at] == ":":
        file, begun = words[at - 1], ""
        kept = words[: at - 1]
    else:
        return
    _file_before_colon = file
    environment["COMP_WORDS"] = " ".join(shlex.quote(word) for word in [*kept, begun] if word)
    environment["COMP_CWORD"] = str(len(kept))


def _names(file: str, coverage: bool) -> list[str]:
    from ..layers.geopackage import contents, is_geopackage

    path = Path(os.path.expanduser(file))  # noqa: PTH111  # Path.expanduser raises where there is no home
    with contextlib.suppress(CastshedError, OSError, sqlite3.Error):
        if path.is_file() and is_geopackage(path):
            return [n for n, kind in contents(path).items() if (kind == "coverage") == coverage]
    return []


def layer_completer(marker: Any) -> Callable[[str], list[str]]:
    """Make the function that offers layers of the kind an input takes."""
    coverage = isinstance(marker, Surface)

    def complete(incomplete: str) -> list[str]:
        if _file_before_colon:
            names = [n.replace(" ", "\\ ") for n in _names(_file_before_colon, coverage)]
            return [n for n in names if n.startswith(incomplete)]
        file, colon, begun = incomplete.rpartition(":")
        if not colon or len(file) < 2:  # a drive letter is no file
            return []
        return [f"{file}:{n}" for n in _names(file, coverage) if n.startswith(begun)]

    return complete


_INSIDE_A_PARAGRAPH: Final = re.compile(r"(?<=\S)\n(?=[^\s*-])")


def _flowing(text: str) -> str:
    """Join the lines of each paragraph: they are broken for the source, not for a terminal. Lists stay."""
    return _INSIDE_A_PARAGRAPH.sub(" ", text)


def escape(text: str) -> str:
    """Keep square brackets from being read as markup."""
    return text.replace("[", "\\[")


def _completed(marker: Any) -> dict[str, Any]:
    """Tell typer what a shell may offer for a parameter."""
    if isinstance(marker, Many):
        return _completed(marker.of)
    if isinstance(marker, Choice):
        return {"autocompletion": lambda incomplete: [w for w in marker.words if w.startswith(incomplete)]}
    if isinstance(marker, (Layer, Surface, LayerSet)):
        return {"autocompletion": layer_completer(marker)}
    return {}


def _annotation(par: Parameter) -> Any:
    marker = par.marker
    words = escape(par.help)
    default = par.default_words
    if default is not None:
        words += escape(f" [default: {default}]")
    if par.positional:
        kind: Any = list[str] if takes_many(par) else str
        name = par.name.upper()
        return Annotated[
            kind, typer.Argument(help=words, metavar=name, show_default=False, **_completed(marker))
        ]
    if isinstance(marker, Flag):
        no = par.option.replace("--", "--no-", 1)
        return Annotated[bool | None, typer.Option(f"{par.option}/{no}", help=words, show_default=False)]
    plain: Any = str
    if isinstance(marker, Number):
        plain = int if marker.whole else float
    kind = list[str] if takes_many(par) else plain
    if not par.required:
        kind = kind | None
    extra = _completed(marker)
    return Annotated[
        kind, typer.Option(par.option, help=words, metavar=marker.metavar, show_default=False, **extra)
    ]


def make_command(spec: Spec) -> typer.Typer:
    """Build the typer command of an algorithm."""
    folder_out = isinstance(spec.outputs[0].marker, (FileSet, FolderSet))
    own_crs = any(par.name == "crs" for par in spec.parameters)
    out_first = not any(par.positional for par in spec.parameters)

    def command(**given: Any) -> None:
        reporter = Reporter(quiet=given.pop("quiet"), as_json=given.pop("as_json"))
        out, replace = given.pop("out"), given.pop("replace")
        crs = None if own_crs else given.pop("crs", None)

        def work() -> None:
            if given.pop("show_steps", False) and spec.steps is not None:
                file = str(given[spec.parameters[0].name])
                more = {
                    par.name: read_value(par, given[par.name])
                    for par in spec.parameters[1:]
                    if given[par.name] is not None and given[par.name] != []
                }
                print(spec.steps(read_input(spec.parameters[0], file, crs), file, **more), end="")
                return
            piped = any(is_piped(given[par.name]) for par in spec.parameters if par.is_input)
            if out is None and not piped:
                pipe = ", or --out - into a pipe" if through else ""
                raise UsageError(f"Say where the result goes: --out {what}{pipe}.")
            run(spec, given, PIPE if out is None else out, replace=replace, crs=crs, reporter=reporter)

        guarded(spec.name, work)

    what = default_out(spec)
    through = all(isinstance(o.marker, Layer) for o in spec.outputs)
    optional = through or spec.steps is not None
    out_help = "Folder to write into." if folder_out else f"Where the result goes, {what}"
    if not folder_out:
        out_help += ", or - into a pipe." if through else "."
    out_kind: Any = (
        typer.Argument(help=out_help, metavar="FOLDER", show_default=False)
        if out_first
        else typer.Option(
            "--out", "-o", help=escape(out_help), metavar=what.split("[")[0], show_default=False
        )
    )
    par = inspect.Parameter
    own = [
        par(p.name, par.KEYWORD_ONLY, annotation=_annotation(p), default=par.empty if p.required else None)
        for p in spec.parameters
    ]
    shared = [
        par(
            "out",
            par.KEYWORD_ONLY,
            annotation=Annotated[str | None if optional else str, out_kind],
            default=None if optional else par.empty,
        ),
        par(
            "replace",
            par.KEYWORD_ONLY,
            default=False,
            annotation=Annotated[
                bool, typer.Option("--replace", help="Replace what is there under that name.")
            ],
        ),
        par(
            "as_json",
            par.KEYWORD_ONLY,
            default=False,
            annotation=Annotated[
                bool, typer.Option("--json", help="One JSON object on stdout, for scripts.")
            ],
        ),
        par(
            "quiet",
            par.KEYWORD_ONLY,
            default=False,
            annotation=Annotated[bool, typer.Option("--quiet", "-q", help="Say nothing but errors.")],
        ),
    ]
    if any(isinstance(p.marker, (Layer, LayerSet)) for p in spec.parameters):
        words = "Reproject vector layers into this system on reading, such as EPSG:32615."
        option = typer.Option("--crs", help=words, metavar="CRS", show_default=False)
        shared.append(par("crs", par.KEYWORD_ONLY, default=None, annotation=Annotated[str | None, option]))
    if spec.steps is not None:
        words = "Print the chain as a steps file, to edit and to run with castshed run-steps; nothing is run."
        shown = par("show_steps", par.KEYWORD_ONLY, default=False)
        shared.append(shown.replace(annotation=Annotated[bool, typer.Option("--show-steps", help=words)]))
    ordered = sorted([*own, *shared], key=lambda p: p.default is not par.empty)
    command.__signature__ = inspect.Signature(ordered)  # type: ignore[attr-defined]  # typer reads it
    command.__annotations__ = {p.name: p.annotation for p in ordered}
    text = spec.summary + ("\n\n" + _flowing(spec.description) if spec.description else "")
    app = typer.Typer(add_completion=False, rich_markup_mode="rich")
    app.command(
        name=spec.name,
        help=escape(text),
        short_help=escape(spec.summary),
        epilog=escape(f"Example: {spec.example}") if spec.example else None,
        no_args_is_help=True,
    )(command)
    return app
