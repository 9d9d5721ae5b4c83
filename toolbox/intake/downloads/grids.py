"""Rasters of a download: read as they stand, warped onto the metric grid of the lake."""

from __future__ import annotations

import re
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from ...errors import DataError
from ...layers import door
from ...layers.reading import horizontal, meaning_of
from ...real_files import MOST_CELLS
from .depth_cells import without_marks
from .found import FoundGrid

if TYPE_CHECKING:
    from ...arrays import Floats
    from ...depth import DepthSurface

_VARIABLE: Final = re.compile(r"[A-Za-z_]\w{0,60}")
_TELLING: Final = ("depth", "elev", "bathy", "height", "z", "band1", "bed", "bottom", "topo")
_NOT_DEPTHS: Final = (
    "lat",
    "lon",
    "x",
    "y",
    "crs",
    "time",
    "uncert",
    "quality",
    "count",
    "density",
    "error",
    "std",
)
_STANDARD_NAMES: Final = {  # of the CF conventions, standard name table
    "sea_floor_depth_below_geoid": "depth",
    "sea_floor_depth_below_mean_sea_level": "depth",
    "sea_floor_depth_below_sea_surface": "depth",
    "depth": "depth",
    "surface_altitude": "elevation",
    "altitude": "elevation",
    "height_above_mean_sea_level": "elevation",
    "height_above_geopotential_datum": "elevation",
    "height_above_reference_ellipsoid": "elevation",
}


def _bands_of(data: Any, name: str) -> dict[str, int]:
    """Name the bands that may hold depths; one without a name of its own where there is no other."""
    from rasterio.enums import ColorInterp as Kind

    kinds = dict(enumerate(data.colorinterp, start=1))
    if {Kind.red, Kind.green, Kind.blue, Kind.palette} & set(kinds.values()):
        raise DataError(
            f"{name} is a picture: its numbers are colours. Ask for the raster of depths itself, or for its contours."
        )
    bands = {
        n: (data.descriptions[n - 1] or "").strip() or f"band {n}"
        for n, kind in kinds.items()
        if kind != Kind.alpha
    }
    usable = {n: word for n, word in bands.items() if not word.lower().startswith(_NOT_DEPTHS)} or bands
    telling = {n: word for n, word in usable.items() if any(w in word.lower() for w in _TELLING)}
    best = telling or usable
    return {f"band {n} {word}" if word != f"band {n}" else word: n for n, word in best.items()}


def _grid_of(data: Any, name: str, crs: Any, holds: str = "", band: int = 1) -> FoundGrid:
    import pyproj

    if data.width * data.height > MOST_CELLS:
        raise DataError(
            f"{name} has {data.width} x {data.height} cells; at most {MOST_CELLS // 1_000_000} million are read. "
            "Cut it to "
            "the lake."
        )
    system = crs
    if data.crs is not None:
        epsg = data.crs.to_epsg()
        try:
            system = pyproj.CRS.from_epsg(epsg) if epsg else pyproj.CRS.from_wkt(data.crs.to_wkt())
        except (pyproj.exceptions.CRSError, ValueError) as error:
            raise DataError(f"{name} has a reference system that is not known ({error}).") from error
    tags = {key.lower(): str(value) for key, value in data.tags(band).items()}
    unit = data.units[band - 1] or tags.get("units", "")
    means = meaning_of(
        name,
        scale=float(data.scales[band - 1]),
        offset=float(data.offsets[band - 1]),
        unit=unit,
        crs=system if system is not None else pyproj.CRS("EPSG:4326"),
    )
    numbers = data.read(band, masked=True).astype(np.float64).filled(np.nan)
    said = without_marks(numbers)  # as they stand: a scale would hide them
    values = (numbers * means.factor + means.offset_m).astype(np.float32)
    values[~np.isfinite(values)] = np.nan
    told = _STANDARD_NAMES.get(tags.get("standard_name", ""), "")
    if not told and tags.get("positive", "").lower() in ("down", "up"):
        told = "depth" if tags["positive"].lower() == "down" else ""
    at = data.transform
    words = " ".join(
        [data.descriptions[band - 1] or "", tags.get("long_name", ""), tags.get("standard_name", "")]
    )
    return FoundGrid(
        values,
        (at.a, at.b, at.c, at.d, at.e, at.f),
        None if system is None else horizontal(system),
        unit=means.unit,
        unit_m=1.0,
        holds=holds or told,
        words=words.strip(),
        said=said,
    )


