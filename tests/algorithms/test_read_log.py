"""Logs of a sounder: sentences as another reader reads them, wrong ones counted, spikes flagged, nothing deleted."""

import io
import json
import math
import warnings

import geopandas
import numpy as np
import pynmea2
import pyproj
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from castshed.algorithms.read_log import read_log
from castshed.toolbox.errors import CastshedError, DataError, DataWarning, FileMissing, UsageError
from castshed.toolbox.intake.logs.log_table import LogFile
from castshed.toolbox.intake.logs.nmea import read_nmea
from castshed.toolbox.water.bottom.readings import jumps, spikes, thin, track_breaks
from long_tests import as_many

FOOT_M = 0.3048
LAT, LON = 35.75, -85.2


def _shore():
    box = shapely.box(LON - 0.05, LAT - 0.05, LON + 0.05, LAT + 0.05)
    return geopandas.GeoDataFrame({"name": ["made"]}, geometry=[box], crs="EPSG:4326").to_crs("EPSG:32616")


SHORE = _shore()
TO_METRES = pyproj.Transformer.from_crs("EPSG:4326", "EPSG:32616", always_xy=True)


def clock(second):
    return f"{second // 3600 % 24:02d}{second // 60 % 60:02d}{second % 60:02d}.00"


def angle(value, width):
    size = abs(value)
    return f"{int(size):0{width}d}{(size - int(size)) * 60:08.5f}"


def rmc(second, lat, lon, day="160526"):
    fields = (
        clock(second),
        "A",
        angle(lat, 2),
        "NS"[lat < 0],
        angle(lon, 3),
        "EW"[lon < 0],
        "5.0",
        "90.0",
        day,
        "",
        "",
    )
    return str(pynmea2.RMC("GP", "RMC", fields))


def gga(second, lat, lon, quality="1"):
    fields = (
        clock(second), angle(lat, 2), "NS"[lat < 0], angle(lon, 3), "EW"[lon < 0], quality, "09", "0.9", "210.0", "M",
        "-33.0", "M", "", "",
    )  # fmt: skip
    return str(pynmea2.GGA("GP", "GGA", fields))


def dpt(depth, offset="0.3"):
    return str(pynmea2.DPT("SD", "DPT", (f"{depth:.2f}", offset)))


def dbt(depth):
    fields = (f"{depth / FOOT_M:.1f}", "f", f"{depth:.2f}", "M", f"{depth / 1.8288:.2f}", "F")
    return str(pynmea2.DBT("SD", "DBT", fields))


def nmea(*sentences, **options):
    return read_nmea(io.BytesIO("\r\n".join(sentences).encode() + b"\r\n"), "log", **options)


def log_file(folder, text, name="a.log"):
    path = folder / name
    path.write_bytes(text.encode() if isinstance(text, str) else text)
    return LogFile(path)


def sounded(*logs, **options):
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", DataWarning)
        return read_log(list(logs), shoreline=SHORE, **{"level_m": 0.0, **options})


# NMEA 0183 -----------------------------------------------------------------------------------------------------------


@settings(max_examples=as_many(60), deadline=None)
@given(
    st.floats(-89.9, 89.9), st.floats(-179.9, 179.9), st.integers(0, 86_399), st.floats(0.1, 300.0),
    st.sampled_from(["", "0.4", "-0.6"]),
)  # fmt: skip
def test_a_reading_is_what_another_reader_reads(lat, lon, second, depth, offset):
    sentences = [rmc(second, lat, lon), dpt(depth, offset), gga(second, lat, lon)]
    fix, sounding = pynmea2.parse(sentences[0], check=True), pynmea2.parse(sentences[1], check=True)
    log = nmea(*sentences)
    assert len(log) == 1
    assert log.lat_deg[0] == pytest.approx(fix.latitude, abs=1e-9)
    assert log.lon_deg[0] == pytest.approx(fix.longitude, abs=1e-9)
    assert log.measured_m[0] == pytest.approx(float(sounding.depth))
    assert log.time_s[0] == fix.datetime.timestamp()
    if offset == "0.4":
        assert log.transducer_m[0] == pytest.approx(float(sounding.offset))
    else:
        assert math.isnan(log.transducer_m[0])


