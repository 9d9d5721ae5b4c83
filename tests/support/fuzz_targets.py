"""What reads a stranger's bytes: each target takes bytes, and has some whole ones to begin with.

A target may end well or with one of our own errors that says something; anything else is a fault.
"""

from __future__ import annotations

import io
import zipfile
from pathlib import Path

import pandas as pd

from castshed.toolbox import dates_and_times as dates
from castshed.toolbox import sources, units
from castshed.toolbox.intake.book import positions as metric_pairs
from castshed.toolbox.intake.logs import log_table as logs
from castshed.toolbox.intake.series import (
    forecast_table,
    json_rows,
    level_table,
    level_words,
    series_table,
    series_times,
)
from castshed.toolbox.intake.series import forecast_table as wind_text
from castshed.toolbox.intake.series import json_rows as waterml
from castshed.toolbox.intake.series import series_file as gauge_json
from castshed.toolbox.intake.series import series_times as series_dates
from castshed.toolbox.layers import parse_reference, text_sequence
from castshed.toolbox.plan import day_file as day
from castshed.toolbox.sources import cell_texts as coordinates
from castshed.toolbox.sources import cell_texts as depth_text
from castshed.toolbox.sources import columns as how_to_read
from castshed.toolbox.sources import xml_zip_reading as xml_reading
from castshed.toolbox.steps import steps_file
from castshed.toolbox.water.day import day_offers
from hostile_cases import lake_file

DEMO = Path(__file__).parents[2] / "demo_layers"
KINDS = sorted(units.ACCEPTED)


def _demo(name, most=3000):
    return (DEMO / name).read_bytes()[:most]


def _text(data):
    return data.decode("utf-8", "replace")


def _by_first(data, choices):
    """The first byte chooses, the rest is what it is chosen for."""
    return choices[data[0] % len(choices)] if data else choices[0], data[1:]


def _quantity(_folder, data):
    kind, rest = _by_first(data, KINDS)
    units.parse(_text(rest), kind)


def _quantities():
    words = (
        "80ft",
        "5ft 6in",
        "-4.5 m",
        "12 mph",
        "1h 20min",
        "SW",
        "225deg",
        "30gal",
        "2 gal/h",
        "1,5m",
        "0.3048 m",
    )
    return [bytes([k]) + word.encode() for k in range(len(KINDS)) for word in words]


def _reference(_folder, data):
    parse_reference(_text(data))


def _day(folder, data):
    file = folder / "day.toml"
    file.write_bytes(data)
    day.read_day(file)


def _days():
    bare = "\n".join(
        line
        for line in _text(_demo("day.toml", 9000)).splitlines()
        if line.strip() and not line.startswith("#")
    )
    bare = bare.replace("reservoir.gpkg", "lake.gpkg").replace("Sedgewick Landing", "South ramp")
    whole = "\n".join(line.removeprefix("# ").split("   #")[0].rstrip() for line in bare.splitlines())
    return [bare.encode(), whole.encode(), whole.replace("speed", "#").replace("today", "#").encode()]


def _place(_folder, data):
    text = _text(data)
    coordinates.read_angle(text)
    coordinates.read_pair(text)
    metric_pairs.read_metres(text)
    metric_pairs.read_metric_pair(text)


def _words(_folder, data):
    choice, rest = _by_first(data, range(7))
    text = _text(rest)
    if choice == 0:
        for unit in (None, "ft", "m"):
            depth_text.read_depth(text, unit)
    elif choice == 1:
        dates.read_dates(text.split("\n"))
    elif choice == 2:
        series_times.read_time(text, "America/Chicago")
    elif choice == 3:
        series_times.zone_of(text)
    elif choice == 4:
        level_words.datum_name(text)
        level_words.datum_in(text)
        level_words.head_words(text)
    elif choice == 5:
        forecast_table.parse_entries(text.split("\n"), "columns", ("time", "gust"))
    else:
        how_to_read.parse_rules(rest, "rules.toml")


