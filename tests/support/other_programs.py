"""Programs that are not ours and read our files back: found, or said to be missing and where they come from."""

from __future__ import annotations

import importlib.util
import os
import shutil
import subprocess
from pathlib import Path

import pytest

NPM_FOLDER = os.environ.get("CASTSHED_NPM", "")
"""Folder into which npm has put geojson-schema, geostyler-sld-parser, jsonix, ogc-schemas and w3c-schemas."""


def missing(what: str, source: str) -> None:
    """Skip a test, saying why; in the gate, where everything is installed, fail instead."""
    told = f"{what} is not installed ({source})"
    if os.environ.get("CI"):
        pytest.fail(told)
    pytest.skip(told)


def program(name: str, package: str) -> str:
    """Path of a program of a Debian package."""
    found = shutil.which(name)
    if found is None:
        missing(name, f"Debian package {package}")
    return str(found)


def told_by(*command: object) -> str:
    """Give what a program prints; it must end well."""
    done = subprocess.run(list(map(str, command)), check=False, capture_output=True, text=True)
    assert done.returncode == 0, done.stderr[-2000:] or done.stdout[-2000:]
    return done.stdout


def npm_package(name: str) -> Path:
    """Folder of a package of npm."""
    folder = Path(NPM_FOLDER) / "node_modules" / name
    if not NPM_FOLDER or not folder.is_dir():
        if not NPM_FOLDER and shutil.which("npm") is None:
            pytest.skip(f"{name}: npm is not installed, so nothing of it is")
        missing(name, "npm; CASTSHED_NPM names the folder of its node_modules")
    return folder


def geopackage_validator() -> tuple[str, Path]:
    """Python with GDAL's bindings, and the GeoPackage validator of GDAL 3.13 or newer."""
    python = next(
        (
            found
            for found in ("/usr/bin/python3", shutil.which("python3"))
            if found and not subprocess.run([found, "-c", "import osgeo.gdal"], check=False, capture_output=True).returncode
        ),
        None,
    )  # fmt: skip
    if python is None:
        missing("Python's GDAL", "Debian package python3-gdal")
    spec = importlib.util.find_spec("osgeo_utils")
    if spec is None or not spec.submodule_search_locations:
        missing("GDAL's GeoPackage validator", "pip install --no-deps 'gdal-utils>=3.13'")
    assert python
    assert spec
    assert spec.submodule_search_locations
    return python, Path(next(iter(spec.submodule_search_locations))) / "samples" / "validate_gpkg.py"