@settings(max_examples=as_many(150), deadline=None)
@given(st.data())
def test_a_damaged_sentence_is_refused_where_another_reader_refuses_it(data):
    whole = bytearray(dpt(data.draw(st.floats(0.1, 99.0))).encode())
    at = data.draw(st.integers(1, len(whole) - 1))
    whole[at] = data.draw(st.integers(33, 126).filter(lambda c: c not in b"$*\\!"))
    text = whole.decode("ascii")
    try:
        other = float(pynmea2.parse(text, check=True).depth) if "DPT" in text else None
    except (pynmea2.ParseError, ValueError, TypeError, AttributeError):
        other = None
    log = nmea(rmc(0, LAT, LON), text, rmc(1, LAT, LON))
    if other is None:
        assert len(log) == 0
    else:
        assert log.measured_m.tolist() == [other]


def test_every_line_is_counted_once():
    good = [rmc(0, LAT, LON), dpt(5.0), rmc(1, LAT, LON)]
    bad = ["$SDDPT,5.00,0.3*00", "$SDDPT,5.00,0.3", "no sentence", "$SDDPT,x,*" + pynmea2.NMEASentence.checksum("SDDPT,x,").__format__("02X"), "", "$PGRMZ,1*" + f"{pynmea2.NMEASentence.checksum('PGRMZ,1'):02X}"]  # fmt: skip
    log = nmea(*good, *bad)
    assert len(log) == 1
    counted = dict(log.counted)
    assert counted == {
        "lines": 9, "fixes": 2, "sentences whose checksum is right": 5, "sentences with a wrong checksum": 1,
        "sentences without a checksum": 1, "lines that are no sentence": 1, "sentences of other kinds": 1,
        "sentences with fields that cannot be read": 1,
    }  # fmt: skip
    assert len(nmea(*good, *bad, unchecked=True)) == 2


def test_depths_lie_between_the_fixes_round_them():
    log = nmea(rmc(0, LAT, LON), dpt(5.0), dpt(6.0), dpt(7.0), rmc(4, LAT + 0.0004, LON))
    assert log.lat_deg == pytest.approx(LAT + 0.0001 * np.array([1, 2, 3]))
    assert np.diff(log.time_s) == pytest.approx([1.0, 1.0])


def test_a_depth_far_from_any_fix_has_no_place():
    log = nmea(rmc(0, LAT, LON), dpt(5.0), rmc(60, LAT, LON), dpt(6.0), rmc(61, LAT, LON))
    assert np.isnan(log.lat_deg).tolist() == [True, False]


def test_void_fixes_are_not_used():
    void = rmc(1, 10.0, 10.0).split("*")[0].replace(",A,", ",V,")[1:]
    void = f"${void}*{pynmea2.NMEASentence.checksum(void):02X}"
    log = nmea(rmc(0, LAT, LON), void, gga(1, 20.0, 20.0, quality="0"), dpt(5.0), rmc(2, LAT, LON))
    assert log.counted["fixes marked void"] == 2
    assert log.lat_deg.tolist() == pytest.approx([LAT])


def test_midnight_is_passed_with_and_without_a_date():
    late = 86_399
    log = nmea(
        rmc(late, LAT, LON),
        gga(0, LAT, LON),
        dpt(5.0),
        rmc(1, LAT, LON, day="170526"),
        dpt(6.0),
        gga(2, LAT, LON),
    )
    day = 1778889600.0  # 2026-05-16T00:00Z
    assert log.time_s.tolist() == [day + 86_400.5, day + 86_401.5]
    bare = nmea(gga(late, LAT, LON), dpt(5.0), gga(1, LAT, LON), dpt(6.0), gga(3, LAT, LON), day_s=day)
    assert bare.time_s.tolist() == [day + 86_400.0, day + 86_402.0]
    assert np.isnan(nmea(gga(1, LAT, LON), dpt(5.0), gga(2, LAT, LON)).time_s).all()


def test_one_sentence_of_a_ping_is_used():
    log = nmea(rmc(0, LAT, LON), dpt(5.0), dbt(5.0), rmc(1, LAT, LON))
    assert log.measured_m.tolist() == [5.0]
    assert "left aside" in log.said[0]
    only = nmea(rmc(0, LAT, LON), dbt(5.0), rmc(1, LAT, LON))
    assert only.measured_m.tolist() == [5.0]