OFFERS = pd.DataFrame(
    {
        "spot_id": ["s1", "s2", "gull rock"],
        "kind": ["hump", "ledge", "brush"],
        "rating": [5.0, float("nan"), 0.0],
        "depth_m": [3.0, -1.0, float("inf")],
    }
)


def _offers(_folder, data):
    choice, rest = _by_first(data, range(3))
    text = _text(rest)
    if choice == 0:
        day_offers.worth_of(OFFERS, text)
    elif choice == 1:
        start = pd.Timestamp("2026-05-16T06:00-05:00")
        day_offers.wished_windows(text.split("\n"), {"s1": "s1", "gull rock": "gull rock"}, start)
    else:
        day_offers.stays_by_kind(OFFERS, text.split("\n"), 1500.0)


def _log(folder, data):
    choice, rest = _by_first(data, range(4))
    file = folder / "log"
    file.write_bytes(rest)
    logs.LogFile(file).read(
        unchecked=bool(choice & 1),
        day_s=1.7e9 if choice & 2 else float("nan"),
        depth_unit="m" if choice & 2 else None,
    )


LOG_CSV = b"LON,LAT,DEPTH,TIME\n-93.1,36.5,4.2,2026-05-16T06:00:00Z\n-93.2,36.5,,x\n"
LOG_JSON = (
    b'{"type":"FeatureCollection","properties":{"platform":{"sensors":[{"draft":0.4}]}},"features":[{"type":"Feature",'
    b'"geometry":{"type":"Point","coordinates":[-93.1,36.5]},"properties":{"depth":4.2,"time":"2026-05-16T06:00:00Z"}}]}'
)


def _list(_folder, data):
    sources._read_content(data, "list")


PACKED = (
    "xl/workbook.xml",
    "xl/worksheets/sheet1.xml",
    "xl/sharedStrings.xml",
    "xl/styles.xml",
    "content.xml",
    "doc.kml",
    "a.csv",
)


def _packed(_folder, data):
    """Members of a packed file, parted by the byte 0x1d; the byte before each says which it is."""
    made = io.BytesIO()
    with zipfile.ZipFile(made, "w") as packed:
        taken = set()
        for part in data.split(b"\x1d")[:6]:
            name, rest = _by_first(part, PACKED)
            if name not in taken:
                packed.writestr(name, rest)
            taken.add(name)
    sources._read_packed(made.getvalue(), "list.zip", None)


def _packed_seeds():
    book = (
        b'\x00<workbook xmlns:r="r"><workbookPr date1904="1"/><sheets><sheet name="Spots" sheetId="1" r:id="rId1"/></sheets>'
        b'</workbook>\x1d\x01<worksheet><sheetData><row r="1"><c r="A1" t="s"><v>0</v></c><c r="B1" t="inlineStr"><is><t>lat</t>'
        b'</is></c></row><row r="2"><c r="A2" s="0"><v>45000.5</v></c><c r="B2" t="b"><v>1</v></c></row></sheetData><mergeCells>'
        b'<mergeCell ref="A1:A2"/></mergeCells></worksheet>\x1d\x02<sst><si><t>name</t></si></sst>\x1d\x03<styleSheet><numFmts>'
        b'<numFmt numFmtId="164" formatCode="d.m.yy"/></numFmts><cellXfs><xf numFmtId="164"/></cellXfs></styleSheet>'
    )
    sheet = (
        b'\x04<office:document-content xmlns:office="o" xmlns:table="t" xmlns:text="x"><office:body><office:spreadsheet>'
        b'<table:table table:name="a"><table:table-row table:number-rows-repeated="2"><table:table-cell office:value-type="float"'
        b' office:value="1.5" table:number-columns-repeated="3"><text:p>1.5</text:p></table:table-cell></table:table-row>'
        b"</table:table></office:spreadsheet></office:body></office:document-content>"
    )
    return [book, sheet, b"\x05" + KML, b"\x06" + _demo("habitat_sites.csv", 600)]


