"""Results of algorithms, and the frames in them, as arrays for the content store, and back, bit for bit."""

from __future__ import annotations

import io
import json
import math
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any, Final

from ..errors import UsageError
from ..lineage import LEVEL, level_of_layer
from ..parameters.files import FolderContents
from ..parameters.markers import FileSet, FolderSet, Layer, Surface

if TYPE_CHECKING:
    from geopandas import GeoDataFrame
    from numpy.typing import NDArray

    from ..algorithm.spec import Spec

    Arrays = dict[str, NDArray[Any]]

_HEAD: Final = "head"
SHAPE: Final = ("west_m", "north_m", "cell_x_m", "cell_y_m", "error_m", "quantity", "stated_unit")


def _bytes(content: bytes) -> NDArray[Any]:
    import numpy as np

    return np.frombuffer(content, dtype=np.uint8)


def _packed(value: Any, key: str, head: dict[str, Any], arrays: dict[str, NDArray[Any]]) -> None:
    """Put one layer or surface under a key."""
    if not hasattr(value, "geometry"):
        arrays[key] = value.depth_m
        head[key] = {name: getattr(value, name) for name in SHAPE} | {"crs": value.crs.to_json_dict()}
        return

    apart = frame_to_arrays(value)
    if apart is not None:
        head[key] = {"frame": apart[0]}
        arrays |= {f"{key} {name}": held for name, held in apart[1].items()}
        return
    from ..layers.text_sequence import write_sequence

    stream = io.BytesIO()
    write_sequence(stream, {"layer": value})
    arrays[key] = _bytes(stream.getvalue())
    head[key] = {}


def _unpacked(key: str, head: Mapping[str, Any], arrays: Mapping[str, NDArray[Any]]) -> Any:
    told = dict(head[key])
    if "frame" in told:
        within = f"{key} "
        held = {name.removeprefix(within): one for name, one in arrays.items() if name.startswith(within)}
        return arrays_to_frame(told["frame"], held)
    if told:
        import pyproj

        from ..depth import DepthSurface

        crs = pyproj.CRS.from_json_dict(told.pop("crs"))
        return DepthSurface(arrays[key], crs=crs, **told)
    from ..layers.text_sequence import read_sequence

    return read_sequence(io.BytesIO(arrays[key].tobytes()))["layer"]


def pack(spec: Spec, result: Any, notes: Sequence[str]) -> dict[str, NDArray[Any]]:
    """Turn a result, and what was noted while it was made, into arrays.

    Raises
    ------
    UsageError
        The algorithm makes something that is not kept: it changes a file of the user's.
    """
    from ..algorithm.contracts import output_items

    head: dict[str, Any] = {"notes": list(notes)}
    arrays: dict[str, NDArray[Any]] = {}
    marker = spec.outputs[0].marker
    if isinstance(marker, (FileSet, FolderSet)):
        contents = result if isinstance(result, FolderContents) else FolderContents(files=dict(result))
        head["folder"] = {"files": list(contents.files), "layers": {}, "said": list(contents.said)}
        head["folder"] |= {"types": dict(contents.types), "figures": dict(contents.figures)}
        for name, content in contents.files.items():
            arrays[f"file {name}"] = _bytes(content)
        for file, layers in contents.layers.items():
            head["folder"]["layers"][file] = list(layers)
            for name, value in layers.items():
                _packed(value, f"layer {file} {name}", head, arrays)
    elif all(isinstance(o.marker, (Layer, Surface)) for o in spec.outputs):
        pairs = output_items(spec, result)
        head["made"] = [output.name for output, _ in pairs]
        for output, value in pairs:
            _packed(value, f"layer {output.name}", head, arrays)
    else:
        raise UsageError(f"{spec.name} changes a file of yours; run it on its own, not as a step.")
    from ..report import plain

    arrays[_HEAD] = _bytes(json.dumps(plain(head), ensure_ascii=False).encode())
    return arrays


def unpack(spec: Spec, arrays: Mapping[str, NDArray[Any]]) -> tuple[Any, list[str]]:
    """Turn arrays of `pack` into the result and its notes; what an algorithm returned as a tuple is a tuple again."""
    head = json.loads(arrays[_HEAD].tobytes())
    if "folder" in head:
        told = head["folder"]
        contents = FolderContents(
            layers={
                file: {name: _unpacked(f"layer {file} {name}", head, arrays) for name in names}
                for file, names in told["layers"].items()
            },
            files={name: arrays[f"file {name}"].tobytes() for name in told["files"]},
            types={name: tuple(kinds) for name, kinds in told["types"].items()},
            figures=told["figures"],
            said=tuple(told["said"]),
        )
        return contents, head["notes"]
    made = {name: _unpacked(f"layer {name}", head, arrays) for name in head["made"]}
    if not spec.several:
        return next(iter(made.values())), head["notes"]
    return tuple(made.get(output.name) for output in spec.outputs), head["notes"]


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