def test_an_endless_line_and_noise_do_not_stop_it(tmp_path):
    noise = np.random.default_rng(1).integers(0, 256, 300_000, dtype=np.uint8).tobytes()
    sentences = "\r\n".join((rmc(0, LAT, LON), dpt(5.0), rmc(1, LAT, LON))).encode()
    log = read_nmea(
        io.BytesIO(sentences + b"\r\n$" + b"x" * 9_000_000 + b"\r\n" + noise + b"\n" + sentences), "log"
    )
    assert log.measured_m.tolist() == [5.0, 5.0]
    assert log.counted["lines too long to be a sentence"] >= 1


# Tables --------------------------------------------------------------------------------------------------------------

ROWS = [(LAT, LON, 5.0), (LAT + 0.0001, LON, 5.5), (LAT + 0.0002, LON, 6.0)]


def test_a_table_in_feet_and_another_order(tmp_path):
    text = "# exported\nlogged by hand\nTime;Longitude;Latitude;Depth (ft)\n" + "".join(
        f"2026-05-16T06:00:0{i}Z;{lon};{lat};{depth / FOOT_M}\n" for i, (lat, lon, depth) in enumerate(ROWS)
    )
    readings = sounded(log_file(tmp_path, text)).readings
    assert readings.measured_m.tolist() == pytest.approx([5.0, 5.5, 6.0])
    assert readings.line.tolist() == [4, 5, 6]
    assert readings.time.tolist()[0] == "2026-05-16T06:00:00Z"


def test_crowd_sourced_bathymetry_as_csv_and_geojson(tmp_path):
    csv = "LON,LAT,DEPTH,TIME,PLATFORM_NAME,PROVIDER\n" + "".join(
        f"{lon},{lat},{depth},2026-05-16T06:00:0{i}.000Z,Anonymous,none\n"
        for i, (lat, lon, depth) in enumerate(ROWS)
    )
    document = {
        "type": "FeatureCollection",
        "properties": {
            "trustedNode": {"convention": "GeoJSON CSB 3.0", "verticalReferenceOfDepth": "Transducer"},
            "platform": {"type": "private vessel", "sensors": [{"type": "Sounder", "draft": 0.4}, {"type": "GNSS"}]},
        },
        "features": [
            {
                "type": "Feature", "geometry": {"type": "Point", "coordinates": [lon, lat]},
                "properties": {"depth": depth, "time": f"2026-05-16T06:00:0{i}.000Z"},
            }
            for i, (lat, lon, depth) in enumerate(ROWS)
        ] + [{"type": "Feature"}, None],
    }  # fmt: skip
    one = sounded(log_file(tmp_path, csv, "a.csv")).readings
    two = sounded(log_file(tmp_path, json.dumps(document), "a.geojson")).readings
    assert one.depth_m.tolist() == [5.0, 5.5, 6.0]
    assert two.depth_m.tolist()[:3] == pytest.approx([5.4, 5.9, 6.4])
    assert two.reason.tolist()[3:] == ["no position", "no position"]
    assert one.time.tolist() == two.time.tolist()[:3]


@pytest.mark.parametrize(
    ("data", "error", "words"),
    [
        (b"", DataError, "is empty"),
        (b"PK\x03\x04", DataError, "packed"),
        (b"a,b\n1,2\n", DataError, "no line of column names"),
        (b"lat,lon,depth\n1,2,3\n", UsageError, "name no unit"),
        (b'{"type": "x"}', DataError, "not a GeoJSON"),
        (b"{" * 5000, DataError, "not JSON"),
    ],
)
def test_what_is_no_log_is_refused(tmp_path, data, error, words):
    with pytest.raises(error, match=words):
        sounded(log_file(tmp_path, data))
    with pytest.raises(FileMissing):
        LogFile(tmp_path / "nowhere.log")


@settings(max_examples=as_many(40), deadline=None)
@given(st.binary(max_size=400), st.sampled_from([b"", b"$SDDPT,", b"lat,lon,depth (m)\n", b"{"]))
def test_any_bytes_are_read_or_refused(tmp_path_factory, data, start):
    path = tmp_path_factory.getbasetemp() / "any.log"
    path.write_bytes(start + data)
    try:
        log = LogFile(path).read()
    except CastshedError:
        return
    assert len(log.line) == len(log.measured_m) == len(log.lat_deg) == len(log.time_s)


