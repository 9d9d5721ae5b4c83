"""The page for a lake of one's own: every layer and column that castshed reads, in one table, from the code."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from ..parameters import lake_layers, spot_layers
from ..parameters.annotations import marker_of
from ..parameters.markers import LINE, POINT, POLYGON, Column, Layer

if TYPE_CHECKING:
    from typing import Any

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
