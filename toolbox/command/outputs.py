"""Where a command's results go, checked before any work; and ramps and hazards named as a list of points."""

from __future__ import annotations

import contextlib
import json
import os
import tempfile
from collections.abc import Mapping, Sequence
from datetime import UTC, datetime
from fnmatch import fnmatchcase
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final, NamedTuple

from ..errors import OutputExists, OutputFailed, UsageError
from ..layers.exchange import check_output, clear_abandoned, temporary_prefix
from ..layers.geopackage import is_geopackage
from ..layers.reading import parse_reference
from ..layers.writing import write_layers
from ..parameters.files import FolderContents
from ..parameters.markers import BookFile, FileSet, FolderSet, Layer
from ..real_files import output_file, output_folder, require_utf8
from ..report import plain

if TYPE_CHECKING:
    from geopandas import GeoDataFrame

    from ..algorithm.spec import Output, Spec
    from ..intake.book.placing import LakeExtent
    from ..sources import SourceTable


def default_out(spec: Spec) -> str:
    """Say what ``--out`` looks like for this algorithm."""
    if isinstance(spec.outputs[0].marker, (FileSet, FolderSet)):
        return "FOLDER"
    if isinstance(spec.outputs[0].marker, BookFile):
        return "FILE.gpkg"
    return "FILE.gpkg" if len(_always(spec)) > 1 else "FILE.gpkg[:LAYER]"


def _only_with(output: Output) -> str:
    return output.marker.only_with if isinstance(output.marker, Layer) else ""


def _always(spec: Spec) -> list[Output]:
    """List the outputs that are made whatever the options."""
    return [o for o in spec.outputs if not _only_with(o)]


def layer_names(spec: Spec, layer: str | None, made: Sequence[Output], place: str) -> list[str]:
    """Name the layers to write to a file or into a pipe.

    Parameters
    ----------
    spec, made
        The algorithm, and its outputs that are made this time.
    layer
        What was asked for: the name of the one layer that is always made; None for the usual names.
    place
        The file, or ``-``.

    Raises
    ------
    UsageError
        Several layers are always made, or another one has that name.
    """
    names = [o.name for o in made]
    if layer is None:
        return names
    if len(_always(spec)) > 1:
        raise UsageError(
            f"{spec.name} makes several layers ({', '.join(names)}); give --out {place} without a layer."
        )
    if layer in names[1:]:
        raise UsageError(
            f"{spec.name} makes a layer {layer} of its own here; give --out another name, such as {place}:{names[0]}."
        )
    return [layer, *names[1:]]


def outputs_made(spec: Spec, given: Mapping[str, Any] | None) -> list[Output]:
    """List the outputs that are made with these parameters."""
    return [o for o in spec.outputs if not _only_with(o) or (given or {}).get(_only_with(o))]


def _target_layers(spec: Spec, out: str, made: Sequence[Output]) -> tuple[Path, list[str]]:
    ref = parse_reference(out)
    return ref.path, layer_names(spec, ref.layer, made, str(ref.path))


def _book_path(spec: Spec, out: str) -> Path:
    ref = parse_reference(out)
    if ref.layer is not None:
        raise UsageError(f"{spec.name} writes several layers; give --out a file only, FILE.gpkg.")
    return ref.path


def check_target(spec: Spec, out: str, *, replace: bool, given: Mapping[str, Any] | None = None) -> None:
    """Refuse an output before any work is done.

    Parameters
    ----------
    spec, out, replace
        What is to be run, where its result goes, and whether it may replace what is there.
    given
        Parameters as given; tells which of the outputs will be made.

    Raises
    ------
    OutputExists, OutputFailed, UsageError
        It is there already, cannot be written, or is no name for an output.
    """
    marker = spec.outputs[0].marker
    if isinstance(marker, BookFile):
        check_output(_book_path(spec, out), [], replace=True)
        return
    if not isinstance(marker, (FileSet, FolderSet)):
        check_output(*_target_layers(spec, out, outputs_made(spec, given)), replace=replace)
        return
    folder = output_folder(Path(out))
    if any(is_geopackage(Path(name)) for name in marker.names):
        require_utf8(folder)
    if folder.exists() and not folder.is_dir():
        raise OutputExists(f"{folder} is a file; --out names a folder here.")
    home = folder if folder.exists() else folder.resolve().parent
    if not home.is_dir():
        raise OutputFailed(f"The folder {home} is not there; make it first.")
    if not os.access(home, os.W_OK):
        raise OutputFailed(f"{home} is read-only; choose another folder.")
    if not folder.exists():
        return
    if replace:
        for name in marker.names:
            if "*" not in name:
                output_file(folder / name)
        return
    there = {p.name for p in folder.iterdir()}
    taken = sorted(n for n in there if not marker.names or any(fnmatchcase(n, name) for name in marker.names))
    if taken:
        shown = ", ".join(taken[:5])
        raise OutputExists(
            f"{folder} already holds {shown}; add --replace to replace them, or choose another folder."
        )