# Corrections ---------------------------------------------------------------------------------------------------------


def test_transducer_and_level_of_the_day_are_taken_in(tmp_path):
    # Lake four feet down, transducer a foot under the water line, 10 ft measured: 11 ft of water today, 15 ft at
    # chart datum (worked).
    text = "lat,lon,depth ft\n" + f"{LAT},{LON},10\n"
    readings = sounded(log_file(tmp_path, text), level_m=-4 * FOOT_M, transducer_m=FOOT_M).readings
    assert readings.depth_m[0] == pytest.approx(15 * FOOT_M)
    assert readings.measured_m[0] == pytest.approx(10 * FOOT_M)


def test_each_reading_gets_the_level_of_its_moment(tmp_path):
    # Normal pool 700 ft; 690 ft on the 15th, 694 ft on the 17th, so 692 ft at noon between: 8 ft down (worked).
    from castshed.toolbox.intake.series.series_table import parse_delimited

    pools = parse_delimited(
        b"date,pool_elevation_ft,vertical_datum\n2026-05-15T12:00Z,690,NGVD29\n2026-05-17T12:00Z,694,NGVD29\n",
        "pool.csv",
    )
    text = "time,lat,lon,depth ft\n" + "".join(
        f"{day},{LAT},{LON},10\n"
        for day in ("2026-05-16T12:00:00Z", "2026-05-15T12:00:00Z", "2026-05-18T12:00:00Z", "")
    )
    options = {"level_m": None, "levels": pools, "normal_pool_m": 700 * FOOT_M, "transducer_m": 0.0}
    readings = sounded(log_file(tmp_path, text), **options, normal_datum="NGVD29").readings
    assert readings.depth_m[:2].tolist() == pytest.approx([18 * FOOT_M, 20 * FOOT_M])
    assert readings.reason.tolist() == ["", "", *["no level is known for its time"] * 2]
    with pytest.raises(UsageError, match="datum"):
        sounded(log_file(tmp_path, text), **options, normal_datum="NAVD88")
    for wrong in ({"level_m": None}, {"level_m": 0.0, "levels": pools}, {"level_m": None, "levels": pools}):
        with pytest.raises(UsageError, match=r"one of them|normal-pool is missing"):
            sounded(log_file(tmp_path, text), **wrong)


def test_a_missing_transducer_depth_is_said(tmp_path):
    log = log_file(tmp_path, "lat,lon,depth ft\n" + f"{LAT},{LON},10\n")
    with pytest.warns(DataWarning, match="too shallow by it"):
        read_log([log], shoreline=SHORE, level_m=0.0)


# Spikes --------------------------------------------------------------------------------------------------------------


def made_track(seed, count=600):
    """A track over a slope with humps, and the rows that were spoilt."""
    rng = np.random.default_rng(seed)
    along = np.arange(count) * 1.5
    depth = 6.0 + 3.0 * np.sin(along / 60.0) + 0.004 * along + rng.normal(0.0, 0.04, count)
    bad = rng.choice(np.arange(6, count - 6), 25, replace=False)
    bad = np.sort(bad)[np.diff(np.sort(bad), prepend=-10) > 3]
    spoilt = depth.copy()
    spoilt[bad] += rng.choice([-1.0, 1.0], len(bad)) * rng.uniform(1.2, 3.0, len(bad))
    return along, spoilt, bad


@pytest.mark.parametrize("seed", range(8))
def test_planted_spikes_are_found_and_little_else(seed):
    along, depth, bad = made_track(seed)
    found, _ = spikes(depth, track_breaks(along, np.zeros(len(along)), along))
    assert len(set(bad) - set(np.flatnonzero(found))) <= 1  # of about two dozen
    assert found.sum() - len(bad) <= 3


@pytest.mark.parametrize("slope", [0.05, 0.3, 1.0])
def test_an_even_slope_and_a_step_have_no_spikes(slope):
    along = np.arange(200) * 1.0
    for depth in (2.0 + slope * along, np.where(along < 100, 2.0, 2.0 + 10 * slope)):
        found, _ = spikes(depth, track_breaks(along, np.zeros(200), along))
        assert not found.any()


