"""Reading files of spots: five formats, clean, dirty and hostile."""

import importlib
import json
import shutil
import subprocess
import tracemalloc

import geopandas
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from castshed.toolbox.errors import DataError, FileMissing, LayerMissing, UsageError
from castshed.toolbox.sources import delimited, read_source, read_sources
from castshed.toolbox.sources import delimited as file_text
from castshed.toolbox.sources.source_table import SourceTable
from long_tests import as_many

GPX = """<?xml version="1.0" encoding="UTF-8"?>
<gpx version="1.1" creator="test" xmlns="http://www.topografix.com/GPX/1/1" xmlns:f="urn:x-made:f">
  <wpt lat="35.75" lon="-85.2"><ele>201.2</ele><time>2021-05-03T10:00:00Z</time><name>Old mill &amp; weir</name>
    <cmt>left bank</cmt><desc>two piles</desc><src>own</src><sym>Anchor</sym><type>brush</type>
    <extensions><f:spot depth="12" unit="ft"><f:rating>4</f:rating></f:spot></extensions></wpt>
  <wpt lat="abc" lon="-85.2"><name>broken</name></wpt>
  <wpt lat="nan" lon="-85.2"><name>no number</name></wpt>
  <rte><name>r</name><rtept lat="35.76" lon="-85.21"><name>turn</name></rtept></rte>
  <trk><trkseg><trkpt lat="35.7" lon="-85.1"/></trkseg></trk>
</gpx>"""

KML = """<?xml version="1.0"?>
<kml xmlns="http://www.opengis.net/kml/2.2"><Document><Folder><name>North arm</name>
  <Placemark><name>A</name><description><![CDATA[<b>good</b>]]></description>
    <ExtendedData><Data name="depth_ft"><value>12</value></Data>
      <SchemaData schemaUrl="#s"><SimpleData name="kind">hump</SimpleData></SchemaData></ExtendedData>
    <Point><coordinates>-85.2,35.75,0</coordinates></Point></Placemark>
  <Placemark><name>B</name><LineString><coordinates>-85.2,35.75 -85.21,35.76</coordinates></LineString></Placemark>
  <Placemark><name>C</name><Polygon>
    <outerBoundaryIs><LinearRing><coordinates>0,0 4,0 4,4 0,4 0,0</coordinates></LinearRing></outerBoundaryIs>
    <innerBoundaryIs><LinearRing><coordinates>1,1 2,1 2,2 1,2 1,1</coordinates></LinearRing></innerBoundaryIs>
    </Polygon></Placemark></Folder>
  <Placemark><name>D</name><MultiGeometry><Point><coordinates>1,2</coordinates></Point>
    <Point><coordinates>3,4</coordinates></Point></MultiGeometry></Placemark>
  <Placemark><name>E</name><Point><coordinates>here</coordinates></Point></Placemark>
  <Placemark><name>F</name></Placemark>
  <NetworkLink><Link><href>http://example.invalid/x.kml</href></Link></NetworkLink>
</Document></kml>"""


def write(folder, name, data):
    path = folder / name
    path.write_bytes(data if isinstance(data, bytes) else data.encode())
    return str(path)


# Tables ------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("delimiter", [",", ";", "\t", "|"])
def test_the_delimiter_is_found(tmp_path, delimiter):
    rows = [["id", "lat", "lon", "note"], ["1", "35.75", "-85.2", "a b"], ["2", "35.76", "-85.21", "c"]]
    table = read_source(write(tmp_path, "a.csv", "\n".join(delimiter.join(r) for r in rows)))
    assert list(table.rows.columns) == rows[0]
    assert table.rows.to_numpy().tolist() == rows[1:]
    assert table.line.tolist() == [2, 3]


def test_decimal_commas_do_not_pass_for_the_delimiter(tmp_path):
    table = read_source(write(tmp_path, "a.csv", "id;lat;lon\n1;35,7525;-85,2041\n2;35,7526;-85,2042\n"))
    assert table.rows["lat"].tolist() == ["35,7525", "35,7526"]


