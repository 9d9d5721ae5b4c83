"""Files as others write them: pyogrio's drivers, ogr2ogr, gdal_translate, gdalwarp, openpyxl; never castshed."""

from __future__ import annotations

import shutil
import subprocess
import zipfile
from pathlib import Path

import geopandas as gpd
import numpy as np
import pyogrio
import rasterio
import shapely
from rasterio import Affine


def have_gdal() -> bool:
    """Whether the programs of the Debian package gdal-bin are here."""
    return all(shutil.which(name) for name in ("ogr2ogr", "gdal_translate", "gdalwarp"))


def told(*command: object) -> None:
    """Run another program to its good end; what it cannot do ends with its own words."""
    done = subprocess.run(list(map(str, command)), check=False, capture_output=True, text=True)
    if done.returncode:
        raise RuntimeError(f"{command[0]}: {done.stderr[-800:]}")


def written(frame: gpd.GeoDataFrame, path: Path, layer: str | None = None, **options: object) -> Path:
    """Write a frame with pyogrio, by the name's ending; a layer is added to a file that is there."""
    append = layer is not None and path.exists()
    kept = {"layer": layer} if layer else {}
    pyogrio.write_dataframe(frame, path, append=append and path.suffix != ".gpkg", **kept, **options)
    return path


def by_ogr2ogr(layers: dict[str, gpd.GeoDataFrame], path: Path, driver: str, *more: str) -> Path:
    """Write layers with ogr2ogr out of one GeoPackage."""
    between = path.with_name(f"{path.name}-in.gpkg")
    between.unlink(missing_ok=True)
    for name, frame in layers.items():
        pyogrio.write_dataframe(frame, between, layer=name, driver="GPKG")
    told("ogr2ogr", "-f", driver, *more, path, between)
    between.unlink()
    return path


def zipped(paths: list[Path], into: Path) -> Path:
    """Zip files, or the files of folders, and take them away."""
    with zipfile.ZipFile(into, "w", zipfile.ZIP_DEFLATED) as archive:
        for path in paths:
            for one in sorted(path.rglob("*")) if path.is_dir() else [path]:
                archive.write(one, one.relative_to(path.parent))
    for path in paths:
        shutil.rmtree(path) if path.is_dir() else path.unlink()
    return into


def shapefile_zip(frames: dict[str, gpd.GeoDataFrame], into: Path) -> Path:
    """Write shapefiles, and zip them into one file in a folder of its own as agencies do."""
    folder = into.with_suffix("")
    folder.mkdir()
    for name, frame in frames.items():
        written(frame, folder / f"{name}.shp")
    return zipped([folder], into)


def geotiff(surface, values: np.ndarray, path: Path, unit: str = "", crs: object = None) -> Path:
    """Write values on a surface's cells with rasterio; NaN is no value."""
    rows, columns = values.shape
    profile = {
        "driver": "GTiff", "height": rows, "width": columns, "count": 1, "dtype": "float32", "nodata": -9999.0,
        "crs": crs or surface.crs,
        "transform": Affine(surface.cell_x_m, 0.0, surface.west_m, 0.0, -surface.cell_y_m, surface.north_m),
    }  # fmt: skip
    with rasterio.open(path, "w", **profile) as out:
        out.write(np.where(np.isfinite(values), values, -9999.0).astype("float32"), 1)
        if unit:
            out.units = (unit,)
    return path


def by_gdal(source: Path, path: Path, driver: str, *more: str) -> Path:
    """Turn a raster into another form with gdal_translate, and take the first away."""
    told("gdal_translate", "-q", "-of", driver, *more, source, path)
    source.unlink()
    return path


def warped(source: Path, path: Path, crs: str) -> Path:
    """Turn a raster into another reference system with gdalwarp, and take the first away."""
    told("gdalwarp", "-q", "-r", "bilinear", "-t_srs", crs, source, path)
    source.unlink()
    return path


def degree_minutes(value: float, letters: str) -> str:
    """Give degrees as a chart's margin writes them: 36 deg 12.3456' N."""
    degrees = int(abs(value))
    return f"{degrees}°{(abs(value) - degrees) * 60:.5f}' {letters[int(value < 0)]}"


def lifted(frame: gpd.GeoDataFrame, z: np.ndarray) -> gpd.GeoDataFrame:
    """Give each row's points one height."""
    made = [shapely.force_3d(g, v) for g, v in zip(frame.geometry, z, strict=True)]
    return gpd.GeoDataFrame(geometry=made, crs=frame.crs)
