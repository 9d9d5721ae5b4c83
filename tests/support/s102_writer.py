"""An S-102 file of depths, written by the HDF5 library itself (Debian package libhdf5-103-1, which gdal-bin brings).

Groups and attributes as in IHO S-102 edition 2.1, clause 10: BathymetryCoverage.01/Group_001/values holds pairs of depth
(positive down) and uncertainty, 1000000 where nothing is known, the southernmost row first.
"""

from __future__ import annotations

import ctypes
import ctypes.util
from pathlib import Path

import numpy as np

NO_VALUE = 1_000_000.0
_TRUNCATE, _COMPOUND = 2, 6
_ID = ctypes.c_int64
_CALLS = (
    "H5Fcreate", "H5Gcreate2", "H5Tcopy", "H5Screate", "H5Screate_simple", "H5Acreate2", "H5Tcreate", "H5Dcreate2",
)  # fmt: skip


def library() -> str | None:
    return ctypes.util.find_library("hdf5_serial")


class _File:
    def __init__(self, path: Path) -> None:
        self.hdf5 = ctypes.CDLL(library())
        for name in _CALLS:
            getattr(self.hdf5, name).restype = _ID
        self.hdf5.H5open()
        self.id = self.hdf5.H5Fcreate(str(path).encode(), _TRUNCATE, _ID(0), _ID(0))

    def kind(self, name: str) -> ctypes.c_int64:
        return _ID.in_dll(self.hdf5, f"H5T_{name}_g")

    def group(self, parent: int, name: str) -> int:
        return self.hdf5.H5Gcreate2(_ID(parent), name.encode(), _ID(0), _ID(0), _ID(0))

    def attribute(self, at: int, name: str, value: float | str) -> None:
        if isinstance(value, str):
            raw = value.encode()
            kind = _ID(self.hdf5.H5Tcopy(self.kind("C_S1")))
            self.hdf5.H5Tset_size(kind, ctypes.c_size_t(len(raw) + 1))
            buffer = ctypes.create_string_buffer(raw)
        elif isinstance(value, int):
            kind, buffer = self.kind("STD_I32LE"), ctypes.c_int32(value)
        else:
            kind, buffer = self.kind("IEEE_F64LE"), ctypes.c_double(value)
        space = _ID(self.hdf5.H5Screate(0))
        made = _ID(self.hdf5.H5Acreate2(_ID(at), name.encode(), kind, space, _ID(0), _ID(0)))
        self.hdf5.H5Awrite(made, kind, ctypes.byref(buffer))
        self.hdf5.H5Aclose(made)

    def pairs(self, at: int, name: str, values: np.ndarray) -> None:
        """A dataset of named 32-bit numbers in each cell."""
        kind = _ID(self.hdf5.H5Tcreate(_COMPOUND, ctypes.c_size_t(values.dtype.itemsize)))
        for field, (_, offset) in values.dtype.fields.items():
            self.hdf5.H5Tinsert(kind, field.encode(), ctypes.c_size_t(offset), self.kind("IEEE_F32LE"))
        shape = (ctypes.c_uint64 * values.ndim)(*values.shape)
        space = _ID(self.hdf5.H5Screate_simple(values.ndim, shape, None))
        made = _ID(self.hdf5.H5Dcreate2(_ID(at), name.encode(), kind, space, _ID(0), _ID(0), _ID(0)))
        data = np.ascontiguousarray(values)
        self.hdf5.H5Dwrite(made, kind, _ID(0), _ID(0), _ID(0), data.ctypes.data_as(ctypes.c_void_p))
        self.hdf5.H5Dclose(made)


def write_s102(path: Path, depth_m: np.ndarray, west: float, south: float, cell_m: float, epsg: int) -> Path:
    """Write depths, the northernmost row first, NaN where nothing is known.

    Parameters
    ----------
    path
        Ends in .h5.
    depth_m
        Depths, positive down.
    west, south
        Middle of the south-western cell, in metres.
    cell_m, epsg
        Width of a cell, and the reference system.
    """
    pairs = np.zeros(depth_m.shape, dtype=[("depth", "<f4"), ("uncertainty", "<f4")])
    pairs["depth"] = np.where(np.isnan(depth_m), NO_VALUE, depth_m)[::-1]
    pairs["uncertainty"] = np.where(np.isnan(depth_m), NO_VALUE, 0.3)[::-1]
    out = _File(path)
    high, wide = depth_m.shape
    root: dict[str, float | str] = {
        "productSpecification": "INT.IHO.S-102.2.1",
        "horizontalCRS": epsg,
        "horizontalDatumReference": "EPSG",
        "horizontalDatumValue": epsg,
        "verticalDatum": 12,
        "issueDate": "20260516",
    }
    for name, value in root.items():
        out.attribute(out.id, name, value)
    feature = out.group(out.id, "BathymetryCoverage")
    out.attribute(feature, "dimension", 2)
    instance = out.group(feature, "BathymetryCoverage.01")
    grid: dict[str, float | str] = {
        "gridOriginLongitude": float(west),
        "gridOriginLatitude": float(south),
        "gridSpacingLongitudinal": float(cell_m),
        "gridSpacingLatitudinal": float(cell_m),
        "numPointsLongitudinal": wide,
        "numPointsLatitudinal": high,
        "startSequence": "0,0",
    }
    for name, value in grid.items():
        out.attribute(instance, name, value)
    out.pairs(out.group(instance, "Group_001"), "values", pairs)
    out.hdf5.H5close()  # with all that is open in it
    return path