@pytest.mark.parametrize(
    ("coding", "mark"),
    [
        ("utf-8", b""),
        ("utf-8-sig", b""),
        ("cp1252", b""),
        ("utf-16", b""),
        ("utf-16-le", b"\xff\xfe"),
        ("utf-32", b""),
    ],
)
def test_encodings_give_the_same_text(tmp_path, coding, mark):
    text = "name,lat,lon\nPêcherie ½ – Ñu,35.75,-85.2\n"
    table = read_source(write(tmp_path, "a.csv", mark + text.encode(coding)))
    assert table.rows["name"].tolist() == ["Pêcherie ½ – Ñu"]
    assert bool(table.said) == (coding == "cp1252")


@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_line_numbers_count_lines_of_the_file(tmp_path, end):
    text = end.join(
        [
            "Habitat list",
            "",
            "name,lat,lon,note",
            '"A, big",35.75,-85.2,"two',
            'lines"',
            "",
            "B,35.76,-85.21,",
            "",
        ]
    )
    table = read_source(write(tmp_path, "a.csv", text))
    assert table.line.tolist() == [4, 7]
    assert table.rows["name"].tolist() == ["A, big", "B"]
    assert table.text[1] == "B,35.76,-85.21,"
    assert "1 title line above the header left out" in table.said


def test_an_open_quote_costs_one_row_not_the_file(tmp_path):
    lines = ["name,lat,lon", "A,35.75,-85.2", '"B,35.76,-85.21', *(f"C{i},35.77,-85.22" for i in range(200))]
    table = read_source(write(tmp_path, "a.csv", "\n".join(lines)))
    assert len(table) == 202
    assert [i for i, problem in enumerate(table.problem) if problem] == [1]
    assert "quote" in table.problem[1]
    assert table.text[1] == '"B,35.76,-85.21'


def test_a_row_with_surplus_cells_has_a_problem_and_its_text(tmp_path):
    table = read_source(
        write(tmp_path, "a.csv", "name,lat,lon\nA, the big one,35.75,-85.2\nB,35.7,-85.2,,\nC,35.7\n")
    )
    assert [bool(p) for p in table.problem] == [True, False, False]
    assert table.text[0] == "A, the big one,35.75,-85.2"
    assert table.rows["lon"].tolist()[2] == ""


def test_headers_that_repeat_or_lack_get_names(tmp_path):
    table = read_source(write(tmp_path, "a.csv", "lat,lon,note,note,\n35.75,-85.2,a,b,c\n"))
    assert list(table.rows.columns) == ["lat", "lon", "note", "note (2)", "column 5"]


def test_formulas_stay_text(tmp_path):
    cells = ["=cmd|' /C calc'!A0", "+1+1", "@SUM(1)", "-2+3", "=HYPERLINK(1)"]
    table = read_source(
        write(tmp_path, "a.csv", "lat,lon,note\n" + "".join(f"35.75,-85.2,{c}\n" for c in cells))
    )
    assert table.rows["note"].tolist() == cells


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"name,lat,lon\nA\x00B,35.75,-85.2\n", "NUL characters (first at line 2)"),
        (b"\x00\x00\x00\x00name,lat,lon\n", "NUL characters"),
        (b"\xff\xfe\x00", "says it is utf-16-le but is not"),
        (b"", "is empty"),
        (b" \n\n \t\n", "is empty"),
        (b"\n,,,\n", "has no rows"),
        (b"name,lat,lon\n" + b"x" * (delimited.LONGEST_LINE + 1), "a line of"),
        (b"a," * 500 + b"\n", "columns, more than"),
        (b"PK\x03\x04\x14\x00", "cannot be unpacked"),
        (b"\x00\x00\x27\x0a\x00", "shapefile"),
        (b"%PDF-1.7", "a PDF"),
    ],
)
def test_a_file_that_is_no_table_is_refused(tmp_path, data, words):
    with pytest.raises(DataError, match=r"\.csv") as caught:
        read_source(write(tmp_path, "a.csv", data))
    assert words in str(caught.value)


def test_control_characters_are_replaced_and_counted(tmp_path):
    table = read_source(write(tmp_path, "a.csv", "name,lat,lon\nA\x07\x1bB,35.75,-85.2\n"))
    assert table.rows["name"].tolist() == ["A  B"]
    assert "2 control characters replaced by spaces" in table.said