KML = (
    b'<kml xmlns="http://www.opengis.net/kml/2.2"><Document><Folder><name>f</name><Placemark><name>a</name><ExtendedData>'
    b'<Data name="depth"><value>4 ft</value></Data></ExtendedData><Point><coordinates>-93.1,36.5,0</coordinates></Point>'
    b"</Placemark><Placemark><MultiGeometry><LineString><coordinates>-93,36 -93.1,36.1</coordinates></LineString><Polygon>"
    b"<outerBoundaryIs><LinearRing><coordinates>-93,36 -93,37 -92,37 -93,36</coordinates></LinearRing></outerBoundaryIs>"
    b"</Polygon></MultiGeometry></Placemark></Folder></Document></kml>"
)
GEOJSON = (
    b'{"type":"FeatureCollection","crs":{"type":"name","properties":{"name":"urn:ogc:def:crs:OGC:1.3:CRS84"}},"features":['
    b'{"type":"Feature","id":1,"geometry":{"type":"Point","coordinates":[-93.1,36.5]},"properties":{"name":"a","depth":4}},'
    b'{"type":"Feature","geometry":{"type":"Polygon","coordinates":[[[0,0],[1,0],[1,1],[0,0]]]},"properties":null},'
    b'{"type":"Feature","geometry":null,"properties":{"x":[1,{"y":null}]}}]}'
)


def _pool(_folder, data):
    choice, rest = _by_first(data, range(5))
    if choice == 4:
        table = waterml.parse_waterml(xml_reading.parse_markup(rest, "pool"), "pool")
    else:
        table = (gauge_json.parse_gauge_json if choice & 1 else series_table.parse_delimited)(rest, "pool")
    told = {"unit": "ft", "zone": "America/Chicago", "datum": "NGVD 29"} if choice & 2 else {}
    level_table.to_levels(table, **told)


GAUGE = (
    b'{"type":"FeatureCollection","features":[{"properties":{"time":"2026-05-16T06:00:00+00:00","value":"708.1",'
    b'"unit_of_measure":"ft","parameter_code":"62614"}}]}'
)
GAUGE_OLD = (
    b'{"value":{"timeSeries":[{"variable":{"variableCode":[{"value":"62614"}],"unit":{"unitCode":"ft"},"noDataValue":-9},'
    b'"values":[{"value":[{"value":"708.1","dateTime":"2026-05-16T06:00:00.000-05:00","qualifiers":["P"]}]}]}]}}'
)
GAUGE_TABLE = (
    b"# US\nagency_cd\tsite_no\tdatetime\ttz_cd\t1_62614\t1_62614_cd\n5s\t15s\t20d\t6s\t14n\t10s\n"
    b"X\t07\t2026-05-16 06:00\tCST\t708.1\tP\nX\t07\t2026-05-16 07:00\tCST\tIce\tP\n"
)


WATERML = (
    b'<c xmlns="http://www.opengis.net/waterml/2.0"><OM_Observation><observedProperty title="Lake elevation NGVD29"/><uom '
    b'code="ft"/><MeasurementTVP><time>2026-05-16T06:00:00Z</time><value uom="ft">700.5</value></MeasurementTVP></OM_Observation></c>'
)
FEATURES = b'[{"phenomenonTime":"2026-05-16T06:00:00Z","result":{"value":213.4,"uom":"m"},"observedProperty":"Lake level"}]'
DAM = b'Dam\n\nDate,Time (CST),Elev (ft NGVD29)\n05/15/2026,2400,"1,050.1"\n5/6/2026,6 AM,M\nEnd\n'
PERIODS = (
    b'{"units":"us","periods":[{"startTime":"2026-05-16T06:00Z","endTime":"2026-05-16T09:00Z","windSpeed":"8 to 12 mph",'
    b'"windDirection":"SW","windGust":{"unitCode":"wmoUnit:km_h-1","value":30}}]}'
)
SPANS = (
    b'{"windSpeed":{"uom":"kn","values":[{"validTime":"2026-05-16T06:00:00Z/PT3H","value":9}]},"windDirection":{"values":'
    b'[{"validTime":"2026-05-16T06:00:00Z/2026-05-16T08:00:00Z","value":200}]}}'
)
SIDE_BY_SIDE = (
    b'{"utc_offset_seconds":-18000,"hourly_units":{"wind_speed_10m":"km/h"},"hourly":{"time":["2026-05-16T06:00"],'
    b'"wind_speed_10m":[36],"wind_direction_10m":[200]}}'
)