def _written_beside(path: Path) -> Any:
    """Read the reference system that stands in a .prj beside a grid of text."""
    import pyproj

    beside = path.with_suffix(".prj")
    if not beside.is_file() or beside.stat().st_size > 100_000:
        return None
    try:
        return pyproj.CRS.from_wkt(beside.read_text(encoding="utf-8", errors="replace"))
    except (pyproj.exceptions.CRSError, OSError):
        return None


def read_bands(path: Path, layer: str, kind: str) -> dict[str, FoundGrid]:
    """Read those bands of a GeoTIFF, an ASCII grid, or a coverage of a GeoPackage that may hold depths.

    Raises
    ------
    DataError
        It is a picture, or cannot be read.
    """
    made = {}
    with door.opened_raster(path, layer) as data:
        beside = _written_beside(path) if kind == "ASCII grid" else None
        bands = _bands_of(data, path.name)
        for word, band in bands.items():
            made["" if len(bands) == 1 else word] = _grid_of(data, path.name, beside, band=band)
    for grid in made.values():
        grid.words = grid.words or layer
    return made


def read_variables(path: Path, kind: str) -> dict[str, FoundGrid]:
    """Read a BAG, an S-102, or the variables of a netCDF that may be depths.

    Raises
    ------
    DataError
        It has none.
    """
    if kind != "netCDF":
        # By their standards a BAG holds elevations, negative under water, and an S-102 depths, positive down.
        with door.opened_grid(path, kind) as data:
            made_one = _grid_of(data, path.name, None, "elevation" if kind == "BAG" else "depth")
        made_one.unit = made_one.unit or "m"  # both standards count in metres
        return {"": made_one}
    with door.opened_grid(path, kind) as data:
        names = [str(one).rpartition(":")[2] for one in data.subdatasets]
        if not names:
            return {"": _grid_of(data, path.name, None)}
    usable = [n for n in names if _VARIABLE.fullmatch(n) and not n.lower().startswith(_NOT_DEPTHS)]
    best = [n for n in usable if any(word in n.lower() for word in _TELLING)] or usable
    if not best:
        raise DataError(f"{path.name} has no variable that holds depths; it has: {', '.join(names[:12])}.")
    made = {}
    for name in best:
        with door.opened_grid(path, kind, name) as data:
            if data.count > 1:
                raise DataError(
                    f"{path.name}: '{name}' has {data.count} layers, of times or heights; save the one that counts by "
                    "itself."
                )
            made[name] = _grid_of(data, f"{path.name}:{name}", None)
            made[name].words += f" {name}"
    return made if len(made) > 1 else {"": next(iter(made.values()))}


def grid_of_points(x: Floats, y: Floats, z: Floats) -> FoundGrid | None:
    """Put points that stand on a regular grid onto it; None where they do not."""
    columns, rows = np.unique(x), np.unique(y)
    if min(len(columns), len(rows)) < 8 or len(columns) * len(rows) > 4 * len(x):
        return None
    steps = np.diff(columns), np.diff(rows)
    dx, dy = float(np.median(steps[0])), float(np.median(steps[1]))
    column, row = (x - columns[0]) / dx, (rows[-1] - y) / dy
    if max(np.abs(column - np.rint(column)).max(), np.abs(row - np.rint(row)).max()) > 0.02:
        return None
    wide, high = int(np.rint(column).max()) + 1, int(np.rint(row).max()) + 1
    if wide * high > min(MOST_CELLS, 4 * len(x)):
        return None
    numbers = np.full((high, wide), np.nan, dtype=np.float32)
    numbers[np.rint(row).astype(int), np.rint(column).astype(int)] = z
    said = without_marks(numbers)
    return FoundGrid(
        numbers, (dx, 0.0, float(columns[0]) - dx / 2, 0.0, -dy, float(rows[-1]) + dy / 2), None, said=said
    )


