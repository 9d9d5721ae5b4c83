"""What an algorithm gives back for a folder of results."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any


@dataclass(frozen=True)
class FolderContents:
    """What an algorithm puts into a folder.

    Attributes
    ----------
    layers
        GeoPackage file name -> layer name -> frame or depth surface.
    files
        File name -> bytes.
    types
        Layer name -> geometry types, for layers that may be without rows.
    figures
        The few numbers that matter, for the report.
    said
        Lines for people, printed at the end of the command.
    then
        The command to run next, printed last; {folder} stands for the folder.
    """

    layers: Mapping[str, Mapping[str, Any]] = field(default_factory=dict)
    files: Mapping[str, bytes] = field(default_factory=dict)
    types: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    figures: Mapping[str, Any] = field(default_factory=dict)
    said: tuple[str, ...] = ()
    then: str = ""