def _forecast(_folder, data):
    if data[:1] in (b"{", b"["):
        body, _ = json_rows.load_json(data, "forecast")
        forecast_table.to_forecast(json_rows.rows_of_json(body, "forecast", "winds", hourly=True), zone="UTC")
        return
    table = series_table.parse_delimited(data, "forecast")
    forecast_table.to_forecast(table, zone="America/Chicago")


TABLE = b"# wind height: 10 m\ntime,wind_speed_10m,gust_mph,from\n2026-05-16T06:00Z,5-10 kn,12,SW\n"


def _wind_words(_folder, data):
    choice, rest = _by_first(data, range(3))
    text = _text(rest)
    if choice == 0:
        wind_text.read_wind(text, "mph", "cell")
    elif choice == 1:
        wind_text.read_bearing(text, "cell")
    else:
        series_dates.iso_texts(text.split("\n"), "table")


def _sequence(_folder, data):
    text_sequence.read_sequence(io.BytesIO(data))


def _sequences():
    import geopandas as gpd
    import shapely

    frame = gpd.GeoDataFrame(
        {"spot_id": ["a", "b"], "depth_m": [1.5, float("nan")], "n": [1, 2], "yes": [True, False]},
        geometry=[shapely.Point(5e5, 4e6), shapely.box(5e5, 4e6, 5.001e5, 4.001e6)], crs=32615,
    )  # fmt: skip
    made = io.BytesIO()
    text_sequence.write_sequence(made, {"spots": frame}, {"spots": ("Point", "Polygon")})
    return [made.getvalue()]


def _steps(folder, data):
    file = folder / "steps.toml"
    file.write_bytes(data)
    steps_file.read_steps(file)


STEPS = b"""[today]
run = "water-today"
depth = "lake.gpkg:depth"
shoreline = "lake.gpkg:shoreline"
level = "-4ft"
bands = ["0ft", "3ft"]

[reach]
run = "cast-reach"
spots = "lake.gpkg:spots"
water = "@today:water"
sure = true
upwind_factor = 0.5
out = "day.gpkg"
"""


def _planted(_folder, data):
    """A fault behind four gates, to try the fuzzer on: by chance alone one in 256^4 finds it."""
    for gate, byte in enumerate(b"rock"):
        if data[gate : gate + 1] != bytes([byte]):
            return
        _opened(gate)
    raise KeyError("planted")


def _opened(gate):
    """Branches of their own, so that each gate that opens is a line nobody reached before."""
    if gate == 0:
        return 1
    if gate == 1:
        return 2
    if gate == 2:
        return 3
    return 4


