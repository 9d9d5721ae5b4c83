"""Tables of the guides written from the code: shared parameters, and every layer and column that castshed reads.

A notion that several algorithms ask for is one type of `castshed.toolbox.parameters`, with one name, one help text and
one default. `second_meanings` tells where a name stands for two things.
"""

from __future__ import annotations

import dataclasses
import typing
from collections.abc import Iterable, Iterator, Mapping
from typing import Any, Final

from .. import parameters as types
from ..algorithm.describe import UNITS
from ..algorithm.spec import Parameter, Spec
from ..parameters import lake_layers, spot_layers
from ..parameters.markers import (
    LINE,
    POINT,
    POLYGON,
    Column,
    Layer,
    Quantity,
    SeriesInput,
    Shared,
    marker_of,
    shared_of,
)
from ..plan.day_file import SECTIONS, key_of
from ..units import default_in_words

BEGIN: Final = "<!-- shared parameters: written by python -m castshed.toolbox.docs -->"
END: Final = "<!-- end of shared parameters -->"


def _meaning(par: Parameter) -> object:
    """Tell what a parameter is: its notion, or what it reads, else its own type, help and default."""
    if par.shared is not None:
        return par.shared
    if par.is_input:
        named = par.marker.name if isinstance(par.marker, Layer) else ""
        holds = par.marker.holds if isinstance(par.marker, SeriesInput) else ""
        return (type(par.marker), named, holds)
    return (par.marker, par.help, repr(par.default))


def second_meanings(specs: Iterable[Spec]) -> list[str]:
    """List options that stand for two things in two algorithms.

    Two inputs are one thing where they read the same layer; each algorithm tells what it takes from it. Anything else
    has to be of one shared type, not the same words written twice.
    """
    seen: dict[str, tuple[str, Parameter]] = {}
    found = []
    for spec in specs:
        for par in spec.parameters:
            first, other = seen.setdefault(par.option, (spec.name, par))
            if first == spec.name:
                continue
            shared = par.is_input or par.shared is not None
            if other.name != par.name or _meaning(other) != _meaning(par) or not shared:
                found.append(
                    f"{par.option} of {spec.name} is not that of {first}: give both one type of "
                    "castshed.toolbox.parameters, or two names."
                )
    return found


def in_day_file() -> Iterator[tuple[str, str, str, Shared | None]]:
    """List section, key, field and notion of every value a day file may state."""
    for section, kind in SECTIONS.items():
        hints = typing.get_type_hints(kind, include_extras=True)
        for one in dataclasses.fields(kind):
            yield section, key_of(one.name, section), one.name, shared_of(hints[one.name])


def _default(shared: Shared, marker: Any) -> str:
    if shared.default is None or shared.default in ("", ()):
        return "-"
    return (
        default_in_words(shared.default, marker.kind) if isinstance(marker, Quantity) else str(shared.default)
    )


def _users(name: str, specs: Mapping[str, Spec]) -> str:
    users = [
        spec.name
        for spec in specs.values()
        if any(par.name == name and par.shared for par in spec.parameters)
    ]
    users += [
        f"[{section}] {key}" for section, key, field, shared in in_day_file() if shared and field == name
    ]
    return ", ".join(users)


def table(specs: Mapping[str, Spec]) -> str:
    """Write the table: every shared parameter with its type, unit, default and users."""
    lines = ["| parameter | type | unit | default | who asks for it |", "|---|---|---|---|---|"]
    for word in sorted(types.__all__):
        hint = getattr(types, word)
        shared = shared_of(hint)
        if shared is not None:
            marker, _ = marker_of(hint)
            unit = UNITS[marker.kind] if isinstance(marker, Quantity) else "-"
            users = _users(shared.name, specs)
            lines.append(f"| `{shared.name}` | `{word}` | {unit} | {_default(shared, marker)} | {users} |")
    return "\n".join([lines[0], lines[1], *sorted(lines[2:])])


def with_table(page: str, specs: Mapping[str, Spec]) -> str:
    """Put the table into the text of DEVELOPERS.md, between its two marks."""
    before, _, rest = page.partition(BEGIN)
    _, _, after = rest.partition(END)
    return f"{before}{BEGIN}\n{table(specs)}\n{END}{after}"


_TEXT: Final = """\
## Your own lake

`castshed bring-lake FILES... --name NAME --out FOLDER` makes a lake of what an agency hands out: contours in feet in a
ZIP, soundings as a table, a raster in degrees, the county's waters. It writes `lake.gpkg`, a `day.toml` that
`castshed plan` runs, `lake.png` to look at, and `read.csv`: what each file was taken for, and why. What it cannot tell
it asks for, with the option that answers it; nothing is assumed. [bring-lake](#bring-lake) tells all of it, with a
picture. Look at `lake.png` and `read.csv` before you trust the depths.

What castshed reads of a lake's GeoPackage, whoever made it, is this. Depths are metres, positive down, below the level
that charted depths refer to; coordinates are metres of one projected system.
"""
_ALSO: Final = (
    (
        "depth",
        "coverage",
        "metres below chart datum on a grid; made from contours and soundings where it is missing",
    ),
    ("depth_confidence", "coverage", "half-width within which each depth lies (95 %), metres"),
)
_LAYERS: Final = ("Shoreline", "Contours", "Soundings", "Ramps", "Zones", "KnownHazards", "Landmarks")
_SAID: Final[dict[str, str]] = {
    "shoreline": "the water's edge at chart datum, islands as holes; needed",
    "contours": "lines of equal depth",
    "soundings": "points of known depth",
    "ramps": "where boats are launched; needed for a run",
    "zones": "where a boat is kept out or slowed: zone is no_entry, no_motor or slow",
    "known_hazards": "rocks, stumps, timber; without top_depth_m they count as if they broke the surface",
    "landmarks": "marks ashore for line-ups",
    "spots": "places to fish, where there is no list of them",
}
_SHAPES: Final = {POINT: "points", LINE: "lines", POLYGON: "areas"}


def _column(column: Column, *, needed: bool) -> str:
    return f"**`{column.name}`**" if needed else f"`{column.name}`"


def _row(marker: Layer) -> str:
    needed = ([Column(marker.id, "text")] if marker.id else []) + list(marker.needs)
    columns = [_column(c, needed=True) for c in needed] + [_column(c, needed=False) for c in marker.optional]
    shapes = _SHAPES.get(marker.geometry, "points, lines or areas")
    return f"| `{marker.name}` | {shapes} | {', '.join(columns) or '-'} | {_SAID[marker.name]} |"


def _marker(annotation: Any) -> Layer:
    found, _ = marker_of(annotation)
    assert isinstance(found, Layer)
    return found


def own_lake() -> list[str]:
    """Write the part of the page: words, and the table of layers; columns that are needed are bold."""
    lines = [
        *_TEXT.splitlines(),
        "",
        "| layer | holds | columns, needed ones bold | what it is |",
        "|---|---|---|---|",
    ]
    lines += [f"| `{name}` | {kind} | - | {words} |" for name, kind, words in _ALSO]
    lines += [_row(_marker(getattr(lake_layers, name))) for name in _LAYERS]
    lines += [_row(_marker(spot_layers.Spots)), ""]
    return lines
