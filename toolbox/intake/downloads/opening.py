"""Files of a download opened by their content, whatever they are called; archives unpacked within bounds."""

from __future__ import annotations

import re
import tempfile
import zipfile
import zlib
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from ...errors import CastshedError, DataError
from ...layers import door
from ...layers.kinds_of_file import HANDED_OUT_RASTERS, handed_out_kind, kind_of
from ...layers.reading import Reference, list_layers, read_layer
from ...real_files import require_ordinary, shown
from .found import FoundLayer, read_beside
from .grids import read_bands, read_variables
from .text_points import points_of_table, read_text_points

if TYPE_CHECKING:
    from collections.abc import Sequence

    from .found import FileWishes

_MOST_MEMBERS: Final = 5000
_MOST_OUT: Final = 2_000_000_000
_MOST_RATIO: Final = 400
_CHUNK: Final = 1 << 20
_PARTS: Final = re.compile(r"[\\/]+")


def _place(name: str) -> list[str]:
    """Take a member's name apart, without what leads out of the folder; empty for what systems pack beside files."""
    parts = [
        re.sub(r"[^\w.\- ()]", "_", part)[-120:] for part in _PARTS.split(name) if part not in ("", ".", "..")
    ]
    if (
        not parts
        or parts[0] == "__MACOSX"
        or parts[-1] in (".DS_Store", "Thumbs.db")
        or parts[-1].startswith("._")
    ):
        return []
    return parts


def unpack(path: Path, folder: Path, name: str) -> None:
    """Unpack a ZIP file.

    Raises
    ------
    DataError
        It is broken, locked, or unpacks to more than two gigabytes.
    """
    left = min(_MOST_OUT, max(_CHUNK * 64, path.stat().st_size * _MOST_RATIO))
    try:
        with zipfile.ZipFile(path) as archive:
            members = [one for one in archive.infolist() if not one.is_dir()]
            if len(members) > _MOST_MEMBERS:
                raise DataError(
                    f"{name} packs {len(members):,} files, more than {_MOST_MEMBERS:,}; unpack what is needed."
                )
            for member in members:
                parts = _place(member.filename)
                if not parts:
                    continue
                target = folder.joinpath(*parts)
                target.parent.mkdir(parents=True, exist_ok=True)
                with archive.open(member) as stream, target.open("xb") as file:
                    while piece := stream.read(_CHUNK):
                        left -= len(piece)
                        if left < 0:
                            raise DataError(
                                f"{name} unpacks to more than it should; unpack it yourself and give what is needed."
                            )
                        file.write(piece)
    except (
        zipfile.BadZipFile,
        zlib.error,
        EOFError,
        OSError,
        NotImplementedError,
        RuntimeError,
        ValueError,
        UnicodeError,
    ) as fault:
        if isinstance(fault, DataError):
            raise
        raise DataError(
            f"{name} cannot be unpacked ({fault}); fetch it again, or unpack it and give what is in it."
        ) from fault


_PACKED: Final = b"PK\x03\x04"
# First bytes of what cannot be read, and what to convert it to.
_CANNOT: Final = (
    (b"%PDF", "a PDF, a picture of a map and not its data; ask for the contours or soundings as a shapefile or CSV"),
    (b"\xd0\xcf\x11\xe0", "an old workbook or document; save its sheet as XLSX or CSV"),
    (b"\x1f\x8b", "packed by gzip; unpack it first"),
    (b"7z\xbc\xaf", "packed by 7-Zip; unpack it first"),
    (b"Rar!", "packed by RAR; unpack it first"),
    (b"LASF", "a point cloud (LAS or LAZ); save its ground points as XYZ or a GeoTIFF"),
    (b"AC10", "a drawing in DWG; save it as DXF"),
    (b"\x89PNG", "a picture, not data; ask for the contours or soundings as a shapefile or CSV"),
    (b"\xff\xd8\xff", "a picture, not data; ask for the contours or soundings as a shapefile or CSV"),
    (b"\x00\x00\x00\x0cjP", "a picture (JPEG 2000); save it as GeoTIFF if it holds depths"),
    (b"PAR1", "a Parquet table; save it as GeoPackage"),
)  # fmt: skip
_BESIDE: Final = (
    ".shx", ".dbf", ".prj", ".cpg", ".sbn", ".sbx", ".qpj", ".qix", ".fix", ".xml", ".xsd", ".gfs", ".idx",
    ".tfw", ".aux", ".ovr", ".lyr", ".lyrx", ".qml", ".sld", ".toml",
    ".pdf", ".html", ".htm", ".md", ".doc", ".docx", ".png", ".jpg", ".jpeg",
)  # fmt: skip
_DOCUMENTS: Final = ("readme", "license", "licence", "metadata", "copying", "terms", "disclaimer")