def test_a_huge_file_is_refused_within_bounded_memory(tmp_path, monkeypatch):
    monkeypatch.setattr(file_text, "LARGEST_BYTES", 1024 * 1024)
    path = tmp_path / "big.csv"
    with path.open("wb") as stream:
        stream.truncate(100 * 1024 * 1024)  # sparse: 100 MB without a line end
    tracemalloc.start()
    with pytest.raises(DataError, match="too large"):
        read_source(str(path))
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert peak < 8 * 1024 * 1024


def test_a_cell_beyond_all_measure_costs_one_row(tmp_path):
    table = read_source(
        write(tmp_path, "a.csv", f"name,lat,lon\n{'x' * 200_000},35.75,-85.2\nB,35.76,-85.21\n")
    )
    assert ["too long" in problem for problem in table.problem] == [True, False]


@pytest.mark.parametrize(
    ("data", "name", "limit"),
    [
        (b"lat,lon\n" + b"\n" * 30_000, "delimited", "MOST_LINES"),
        (b"lat,lon\n" + b"1,2\n" * 6_000, "delimited", "MOST_CELLS"),
        (b"[" + b"{}," * 12_000, "geojson", "_MOST_PARTS"),
        (b"<gpx>" + b"<a/>" * 12_000, "xml_zip_reading", "_MOST_ELEMENTS"),
    ],
)
def test_a_file_of_too_many_parts_is_refused(tmp_path, monkeypatch, data, name, limit):
    monkeypatch.setattr(importlib.import_module(f"castshed.toolbox.sources.{name}"), limit, 10_000)
    with pytest.raises(DataError, match=r"more than 10,000"):
        read_source(write(tmp_path, "a.csv", data))


def test_geojson_may_stand_in_one_line(tmp_path):
    feature = {"type": "Feature", "properties": {"note": "x" * 100}, "geometry": None}
    text = json.dumps({"type": "FeatureCollection", "features": [feature] * 9000})
    assert len(text) > delimited.LONGEST_LINE
    assert len(read_source(write(tmp_path, "a.geojson", text))) == 9000


def test_too_many_rows_are_refused(tmp_path, monkeypatch):
    monkeypatch.setattr(delimited, "MOST_ROWS", 100)
    with pytest.raises(DataError, match="more than 100 rows"):
        read_source(write(tmp_path, "a.csv", "lat,lon\n" + "35.75,-85.2\n" * 200))


def test_files_and_layers_that_are_not_there_are_named(tmp_path):
    with pytest.raises(FileMissing, match=r"nowhere\.csv"):
        read_source(str(tmp_path / "nowhere.csv"))
    with pytest.raises(DataError, match="is a folder"):
        read_source(str(tmp_path))
    with pytest.raises(UsageError, match="give the file alone"):
        read_source(write(tmp_path, "a.csv", "lat,lon\n1,2\n") + ":spots")


# GPX ---------------------------------------------------------------------------------------------------------------


def test_gpx_keeps_every_element_of_its_points(tmp_path):
    table = read_source(write(tmp_path, "a.gpx", GPX))
    assert table.rows["name"].tolist() == ["Old mill & weir", "broken", "no number", "turn"]
    first = table.rows.iloc[0]
    assert first[["comment", "description", "source", "symbol", "type", "ele", "surveyed"]].tolist() == [
        "left bank", "two piles", "own", "Anchor", "brush", "201.2", "2021-05-03T10:00:00Z",
    ]  # fmt: skip
    assert first[["spot depth", "spot unit", "rating"]].tolist() == ["12", "ft", "4"]
    assert [bool(p) for p in table.problem] == [False, True, True, False]
    assert table.geometry[0].equals(shapely.Point(-85.2, 35.75))
    assert table.line.tolist() == [3, 6, 7, 8]
    assert "1 track left out" in table.said[0]


@pytest.mark.skipif(shutil.which("gpsbabel") is None, reason="gpsbabel is not installed")
def test_gpx_written_by_an_independent_program(tmp_path):
    # gpsbabel reads "lat, lon, name" and writes GPX; positions must come back to its seven figures.
    source = write(tmp_path, "a.txt", "35.7525505,-85.2041505,Mill\n-35.1,170.25,Räuschen\n")
    made = str(tmp_path / "a.gpx")
    subprocess.run(["gpsbabel", "-i", "csv", "-f", source, "-o", "gpx", "-F", made], check=True, timeout=60)
    table = read_source(made)
    assert table.rows["name"].tolist() == ["Mill", "Räuschen"]
    assert [(p.x, p.y) for p in table.geometry] == [
        pytest.approx((-85.2041505, 35.7525505), abs=1e-7),
        pytest.approx((170.25, -35.1), abs=1e-7),
    ]


