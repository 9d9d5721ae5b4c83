"""What is run over many lakes, whether an algorithm with its arguments or a steps file: one interface for both."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final, Protocol

from ..algorithm.spec import Output, Spec
from ..parameters.markers import Layer

_PLACE: Final = re.compile(r"\{(lake|name)\}")


def filled(value: Any, lake: str, path: Path) -> Any:
    """Put the lake's file and name where the placeholders stand, wherever in lists."""
    if isinstance(value, (list, tuple)):
        return type(value)(filled(one, lake, path) for one in value)
    if isinstance(value, str):
        return _PLACE.sub(lambda found: str(path) if found[1] == "lake" else lake, value)
    return value


def names_lake(value: Any) -> bool:
    """Whether a placeholder stands in a text."""
    return _PLACE.search(str(value)) is not None


def made_layers(spec: Spec, given: Mapping[str, Any]) -> list[Output]:
    """List the vector layers that are made with these parameters."""
    layers = [o for o in spec.outputs if isinstance(o.marker, Layer)]
    return [o for o in layers if not o.marker.only_with or given.get(o.marker.only_with)]


@dataclass(frozen=True)
class LakeLayer:
    """A vector layer that each lake's result may have.

    ``file`` is its GeoPackage within the result, with ``{name}`` where it holds the lake's name; empty where the result
    is the GeoPackage itself.
    """

    name: str
    geometry: tuple[str, ...]
    file: str = ""

    def path(self, lake: str, result: Path) -> Path:
        """Name the GeoPackage of one lake."""
        return result / self.file.replace("{name}", lake) if self.file else result


class LakeWork(Protocol):
    """What is run over the lakes.

    ``told`` is all that counts for a result besides the content of its inputs; ``folder`` tells whether a result is a
    folder rather than a GeoPackage; ``layers`` are what can be gathered, ``others`` what cannot.
    """

    @property
    def name(self) -> str:
        """Name of the algorithm or of the steps file."""

    @property
    def told(self) -> str:
        """All that counts for a result besides the content of its inputs."""

    @property
    def folders(self) -> str:
        """Where plugins lie; a worker elsewhere is told."""

    @property
    def folder(self) -> bool:
        """Whether a lake's result is a folder."""

    @property
    def layers(self) -> tuple[LakeLayer, ...]:
        """Layers that can be gathered."""

    @property
    def others(self) -> tuple[str, ...]:
        """Outputs that cannot be gathered."""

    def given(self, lake: str, path: Path) -> Mapping[str, Any]:
        """Tell what a worker needs to know for one lake."""

    def inputs(self, given: Mapping[str, Any]) -> Iterator[tuple[str, Sequence[str], Any]]:
        """List the files read for one lake: what for, ``FILE`` or ``FILE:LAYER``, the parameter's marker."""

    def do(self, given: Mapping[str, Any], out: Path) -> tuple[dict[str, int], tuple[str, ...]]:
        """Do one lake: write its result to `out`, return rows by layer and what was noted."""

    def lineage(self, lakes: Sequence[str]) -> str:
        """Write down what the gathered layers were made from."""
