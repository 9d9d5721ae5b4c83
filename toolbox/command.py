"""From a `Spec` to its command: options with units, inputs read, output written, errors to exit codes.

``--out``, ``--replace``, ``--crs``, ``--json`` and ``--quiet`` are added here and nowhere else.
"""

from __future__ import annotations

import inspect
import os
import sys
import traceback
import warnings
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Annotated, Any, Final

import typer

from . import units
from .book_store import BookChange
from .completion import layer_completer
from .errors import CastshedError, DataWarning, LayerMissing, OutputFailed, UsageError
from .outputs import check_target, default_out, layer_names, lineage_text, outputs_made, write_result
from .parameters.folder_contents import FolderContents
from .parameters.markers import (
    Choice,
    DayInput,
    FileSet,
    Flag,
    FolderSet,
    Layer,
    LayerSet,
    LogList,
    Many,
    Number,
    Quantity,
    SeriesInput,
    SourceList,
    Surface,
)
from .report import Reporter, stages
from .spec import Parameter, Spec
from .store import keeping

TRACEBACK: Final = "CASTSHED_TRACEBACK"
PIPE: Final = "-"
"""In place of a file: standard input or output, as a GeoJSON text sequence (`text_sequence`); ``-:LAYER`` names one."""


def piped_layer(text: Any) -> str | None:
    """Tell the layer that a pipe is asked for: empty where none is named, None where no pipe is meant.

    Raises
    ------
    UsageError
        There is a colon and no name after it.

    Examples
    --------
    >>> piped_layer("-:holds"), piped_layer("-"), piped_layer("lake.gpkg:holds")
    ('holds', '', None)
    """
    file, colon, name = str(text).strip().partition(":")
    if file != PIPE:
        return None
    if colon and not name:
        raise UsageError(f"'{text}' names no layer after the colon; write {PIPE}:LAYER, or {PIPE} alone.")
    return name


def _is_piped(value: Any) -> bool:
    given = value if isinstance(value, list) else [value]
    return any(piped_layer(one) is not None for one in given)


def escape(text: str) -> str:
    """Keep square brackets from being read as markup."""
    return text.replace("[", "\\[")


def takes_many(par: Parameter) -> bool:
    """Whether a parameter may be given several times."""
    return isinstance(par.marker, (Many, LayerSet, SourceList, LogList))


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


def read_value(par: Parameter, given: Any) -> Any:
    """Turn what was typed into a parameter's value.

    Raises
    ------
    UsageError
        It has no unit, or one of another kind.
    """
    marker = par.marker

    def one(text: Any, kind: Any) -> Any:
        if not isinstance(kind, Quantity):
            return text
        try:
            return units.parse(str(text), kind.kind)
        except CastshedError as error:
            raise type(error)(f"{par.option}: {error}") from None

    if isinstance(marker, Many):
        parts = [p.strip() for text in given for p in str(text).split(",") if p.strip()]
        return tuple(one(part, marker.of) for part in parts)
    return one(given, marker)


class _Piped:
    """What comes through the pipe, read once, when the first input asks for it."""

    def __init__(self) -> None:
        self._layers: dict[str, Any] | None = None

    def layers(self, crs: str | None) -> dict[str, Any]:
        from .layers import reprojected
        from .text_sequence import read_sequence

        if self._layers is None:
            if sys.stdin is None or sys.stdin.isatty():
                raise UsageError(
                    "Nothing is piped in; put a command with --out - before this one, or name a file."
                )
            found = read_sequence(sys.stdin.buffer)
            self._layers = found if crs is None else {n: reprojected(f, crs, n) for n, f in found.items()}
        return self._layers

    def layer(self, usual: str, crs: str | None, named: str = "") -> Any:
        """Take the layer that is named, or else that of the usual name, or the only one."""
        found = self.layers(crs)
        wanted = named or usual
        if wanted in found:
            return found[wanted]
        if not named and len(found) == 1:
            return next(iter(found.values()))
        listing = ", ".join(found) or "no layers"
        raise LayerMissing(
            f"Standard input has no layer '{wanted}'; it has: {listing}. Name one, as {PIPE}:LAYER, or a file."
        )


