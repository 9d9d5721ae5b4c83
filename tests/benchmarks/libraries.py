"""What is written by hand here, beside libraries that do the same: what each keeps of awkward input, and how long it takes.

DEVELOPERS.md says of each part which library lost, and in what; these are the figures. A reader's case is a file and
what a list of spots must come to; a library's answer is said in a word or two, so that it can be read beside ours. Each
runs in a process of its own with 3 GB of memory, because some end their process.
"""

from __future__ import annotations

import io
import resource
import subprocess
import sys
import tempfile
import time
import warnings
import zipfile
from pathlib import Path

import numpy as np

GIB = 1024**3
_MAIN = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
_REL = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
_PACKAGE = "http://schemas.openxmlformats.org/package/2006"
HEAD = '<row r="1"><c r="A1" t="inlineStr"><is><t>name</t></is></c><c r="B1" t="inlineStr"><is><t>depth</t></is></c></row>'


def _xlsx(rows: str, shared: str = "<si><t>x</t></si>") -> bytes:
    parts = {
        "[Content_Types].xml": f'<Types xmlns="{_PACKAGE}/content-types"/>',
        "_rels/.rels": f'<Relationships xmlns="{_PACKAGE}/relationships"><Relationship Id="r" Type="{_REL}/officeDocument" '
        'Target="xl/workbook.xml"/></Relationships>',
        "xl/workbook.xml": f'<workbook xmlns="{_MAIN}" xmlns:r="{_REL}"><sheets><sheet name="S" sheetId="1" r:id="r"/>'
        "</sheets></workbook>",
        "xl/_rels/workbook.xml.rels": f'<Relationships xmlns="{_PACKAGE}/relationships"><Relationship Id="r" '
        f'Type="{_REL}/worksheet" Target="worksheets/sheet1.xml"/></Relationships>',
        "xl/worksheets/sheet1.xml": f'<worksheet xmlns="{_MAIN}"><sheetData>{HEAD}{rows}</sheetData></worksheet>',
        "xl/sharedStrings.xml": f'<sst xmlns="{_MAIN}">{shared}</sst>',
    }
    return _packed(parts)


def _ods(row: str, cell: str, text: str = "x") -> bytes:
    kinds = " ".join(
        f'xmlns:{k}="urn:oasis:names:tc:opendocument:xmlns:{k}:1.0"' for k in ("office", "table", "text")
    )
    inside = f"<table:table-row{row}><table:table-cell{cell}><text:p>{text}</text:p></table:table-cell></table:table-row>"
    head = '<table:table-row><table:table-cell office:value-type="string"><text:p>name</text:p></table:table-cell></table:table-row>'
    body = f'<office:body><office:spreadsheet><table:table table:name="T">{head}{inside}</table:table></office:spreadsheet></office:body>'
    return _packed(
        {
            "mimetype": "application/vnd.oasis.opendocument.spreadsheet",
            "META-INF/manifest.xml": '<manifest:manifest xmlns:manifest="urn:oasis:names:tc:opendocument:xmlns:manifest:1.0"/>',
            "content.xml": f"<office:document-content {kinds}>{body}</office:document-content>",
        }
    )


