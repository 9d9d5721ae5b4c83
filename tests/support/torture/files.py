"""Dirty files: how each is made, and what has to come of it: the rows read, or the words of the refusal.

All data are invented. Workbooks are made by other libraries (openpyxl, odfpy), shapefiles by GDAL.
"""

import io
import struct
import warnings
import zipfile

ROW = "A1,Mill brush,35.75125,-85.19875,12 ft,Cedar trees,two piles"
HEAD = "id,name,lat,lon,depth,type,note"
CSV = f"{HEAD}\n{ROW}\n"
GPX = (
    '<?xml version="1.0"?><gpx version="1.1" creator="t" xmlns="http://www.topografix.com/GPX/1/1">'
    '<wpt lat="35.75125" lon="-85.19875"><name>Mill brush</name><desc>two piles</desc><type>Cedar trees</type></wpt></gpx>'
)
KML = (
    '<?xml version="1.0"?><kml xmlns="http://www.opengis.net/kml/2.2"><Document><Placemark><name>Mill brush</name>'
    "<description>two piles</description><Point><coordinates>-85.19875,35.75125</coordinates></Point></Placemark>"
    "</Document></kml>"
)
BOMB = (
    '<?xml version="1.0"?><!DOCTYPE g [<!ENTITY a "aaaaaaaaaa"><!ENTITY b "&a;&a;&a;&a;&a;&a;&a;&a;&a;&a;">'
    '<!ENTITY c "&b;&b;&b;&b;&b;&b;&b;&b;&b;&b;">]><gpx version="1.1"><wpt lat="1" lon="2"><name>&c;</name></wpt></gpx>'
)
OUTSIDE = (
    '<?xml version="1.0"?><!DOCTYPE g [<!ENTITY x SYSTEM "file:///etc/hostname">]>'
    '<gpx version="1.1"><wpt lat="1" lon="2"><name>&x;</name></wpt></gpx>'
)


def packed(members, method=zipfile.ZIP_DEFLATED):
    out = io.BytesIO()
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # zipfile warns of names that stand twice
        with zipfile.ZipFile(out, "w", method) as archive:
            for name, data in members:
                archive.writestr(name, data)
    return out.getvalue()


def workbook(rows, *, sheets=None):
    import openpyxl

    book = openpyxl.Workbook()
    first = True
    for title, body in (sheets or {"Sheet1": rows}).items():
        sheet = book.active if first else book.create_sheet()
        first = False
        sheet.title = title
        for row in body:
            sheet.append(row)
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def opendocument(rows, *, repeated=1):
    from odf.opendocument import OpenDocumentSpreadsheet
    from odf.table import Table, TableCell, TableRow
    from odf.text import P

    book = OpenDocumentSpreadsheet()
    table = Table(name="Sites")
    for row in rows:
        line = TableRow()
        for cell in row:
            if isinstance(cell, float):
                line.addElement(TableCell(valuetype="float", value=repr(cell)))
                continue
            made = TableCell(valuetype="string")
            made.addElement(P(text=str(cell)))
            line.addElement(made)
        table.addElement(line)
    table.addElement(TableRow(numberrowsrepeated=str(repeated)))
    book.spreadsheet.addElement(table)
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def shapefile(folder, *, prj=True, encoding="UTF-8", cpg=True, name="Mill brush"):
    import geopandas
    import shapely

    frame = geopandas.GeoDataFrame(
        {"NAME": [name, None], "DEPTH_FT": [12.0, 9.0], "TYPE": ["Cedar trees", "rock"]},
        geometry=[shapely.Point(-85.19875, 35.75125), None], crs="EPSG:4326",
    )  # fmt: skip
    path = folder / "sites.shp"
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        frame.to_file(path, encoding=encoding)
    if not prj:
        path.with_suffix(".prj").unlink()
    if not cpg:
        path.with_suffix(".cpg").unlink()
    return path