def read_input(par: Parameter, given: Any, crs: str | None, piped: _Piped | None = None) -> Any:
    """Read an input as it was named: a text, or several where the parameter takes many.

    Raises
    ------
    CastshedError
        It is not there, cannot be read, or does not come through a pipe.
    """
    from . import layers

    piped = piped or _Piped()
    marker = par.marker
    if not isinstance(given, list) and (named := piped_layer(given)) is not None:
        if isinstance(marker, Layer):
            return piped.layer(marker.name, crs, named)
        raise UsageError(f"{par.name}: only layers come through a pipe; name a file.")
    if isinstance(marker, Layer):
        return layers.read_layer(given, usual=marker.name, crs=crs)
    if isinstance(marker, Surface):
        return layers.read_surface(given, usual=marker.name)
    if isinstance(marker, LayerSet):
        found: dict[str, Any] = {}
        for text in given:
            if (named := piped_layer(text)) is not None:
                through = {named: piped.layer(named, crs, named)} if named else piped.layers(crs)
                if found.keys() & through.keys():
                    raise UsageError("A layer of standard input was given already; rename one.")
                found |= through
                continue
            ref = layers.parse_reference(text)
            kinds = layers.list_layers(ref.path)
            names = [ref.layer] if ref.layer else [n for n, kind in kinds.items() if kind == "features"]
            for name in names:
                if name in found:
                    raise UsageError(
                        f"Two layers called {name} were given; write one of them under another name."
                    )
                found[name] = layers.read_with_lineage(layers.Reference(ref.path, name), crs=crs)
        return found
    if isinstance(marker, SourceList):
        from .sources import read_source

        return [read_source(text) for text in given]
    if isinstance(marker, LogList):
        from .logs import LogFile

        return [LogFile(Path(text)) for text in given]
    if isinstance(marker, SeriesInput):
        from .intake.series_file import read_series

        return read_series(Path(given), marker.holds)
    if isinstance(marker, DayInput):
        from .day import read_day

        return read_day(Path(given))
    raise AssertionError(marker)


def _beside(spec: Spec, given: Mapping[str, Any]) -> Path | None:
    """Folder of the first input: results worth keeping are kept beside it."""
    from .layers import parse_reference

    for par in spec.parameters:
        value = given[par.name]
        if par.is_input and value and not _is_piped(value):
            text = str(value[0] if isinstance(value, list) else value)
            return parse_reference(text).path.parent
    return None


def check_pipe(spec: Spec, as_json: bool) -> None:
    """Refuse a pipe for what does not fit through it.

    Raises
    ------
    UsageError
        The algorithm makes something else than layers, or stdout is wanted for a report too.
    """
    other = [o.name for o in spec.outputs if not isinstance(o.marker, Layer)]
    if other:
        raise UsageError(
            f"{spec.name} makes {', '.join(other)}, and only layers go through a pipe; give --out a file."
        )
    if as_json:
        raise UsageError(
            "--json and a pipe both want standard output; give --out a file, or leave --json away."
        )


def _write_pipe(spec: Spec, result: Any, names: Sequence[str]) -> dict[str, int]:
    from .contracts import output_items
    from .text_sequence import write_sequence

    pairs = dict(zip(names, output_items(spec, result), strict=True))
    layers = {name: value for name, (_, value) in pairs.items()}
    types = {name: output.marker.geometry for name, (output, _) in pairs.items()}
    try:
        write_sequence(sys.stdout.buffer, layers, types)
    except BrokenPipeError:
        # Whoever reads has enough. Python would stumble over the pipe once more when it ends.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    except OSError as error:
        raise OutputFailed(f"Standard output cannot be written ({error}).") from error
    return {name: len(frame) for name, frame in layers.items()}