@pytest.mark.parametrize("slope", [0.0, 0.05, 0.3])
def test_a_spike_on_a_slope_is_found(slope):
    along = np.arange(60) * 1.0
    depth = 3.0 + slope * along
    depth[30] -= 1.5
    found, expected = spikes(depth, track_breaks(along, np.zeros(60), along))
    assert np.flatnonzero(found).tolist() == [30]
    assert expected[30] == pytest.approx(3.0 + slope * 30, abs=0.05)


def test_the_median_rule_as_worked_by_hand():
    # Window of 11 round the sixth: 5.0 5.0 5.1 5.1 5.0 [9.0] 5.0 5.1 5.0 5.1 5.0: medians of the halves 5.0 and 5.0, so
    # no trend; median 5.0, deviations 0 0 .1 .1 0 4
    # 0 .1 0 .1 0, their median 0; limit 0.3 + 0.02 * 5.0 = 0.4 < 4.
    depth = np.array([5.0, 5.0, 5.1, 5.1, 5.0, 9.0, 5.0, 5.1, 5.0, 5.1, 5.0])
    found, median = spikes(depth, np.arange(11) == 0)
    assert np.flatnonzero(found).tolist() == [5]
    assert median[5] == 5.0


def test_an_interrupted_track_is_two():
    x = np.concatenate([np.arange(20.0), 500 + np.arange(20.0)])
    assert np.flatnonzero(track_breaks(x, np.zeros(40), np.arange(40.0))).tolist() == [0, 20]


def test_a_position_off_the_track_is_found():
    x = np.arange(30.0) * 5
    x[12] += 900.0
    assert np.flatnonzero(jumps(x, np.zeros(30), np.arange(30.0), 40.0)).tolist() == [12]


def test_nothing_is_deleted_and_every_rejection_has_a_reason(tmp_path):
    along, depth, bad = made_track(3, 300)
    x0, y0 = TO_METRES.transform(LON, LAT)
    lon, lat = TO_METRES.transform(x0 + along, np.full(300, y0), direction="INVERSE")
    depth[[50, 51]] = 0.0
    lat[100], lon[200] = 10.0, np.nan
    text = "lat,lon,depth m\n" + "".join(
        f"{a:.8f},{o:.8f},{d:.3f}\n" for a, o, d in zip(lat, lon, depth, strict=True)
    )
    soundings, readings = sounded(log_file(tmp_path, text))
    assert len(readings) == 300
    assert ((readings.used == 1) == (readings.reason == "")).all()
    assert int(soundings.readings.sum()) == int(readings.used.sum())
    assert readings.reason[50].startswith("a depth of nothing")
    assert readings.reason[100] == "outside the lake's box"
    assert readings.reason[200] == "no position"
    spiked = set(np.flatnonzero(readings.reason.str.startswith("a spike")))
    assert set(bad) - {50, 51, 100, 200} <= spiked
    assert {"a spike above its neighbours: an echo, a fish or something standing there", "a spike below its neighbours"} <= set(readings.reason)  # fmt: skip


# Cells ---------------------------------------------------------------------------------------------------------------


@settings(max_examples=as_many(60), deadline=None)
@given(
    st.lists(st.tuples(st.floats(-50, 50), st.floats(-50, 50), st.floats(0.1, 30)), min_size=1, max_size=60),
    st.sampled_from([1.0, 5.0, 40.0]), st.booleans(),
)  # fmt: skip
def test_each_cell_keeps_one_reading_that_was_taken(rows, cell_m, least):
    x, y, depth = np.array(rows).T
    pick, count, low, high = thin(x, y, depth, cell_m, least=least)
    cells = {}
    for i in range(len(x)):
        cells.setdefault((math.floor(x[i] / cell_m), math.floor(y[i] / cell_m)), []).append(i)
    assert len(pick) == len(cells)
    assert count.sum() == len(x)
    for i, number, shallow, deep in zip(pick, count, low, high, strict=True):
        mates = cells[math.floor(x[i] / cell_m), math.floor(y[i] / cell_m)]
        depths = sorted(depth[mates])
        assert (len(mates), depths[0], depths[-1]) == (number, shallow, deep)
        assert depth[i] == (depths[0] if least else depths[(len(depths) - 1) // 2])
