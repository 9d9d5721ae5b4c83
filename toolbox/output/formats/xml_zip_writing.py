"""XML written so that any text is safe in it, and files packed in one, the same bytes for the same content."""

from __future__ import annotations

import io
import math
import re
import zipfile
from collections.abc import Iterable, Mapping
from datetime import date, datetime
from typing import Any, Final
from xml.etree import ElementTree as ET
from xml.sax.saxutils import escape

import numpy as np

from ...text import clean, is_missing, one_line, utc

_SPECIAL: Final = re.compile('[&<>"]')
_NOT_IN_NAMES: Final = re.compile(r"[^A-Za-z0-9_.-]")


def child(
    parent: ET.Element, tag: str, text: Any = None, attributes: Mapping[str, str] | None = None
) -> ET.Element:
    """Append an element; its text is cleaned of what XML cannot hold, and escaped when written."""
    element = ET.SubElement(parent, tag)
    for name, value in (attributes or {}).items():
        element.set(name, clean(value))
    if text is not None:
        element.text = clean(text)
    return element


def escaped(text: Any) -> str:
    """Clean and escape a text so that it may stand between tags, or between quotation marks in one.

    Examples
    --------
    >>> escaped('Fish & "<chips>"')
    'Fish &amp; &quot;&lt;chips&gt;&quot;'
    """
    shown = clean(text)
    if _SPECIAL.search(shown) is None:
        return shown
    return escape(shown, {'"': "&quot;"})


def value_text(value: Any) -> str | None:
    """Write a cell of a table as text: times with a zone in UTC, numbers in full, None where there is nothing.

    Examples
    --------
    >>> value_text(5.0), value_text("2031-05-03T06:30:00-05:00"), value_text(float("inf"))
    ('5.0', '2031-05-03T11:30:00Z', None)
    """
    if type(value) is float:  # most are
        return repr(value) if math.isfinite(value) else None
    if is_missing(value):
        return None
    if isinstance(value, np.generic):
        value = value.item()
    if isinstance(value, float) and not math.isfinite(value):
        return None
    if isinstance(value, (datetime, date)):
        return utc(value) or value.isoformat()
    if isinstance(value, bool):
        return "true" if value else "false"
    return utc(value) or clean(value) if isinstance(value, str) and "T" in value else clean(value)


def tag_names(columns: Iterable[str], *, reserved: Iterable[str] = ()) -> dict[str, str]:
    """Find an XML name for each column, all different and none of the reserved ones.

    Examples
    --------
    >>> tag_names(["depth_m", "2 way <x>", "2 way (x)"])
    {'depth_m': 'depth_m', '2 way <x>': '_2_way__x_', '2 way (x)': '_2_way__x__2'}
    """
    names: dict[str, str] = {}
    taken = set(reserved)
    for column in columns:
        base = _NOT_IN_NAMES.sub("_", column) or "_"
        if not re.match(r"[A-Za-z_]", base) or base.lower().startswith("xml"):
            base = "_" + base
        name, number = base, 1
        while name in taken:
            number += 1
            name = f"{base}_{number}"
        taken.add(name)
        names[column] = name
    return names


def document(root: ET.Element) -> bytes:
    """Write the whole document in UTF-8, indented, the same bytes for the same content."""
    ET.indent(root, space=" ")
    # as text first: written as bytes, each of its pieces would be encoded alone, at several times the cost
    return f"<?xml version='1.0' encoding='UTF-8'?>\n{ET.tostring(root, encoding='unicode')}\n".encode()


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
