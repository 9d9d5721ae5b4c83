"""Files packed in one, the same bytes for the same content; and file names made of layer names."""

from __future__ import annotations

import io
import re
import zipfile
from collections.abc import Iterable, Mapping
from typing import Final

from ...text import one_line

_OLDEST: Final = (1980, 1, 1, 0, 0, 0)  # the first moment a zip file can tell
_LONGEST: Final = 60


def packed(files: Mapping[str, bytes]) -> bytes:
    """Pack files into a zip archive, without times of day."""
    whole = io.BytesIO()
    with zipfile.ZipFile(whole, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in files.items():
            about = zipfile.ZipInfo(name, _OLDEST)
            about.compress_type = zipfile.ZIP_DEFLATED
            about.external_attr = 0o644 << 16
            archive.writestr(about, content)
    return whole.getvalue()


def file_stems(layers: Iterable[str]) -> dict[str, str]:
    """Give each layer a file name without ending, ``plan-`` and the layer's name with only letters, figures, ``_-``.

    They differ regardless of case, since not every disk tells cases apart.

    Examples
    --------
    >>> file_stems(["holds", "Holds", "../../etc/<x>"])
    {'holds': 'plan-holds', 'Holds': 'plan-Holds_2', '../../etc/<x>': 'plan-etc_x'}
    """
    stems: dict[str, str] = {}
    taken: set[str] = set()
    for layer in layers:
        base = re.sub(r"[^\w-]+", "_", one_line(layer)).strip("_-")[:_LONGEST] or "layer"
        name, number = base, 1
        while name.casefold() in taken:
            number += 1
            name = f"{base}_{number}"
        taken.add(name.casefold())
        stems[layer] = f"plan-{name}"
    return stems
