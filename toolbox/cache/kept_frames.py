"""Layers as plain arrays and back, bit for bit: coordinates as well-known binary, columns as they are."""

from __future__ import annotations

import json
import math
from typing import TYPE_CHECKING, Any, Final

from ..level_told import LEVEL, level_of_layer

if TYPE_CHECKING:
    from collections.abc import Mapping

    from geopandas import GeoDataFrame
    from numpy.typing import NDArray

    Arrays = dict[str, NDArray[Any]]

_NUMBERS: Final = "iufb"
_NAN: Final = {"no": "number"}


def _words(values: Any) -> list[Any] | None:
    """Texts, gaps and not-a-numbers of a column as JSON knows them; None where it holds anything else."""
    found: list[Any] = []
    for value in values:
        if value is None or type(value) is str:
            found.append(value)
        elif type(value) is float and math.isnan(value):
            found.append(_NAN)
        else:
            return None
    return found


def frame_to_arrays(frame: GeoDataFrame) -> tuple[dict[str, Any], Arrays] | None:
    """Take a layer apart.

    Parameters
    ----------
    frame
        Columns of numbers, truths and texts, rows counted from 0.

    Returns
    -------
    head, arrays
        What JSON can hold, and arrays by a name within the layer; None where the layer has something else in it.
    """
    import numpy as np
    import pandas as pd
    import shapely

    rows = frame.index
    if not (isinstance(rows, pd.RangeIndex) and rows.equals(pd.RangeIndex(len(frame))) and rows.name is None):
        return None
    level_m = level_of_layer(frame)
    others = frame.attrs.keys() - ({LEVEL} if level_m is not None else set())
    if others or not frame.columns.is_unique or frame.columns.name is not None:
        return None
    arrays: Arrays = {}
    kinds: list[list[Any]] = []
    for number, name in enumerate(frame.columns):
        values = frame[name]
        kind = str(values.dtype)
        if kind == "geometry":
            shapes = values.to_numpy()
            binary = shapely.to_wkb(shapes, byte_order=1, include_srid=False)
            parts = [b"" if one is None else one for one in binary]
            arrays[f"{number} ends"] = np.cumsum([len(one) for one in parts], dtype=np.int64)
            arrays[str(number)] = np.frombuffer(b"".join(parts), dtype=np.uint8)
            system = None if values.crs is None else values.crs.to_json_dict()
            kinds.append([name, kind, system])
        elif isinstance(values.dtype, np.dtype) and values.dtype.kind in _NUMBERS:
            arrays[str(number)] = values.to_numpy()
            kinds.append([name, kind, None])
        elif kind in ("object", "str"):
            words = _words(values.array)
            if words is None:
                return None
            arrays[str(number)] = np.frombuffer(json.dumps(words).encode(), dtype=np.uint8)
            kinds.append([name, kind, None])
        else:
            return None
        if type(name) is not str:
            return None
    head = {"rows": len(frame), "columns": kinds, "active": frame.geometry.name}
    return head if level_m is None else head | {"level_m": level_m}, arrays


def arrays_to_frame(head: Mapping[str, Any], arrays: Mapping[str, NDArray[Any]]) -> GeoDataFrame:
    """Put a layer together again.

    Raises
    ------
    ValueError
        The arrays do not fit each other.
    """
    import geopandas
    import numpy as np
    import pandas as pd
    import pyproj
    import shapely

    columns: dict[str, Any] = {}
    for number, (name, kind, system) in enumerate(head["columns"]):
        held = arrays[str(number)]
        if kind == "geometry":
            content, begin, shapes = held.tobytes(), 0, []
            ends = arrays[f"{number} ends"].tolist()
            if ends != sorted(ends) or [0, *ends][-1] != len(content) or len(ends) != head["rows"]:
                raise ValueError(f"the shapes of {name} end where their content does not")
            for end in ends:
                shapes.append(content[begin:end] or None)
                begin = end
            crs = None if system is None else pyproj.CRS.from_json_dict(system)
            made = np.asarray(shapely.from_wkb(np.array(shapes, dtype=object)), dtype=object)
            columns[name] = geopandas.GeoSeries(made, crs=crs)
        elif kind in ("object", "str"):
            words = [float("nan") if one == _NAN else one for one in json.loads(held.tobytes())]
            columns[name] = pd.Series(np.array([*words, None], dtype=object)[:-1]).astype(kind)
        else:
            columns[name] = pd.Series(held)
    frame = pd.DataFrame(columns, index=pd.RangeIndex(head["rows"]))
    made_frame = geopandas.GeoDataFrame(frame, geometry=head["active"])
    if "level_m" in head:
        made_frame.attrs[LEVEL] = head["level_m"]
    return made_frame