def big_member():
    """A small file that unpacks to 200 MB."""
    return packed([("doc.kml", b"<kml>" + b" " * 200_000_000 + b"</kml>")])


def sheet_repeated(row, cell):
    """A sheet of one cell that says it stands there many times."""
    inside = f'<table-row{row}><table-cell{cell} value-type="string"><p>x</p></table-cell></table-row>'
    text = f'<document-content><table name="A">{inside}</table></document-content>'
    return packed([("content.xml", text)])


CELLS = [HEAD.split(","), ["A1", "Mill brush", 35.75125, -85.19875, "12 ft", "Cedar trees", "two piles"]]

# File name, bytes (or how to make them), and what comes of it: rows of (name, depth in feet or None), all of them on
# the lake at the true place, or words of the error.
GOOD = [
    ("plain.csv", CSV.encode(), [("Mill brush", 12)]),
    ("mark.csv", b"\xef\xbb\xbf" + CSV.encode(), [("Mill brush", 12)]),
    ("utf16.csv", CSV.encode("utf-16"), [("Mill brush", 12)]),
    ("utf16_bare.csv", CSV.encode("utf-16-le"), [("Mill brush", 12)]),
    ("utf16_bare_be.csv", CSV.encode("utf-16-be"), [("Mill brush", 12)]),
    ("utf32.csv", CSV.encode("utf-32"), [("Mill brush", 12)]),
    ("cp1252.csv", CSV.replace("Mill", "Mühle").encode("cp1252"), [("Mühle brush", 12)]),
    ("utf8.csv", CSV.replace("Mill", "Mühle").encode(), [("Mühle brush", 12)]),
    ("semicolon.csv", CSV.replace(",", ";").encode(), [("Mill brush", 12)]),
    ("tab.tsv", CSV.replace(",", "\t").encode(), [("Mill brush", 12)]),
    ("bar.txt", CSV.replace(",", "|").encode(), [("Mill brush", 12)]),
    ("mac.csv", CSV.replace("\n", "\r").encode(), [("Mill brush", 12)]),
    ("dos.csv", CSV.replace("\n", "\r\n").encode(), [("Mill brush", 12)]),
    ("no_end.csv", CSV.rstrip().encode(), [("Mill brush", 12)]),
    (
        "titles.csv",
        b"Fish habitat of an invented lake\nPrinted 2020\n\n" + CSV.encode(),
        [("Mill brush", 12)],
    ),
    ("wrong_name.xlsx", CSV.encode(), [("Mill brush", 12)]),
    ("quoted.csv", CSV.replace("Mill brush", '"Mill\nbrush"').encode(), [("Mill\nbrush", 12)]),
    ("bell.csv", CSV.replace("Mill", "Mill\x07").encode(), [("Mill  brush", 12)]),
    ("formula.csv", CSV.replace("two piles", "=cmd|' /C calc'!A0").encode(), [("Mill brush", 12)]),
    ("path.csv", CSV.replace("Mill brush", "../../etc/passwd").encode(), [("../../etc/passwd", 12)]),
    ("points.gpx", GPX.encode(), [("Mill brush", None)]),
    (
        "no_space.gpx",
        GPX.replace(' xmlns="http://www.topografix.com/GPX/1/1"', "").encode(),
        [("Mill brush", None)],
    ),
    (
        "route.gpx",
        GPX.replace("<wpt", "<rte><rtept").replace("</wpt>", "</rtept></rte>").encode(),
        [("Mill brush", None)],
    ),
    ("places.kml", KML.encode(), [("Mill brush", None)]),
    ("places.kmz", packed([("doc.kml", KML)]), [("Mill brush", None)]),
    ("deep.kmz", packed([("../../doc.kml", KML), ("images/a.png", b"x")]), [("Mill brush", None)]),
    ("two.kmz", packed([("a.kml", KML), ("b.kml", KML)]), [("Mill brush", None), ("Mill brush", None)]),
    ("one.zip", packed([("list.csv", CSV)]), [("Mill brush", 12)]),
    ("list.xlsx", lambda: workbook(CELLS), [("Mill brush", 12)]),
    ("titles.xlsx", lambda: workbook([["Habitat"], [], *CELLS]), [("Mill brush", 12)]),
    (
        "sheets.xlsx",
        lambda: workbook([], sheets={"Read me": [["hello"]], "Sites": CELLS, "Empty": []}),
        [("Mill brush", 12)],
    ),
    (
        "formula.xlsx",
        lambda: workbook([CELLS[0], [*CELLS[1][:6], "=cmd|' /C calc'!A0"]]),
        [("Mill brush", 12)],
    ),
    ("list.ods", lambda: opendocument(CELLS), [("Mill brush", 12)]),
    ("long.ods", lambda: opendocument(CELLS, repeated=1_048_573), [("Mill brush", 12)]),
]

