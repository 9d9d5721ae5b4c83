"""What was typed for a parameter, read by its kind of marker: a number with its unit, a layer, a surface, a list."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

from .. import units
from ..algorithm.spec import Parameter
from ..errors import CastshedError, UsageError
from ..parameters.markers import (
    DayInput,
    DownloadList,
    Layer,
    LayerSet,
    LogList,
    Many,
    Quantity,
    SeriesInput,
    SourceList,
    Surface,
)
from .listed_layers import is_listed, read_listed
from .pipe import PipedLayers, piped_layer


def takes_many(par: Parameter) -> bool:
    """Whether a parameter may be given several times."""
    return isinstance(par.marker, (Many, LayerSet, SourceList, LogList, DownloadList))


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


def _layer_set(given: Sequence[str], crs: str | None, piped: PipedLayers) -> dict[str, Any]:
    """Read any number of layers, named one by one or as whole files."""
    from ..layers.reading import list_layers, read_with_lineage
    from ..layers.reference import Reference, parse_reference

    found: dict[str, Any] = {}
    for text in given:
        if (named := piped_layer(text)) is not None:
            through = {named: piped.layer(named, crs, named)} if named else piped.layers(crs)
            if found.keys() & through.keys():
                raise UsageError("A layer of standard input was given already; rename one.")
            found |= through
            continue
        ref = parse_reference(text)
        kinds = list_layers(ref.path)
        names = [ref.layer] if ref.layer else [n for n, kind in kinds.items() if kind == "features"]
        for name in names:
            if name in found:
                raise UsageError(
                    f"Two layers called {name} were given; write one of them under another name."
                )
            found[name] = read_with_lineage(Reference(ref.path, name), crs=crs)
    return found


def read_input(par: Parameter, given: Any, crs: str | None, piped: PipedLayers | None = None) -> Any:
    """Read an input as it was named: a text, or several where the parameter takes many.

    Raises
    ------
    CastshedError
        It is not there, cannot be read, or does not come through a pipe.
    """
    from ..layers.reading import read_layer, read_surface

    piped = piped or PipedLayers()
    marker = par.marker
    if not isinstance(given, list) and (named := piped_layer(given)) is not None:
        if isinstance(marker, Layer):
            return piped.layer(marker.name, crs, named)
        raise UsageError(f"{par.name}: only layers come through a pipe; name a file.")
    if isinstance(marker, Layer) and is_listed(marker.name, given):
        return read_listed(marker.name, given, crs)
    if isinstance(marker, Layer):
        return read_layer(given, usual=marker.name, crs=crs)
    if isinstance(marker, Surface):
        return read_surface(given, usual=marker.name)
    if isinstance(marker, LayerSet):
        return _layer_set(given, crs, piped)
    if isinstance(marker, SourceList):
        from ..sources import read_source

        return [read_source(text) for text in given]
    if isinstance(marker, DownloadList):
        return list(given)  # told apart by what is in them, all together
    if isinstance(marker, LogList):
        from ..intake.logs.log_file import LogFile

        return [LogFile(Path(text)) for text in given]
    if isinstance(marker, SeriesInput):
        from ..intake.series.series_file import read_series

        return read_series(Path(given), marker.holds)
    if isinstance(marker, DayInput):
        from ..plan.day_file import read_day

        return read_day(Path(given))
    raise AssertionError(marker)