def lineage_text(spec: Spec, inputs: Mapping[str, str], parameters: Mapping[str, Any]) -> str:
    """Write down what made a layer, from what, with which parameters, when, and the cautions."""
    from importlib import metadata

    from ..output.words.cautions import CAUTIONS

    try:
        version = metadata.version("castshed")
    except metadata.PackageNotFoundError:
        version = "unknown"
    body = {
        "made_by": f"castshed {spec.name}",
        "version": version,
        "time": datetime.now(UTC).isoformat(timespec="seconds"),
        "inputs": dict(inputs),
        "parameters": dict(parameters),
        "cautions": list(CAUTIONS),
    }
    text = json.dumps(plain(body), ensure_ascii=False, indent=1)
    return text.encode(
        errors="backslashreplace"
    ).decode()  # a byte of a file name that is no UTF-8: as JSON writes it


def _write_files(folder: Path, files: Mapping[str, bytes]) -> list[tuple[Path, Path]]:
    """Write every file beside its place; return (temporary, final) pairs."""
    pairs: list[tuple[Path, Path]] = []
    clear_abandoned(folder)
    try:
        for name, content in files.items():
            final = output_file(folder / name)  # beside it, so that it can take its place in one step
            handle, made = tempfile.mkstemp(prefix=temporary_prefix(), suffix=".part", dir=final.parent)
            pairs.append((Path(made), final))
            with os.fdopen(handle, "wb") as file:
                file.write(content)
                file.flush()
                os.fsync(file.fileno())
            mask = os.umask(0)
            os.umask(mask)
            os.chmod(made, 0o666 & ~mask)
    except OSError:
        for made_path, _ in pairs:
            made_path.unlink(missing_ok=True)
        raise
    return pairs


def write_folder(folder: Path, contents: FolderContents, *, replace: bool, lineage: str) -> None:
    """Write a folder's files and GeoPackages; each is the old one or the new one whole at any moment.

    Raises
    ------
    OutputFailed, OutputExists
        A write failed; files that were there before are as they were.
    """
    folder = output_folder(folder)
    fresh = not folder.exists()
    pairs: list[tuple[Path, Path]] = []
    try:
        folder.mkdir(exist_ok=True)
        pairs = _write_files(folder, contents.files)
        if not replace:
            taken = [final.name for _, final in pairs if final.exists()]
            if taken:
                raise OutputExists(
                    f"{folder} already holds {', '.join(taken)}; add --replace to replace them."
                )
        for name, layers in contents.layers.items():
            write_layers(
                folder / name, layers, replace=replace, lineage=lineage, types=contents.types, dictionary=True
            )
        for made, final in pairs:
            os.replace(made, final)
    except OSError as error:
        if isinstance(error, (OutputExists, OutputFailed)):
            raise
        raise OutputFailed(f"{folder} could not be written ({error}).") from error
    finally:
        for made, _ in pairs:
            made.unlink(missing_ok=True)
        if fresh:
            with contextlib.suppress(OSError):
                folder.rmdir()  # only an empty one goes


class Written(NamedTuple):
    """What was written: rows of each layer, cells of each coverage, bytes of each file."""

    features: dict[str, int]
    cells: dict[str, int]
    bytes: dict[str, int]

    @property
    def counts(self) -> dict[str, int]:
        """Rows, cells or bytes by layer or file."""
        return {**self.features, **self.cells, **self.bytes}


def _counted(layers: Mapping[str, Any], files: Mapping[str, bytes]) -> Written:
    from ..depth import DepthSurface

    return Written(
        {name: len(one) for name, one in layers.items() if not isinstance(one, DepthSurface)},
        {name: int(one.depth_m.size) for name, one in layers.items() if isinstance(one, DepthSurface)},
        {name: len(content) for name, content in files.items()},
    )


