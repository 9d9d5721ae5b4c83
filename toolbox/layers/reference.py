"""A layer as it is named: ``FILE:LAYER``."""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path

from ..errors import UsageError
from ..real_files import is_there


@dataclass(frozen=True)
class Reference:
    """A file and, when named, a layer of it."""

    path: Path
    layer: str | None = None

    def __str__(self) -> str:
        return f"{self.path}:{self.layer}" if self.layer else str(self.path)


def parse_reference(text: str) -> Reference:
    r"""Split ``FILE:LAYER``; a drive letter (``C:\lake.gpkg``) is not a layer.

    Raises
    ------
    UsageError
        The text is empty or names no file.

    Examples
    --------
    >>> parse_reference("lake.gpkg:spots").layer
    'spots'
    """
    text = text.strip()
    if not text:
        raise UsageError("An empty file name was given; write FILE.gpkg:LAYER.")
    if is_there(Path(text)):
        return Reference(Path(text))
    path, colon, layer = text.rpartition(":")
    if colon and len(path) > 1 and not re.search(r"[/\\]", layer):
        if not layer:
            raise UsageError(f"'{text}' names no layer after the colon; write FILE.gpkg:LAYER.")
        return Reference(Path(path), layer)
    return Reference(Path(text))