PLANTED = (_planted, lambda: [b"reef"], ("pier",), 20)
# name -> (work, seeds, words to mix in, longest input)
TARGETS = {
    "quantities": (_quantity, _quantities, ("ft", "in", "mph", "nan", "inf", "e308", "min", "deg"), 60),
    "layer references": (_reference, lambda: [b"lake.gpkg:spots", b"C:/a/lake.gpkg", b"a.csv", b"-"], (".gpkg:", "::"), 200),
    "day files": (_day, _days, ("nan", "inf", "[[", "1979-05-27", "07:32:00", "forecast", "table", "windows"), 4000),
    "coordinates": (_place, lambda: [b"36.5, -93.1", b"N36 30.5' W93 6.2'", b"36\xc2\xb030'15\"N 93\xc2\xb06'W", b"15S 662345 4439120",
                                     b"-93.1/36.5", b"662,345.5 mE"], ("\u00b0", "\u2032", "N", "deg"), 90),
    "depths, dates, times, rules": (_words, lambda: [b"\x0012-15 ft", b"\x004' 6\"", b"\x0116.05.2026\n05/16/26", b"\x0216 May 2026 06:00",
                                    b"\x022026-05-16T06:00:00Z", b"\x03America/Chicago", b"\x04NGVD 29", b"\x05time=When\ngust=G",
                                    b'\x06[columns]\ndepth="D"\n[kinds]\na="hump"\n[lists."f.csv"]\ndepth_unit="ft"\ncrs="EPSG:32615"'],
                                    ("ft", "fathom", "-", "T", "+00:00", "position_error"), 200),
    "worths, windows, stays": (_offers, lambda: [b"\x00rating * 2 + 1 / (depth_m - 3)", b"\x01s1 before 09:00\nGull rock 10:00-11:00",
                               b"\x02hump 40min\nledge 1h"], ("rating", "/0", "**", "before", "after", "((((", "----"), 2000),
    "sounder logs": (_log, lambda: [b"\x00" + _demo("sounder_log.nmea", 900), b"\x03" + _demo("sounder_log.nmea", 500), b"\x02" + LOG_CSV,
                                    b"\x00" + LOG_JSON], ("$SDDPT,", "$GPRMC,", "$GPGGA,", "$GPZDA,", "*", "nan", "1e999"), 1500),
    "spot lists": (_list, lambda: [_demo("habitat_sites.csv", 1200), _demo("own_waypoints.gpx", 2500), KML, GEOJSON],
                   ("<wpt", "<ele>", "nan", "<![CDATA[", "&#0;", "coordinates", "1e999", "<!DOCTYPE"), 3000),
    "packed lists": (_packed, _packed_seeds, ('t="s"', "<v>", "-1", "1e999", "number-columns-repeated"), 3000),
    "pool levels": (_pool, lambda: [b"\x02" + _demo("pool_levels.csv", 500), b"\x01" + GAUGE, b"\x01" + GAUGE_OLD, b"\x00" + GAUGE_TABLE,
                            b"\x04" + WATERML, b"\x01" + FEATURES, b"\x02" + DAM],
                    ("62614", "NAVD88", "elevation (ft)", "nan", "1e999", "00:60"), 1500),
    "forecasts": (_forecast, lambda: [_demo("forecast.csv", 600), TABLE, PERIODS, SPANS, SIDE_BY_SIDE], (
                  "mph", "kn", "calm", "VRB", "nan", "1e999", "# averaged over: "), 1500),
    "winds and dates in words": (_wind_words, lambda: [b"\x0010 to 15 mph with gusts to 25", b"\x0010G20KT", b"\x01south-southwest to W",
                                 b"\x025/16/2026 6:00 AM\n16May2026 2400\n20260516 0600"], ("km_h-1", "to", "gust", "24:00", "pm", "9999"), 90),
    "text sequences": (_sequence, _sequences, ("\x1e{", "coordRefSys", "place", "nan", "null", "NaN", "[["), 3000),
    "steps files": (_steps, lambda: [STEPS], ("@", "run = ", "out = ", "[[", "{}", "inf", "nan"), 1500),
}  # fmt: skip


def room(folder):
    """Lay what the files that are read may name."""
    lake_file(folder)
    for name in ("habitat_sites.csv", "own_waypoints.gpx", "forecast.csv", "pool_levels.csv"):
        (folder / name).write_bytes((DEMO / name).read_bytes())


def together():
    """All targets as one: the first byte says which."""
    each = list(TARGETS.values())

    def work(folder, data):
        (one, *_), rest = _by_first(data, each)
        one(folder, rest)

    def seeds():
        return [bytes([k]) + seed for k, (_, made, _, _) in enumerate(each) for seed in made()]

    return (
        work,
        seeds,
        [word for _, _, words, _ in each for word in words],
        max(most for *_, most in each) + 1,
    )