BOMB = """<?xml version="1.0"?><!DOCTYPE gpx [<!ENTITY a "aaaaaaaaaa">
<!ENTITY b "&a;&a;&a;&a;&a;&a;&a;&a;&a;&a;"><!ENTITY c "&b;&b;&b;&b;&b;&b;&b;&b;&b;&b;">]>
<gpx><wpt lat="1" lon="2"><name>&c;</name></wpt></gpx>"""
OUTSIDE = """<?xml version="1.0"?><!DOCTYPE gpx [<!ENTITY x SYSTEM "file:///etc/hostname">]>
<gpx><wpt lat="1" lon="2"><name>&x;</name></wpt></gpx>"""
REMOTE = '<!DOCTYPE kml PUBLIC "x" "http://example.invalid/x.dtd"><kml/>'


@pytest.mark.parametrize("text", [BOMB, OUTSIDE, REMOTE])
def test_document_types_are_refused_so_no_entity_is_ever_expanded(tmp_path, text):
    with pytest.raises(DataError, match="document type"):
        read_source(write(tmp_path, "a.gpx", text))


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("<gpx><wpt", "not well-formed XML"),
        ("<gpx>&nobody;</gpx>", "not well-formed XML"),
        ("<gpx>" + "<a>" * 100 + "</a>" * 100 + "</gpx>", "nests more than"),
        ("<gpx><name>" + "x" * 300_000 + "</name></gpx>", "characters (line 1)"),
        ("<html><body/></html>", "root 'html'"),
        ('<?xml version="1.0" encoding="no-such-code"?><gpx/>', "XML"),
        ("<gpx>\x00</gpx>", "not well-formed XML"),
    ],
)
def test_broken_xml_is_refused_in_words(tmp_path, text, words):
    with pytest.raises(DataError) as caught:
        read_source(write(tmp_path, "a.gpx", text))
    assert words in str(caught.value)


# KML, GeoJSON, layers ------------------------------------------------------------------------------------------------


def test_kml_shapes_and_data(tmp_path):
    table = read_source(write(tmp_path, "a.kml", KML))
    assert table.rows["name"].tolist() == ["A", "B", "C", "D", "E", "F"]
    assert table.rows["folder"].tolist() == ["North arm"] * 3 + [""] * 3
    assert table.rows.loc[0, ["depth_ft", "kind", "description"]].tolist() == ["12", "hump", "<b>good</b>"]
    types = [g.geom_type if g is not None else None for g in table.geometry]
    assert types == ["Point", "LineString", "Polygon", "MultiPoint", None, None]
    assert table.geometry[2].area == pytest.approx(15.0)  # 4 x 4 less a hole of 1 x 1
    assert [bool(p) for p in table.problem] == [False] * 4 + [True, False]
    assert table.said == ("1 network link not followed",)


def test_geojson_features_properties_and_problems(tmp_path):
    features = [
        {"type": "Feature", "id": 7, "properties": {"name": "A", "depth_m": 3.5, "list": [1]}, "geometry":
            {"type": "Point", "coordinates": [-85.2, 35.75, 9.0]}},
        {"type": "Feature", "properties": None, "geometry": {"type": "Point", "coordinates": "here"}},
        {"type": "Feature", "properties": {"name": "C", "flag": None}, "geometry": None},
        "odd",
    ]  # fmt: skip
    table = read_source(
        write(tmp_path, "a.geojson", json.dumps({"type": "FeatureCollection", "features": features}))
    )
    assert table.rows.loc[0].to_dict() == {
        "name": "A",
        "depth_m": "3.5",
        "list": "[1]",
        "id": "7",
        "flag": "",
    }
    assert [bool(p) for p in table.problem] == [False, True, False, True]
    assert (table.counted, table.line.tolist()) == ("feature", [1, 2, 3, 4])
    assert table.crs == "OGC:CRS84"


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ('{"type": "FeatureCollection", "features": [', "not JSON"),
        ('{"type": "Topology"}', "not a GeoJSON FeatureCollection"),
        ("[1, 2]", "not a GeoJSON FeatureCollection"),
        ('{"type": "FeatureCollection", "features": ' + "[" * 100_000, "too deeply"),
        ('{"type": "FeatureCollection", "features": [{"a": NaN}]}', "not a number of JSON"),
        ('{"type": "FeatureCollection", "features": [], "x": ' + "9" * 10_000 + "}", "not JSON"),
        (
            '{"type": "FeatureCollection", "features": [], "crs": {"properties": {"name": "EPSG:0"}}}',
            "not known",
        ),
        ('{"type": "FeatureCollection", "features": [], "crs": 4326}', "not known"),
    ],
)
def test_broken_geojson_is_refused_in_words(tmp_path, text, words):
    with pytest.raises(DataError) as caught:
        read_source(write(tmp_path, "a.geojson", text))
    assert words in str(caught.value)