def _packed(parts: dict[str, str]) -> bytes:
    made = io.BytesIO()
    with zipfile.ZipFile(made, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, text in parts.items():
            archive.writestr(name, text)
    return made.getvalue()


_GPX = '<gpx version="1.1" xmlns="http://www.topografix.com/GPX/1/1">{}</gpx>'
_WPT = '<wpt lat="{}" lon="-85"><name>{}</name>{}</wpt>'
_KML = '<kml xmlns="http://www.opengis.net/kml/2.2"><Document>{}</Document></kml>'
_MARK = "<Placemark><name>{}</name><Point><coordinates>{}</coordinates></Point></Placemark>"
CASES: dict[str, tuple[str, bytes]] = {
    "two cells far apart": ("a.xlsx", _xlsx('<row r="1048576"><c r="XFD1048576"><v>1</v></c></row>')),
    "a text that is not in the workbook": (
        "b.xlsx",
        _xlsx('<row r="2"><c r="A2" t="s"><v>7</v></c></row><row r="3"><c r="A3" t="s"><v>0</v></c></row>'),
    ),
    "a text numbered -1": ("c.xlsx", _xlsx('<row r="2"><c r="A2" t="s"><v>-1</v></c></row>')),
    "a formula never worked out": ("d.xlsx", _xlsx('<row r="2"><c r="A2"><f>B1+1</f></c></row>')),
    "a cell that holds an error": ("e.xlsx", _xlsx('<row r="2"><c r="A2" t="e"><v>#N/A</v></c></row>')),
    "a formula never worked out, ODS": ("a.ods", _ods("", ' table:formula="of:=[.A1]"', "")),
    "a sheet full of one text": (
        "b.ods",
        _ods(
            ' table:number-rows-repeated="1000000"',
            ' office:value-type="string" table:number-columns-repeated="16000"',
        ),
    ),
    "one point of three without a place": (
        "a.gpx",
        _GPX.format(_WPT.format(35, "A", "") + _WPT.format("x", "B", "") + _WPT.format(36, "C", "")).encode(),
    ),
    "elements of its own": (
        "b.gpx",
        _GPX.format(_WPT.format(35, "A", '<extensions><d xmlns="urn:own">12 ft</d></extensions>')).encode(),
    ),
    "one placemark of three without a place": (
        "a.kml",
        _KML.format(
            _MARK.format("A", "-85,35") + _MARK.format("B", "x,y") + _MARK.format("C", "-85,36")
        ).encode(),
    ),
    "a quotation mark left open": ("a.csv", b'name,depth\nA,1\n"B,2\nC,3\nD,4\n'),
    "a row with a cell too many": ("b.csv", b"name,depth\nA,1\nB,2,3\nC,4\n"),
}


def _ours(path: Path) -> str:
    from castshed.toolbox.sources import read_source

    table = read_source(str(path))
    told = [
        "set aside" if table.problem[k] else "/".join(v for v in row if v)
        for k, row in enumerate(table.rows.itertuples(index=False, name=None))
    ]
    return f"{len(table)} rows: {', '.join(told)}"


def _calamine(path: Path) -> str:
    from python_calamine import load_workbook

    rows = load_workbook(str(path)).get_sheet_by_index(0).to_python()
    return f"{len(rows) - 1} rows: {', '.join('/'.join(str(v) for v in row[:3] if v != '') for row in rows[1:4])}"


def _gdal(path: Path) -> str:
    import pyogrio

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        frame = pyogrio.read_dataframe(path, layer="waypoints" if path.suffix == ".gpx" else None)
    kept = "; own element kept" if any("12 ft" in str(v) for v in frame.to_numpy().ravel()) else ""
    names = frame["name" if path.suffix == ".gpx" else "Name"]
    told = (f"{name} {shape}" for name, shape in zip(names, frame.geometry, strict=True))
    return f"{len(frame)} rows: {', '.join(told)}{kept}"


def _fastkml(path: Path) -> str:
    from fastkml import KML, Placemark
    from fastkml.utils import find_all

    marks = list(find_all(KML.from_string(path.read_text()), of_type=Placemark))
    return f"{len(marks)} rows: {', '.join(f'{m.name} {m.geometry}' for m in marks)}"


def _pandas(path: Path) -> str:
    import pandas as pd

    frame = pd.read_csv(path, dtype=str, keep_default_na=False)
    return (
        f"{len(frame)} rows: {', '.join('/'.join(row) for row in frame.itertuples(index=False, name=None))}"
    )


READERS = {
    "castshed": (_ours, (".xlsx", ".ods", ".gpx", ".kml", ".csv")),
    "python-calamine": (_calamine, (".xlsx", ".ods")),
    "GDAL": (_gdal, (".gpx", ".kml")),
    "fastkml": (_fastkml, (".kml",)),
    "pandas": (_pandas, (".csv",)),
}


def _answer(reader: str, path: Path) -> str:
    """Read a file in a process of its own."""
    run = subprocess.run(
        [sys.executable, __file__, reader, str(path)],
        capture_output=True,
        text=True,
        check=False,
        timeout=300,
    )
    if run.returncode < 0:
        return f"the process ends (signal {-run.returncode})"
    return run.stdout.strip() or run.stderr.strip().splitlines()[-1][:160]


def _read() -> dict[str, dict[str, str]]:
    found: dict[str, dict[str, str]] = {}
    with tempfile.TemporaryDirectory() as folder:
        for words, (name, data) in CASES.items():
            path = Path(folder, name)
            path.write_bytes(data)
            found[words] = {r: _answer(r, path) for r, (_, kinds) in READERS.items() if path.suffix in kinds}
    return found


def _least(work, times: int = 3) -> float:
    spent = []
    for _ in range(times):
        start = time.process_time()
        work()
        spent.append(time.process_time() - start)
    return min(spent)


def _sentences(seed: int, count: int) -> dict[str, float]:
    """Processor time for sentences of an echo sounder."""
    import pynmea2

    from castshed.toolbox.intake.logs.nmea import read_nmea

    rng = np.random.default_rng(seed)
    lines = []
    for k in range(count):
        text = (
            f"SDDPT,{rng.uniform(1, 20):.2f},0.3"
            if k % 2
            else f"GPRMC,{k // 3600 % 24:02d}{k // 60 % 60:02d}{k % 60:02d},A,3545.{rng.integers(9999):04d},N,08512.0000,W,4.0,90.0,030531,,"
        )
        check = 0
        for letter in text.encode():
            check ^= letter
        lines.append(f"${text}*{check:02X}")
    data = ("\r\n".join(lines) + "\r\n").encode()
    return {
        "castshed_s": _least(lambda: read_nmea(io.BytesIO(data), "log")),
        "pynmea2_s": _least(lambda: [pynmea2.parse(line) for line in lines], 1),
    }


def _start_up() -> dict[str, float]:
    """Processor time to learn that no installed distribution offers an algorithm."""
    ours = "from castshed.toolbox.algorithm.catalogue import _points as points\n"
    theirs = "from castshed.toolbox.algorithm import catalogue\ndef points():\n from importlib import metadata\n return list(metadata.entry_points(group=catalogue.GROUP))\n"
    tail = "import time; t = time.process_time(); points(); print(time.process_time() - t)"
    return {
        f"{name}_s": min(
            float(subprocess.run([sys.executable, "-c", head + tail], capture_output=True, check=True).stdout)
            for _ in range(5)
        )
        for name, head in (("castshed", ours), ("importlib.metadata", theirs))
    }


def _bottom(seed: int, size: int):
    from scipy.ndimage import gaussian_filter

    rng = np.random.default_rng(seed)
    depth = 8.0 + 60.0 * gaussian_filter(rng.normal(size=(size, size)), size / 25.0)
    return np.where(depth > 0, depth, 0.0).astype(np.float32)


def _drainage(seed: int, size: int) -> dict[str, float]:
    """Processor time to drain a bottom to its deepest cell, and of the first call with its import, in a new process."""
    import pyflwdir

    from castshed.toolbox.water.landform.drainage import drained

    depth = _bottom(seed, size)
    ground = np.where(depth > 0, -depth, -9999.0).astype(np.float32)

    def theirs():
        return pyflwdir.from_dem(ground, nodata=-9999.0, outlets="min").upstream_area("cell")

    def ours():
        return drained(depth, depth > 0)

    apart = int(np.count_nonzero((theirs() > 0) != (depth > 0)))
    pits = int(np.count_nonzero(ours()[0][depth.ravel() > 0] == -1))
    first = {}
    for name, head in (
        ("castshed", "from castshed.toolbox.water.landform.drainage import drained\ndrained(d, d > 0)"),
        ("pyflwdir", "import pyflwdir\npyflwdir.from_dem(-d, outlets='min').upstream_area('cell')"),
    ):
        code = f"import numpy as np, time; t = time.process_time(); d = 1 + np.random.default_rng(1).random((40, 40), dtype=np.float32)\n{head}\nprint(time.process_time() - t)"
        run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
        first[f"{name}_first_call_s"] = float(run.stdout)
    return {
        "castshed_s": _least(ours),
        "pyflwdir_s": _least(theirs),
        **first,
        "cells_pyflwdir_leaves_out": apart,
        "waters": pits,
    }


def _crests(seed: int, size: int) -> dict[str, float]:
    """Processor time to trace the lines through bands of cells; scikit-image does the first of two sweeps only."""
    from scipy.ndimage import label
    from skimage.graph import MCP_Geometric
    from skimage.morphology import skeletonize

    from castshed.toolbox.water.structure.ledges import crest_lines

    depth = _bottom(seed, size)
    band = np.abs(depth - np.median(depth)) < 0.25
    crest = skeletonize(band)
    parts, count = label(band, structure=np.ones((3, 3)))
    crests = [np.argwhere(crest & (parts == k + 1)) for k in range(min(count, 40))]

    def theirs():
        costs = np.where(band, np.where(crest, 1.0, 4.0), -1.0)
        ways = MCP_Geometric(costs, fully_connected=True)
        for cells in crests:
            if len(cells):
                ways.find_costs([tuple(cells[0])])

    return {
        "castshed_all_bands_s": _least(lambda: crest_lines(band, crest, 1.0, 1.0, least_m=6.0)),
        "scikit-image_one_sweep_of_up_to_40_bands_s": _least(theirs, 1),
        "bands": count,
    }


def _paper() -> dict[str, float]:
    """Share of the words of a table's cells that stand on the page and in their cell."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    words = "Hold 24 ft north of the brush, wind over the left shoulder, cast to the deep side, back by noon"
    figure = Figure((11, 8.5))
    axes = figure.subplots()
    table = axes.table([[words] * 4 for _ in range(80)], loc="upper left")
    FigureCanvasAgg(figure).draw()
    inside, page = 0, figure.bbox
    for cell in table.get_celld().values():
        box, room = cell.get_text().get_window_extent(), cell.get_window_extent()
        inside += room.x0 <= box.x0 and box.x1 <= room.x1 and page.y0 <= box.y0
    return {"matplotlib_table_cells_whole": inside / len(table.get_celld())}


class _Planted:
    """What a stranger lays into a folder of results: whoever unpickles it runs his code."""

    def __init__(self, mark: Path) -> None:
        self.mark = mark

    def __reduce__(self):
        return Path.touch, (self.mark,)


def _store() -> dict[str, bool]:
    """Whether a result that a stranger planted runs his code when it is looked up; shelve pickles, as such stores do."""
    import shelve

    from castshed.toolbox.cache.store import Store

    found = {}
    with tempfile.TemporaryDirectory() as folder:
        mark, key = Path(folder, "ran"), "0" * 64
        for place in (Path(folder, "shelf"), Path(folder, "store")):
            place.mkdir(mode=0o700)
        with shelve.open(str(Path(folder, "shelf", "all"))) as shelf:
            shelf[key] = _Planted(mark)
        with shelve.open(str(Path(folder, "shelf", "all"))) as shelf:
            shelf[key]
        found["shelve_runs_planted_code"] = mark.exists()
        mark.unlink(missing_ok=True)
        np.savez(Path(folder, "store", f"{key}.npz"), planted=np.array([_Planted(mark)], dtype=object))
        Store(Path(folder, "store")).get(key)
        found["castshed_runs_planted_code"] = mark.exists()
    return found


def _steps() -> dict[str, int]:
    """Steps that run the second time, of three of which nothing has changed; tests/steps holds that ours are none."""
    import dask

    ran = []

    def step(before):
        ran.append(before)
        return before + 1

    for _ in range(2):
        chain = dask.delayed(step)(dask.delayed(step)(dask.delayed(step)(0)))
        chain.compute(scheduler="synchronous")
    return {"dask_runs_again": len(ran) - 3}


def measure(seed: int, quick: bool) -> dict:
    """Measure readers on awkward input, and times."""
    return {
        "readers": _read(),
        "sentences": _sentences(seed, 4_000 if quick else 100_000),
        "start_up": _start_up(),
        "drainage": _drainage(seed, 300 if quick else 1500),
        "crests": _crests(seed, 300 if quick else 1500),
        "paper": _paper(),
        "store": _store(),
        "steps": _steps(),
    }


if __name__ == "__main__":
    resource.setrlimit(resource.RLIMIT_AS, (3 * GIB, 3 * GIB))
    print(READERS[sys.argv[1]][0](Path(sys.argv[2])))
