"""Results of algorithms as arrays for the content store, and back, bit for bit."""

from __future__ import annotations

import io
import json
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any, Final

from ..errors import UsageError
from ..parameters.folder_contents import FolderContents
from ..parameters.markers import FileSet, FolderSet, Layer, Surface

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from ..algorithm.spec import Spec

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
    from .kept_frames import frame_to_arrays

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
        from .kept_frames import arrays_to_frame

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