BAD = [
    ("empty.csv", b"", "is empty"),
    ("nul.csv", CSV.replace("Mill", "Mi\x00ll").encode(), "NUL characters"),
    ("long.csv", CSV.encode() + b"x" * 2_000_000, "a line of"),
    ("huge.csv", lambda: b"x" * 100_000_000, "larger than"),
    ("paper.csv", b"%PDF-1.7\n", "a PDF"),
    ("old.xls", b"\xd0\xcf\x11\xe0" + bytes(600), "an old workbook"),
    ("bomb.gpx", BOMB.encode(), "document type"),
    ("outside.gpx", OUTSIDE.encode(), "document type"),
    ("bomb.kml", BOMB.replace("gpx", "kml").encode(), "document type"),
    ("bomb.kmz", packed([("doc.kml", BOMB)]), "document type"),
    ("half.gpx", GPX[:200].encode(), "not well-formed"),
    ("page.gpx", b"<html><body>Not found</body></html>", "root 'html'"),
    ("deep.gpx", b"<gpx>" + b"<a>" * 5000, "nests more than"),
    ("big.kmz", big_member, "unpacks to more than"),
    ("big.xlsx", lambda: packed([("xl/workbook.xml", b"<workbook>" + b" " * 200_000_000)]), "unpacks to more than"),
    ("crowd.zip", lambda: packed([(f"{i}.txt", b"") for i in range(2001)], zipfile.ZIP_STORED), "packs 2,001 files"),
    ("nothing.zip", packed([]) or b"PK\x05\x06" + bytes(18), "no table|holds no one|cannot|no rows|NUL"),
    ("photos.zip", packed([("a.png", b"x"), ("b.png", b"y")]), "holds no one list"),
    ("nested.zip", packed([("inner.zip", packed([("list.csv", CSV)]))]), "holds no one list"),
    ("cut.xlsx", lambda: workbook(CELLS)[:-200], "cannot be unpacked"),
    ("no_sheet.xlsx", packed([("xl/workbook.xml", "<workbook/>")]), "no rows"),
    ("lost_sheet.xlsx", packed([("xl/workbook.xml", '<workbook><sheets><sheet name="A"/></sheets></workbook>')]), "lacks"),
    ("bomb.xlsx", packed([("xl/workbook.xml", BOMB)]), "document type"),
    ("wide.ods", lambda: sheet_repeated("", ' number-columns-repeated="900000000"'), "columns"),
    ("tall.ods", lambda: sheet_repeated(' number-rows-repeated="900000000"', ""), "too many rows"),
    ("letter.odt", packed([("content.xml", "<document-content/>")]), "holds no sheet"),
    ("list.json", b'{"type": "Topology"}', "not a GeoJSON"),
    ("deep.json", b"[" * 100_000, "nests|not JSON"),
    ("alone.shp", struct.pack(">i", 9994) + bytes(120), "lacks its part"),
    ("rules.toml", b"[colums]\n", "not known"),
]  # fmt: skip
