"""Sheets of an OpenDocument spreadsheet (ISO/IEC 26300, .ods): the values its cells hold."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from ..errors import DataError
from .file_text import MOST_ROWS
from .rows_of_cells import MOST_CELLS, GridRow
from .source_table import cell_text
from .workbook import table_of_sheet
from .xml_reading import parse_markup

if TYPE_CHECKING:
    from collections.abc import Iterator

    from .source_table import SourceTable
    from .xml_reading import Element
    from .zip_reading import Packed

_GROUPS: Final = ("table-row-group", "table-header-rows", "table-rows")
_MOST_COLUMNS: Final = 16_384


def _repeat(element: Element, key: str) -> int:
    text = element.attributes.get(key, "1")
    return max(1, min(int(text), 2**31)) if text.isascii() and text.isdigit() and len(text) < 12 else 1


def _words(paragraph: Element) -> str:
    """Text of a paragraph; runs of spaces, tabs and line ends are elements there."""
    parts: list[str] = []
    at = 0
    for one in paragraph.children:
        parts += paragraph.pieces[at : one.after]
        at = one.after
        if one.name == "s":
            parts.append(" " * min(_repeat(one, "c"), 1000))
        elif one.name in ("tab", "line-break"):
            parts.append(" ")
        elif one.name != "annotation":
            parts.append(_words(one))
    return "".join([*parts, *paragraph.pieces[at:]])


def _value(cell: Element) -> str:
    kind = cell.attributes.get("value-type", "")
    if kind in ("float", "percentage", "currency"):
        text = cell.attributes.get("value", "")
        try:
            return cell_text(float(text))
        except ValueError:
            return text
    if kind == "date":
        return cell.attributes.get("date-value", "")
    if kind == "boolean":
        return cell.attributes.get("boolean-value", "").upper()
    shown = "\n".join(_words(one) for one in cell.children if one.name == "p")
    formula = cell.attributes.get("formula", "")
    return shown or formula


def _rows(table: Element) -> Iterator[Element]:
    stack = list(reversed(table.children))
    while stack:
        one = stack.pop()
        if one.name == "table-row":
            yield one
        elif one.name in _GROUPS:
            stack.extend(reversed(one.children))


def _read(table: Element, name: str) -> list[GridRow]:
    found: list[GridRow] = []
    line = 1
    count = 0
    for row in _rows(table):
        cells: list[str] = []
        gap = 0
        for cell in row.children:
            if cell.name not in ("table-cell", "covered-table-cell"):
                continue
            times, text = _repeat(cell, "number-columns-repeated"), _value(cell)
            if not text.strip():
                gap += times
                continue
            if len(cells) + gap + times > _MOST_COLUMNS:
                raise DataError(f"{name} has more than {_MOST_COLUMNS:,} columns: it is no list of spots.")
            cells += [""] * gap + [text] * times
            gap = 0
        times = _repeat(row, "number-rows-repeated")
        if cells:
            count += len(cells) * times
            if len(found) + times > MOST_ROWS or count > MOST_CELLS:
                raise DataError(f"{name} has too many rows or cells for a list of spots; split it.")
            found += [GridRow(cells, line + k) for k in range(times)]
        line += times
    return found


def read_opendocument(packed: Packed, sheet: str | None) -> SourceTable:
    """Read one sheet of an OpenDocument spreadsheet.

    Parameters
    ----------
    packed
        The file.
    sheet
        Its name; without one the sheet that looks most like a list of spots.

    Returns
    -------
    Rows count as in the sheet; remarks pinned to cells are left out.

    Raises
    ------
    DataError
        It is broken, no spreadsheet, or too large.
    LayerMissing
        There is no such sheet.
    """
    root = parse_markup(packed.read("content.xml"), f"{packed.name} (content.xml)")
    tables = [one for one in root.walk() if one.name == "table" and one.attributes.get("name")]
    if not tables:
        raise DataError(f"{packed.name} holds no sheet; save the list as a spreadsheet or as CSV.")
    sheets = {one.attributes["name"]: _read(one, packed.name) for one in tables}
    return table_of_sheet(sheets, sheet, packed.name)
