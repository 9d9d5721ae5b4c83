"""Sheets of workbooks (.xlsx, .ods): the values their cells show. Nothing in them is ever run."""

from __future__ import annotations

import re
from datetime import datetime, timedelta
from posixpath import join, normpath
from typing import TYPE_CHECKING, Final

from ..errors import DataError, LayerMissing
from .columns import known_headers
from .delimited import MOST_ROWS
from .source_table import MOST_CELLS, TITLE_LINES, GridRow, cell_text, make_table
from .xml_zip_reading import parse_markup

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from .source_table import SourceTable
    from .xml_zip_reading import Element, Packed

_BOOK: Final = "xl/workbook.xml"
# Number formats that show a day (ECMA-376 part 1, 18.8.30), and letters that make a format of one's own show a day.
_DAYS: Final = frozenset((*range(14, 18), 22, *range(27, 37), *range(50, 59)))
_QUOTED: Final = re.compile(r'"[^"]*"|\[[^\]]*\]|\\.')
_CELL: Final = re.compile(r"([A-Z]{1,3})(\d{1,7})")
_MOST_COLUMNS: Final = 16_384


def _rows_of_part(packed: Packed, name: str) -> Element | None:
    return parse_markup(packed.read(name), f"{packed.name} ({name})") if name in packed.names else None


def _strings(packed: Packed) -> list[str]:
    root = _rows_of_part(packed, "xl/sharedStrings.xml")
    found = []
    for item in root.children if root is not None else ():
        runs = [one for one in item.children if one.name in ("t", "r")]
        found.append(
            "".join(
                t.flow for one in runs for t in ([one] if one.name == "t" else one.children) if t.name == "t"
            )
        )
    return found


def _day_styles(packed: Packed) -> set[int]:
    """Numbers of the cell styles that show a number as a day."""
    root = _rows_of_part(packed, "xl/styles.xml")
    if root is None:
        return set()
    own: dict[str, str] = {}
    formats = root.child("numFmts")
    for one in formats.children if formats is not None else ():
        own[one.attributes.get("numFmtId", "")] = one.attributes.get("formatCode", "")
    days = set()
    styles = root.child("cellXfs")
    for number, style in enumerate(styles.children if styles is not None else ()):
        code = style.attributes.get("numFmtId", "0")
        shown = _QUOTED.sub("", own.get(code, "")).lower()
        if (code.isdigit() and int(code) in _DAYS) or re.search(r"[yd]", shown):
            days.add(number)
    return days


def _as_day(text: str, start: datetime) -> str:
    try:
        moment = start + timedelta(days=float(text))
    except (ValueError, OverflowError):
        return text
    moment = (moment + timedelta(microseconds=500_000)).replace(microsecond=0)
    return moment.date().isoformat() if moment.time() == datetime.min.time() else moment.isoformat()


def _number(text: str) -> str:
    try:
        return cell_text(float(text))
    except ValueError:
        return text