def _features(path: Path, file: str, only: str) -> list[FoundLayer]:
    """Read every layer of a file that the house reads as layers, or one."""
    found: list[FoundLayer] = []
    kind = kind_of(path)
    there = list_layers(path)
    for layer, what in there.items():
        if only and layer != only:
            continue
        if what == "coverage":
            for band, grid in read_bands(path, layer, kind).items():
                named = " ".join(w for w in (layer if kind == "GeoPackage" else "", band) if w)
                found.append(FoundLayer(file, named, kind, grid=grid, stems=(path.stem, layer)))
            continue
        if what != "features" and kind == "GeoPackage":
            continue
        frame = read_layer(Reference(path, layer))
        named = "" if layer == path.stem and len(there) == 1 else layer
        found.append(FoundLayer(file, named, kind, frame=frame, stems=(path.stem, layer), rows=len(frame)))
    if not found:
        wanted = (
            f"no layer '{only}'; it has: {', '.join(there) or 'none'}" if only else "no layer with places"
        )
        raise DataError(f"{file} holds {wanted}.")
    return found


def _exchanged(path: Path, file: str, kind: str) -> list[FoundLayer]:
    """Read what agencies exchange: S-57, GML, a file geodatabase, gridded products."""
    if kind in HANDED_OUT_RASTERS:
        grids = read_variables(path, kind)
        return [
            FoundLayer(file, part, kind, grid=grid, stems=(path.stem, part)) for part, grid in grids.items()
        ]
    found = []
    for layer, frame in door.handed_out_layers(path).items():
        made = FoundLayer(file, layer, kind, frame=frame, stems=(path.stem, layer), rows=len(frame))
        if kind == "S-57":
            made.standard = layer
        found.append(made)
    if not found:
        raise DataError(f"{file} holds no layer with places.")
    return found


def _tracks(path: Path, file: str) -> list[FoundLayer]:
    """Read the tracks of a GPX as lines: somebody may have walked round the lake."""
    import geopandas

    from ...sources.gpx import track_lines
    from ...sources.xml_zip_reading import parse_markup

    lines = track_lines(parse_markup(path.read_bytes(), file))
    if not lines:
        return []
    frame = geopandas.GeoDataFrame(
        {"name": [name for name, _ in lines]}, geometry=[line for _, line in lines], crs="OGC:CRS84"
    )
    return [FoundLayer(file, "tracks", "gpx", frame=frame, stems=(path.stem,), rows=len(frame))]


def _listed(path: Path, file: str) -> list[FoundLayer]:
    """Read a workbook, a GPX or a KML as lists are read."""
    import geopandas
    import numpy as np
    import pandas as pd

    from ...sources import read_source

    table = read_source(str(path))
    rows = table.rows.replace("", None)
    for name in rows.columns:
        as_numbers = pd.to_numeric(rows[name], errors="coerce")
        if as_numbers.notna().sum() == rows[name].notna().sum() > 0:
            rows[name] = as_numbers
    if table.geometry is None:
        made = points_of_table(rows, header=True, name=file, kind=table.kind, said=list(table.said))
        made.stems = (path.stem,)
        return [made]
    tracks = _tracks(path, file) if table.kind == "gpx" else []
    if tracks and not len(table):
        return tracks
    placed = np.array(
        [shape is not None and not why for shape, why in zip(table.geometry, table.problem, strict=True)],
        dtype=bool,
    )
    shapes = np.asarray(table.geometry, dtype=object)
    made = FoundLayer(file, "", table.kind, rows=len(table), stems=(path.stem,), why=list(table.said))
    for row in np.flatnonzero(~placed).tolist():
        made.leave(int(table.line[row]), table.problem[row] or "no place")
    made.frame = geopandas.GeoDataFrame(rows.loc[placed], geometry=shapes[placed], crs=table.crs)
    return [made, *tracks]


def _one_file(path: Path, file: str, only: str = "") -> list[FoundLayer]:
    require_ordinary(path, "a file of the download")
    with path.open("rb") as stream:
        head = stream.read(4096)
    for start, words in _CANNOT:
        if head.startswith(start):
            raise DataError(f"{file} is {words}.")
    if not head.strip():
        raise DataError(f"{file} is empty.")
    kind = handed_out_kind(path)
    if kind is not None:
        return _exchanged(path, file, kind)
    if head.startswith(_PACKED) and (b"xl/" in head or b"[Content_Types]" in head or b"opendocument" in head):
        return _listed(path, file)
    text = head.lstrip(b"\xef\xbb\xbf \t\r\n")
    if text.startswith(b"<") and (b"<kml" in head or b"<gpx" in head or b":kml" in head):
        return _listed(path, file)
    if path.suffix.lower() in (".dbf", ".shx", ".prj", ".cpg") and path.with_suffix(".shp").is_file():
        raise DataError(f"{file} is a part of a shapefile; give its .shp part.")
    try:
        kind_of(path)
    except CastshedError:
        if b"\x00" in head and not head.startswith((b"\xff\xfe", b"\xfe\xff")):
            raise
        made = read_text_points(path.read_bytes(), file)
        made.stems = (path.stem,)
        return [made]
    return _features(path, file, only)


