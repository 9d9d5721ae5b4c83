"""Each format's word, and how its files are made."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Final, TypedDict

from ...layers.writing import to_geoparquet, to_geotiff
from ...lineage import lineage_lines, stating_level
from ...report import note
from ...text import how_many
from ..words.cautions import caution_text
from ..words.features import check_layers
from ..words.names import PLAIN, NameRule, role_of
from .csv_table import to_csv_files
from .dxf import to_dxf
from .geojson import to_geojson
from .gpx import to_gpx_files
from .gpx_run import for_the_run
from .kml import to_kml
from .prepared_features import Ready, ready_features, tables_of
from .read_back import prove_written
from .shapefile_flatgeobuf import to_flatgeobuf_files, to_shapefile_sets
from .styles import to_sld_files
from .xml_zip_writing import file_stems, packed

if TYPE_CHECKING:
    import geopandas as gpd

    from ...depth import DepthSurface

    Layers = Mapping[str, gpd.GeoDataFrame]


class _About(TypedDict):
    title: str
    description: str
    level_m: float | None
    date: str | None


@dataclass(frozen=True)
class Telling:
    """What is told in every file, and how names are written."""

    # name of the plan, and what else the reader should know
    title: str
    description: str = ""
    # today's surface minus chart datum in metres, and its day; None where not known
    level_m: float | None = None
    date: str | None = None
    rule: NameRule = PLAIN  # how names are written
    symbols: Mapping[str, str] = field(default_factory=dict)  # kind to the symbol's text, for GPX
    most_points: int | None = None  # most way points of a GPX file; None for no limit
    sld_version: str = "1.0.0"  # version of the standard of styles
    all_points: bool = False  # whether GPX gets every point, not the stops and ramps of a run alone

    @property
    def about(self) -> _About:
        """What every writer is told."""
        return {
            "title": self.title,
            "description": self.description,
            "level_m": self.level_m,
            "date": self.date,
        }


def _aboard(layers: Layers, telling: Telling) -> Layers:
    """Give what goes into GPX: the run with its stops and ramps, or all there is."""
    return layers if telling.all_points else for_the_run(layers)


def _gpx(layers: Layers, telling: Telling) -> dict[str, bytes]:
    kept = _aboard(layers, telling)
    if left := sum(len(frame) for frame in layers.values()) - sum(len(frame) for frame in kept.values()):
        note(
            f"run.gpx holds the run with its stops and ramps; {how_many(left, 'other row')} left out (all "
            "points: --waypoints all).",
            stacklevel=4,
        )
    files = to_gpx_files(
        kept,
        **telling.about,
        rule=telling.rule,
        symbols=telling.symbols,
        most_points=telling.most_points,
    )
    if len(files) == 1:
        return {"run.gpx": files[0]}
    return {f"run-{place}-of-{len(files)}.gpx": content for place, content in enumerate(files, start=1)}


def _kml(layers: Layers, telling: Telling, ready: Ready) -> dict[str, bytes]:
    return {"plan.kml": to_kml(layers, **telling.about, rule=telling.rule, ready=ready)}


def _kmz(layers: Layers, telling: Telling, ready: Ready) -> dict[str, bytes]:
    return {"plan.kmz": packed({"doc.kml": _kml(layers, telling, ready)["plan.kml"]})}


def _geojson(layers: Layers, telling: Telling, ready: Ready) -> dict[str, bytes]:
    return {"plan.geojson": to_geojson(layers, **telling.about, rule=telling.rule, ready=ready)}


def _csv(layers: Layers, telling: Telling) -> dict[str, bytes]:
    return to_csv_files(layers, **telling.about, rule=telling.rule)


def _fgb(layers: Layers, telling: Telling) -> dict[str, bytes]:
    return to_flatgeobuf_files(layers, **telling.about, rule=telling.rule)


def _shp(layers: Layers, telling: Telling) -> dict[str, bytes]:
    return to_shapefile_sets(layers, **telling.about, rule=telling.rule)


def _dxf(layers: Layers, telling: Telling) -> dict[str, bytes]:
    return {"plan.dxf": to_dxf(layers, **telling.about, rule=telling.rule)}


def _sld(layers: Layers, telling: Telling) -> dict[str, bytes]:
    return to_sld_files(layers, **telling.about, version=telling.sld_version)


def _parquet(layers: Layers, telling: Telling) -> dict[str, bytes]:
    stems = file_stems(layers)
    tables = tables_of(layers, level_m=telling.level_m, rule=telling.rule)
    told = [telling.title, telling.description, caution_text(telling.level_m, telling.date)]
    words = " ".join(part for part in (*told, *lineage_lines(layers)) if part)
    return {f"{stems[name]}.parquet": to_geoparquet(frame, name, words=words) for name, frame, _ in tables}


_WRITERS: Final[dict[str, Callable[[Layers, Telling], dict[str, bytes]]]] = {
    "gpx": _gpx,
    "csv": _csv,
    "fgb": _fgb,
    "shp": _shp,
    "dxf": _dxf,
    "sld": _sld,
    "parquet": _parquet,
}
_OF_FEATURES: Final[dict[str, Callable[[Layers, Telling, Ready], dict[str, bytes]]]] = {
    "kml": _kml,
    "kmz": _kmz,
    "geojson": _geojson,
}


def coverage_file(depth: DepthSurface, telling: Telling) -> dict[str, bytes]:
    """Write a coverage as a GeoTIFF: today's depths where the level is told, else those below chart datum."""
    known = telling.level_m is not None
    shown = depth.shifted(telling.level_m) if telling.level_m is not None else depth
    datum = "today's surface" if known else "chart datum"
    told = " ".join(
        part for part in (telling.description, caution_text(telling.level_m, telling.date)) if part
    )
    words = f"{telling.title}: depth below {datum} in metres, positive down; NaN: not known. {told}"
    return {"depth_today.tif" if known else "depth.tif": to_geotiff(shown, words=words)}


def write_files(
    layers: Layers, formats: Iterable[str], telling: Telling, depth: DepthSurface | None = None
) -> dict[str, bytes]:
    """Write layers in several formats, and a coverage as a GeoTIFF where there is one: file name to content.

    Raises
    ------
    CrsError, DataError, UsageError
        Of any of the formats.
    OutputFailed
        What was written, read back, is not what the layers say.
    """
    layers = check_layers(layers)
    layers = stating_level(
        layers, {name: role_of(name, frame) for name, frame in layers.items()}, telling.level_m
    )
    files: dict[str, bytes] = {}
    ready: Ready | None = None
    for word in formats:
        if word == "tif":
            files |= {} if depth is None else coverage_file(depth, telling)
            continue
        if word in _WRITERS:
            files |= _WRITERS[word](layers, telling)
            continue
        if ready is None:
            ready = ready_features(layers, level_m=telling.level_m)
        files |= _OF_FEATURES[word](layers, telling, ready)
    prove_written(layers, files, gpx=_aboard(layers, telling))
    return files
