"""The results of many lakes in one GeoPackage or one GeoParquet file, each row with its lake."""

from __future__ import annotations

import json
import os
import tempfile
from collections.abc import Mapping
from importlib.util import find_spec
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from ..cache.store import fingerprint
from ..errors import CastshedError, CrsError, DataError, OutputExists, OutputFailed, UsageError
from ..layers.exchange import check_output
from ..layers.reading import Reference, list_layers, read_layer, reprojected
from ..layers.writing import write_layers
from .lake_work import result_digest, write_whole

if TYPE_CHECKING:
    from geopandas import GeoDataFrame

    from .lake_work import LakeLayer, LakeWork

LAKE: Final = "lake"
_PARQUET: Final = (".parquet", ".geoparquet")


def gathers(out: Path) -> bool:
    """Whether a name asks for one file rather than for a folder."""
    return out.suffix.lower() in {".gpkg", *_PARQUET}


def _mark(out: Path) -> tuple[str, str]:
    """Tell what was gathered last, and the fingerprint of the file then."""
    try:
        body = json.loads(_marker(out).read_bytes())
        return str(body["key"]), str(body["result"])
    except (OSError, ValueError, KeyError, TypeError):
        return "", ""


def _marker(out: Path) -> Path:
    return parts_folder(out) / ".over-lakes" / f"gathered{out.suffix.lower()}.json"


def parts_folder(out: Path) -> Path:
    """Name the folder of single results beside a gathered file."""
    return out.with_name(out.stem + ".lakes")


def check_gathered(work: LakeWork, out: Path, *, replace: bool) -> None:
    """Refuse a gathered file before any work.

    A file that was gathered before and has not been changed since is our own and may be gathered anew.

    Raises
    ------
    UsageError, OutputExists, OutputFailed
        What is run makes no layers, two of one name, or more than a GeoParquet file holds; the file is there; it
        cannot be written.
    CastshedError
        What writes GeoParquet is not installed.
    """
    if work.others:
        raise UsageError(
            f"{work.name} makes {', '.join(work.others)}, which cannot be gathered into one file; give --out a folder."
        )
    names = [layer.name for layer in work.layers]
    twice = sorted({name for name in names if names.count(name) > 1})
    if twice:
        raise UsageError(
            f"{work.name} leaves two layers called {twice[0]}; give one another name, such as out = "
            f"'FILE.gpkg:{twice[0]}_2', or give --out a folder."
        )
    ours = bool(_mark(out)[1]) and result_digest(out) == _mark(out)[1]
    if out.suffix.lower() not in _PARQUET:
        check_output(out, names, replace=replace or ours)
        return
    if len(names) > 1:
        raise UsageError(
            f"{work.name} makes several layers ({', '.join(names)}); gather them into FILE.gpkg."
        )
    if find_spec("pyarrow") is None:
        raise CastshedError("GeoParquet needs pyarrow, which is not installed: pip install 'castshed[many]'.")
    if not out.resolve().parent.is_dir() or not os.access(out.resolve().parent, os.W_OK):
        raise OutputFailed(f"{out} cannot be written: its folder is not there or is read-only.")
    if out.exists() and not (replace or ours):
        raise OutputExists(f"{out} is already there; add --replace to replace it, or choose another name.")


def _frames(layer: LakeLayer, parts: Mapping[str, Path]) -> dict[str, GeoDataFrame]:
    """Read a layer of every lake that has it."""
    found = {}
    for lake, result in parts.items():
        path = layer.path(lake, result)
        if layer.name in list_layers(path):
            found[lake] = read_layer(Reference(path, layer.name))
    return found


def _together(name: str, frames: Mapping[str, GeoDataFrame], crs: str | None) -> GeoDataFrame:
    import geopandas as gpd
    import pandas as pd

    from ..same_system import same_crs

    if crs is not None:
        frames = {lake: reprojected(frame, crs, f"{lake}:{name}") for lake, frame in frames.items()}
    systems = {lake: frame.crs for lake, frame in frames.items()}
    first, system = next(iter(systems.items()))
    for lake, other in systems.items():
        if other is None or not same_crs(system, other):
            words = (
                f"{first} is in {getattr(system, 'name', 'none')}, {lake} in {getattr(other, 'name', 'none')}"
            )
            raise CrsError(
                f"The lakes lie in several reference systems ({words}); give one with --crs before the algorithm's "
                "name, such as --crs EPSG:5070. The single results are kept."
            )
    full = {lake: frame for lake, frame in frames.items() if len(frame)} or {first: frames[first]}
    parts = []
    for lake, frame in full.items():
        part = frame.rename_geometry("geometry") if frame.geometry.name != "geometry" else frame.copy()
        if LAKE in part.columns:
            raise DataError(f"{name} has a column {LAKE} of its own; give --out a folder.")
        part.insert(0, LAKE, lake)
        parts.append(part)
    return gpd.GeoDataFrame(pd.concat(parts, ignore_index=True), geometry="geometry", crs=system)


def _write_parquet(out: Path, frame: GeoDataFrame) -> None:
    handle, made = tempfile.mkstemp(dir=out.resolve().parent, prefix=".castshed-", suffix=".part")
    os.close(handle)
    try:
        frame.to_parquet(made, index=False)
        with Path(made).open("rb") as file:
            os.fsync(file.fileno())
        mask = os.umask(0)
        os.umask(mask)
        Path(made).chmod(0o666 & ~mask)
        Path(made).replace(out)
    except OSError as error:
        raise OutputFailed(f"{out} could not be written ({error}); nothing was changed.") from error
    finally:
        Path(made).unlink(missing_ok=True)


def gather(
    work: LakeWork, parts: Mapping[str, Path], out: Path, *, replace: bool, crs: str | None, lineage: str
) -> bool:
    """Gather single results.

    Parameters
    ----------
    work
        What made them.
    parts
        Lake -> its result.
    out, replace
        Where to, and whether what is there may be replaced.
    crs
        Reference system of the gathered layers; by default that of the lakes, which must then be one.
    lineage
        Text kept with the layers.

    Returns
    -------
    Whether anything was written; what is gathered already is let be.

    Raises
    ------
    CrsError, DataError, OutputExists, OutputFailed
        The lakes lie in several systems, or the file cannot be written.

    Notes
    -----
    All rows are in memory at once, which suits findings and plans; ids are unique within a lake only.
    """
    key = fingerprint(work.name, crs or "", *(t for n, p in parts.items() for t in (n, result_digest(p))))
    kept, result = _mark(out)
    if result and result_digest(out) == result:
        if kept == key:
            return False
        replace = True
    layers: dict[str, Any] = {}
    types: dict[str, tuple[str, ...]] = {}
    for layer in work.layers:
        frames = _frames(layer, parts)
        if frames:
            layers[layer.name] = _together(layer.name, frames, crs)
            types[layer.name] = layer.geometry
    if out.suffix.lower() in _PARQUET:
        if out.exists() and not replace:
            raise OutputExists(f"{out} is already there; add --replace to replace it.")
        for frame in layers.values():
            _write_parquet(out, frame)
    else:
        words = f"castshed {work.name} over {len(parts):,} lakes"
        write_layers(out, layers, replace=replace, lineage=lineage, words=words, types=types)
    body = {"key": key, "result": result_digest(out)}
    write_whole(_marker(out), json.dumps(body).encode())
    return True