def extent_of(grid: FoundGrid) -> tuple[float, float, float, float]:
    """West, south, east and north of a raster in its own system."""
    high, wide = grid.numbers.shape
    a, b, c, d, e, f = grid.affine
    xs = [c, c + a * wide, c + b * high, c + a * wide + b * high]
    ys = [f, f + d * wide, f + e * high, f + d * wide + e * high]
    return min(xs), min(ys), max(xs), max(ys)


def _cut(grid: FoundGrid, box: tuple[float, float, float, float]) -> FoundGrid:
    """Cut a north-up raster to a box with two cells more on each side."""
    a, b, c, d, e, f = grid.affine
    if b or d or a <= 0 or e >= 0:
        return grid
    high, wide = grid.numbers.shape
    left = int(np.clip(np.floor((box[0] - c) / a) - 2, 0, wide - 1))
    right = int(np.clip(np.ceil((box[2] - c) / a) + 2, left + 1, wide))
    top = int(np.clip(np.floor((f - box[3]) / -e) - 2, 0, high - 1))
    bottom = int(np.clip(np.ceil((f - box[1]) / -e) + 2, top + 1, high))
    return FoundGrid(
        grid.numbers[top:bottom, left:right],
        (a, b, c + left * a, d, e, f + top * e),
        grid.crs,
        grid.unit,
        grid.unit_m,
        grid.holds,
        grid.words,
        grid.said,
    )


def warped(grid: FoundGrid, crs: Any, box: tuple[float, float, float, float]) -> DepthSurface:
    """Bring a raster onto metric cells round a box; what lies in the same system, north up, stays as it is.

    Where it has to be warped, cells are half as wide as its own, so that little is lost between them.

    Parameters
    ----------
    grid
        Its numbers in metres.
    crs
        The metric system.
    box
        West, south, east and north in it.
    """
    import pyproj
    from rasterio import Affine
    from rasterio.warp import Resampling, reproject

    from ...depth import DepthSurface
    from ...same_system import same_crs

    back = pyproj.Transformer.from_crs(crs, grid.crs, always_xy=True)
    own = box if same_crs(grid.crs, crs) else back.transform_bounds(*box, densify_pts=21)
    part = _cut(grid, own)
    a, b, c, d, e, f = part.affine
    if same_crs(grid.crs, crs) and not b and not d and a > 0 > e:
        return DepthSurface(part.numbers, c, f, a, -e, crs)
    forth = pyproj.Transformer.from_crs(grid.crs, crs, always_xy=True)
    middle = (own[0] + own[2]) / 2, (own[1] + own[3]) / 2
    x, y = forth.transform(
        [middle[0], middle[0] + a, middle[0] + b], [middle[1], middle[1] + d, middle[1] + e]
    )
    native = float(min(np.hypot(x[1] - x[0], y[1] - y[0]), np.hypot(x[2] - x[0], y[2] - y[0])))
    cell = max(native / 2.0, 0.25)
    wide = int(np.ceil((box[2] - box[0]) / cell)) + 4
    high = int(np.ceil((box[3] - box[1]) / cell)) + 4
    if wide * high > MOST_CELLS:
        raise DataError(
            f"A raster with cells of {native:.3g} m makes {wide:,} x {high:,} cells here; give it with wider ones."
        )
    west, north = box[0] - 2 * cell, box[3] + 2 * cell
    made = np.full((high, wide), np.nan, dtype=np.float32)
    reproject(
        np.ascontiguousarray(part.numbers),
        made,
        src_transform=Affine(a, b, c, d, e, f),
        src_crs=grid.crs.to_wkt(),
        dst_transform=Affine(cell, 0.0, west, 0.0, -cell, north),
        dst_crs=crs.to_wkt(),
        src_nodata=np.nan,
        dst_nodata=np.nan,
        resampling=Resampling.bilinear,
    )
    return DepthSurface(made, west, north, cell, cell, crs)