class _Sheets:
    def __init__(self, packed: Packed) -> None:
        book = parse_markup(packed.read(_BOOK), f"{packed.name} ({_BOOK})")
        related = _rows_of_part(packed, "xl/_rels/workbook.xml.rels")
        targets = {
            one.attributes.get("Id", ""): one.attributes.get("Target", "")
            for one in (related.children if related is not None else ())
        }
        sheets = book.child("sheets")
        self.packed = packed
        self.parts = {
            one.attributes.get("name", ""): normpath(
                join("xl", targets.get(one.attributes.get("id", ""), ""))
            ).removeprefix("/")
            for one in (sheets.children if sheets is not None else ())
        }
        properties = book.child("workbookPr")
        old = properties is not None and properties.attributes.get("date1904", "0") in ("1", "true")
        self.start = datetime(1904, 1, 1) if old else datetime(1899, 12, 30)  # noqa: DTZ001  # sheets know no zones
        self.strings = _strings(packed)
        self.days = _day_styles(packed)
        self.unworked = 0
        self.lost: list[str] = []

    def value(self, cell: Element) -> str:
        """Read one cell: what it shows; a formula that was never worked out stands as its text."""
        kind, text = cell.attributes.get("t", "n"), cell.text_of("v")
        formula = cell.child("f")
        if formula is not None and not text and kind != "inlineStr":
            self.unworked += 1
            return f"={formula.text}"
        if kind == "s":
            at = int(text) if text.isascii() and text.isdigit() and len(text) < 10 else -1
            if 0 <= at < len(self.strings):
                return self.strings[at]
            if text or cell.child("v") is not None:
                self.lost.append(cell.attributes.get("r", "") or "a cell without a name")
            return ""
        if kind == "inlineStr":
            inside = cell.child("is")
            return "".join(t.flow for t in inside.walk() if t.name == "t") if inside is not None else ""
        if kind == "b":
            return {"1": "TRUE", "0": "FALSE"}.get(text, text)
        if kind in ("str", "e", "d"):
            return text
        style = cell.attributes.get("s", "0")
        return (
            _as_day(text, self.start)
            if text and style.isdigit() and int(style) in self.days
            else _number(text)
        )

    def rows(self, sheet: str) -> list[GridRow]:
        """Read the rows of a sheet that hold anything."""
        part = self.parts[sheet]
        root = parse_markup(self.packed.read(part), f"{self.packed.name} ({sheet})")
        data = root.child("sheetData")
        found: list[GridRow] = []
        line = count = 0
        for row in data.children if data is not None else ():
            stated = row.attributes.get("r", "")
            line = int(stated) if stated.isascii() and stated.isdigit() and len(stated) < 9 else line + 1
            cells: list[str] = []
            lost = len(self.lost)
            for cell in row.children:
                place = _CELL.fullmatch(cell.attributes.get("r", ""))
                at = len(cells)
                if place is not None:
                    at = 0
                    for letter in place[1]:
                        at = at * 26 + ord(letter) - 64
                    at -= 1
                if at >= _MOST_COLUMNS:
                    raise DataError(
                        f"{self.packed.name} has a cell beyond column XFD in sheet '{sheet[:40]}'."
                    )
                text = self.value(cell)
                if text.strip():
                    cells += [""] * (at + 1 - len(cells))
                    cells[at] = text
            count += len(cells)
            if gone := self.lost[
                lost:
            ]:  # the row is told and left out by name, never read as if the cells were blank
                where = ", ".join(gone[:5]) + (f" and {len(gone) - 5} more" if len(gone) > 5 else "")
                problem = (
                    f"the text of {where} is not in the workbook; save it again in the program it comes from"
                )
                found.append(GridRow(cells or [""], line, problem))
            elif cells:
                found.append(GridRow(cells, line))
            if len(found) > MOST_ROWS or count > MOST_CELLS:
                raise DataError(
                    f"{self.packed.name} has too many rows or cells for a list of spots; split it."
                )
        return found


def table_of_sheet(
    sheets: dict[str, list[GridRow]], wanted: str | None, name: str, said: Sequence[str] = ()
) -> SourceTable:
    """Make a source of the sheet asked for, else of the one whose top rows name most known columns; say which are left.

    Raises
    ------
    LayerMissing
        There is no sheet of that name.
    DataError
        No sheet holds anything.
    """
    noticed = list(said)
    if wanted is None:
        filled = [sheet for sheet, rows in sheets.items() if rows]
        if not filled:
            raise DataError(f"{name} has no rows; a list of spots has at least a line of column names.")
        known = [max(known_headers(row.cells) for row in sheets[sheet][:TITLE_LINES]) for sheet in filled]
        wanted = filled[known.index(max(known))]
        if others := [sheet for sheet in filled if sheet != wanted]:
            noticed.insert(
                0,
                f"sheet '{wanted}' read; not read: {', '.join(others)} (give {name}:SHEET for one of them)",
            )
    elif wanted not in sheets:
        raise LayerMissing(f"{name} has no sheet '{wanted}'; it has: {', '.join(sheets)}.")
    whole = f"{name}:{wanted}" if len(sheets) > 1 else name
    return make_table(sheets[wanted], whole, kind="sheet", counted="row", said=noticed)


def read_workbook(packed: Packed, sheet: str | None) -> SourceTable:
    """Read one sheet of a workbook.

    Parameters
    ----------
    packed
        The file.
    sheet
        Its name; without one the sheet that looks most like a list of spots.

    Returns
    -------
    Rows count as in the sheet. Days are ISO texts, numbers their shortest form; a formula stands for the value it
    showed when the file was saved.

    Raises
    ------
    DataError
        It is broken or too large.
    LayerMissing
        There is no such sheet.
    """
    sheets = _Sheets(packed)
    rows = {name: sheets.rows(name) if sheet in (None, name) else [] for name in sheets.parts}
    said = [f"{sheets.unworked} formulas without a value kept as text"] if sheets.unworked else []
    return table_of_sheet(rows, sheet, packed.name, said)


_GROUPS: Final = ("table-row-group", "table-header-rows", "table-rows")


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