def test_what_the_file_holds_decides_not_its_name(tmp_path):
    assert read_source(write(tmp_path, "a.txt", GPX)).kind == "gpx"
    assert read_source(write(tmp_path, "a.gpx", "lat,lon\n35.75,-85.2\n")).kind == "csv"
    assert read_source(write(tmp_path, "a.xml", b"\xef\xbb\xbf" + KML.encode())).kind == "kml"


def test_layers_of_a_geopackage(tmp_path):
    path = tmp_path / "lake.gpkg"
    frame = geopandas.GeoDataFrame(
        {"spot_id": [1.0, 2.0], "depth_m": [3.25, None], "name": ["A", None]},
        geometry=[shapely.Point(1, 2), None],
        crs="EPSG:32616",
    )
    frame.to_file(path, layer="spots")
    frame.to_file(path, layer="others")
    table = read_source(f"{path}:spots")
    assert table.name == "lake.gpkg:spots"
    assert table.rows.to_numpy().tolist() == [["1", "3.25", "A"], ["2", "", ""]]
    assert table.geometry[1] is None
    with pytest.raises(LayerMissing, match="others"):
        read_source(f"{path}:nothing")


def test_a_frame_is_a_source_and_is_not_changed():
    frame = geopandas.GeoDataFrame(
        {"name": ["A"], "n": [3.0]}, geometry=[shapely.Point(1, 2)], crs="EPSG:32616"
    )
    before = frame.copy(deep=True)
    table = SourceTable.from_frame(frame, "mine")
    assert (len(table), table.rows.loc[0].tolist(), table.line.tolist()) == (1, ["A", "3"], [1])
    assert frame.equals(before)


def test_several_sources_keep_their_order(tmp_path):
    paths = [write(tmp_path, f"{n}.csv", "lat,lon\n35.75,-85.2\n") for n in "ba"]
    assert [t.name for t in read_sources(paths)] == ["b.csv", "a.csv"]


SEEDS = {
    "a.csv": b'id;name;lat;lon;depth\n1;"A, b";35,75;-85,2;10\'\n2;B;N35 45.1;W85 12.2;8 to 12 ft\n',
    "a.gpx": GPX.encode(),
    "a.kml": KML.encode(),
    "a.geojson": b'{"type":"FeatureCollection","features":[{"type":"Feature","id":1,"properties":{"a":[1]},'
    b'"geometry":{"type":"LineString","coordinates":[[-85.2,35.7],[-85.21,35.71]]}}]}',
}


@given(
    st.sampled_from(sorted(SEEDS)),
    st.lists(st.tuples(st.integers(0, 2000), st.binary(max_size=6)), max_size=6),
)
@settings(max_examples=as_many(250), deadline=None)
def test_damaged_files_give_a_table_or_a_clear_error(tmp_path_factory, name, cuts):
    data = SEEDS[name]
    for where, piece in cuts:
        at = where % (len(data) + 1)
        data = data[:at] + piece + data[at + len(piece) // 2 :]
    path = write(tmp_path_factory.getbasetemp(), name, data)
    words, table = name, None
    try:
        table = read_source(path)
    except DataError as refused:
        words = str(refused)
    assert name in words
    if table is not None:
        assert len(table) == len(table.line) == len(table.text) == len(table.problem)
        assert table.geometry is None or len(table.geometry) == len(table)
