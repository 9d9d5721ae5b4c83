"""A plan as DXF: a layer of the drawing for each layer of the plan, in metres, names as text, cautions on the sheet."""

from __future__ import annotations

import contextlib
import io
import re
import textwrap
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import shapely

from ...errors import DataError
from ...lineage import lineage_lines
from ...text import one_line, unique_names
from ..words.cautions import caution_text
from ..words.names import PLAIN, NameRule, to_ascii
from . import palette
from .prepared_features import tables_of

if TYPE_CHECKING:
    from collections.abc import Iterator

    import geopandas as gpd

_VERSION: Final = "R2010"  # the first that nearly everything reads and whose text is UTF-8
_NOT_ALLOWED: Final = re.compile(r'[<>/\\":;?*|=`,]')
_TEXT_M: Final = 4.0
_COLOURS: Final[dict[str, str]] = {
    "legs": palette.RUN,
    "holds": palette.HOLD,
    "spots": palette.INK,
    "stops": palette.RUN,
    "ramps": palette.RAMP,
    "water": palette.DEEP,
    "depth_bands": palette.MIDDLE,
    "dry_ground": palette.DRY_DOTS,
    "shallow_hazards": palette.HAZARD,
    "known_hazards": palette.KNOWN,
    "zones": palette.ZONE,
    "cast_lines": palette.CAST,
}


def _layer_names(names: list[str]) -> dict[str, str]:
    """Names a drawing may have for its layers, each once."""
    plain = [_NOT_ALLOWED.sub("_", to_ascii(name)).strip()[:200] or "layer" for name in names]
    return dict(zip(names, unique_names(plain), strict=True))


def _draw(space: Any, shape: Any, look: Mapping[str, Any]) -> None:
    """Draw a geometry: points as points, lines and rings as polylines."""
    for part in shapely.get_parts(np.atleast_1d(shapely.get_parts(shape))):
        xy = shapely.get_coordinates(part)
        if not len(xy) or not np.isfinite(xy).all():
            continue
        kind = part.geom_type
        if kind == "Point":
            space.add_point(tuple(xy[0]), dxfattribs=look)
        elif kind == "Polygon":
            for ring in shapely.get_rings(part):
                space.add_lwpolyline(shapely.get_coordinates(ring)[:-1], close=True, dxfattribs=look)
        elif kind in {"LineString", "LinearRing"}:
            space.add_lwpolyline(xy, dxfattribs=look)


@contextlib.contextmanager
def _without_clock() -> Iterator[None]:
    """Leave the time of making and chance ids out: the same plan gives the same bytes."""
    from ezdxf._options import options

    before = options.write_fixed_meta_data_for_testing
    options.write_fixed_meta_data_for_testing = True
    try:
        yield
    finally:
        options.write_fixed_meta_data_for_testing = before


def to_dxf(
    layers: Mapping[str, gpd.GeoDataFrame],
    *,
    title: str,
    description: str = "",
    level_m: float | None = None,
    date: str | None = None,
    rule: NameRule = PLAIN,
) -> bytes:
    """Write layers as one DXF drawing.

    Parameters
    ----------
    layers
        Layers by name, all in one projected reference system in metres.
    title, description, level_m, date, rule
        As for `to_geojson`.

    Returns
    -------
    A drawing in the form of 2010, in metres. Coordinates are those of the layers; the drawing
    says which system they are in, and no program reads that by itself.

    Raises
    ------
    DataError
        The layers are in several reference systems, or in degrees.

    Notes
    -----
    Depths go into the names' text, never into a height: a drawing's Z would be taken for an elevation.
    """
    from ezdxf import units
    from ezdxf.filemanagement import new

    systems = {str(frame.crs) for frame in layers.values() if len(frame)}
    if len(systems) != 1 or not all(
        f.crs is not None and f.crs.is_projected for f in layers.values() if len(f)
    ):
        raise DataError(
            f"A drawing has one system of coordinates, in metres; the layers have "
            f"{', '.join(sorted(systems)) or 'none'}. Reproject them with --crs."
        )
    with _without_clock():
        drawing = new(_VERSION, setup=True)
        drawing.units = units.M
        told = " ".join(part for part in (one_line(description), caution_text(level_m, date)) if part)
        drawing.header.custom_vars.append("Title", one_line(title))
        drawing.header.custom_vars.append("Caution", told)
        for place, line in enumerate(
            (f"Coordinates in {systems.pop()}, metres", *lineage_lines(layers)), start=1
        ):
            drawing.header.custom_vars.append(f"About {place}", line)
        space = drawing.modelspace()
        tables = tables_of(layers, level_m=level_m, rule=rule)
        names = _layer_names([layer for layer, _, _ in tables])
        for layer, frame, features in tables:
            look = {"layer": names[layer]}
            drawing.layers.add(names[layer], true_color=int(_COLOURS.get(layer, palette.QUIET)[1:], 16))
            titles = rule.unique(feature.name for feature in features)
            for shape, name in zip(frame.geometry, titles, strict=True):
                if shape is None or shape.is_empty:
                    continue
                _draw(space, shape, look)
                if shape.geom_type == "Point":
                    spot = {**look, "insert": (shape.x + _TEXT_M / 2.0, shape.y + _TEXT_M / 2.0)}
                    space.add_text(one_line(name), height=_TEXT_M, dxfattribs=spot)
        bounds = np.array([frame.total_bounds for frame in layers.values() if len(frame)])
        west, south = np.nanmin(bounds[:, :2], axis=0)
        high = max(_TEXT_M, float(np.nanmax(bounds[:, 2]) - west) / 150.0)
        for order, words in enumerate((one_line(title), *textwrap.wrap(told, 120))):
            space.add_text(
                words, height=high, dxfattribs={"insert": (west, south - 2.0 * high * (order + 2))}
            )
        out = io.StringIO()
        drawing.write(out)
        return bytes(drawing.encode(out.getvalue()))
