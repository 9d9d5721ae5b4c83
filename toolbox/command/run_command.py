"""One algorithm run from the command line: refuse, read, work, write, report; errors become exit codes."""

from __future__ import annotations

import os
import shlex
import sys
import traceback
import warnings
from collections.abc import Callable, Mapping
from typing import Any, Final

import typer

from ..algorithm.spec import Spec
from ..cache.store import keeping_by_default
from ..errors import CastshedError, DataWarning
from ..layers.writing import BookChange
from ..parameters.files import FolderContents
from ..report import Reporter, collecting_notes, stages
from .arguments import PIPE, PipedLayers, check_pipe, piped_layer, read_input, read_value, write_pipe
from .outputs import Written, check_target, layer_names, lineage_text, outputs_made, write_result

TRACEBACK: Final = "CASTSHED_TRACEBACK"


def depths_told(spec: Spec, result: Any, given: Mapping[str, Any]) -> list[str]:
    """Tell the least, median and greatest depth of every depth surface that was made, in both units."""
    from ..algorithm.contracts import output_items
    from ..parameters.markers import Surface

    if not any(isinstance(output.marker, Surface) for output in spec.outputs):
        return []
    import shapely

    from ..depth import DEPTH
    from ..water.doubt.depth_doubt import depth_words

    shore = given.get("shoreline")
    lake = None if shore is None else shapely.union_all(shore.geometry.to_numpy())
    return [
        depth_words(value, lake)
        for output, value in output_items(spec, result)
        if isinstance(output.marker, Surface) and value.quantity == DEPTH
    ]


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
    piped = PipedLayers()
    written = Written({}, {}, {})
    with collecting_notes() as notes, warnings.catch_warnings(record=True) as caught:
        warnings.simplefilter("ignore")
        warnings.simplefilter("always", DataWarning)
        with (
            reporter.open(),
            keeping_by_default(),
            stages({"Reading": 3.0, spec.name: 94.0, "Writing": 3.0}, stand=False) as stage,
        ):
            with stage("Reading"):
                for par in spec.parameters:
                    value = given[par.name]
                    if par.is_input and value is not None and value != []:
                        shown[par.name] = " ".join(value if isinstance(value, list) else [str(value)]).strip()
                        arguments[par.name] = read_input(par, value, crs, piped)
            read = dict(arguments)
            positional = [
                arguments.pop(par.name) for par in spec.parameters if par.positional and par.name in arguments
            ]
            with stage(spec.name):
                result = spec.function(*positional, **arguments)
            with stage("Writing"):
                if onto is not None:
                    write_pipe(spec, result, names)
                else:
                    text = lineage_text(
                        spec,
                        shown,
                        {p.name: arguments.get(p.name, p.default) for p in spec.parameters if not p.is_input},
                    )
                    written = write_result(spec, result, out, replace=replace, lineage=text)
    for told in (*notes, *(str(warning.message) for warning in caught)):  # those of plugins are caught
        reporter.warn(told)
    if onto is not None:
        return
    for line in [
        *(result.said if isinstance(result, (FolderContents, BookChange)) else ()),
        *depths_told(spec, result, read),
    ]:
        reporter.say(line)
    if isinstance(result, BookChange) and not replace:
        reporter.say("Nothing was written; add --replace to write it.")
    folder = isinstance(result, FolderContents)
    then = result.then.replace("{folder}", shlex.quote(out)) if folder else ""
    reporter.finish(
        spec.name,
        out,
        written,
        result.figures if isinstance(result, (FolderContents, BookChange)) else {},
        last=result.said[0] if folder and result.figures and result.said else "",
        then=then,
    )


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