def write_result(spec: Spec, result: Any, out: str, *, replace: bool, lineage: str) -> Written:
    """Write what an algorithm made; tell what was written."""
    from ..algorithm.contracts import output_items
    from ..layers.writing import write_book

    marker = spec.outputs[0].marker
    if isinstance(marker, (FileSet, FolderSet)):
        contents = result if isinstance(result, FolderContents) else FolderContents(files=dict(result))
        write_folder(Path(out), contents, replace=replace, lineage=lineage)
        every = {name: one for layers in contents.layers.values() for name, one in layers.items()}
        return _counted(every, contents.files)
    words = f"castshed {spec.name}: {spec.summary}"
    if isinstance(marker, BookFile):
        rows = write_book(_book_path(spec, out), result, lineage=lineage, words=words) if replace else {}
        return Written(dict(rows), {}, {})
    pairs = output_items(spec, result)
    path, names = _target_layers(spec, out, [output for output, _ in pairs])
    values = [value for _, value in pairs]
    types = {
        n: o.marker.geometry for n, (o, _) in zip(names, pairs, strict=True) if isinstance(o.marker, Layer)
    }
    layers = dict(zip(names, values, strict=True))
    write_layers(path, layers, replace=replace, lineage=lineage, words=words, types=types)
    return _counted(layers, {})


LISTED: Final = ("ramps", "known_hazards")
_ALWAYS: Final = frozenset((".csv", ".tsv", ".txt", ".gpx", ".kml", ".kmz", ".xlsx", ".ods"))
_LARGEST_LAKE_M: Final = 60_000.0


def is_listed(layer: str, given: Any) -> bool:
    """Tell whether an input of that layer's name is a list of points that no driver of layers opens, or one place."""
    if layer not in LISTED or not isinstance(given, str):
        return False
    return Path(given).suffix.lower() in _ALWAYS or (layer == "ramps" and _is_place(given))


def _is_place(given: str) -> bool:
    from ..intake.book.listed_marks import is_place

    return given[:1] in "0123456789+-(NSns" and is_place(given)


def _extent(table: SourceTable, crs: str | None) -> LakeExtent:
    """Take the country round the first row that has a place, in the metres asked for or those of its UTM zone."""
    import numpy as np
    import pyproj
    import shapely

    from ..intake.book.placing import LakeExtent
    from ..sources.cell_texts import read_angles, read_pairs
    from ..sources.columns import find_roles

    roles = find_roles([str(c) for c in table.rows.columns], {})
    lat: list[float] = []
    lon: list[float] = []
    if table.geometry is not None and table.crs is not None:
        there = table.geometry[~(shapely.is_missing(table.geometry) | shapely.is_empty(table.geometry))]
        move = pyproj.Transformer.from_crs(table.crs, "OGC:CRS84", always_xy=True)
        middle = shapely.get_coordinates(shapely.centroid(there))
        lon, lat = (list(map(float, v)) for v in move.transform(middle[:, 0], middle[:, 1]))
    elif roles.one("latitude") and roles.one("longitude"):
        lat = [a.degrees for a in read_angles(table.rows[roles.one("latitude")].tolist())]
        lon = [a.degrees for a in read_angles(table.rows[roles.one("longitude")].tolist())]
    elif roles.one("position"):
        pairs = read_pairs(table.rows[roles.one("position")].tolist())
        lat, lon = [a.degrees for a, _ in pairs], [b.degrees for _, b in pairs]
    both = np.array([lat, lon], dtype=float).reshape(2, -1)
    fit = np.isfinite(both).all(axis=0) & (np.abs(both[0]) <= 84.0) & (np.abs(both[1]) <= 180.0)
    if not fit.any():
        raise UsageError(
            f"{table.name} has no places in degrees that can be read; it has the columns "
            f"{', '.join(map(str, table.rows.columns)) or 'none'}. Name latitude and longitude so, or name the list in "
            "a day file, whose shoreline tells where the lake lies."
        )
    north, east = (float(np.median(row[fit])) for row in both)
    zone = int((east + 180.0) // 6.0) % 60 + 1
    system = pyproj.CRS.from_user_input(crs or f"EPSG:{(32600 if north >= 0 else 32700) + zone}")
    x, y = pyproj.Transformer.from_crs("OGC:CRS84", system, always_xy=True).transform(east, north)
    return LakeExtent(system, (x, y, x, y), _LARGEST_LAKE_M)


def read_listed(layer: str, given: str, crs: str | None) -> GeoDataFrame:
    """Read ramps or known hazards from a list of points.

    Raises
    ------
    CastshedError
        It cannot be read, or has no places in degrees.
    """
    from ..intake.book.listed_marks import hazards_of, ramp_at, ramps_of
    from ..sources import read_source

    if layer == "ramps" and _is_place(given):
        from ..algorithm.grid_factors import utm_of
        from ..sources.cell_texts import read_pair

        lat, lon = (angle.degrees for angle in read_pair(given))
        return ramp_at(given, crs or utm_of(lon, lat))
    table = read_source(given)
    extent = _extent(table, crs)
    return ramps_of(table, extent) if layer == "ramps" else hazards_of(table, extent)