def _is_beside(path: Path) -> bool:
    """Whether a file in an archive is part of another one, or says something to people."""
    low = path.name.lower()
    return low.endswith(_BESIDE) or (path.suffix.lower() in (".txt", "") and low.startswith(_DOCUMENTS))


def _packed(path: Path, file: str, folder: Path, *, nested: bool = False) -> list[FoundLayer]:
    """Open every file of an archive that is no part of another one, and the archives in it, but none in those."""
    unpack(path, folder, file)
    found: list[FoundLayer] = []
    left: list[str] = []
    geodatabases = [
        one for one in sorted(folder.rglob("*")) if one.is_dir() and handed_out_kind(one) is not None
    ]
    singles = [
        one
        for one in sorted(folder.rglob("*"))
        if one.is_file() and not _is_beside(one) and not any(home in one.parents for home in geodatabases)
    ]
    for one in (*geodatabases, *singles):
        inner = one.relative_to(folder).as_posix()
        try:
            if one.is_dir():
                parts = _exchanged(one, inner, "file geodatabase")
            elif not nested and one.suffix.lower() == ".zip":
                within = folder / f"in {one.name}"
                within.mkdir(exist_ok=True)
                parts = _packed(one, inner, within, nested=True)
            else:
                parts = _one_file(one, inner)
        except DataError as fault:
            left.append(f"{inner}: {fault}")
            continue
        for part in parts:
            part.layer = f"{inner}:{part.layer}" if part.layer else inner
            part.file = file
            part.stems = (path.stem, *part.stems)
            part.why.extend(f"also in the archive, and not read: {words}" for words in left)
            left = []
        found += parts
    if not found:
        raise DataError(f"{file} holds nothing that can be read: {'; '.join(left) or 'no file'}")
    return found


def open_file(path: Path, wishes: FileWishes, only: str = "") -> list[FoundLayer]:
    """Open a file of a download, or a folder that is a file geodatabase.

    Parameters
    ----------
    path
        What was given.
    wishes
        Gets what a .toml file beside it says.
    only
        The one layer that is wanted, of a file that holds several.

    Raises
    ------
    FileMissing, DataError
        It is not there, or cannot be read; the message tells what to convert it to.
    """
    file = shown(path.name or str(path))
    if path.is_dir():
        kind = handed_out_kind(path)
        if kind is None:
            raise DataError(f"{file} is a folder, and no file geodatabase; give the files in it.")
        return _exchanged(path, file, kind)
    require_ordinary(path, "a file of the download")
    beside = read_beside(path)
    if beside:
        wishes.beside[file] = beside
    try:
        with path.open("rb") as stream:
            head = stream.read(4096)
        packed = head.startswith(_PACKED) and not (
            b"xl/" in head or b"[Content_Types]" in head or b"opendocument" in head
        )
        if packed:
            with tempfile.TemporaryDirectory(prefix="castshed-") as folder:
                return _packed(path, file, Path(folder))
        return _one_file(path, file, only)
    except OSError as fault:
        if isinstance(fault, CastshedError):
            raise
        raise DataError(f"{path} cannot be read: {fault.strerror or fault}.") from fault


def _with_its_shapes(path: Path, paths: set[Path]) -> bool:
    """Whether a file is a part of a shapefile that is given too, as whoever gives ``contours.*`` does."""
    part = path.suffix.lower() in (".dbf", ".shx", ".prj", ".cpg", ".sbn", ".sbx", ".qpj", ".qix")
    return part and path.with_suffix(".shp") in paths


def open_all(given: Sequence[Any], wishes: FileWishes) -> list[FoundLayer]:
    """Open files, and take frames as they are.

    Raises
    ------
    DataError
        Nothing was given, or a file cannot be read.
    """
    import geopandas

    found: list[FoundLayer] = []
    paths = {Path(one) for one in given if isinstance(one, str | Path)}
    for number, one in enumerate(given, start=1):
        if isinstance(one, geopandas.GeoDataFrame):
            name = str(one.attrs.get("name", f"frame {number}"))
            found.append(FoundLayer(name, "", "frame", frame=one.copy(), stems=(name,), rows=len(one)))
        elif isinstance(one, str | Path):
            text = str(one)
            path = Path(text)
            layer = ""
            if not path.exists() and ":" in text:
                before, _, layer = text.rpartition(":")
                path = Path(before)
            if _with_its_shapes(path, paths):
                continue
            parts = open_file(path, wishes, layer)
            if layer:
                parts = [part for part in parts if part.layer in (layer, "")]
                if not parts:
                    raise DataError(f"{path} has no layer '{layer}'.")
            found += parts
        else:
            raise DataError(f"Input {number} is a {type(one).__name__}; give a file or a GeoDataFrame.")
    return found