def run(
    spec: Spec, given: Mapping[str, Any], out: str, *, replace: bool, crs: str | None, reporter: Reporter
) -> None:
    """Run one algorithm from the command line: parse, refuse, read, work, write, report.

    Raises
    ------
    CastshedError
        Any situation castshed stops for; nothing is written then.
    """
    arguments: dict[str, Any] = {}
    shown: dict[str, str] = {}
    for par in spec.parameters:
        value = given[par.name]
        if not par.is_input and value is not None and value != []:
            arguments[par.name] = read_value(par, value)
    onto = piped_layer(out)
    if onto is not None:
        check_pipe(spec, reporter.as_json)
        names = layer_names(spec, onto or None, outputs_made(spec, given), PIPE)
    else:
        check_target(spec, out, replace=replace, given=given)
    piped = _Piped()
    with warnings.catch_warnings(record=True) as caught:
        warnings.simplefilter("ignore")
        warnings.simplefilter("always", DataWarning)
        with (
            reporter.open(),
            keeping(_beside(spec, given)),
            stages({"Reading": 3.0, spec.name: 94.0, "Writing": 3.0}, stand=False) as stage,
        ):
            with stage("Reading"):
                for par in spec.parameters:
                    value = given[par.name]
                    if par.is_input and value is not None and value != []:
                        shown[par.name] = " ".join(value if isinstance(value, list) else [str(value)]).strip()
                        arguments[par.name] = read_input(par, value, crs, piped)
            positional = [
                arguments.pop(par.name) for par in spec.parameters if par.positional and par.name in arguments
            ]
            with stage(spec.name):
                result = spec.function(*positional, **arguments)
            with stage("Writing"):
                if onto is not None:
                    counts = _write_pipe(spec, result, names)
                else:
                    text = lineage_text(
                        spec,
                        shown,
                        {p.name: arguments.get(p.name, p.default) for p in spec.parameters if not p.is_input},
                    )
                    counts = write_result(spec, result, out, replace=replace, lineage=text)
    for warning in caught:
        reporter.warn(str(warning.message))
    if onto is not None:
        return
    figures = result.figures if isinstance(result, (FolderContents, BookChange)) else {}
    if isinstance(result, (FolderContents, BookChange)):
        for line in result.said:
            reporter.say(line)
    if isinstance(result, BookChange) and not replace:
        reporter.say("Nothing was written; add --replace to write it.")
    reporter.finish(spec.name, out, counts, figures)


def guarded(name: str, work: Callable[[], None]) -> None:
    """Run a command's work; end the process with the situation's exit code and no traceback.

    Raises
    ------
    typer.Exit
        With the exit code, when the work stopped.
    """
    try:
        work()
    except CastshedError as error:
        print(f"castshed {name}: {error}", file=sys.stderr)
        raise typer.Exit(error.exit_code) from None
    except KeyboardInterrupt as stop:
        told = " ".join(["stopped; nothing was left half written.", *getattr(stop, "__notes__", ())])
        print(f"castshed {name}: {told}", file=sys.stderr)
        raise typer.Exit(130) from None
    except MemoryError:
        print(f"castshed {name}: out of memory; use larger cells or a smaller lake.", file=sys.stderr)
        raise typer.Exit(1) from None
    except Exception as error:  # noqa: BLE001  # the last net: a person at a terminal never sees a traceback
        if os.environ.get(TRACEBACK):
            traceback.print_exc()
        print(
            f"castshed {name}: a fault in castshed itself ({type(error).__name__}: {error}). Nothing was written. "
            f"Please report it with what {TRACEBACK}=1 prints.",
            file=sys.stderr,
        )
        raise typer.Exit(1) from None


def make_command(spec: Spec) -> typer.Typer:
    """Build the typer command of an algorithm."""
    folder_out = isinstance(spec.outputs[0].marker, (FileSet, FolderSet))
    out_first = not any(par.positional for par in spec.parameters)

    def command(**given: Any) -> None:
        reporter = Reporter(quiet=given.pop("quiet"), as_json=given.pop("as_json"))
        out, replace, crs = given.pop("out"), given.pop("replace"), given.pop("crs", None)

        def work() -> None:
            if given.pop("show_steps", False) and spec.steps is not None:
                file = str(given[spec.parameters[0].name])
                print(spec.steps(read_input(spec.parameters[0], file, crs), file), end="")
                return
            piped = any(_is_piped(given[par.name]) for par in spec.parameters if par.is_input)
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
    text = spec.summary + ("\n\n" + spec.description if spec.description else "")
    app = typer.Typer(add_completion=False, rich_markup_mode="rich")
    app.command(
        name=spec.name,
        help=escape(text),
        short_help=escape(spec.summary),
        epilog=escape(f"Example: {spec.example}") if spec.example else None,
        no_args_is_help=True,
    )(command)
    return app
