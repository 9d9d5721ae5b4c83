"""Input made to break the readers: files bent at random, GeoPackages with traps, rasters and geometries gone wrong.

Each case is a label and a piece of work; it may end well or with one of our own errors. Anything else is a traceback
somebody would have seen.
"""

from __future__ import annotations

import contextlib
import functools
import os
import re
import shutil
import signal
import sqlite3
import struct
import tempfile
import warnings
from pathlib import Path

import geopandas as gpd
import numpy as np
import pyproj
import rasterio
import shapely

from castshed.toolbox.errors import CastshedError
from castshed.toolbox.intake.logs.log_table import LogFile
from castshed.toolbox.intake.series.series_file import read_series
from castshed.toolbox.layers import list_layers, parse_reference, read_layer, read_surface, write_layers
from castshed.toolbox.plan.day_file import read_day
from castshed.toolbox.sources import read_source
from castshed.toolbox.units import ACCEPTED, parse
from made_lake import make_lake

DEMO = Path(__file__).parents[2] / "demo_layers"
CRS = pyproj.CRS.from_epsg(32615)
LONGEST_S = 20
TOKENS = (
    b"nan", b"-inf", b"1e999", b"9" * 400, b"\x00", b"\xff\xfe", b"'; DROP TABLE spots; --", b'"', b"../../../etc/passwd",
    b"<!ENTITY a SYSTEM 'file:///etc/passwd'>", b"=1+1", b"\xe2\x80\xae", b"\r", b"[" * 200, b"{", b"-0", b"1979-05-27",
    b"\xf0\x9f\x90\x9f", b"0x1F", b"1_000", b"\xc2\xb2", b"\xd9\xa3", b"e", b"%s%n", b",,,,", b"\n\n", b"60.5'", b"$GPGGA",
)  # fmt: skip
WORDS = (
    "nan", "inf", "-inf", "", " ", "-", "1", "-1ft", "1e308ft", "1e308mi", "0ft", "0m", "9" * 500 + "ft", "80 ft ft", "ft",
    "1e-320m", "5ft -6in", "\u0663ft", "1,5m", "\U0001f41f", "--replace", "SW", "-999deg", "3kn", "99999999km", "1e5m", "25min",
    "\x1b[31m", "0x10ft", "1e3ft2in", "'; DROP TABLE x; --", "12kn/h", "a" * 10_000, "0.0000001ft", "[bold]", "1m/s",
)  # fmt: skip


class TooLong(BaseException):
    """A case that takes longer than it may; not an Exception, so that nothing takes it for a fault of the file."""


@contextlib.contextmanager
def at_most(seconds):
    def stop(*_):
        raise TooLong

    before = signal.signal(signal.SIGALRM, stop)
    signal.setitimer(signal.ITIMER_REAL, seconds)
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_REAL, 0.0)
        signal.signal(signal.SIGALRM, before)


def outcome(work):
    """None when the work ends well or with an error of ours that says something; else what went wrong."""
    try:
        with warnings.catch_warnings(), at_most(LONGEST_S):
            warnings.simplefilter("ignore")
            work()
    except CastshedError as error:
        return None if str(error).strip() else f"{type(error).__name__} without a word"
    except TooLong:
        return f"not done within {LONGEST_S} s"
    except Exception as error:  # noqa: BLE001  # the very thing looked for
        return f"{type(error).__name__}: {str(error)[:200]}"
    return None


def bent(data, rng):
    """Bytes with one to four things done to them."""
    data = bytearray(data)
    for _ in range(rng.randint(1, 4)):
        at = rng.randrange(len(data) + 1)
        how = rng.randrange(7)
        if how == 0:
            del data[at:]
        elif how == 1 and data:
            for _ in range(rng.choice((1, 8, 200))):
                data[rng.randrange(len(data))] = rng.randrange(256)
        elif how == 2:
            del data[at : at + rng.choice((1, 10, 1000))]
        elif how == 3:
            data[at:at] = data[max(0, at - 300) : at] * rng.choice((1, 20))
        elif how == 4:
            page = 4096 * rng.randrange(len(data) // 4096 + 1)
            data[page : page + 4096] = bytes(min(4096, len(data) - page))
        elif how == 5:
            words = [m.span() for m in re.finditer(rb"[\w.+-]+", bytes(data[at : at + 400]))]
            start, end = rng.choice(words) if words else (0, 0)
            data[at + start : at + end] = rng.choice(TOKENS)
        else:
            data[at:at] = rng.choice(TOKENS)
    return bytes(data)


def quick_folder():
    """A folder in memory where there is one: files that come and go need no disk."""
    memory = "/dev/shm"
    return tempfile.TemporaryDirectory(dir=memory if os.access(memory, os.W_OK) else None)


def lake_file(folder, cell=20.0):
    """The lake many tests share, in a file, small."""
    lake = make_lake(cell)
    file = Path(folder) / "lake.gpkg"
    names = ("shoreline", "spots", "ramps", "zones", "known_hazards", "depth")
    write_layers(file, {name: getattr(lake, name) for name in names})
    return file


def _small_text(name):
    data = (DEMO / name).read_bytes()
    return data[:6000]


def bent_files(folder, rng):
    """Endless: files in the formats we read, bent."""
    folder = Path(folder)
    lake = lake_file(folder)
    tif = folder / "depth.tif"
    made = make_lake(20.0).depth
    rows, columns = made.shape
    with rasterio.open(
        tif, "w", driver="GTiff", width=columns, height=rows, count=1, dtype="float32", crs=CRS,
        transform=rasterio.Affine(20.0, 0.0, 5e5, 0.0, -20.0, 4e6),
    ) as data:  # fmt: skip
        data.write(made.depth_m, 1)
    day = (DEMO / "day.toml").read_text(encoding="utf-8")
    day = day.replace("reservoir.gpkg", "lake.gpkg").replace("Sedgewick Landing", "South ramp")
    for name in ("habitat_sites.csv", "own_waypoints.gpx"):
        shutil.copyfile(DEMO / name, folder / name)
    gpd.GeoDataFrame({"name": ["a", "b"], "depth": [3.0, 4.0]}, geometry=shapely.points([[-93, 36], [-93.1, 36.1]]),
                     crs=4326).to_file(folder / "spots.geojson", driver="GeoJSON")  # fmt: skip
    kinds = [
        ("day.toml", day.encode(), read_day),
        ("list.csv", _small_text("habitat_sites.csv"), lambda p: read_source(str(p))),
        ("list.gpx", (DEMO / "own_waypoints.gpx").read_bytes(), lambda p: read_source(str(p))),
        ("list.geojson", (folder / "spots.geojson").read_bytes(), lambda p: read_source(str(p))),
        ("wind.csv", (DEMO / "forecast.csv").read_bytes(), lambda p: read_series(p, "forecast")),
        ("pool.csv", (DEMO / "pool_levels.csv").read_bytes(), lambda p: read_series(p, "levels")),
        ("log.nmea", _small_text("sounder_log.nmea"), lambda p: LogFile(p).read()),
        ("lake.gpkg", lake.read_bytes(), _read_all),
        ("depth.tif", tif.read_bytes(), lambda p: read_surface(str(p))),
    ]
    here = folder / "bent"
    while True:
        name, content, work = kinds[rng.randrange(len(kinds))]
        shutil.rmtree(here, ignore_errors=True)
        here.mkdir()
        if name == "day.toml":
            for other in ("lake.gpkg", "habitat_sites.csv", "own_waypoints.gpx"):
                os.link(folder / other, here / other)
        file = here / name
        file.write_bytes(bent(content, rng))
        before = sorted(p.name for p in here.iterdir())
        yield f"bent {name}", lambda work=work, file=file: work(file)
        after = sorted(p.name for p in here.iterdir() if not p.name.endswith(("-shm", "-wal")))
        assert set(after) <= set(before), f"reading {name} wrote {set(after) - set(before)}"


def _read_all(file):
    fault = None
    for name, kind in list_layers(file).items():
        try:
            (read_surface if kind == "coverage" else read_layer)(f"{file}:{name}")
        except CastshedError as error:
            fault = error
    if fault:
        raise fault


def pages(folder, rng):
    """Each page of a GeoPackage emptied, turned over, or the last there is, in an order left to chance."""
    whole = (Path(folder) / "lake.gpkg").read_bytes()
    file = Path(folder) / "page.gpkg"
    size = int.from_bytes(whole[16:18], "big")
    cases = [
        (how, at)
        for at in range(0, len(whole), size)
        for how in ("emptied", "turned over", "the last there is")
    ]
    rng.shuffle(cases)
    for how, at in cases:
        page = whole[at : at + size]

        def work(how=how, at=at, page=page):
            put = {"emptied": bytes(size), "turned over": bytes(b ^ 0xFF for b in page)}.get(how, page)
            file.write_bytes(whole[:at] + put + (b"" if how.startswith("the last") else whole[at + size :]))
            _read_all(file)

        yield f"page {at // size} {how}", work


def texts(rng):
    """Endless: quantities and layer references."""
    units = [u for known in ACCEPTED.values() for u in known]
    while True:
        parts = [
            rng.choice((*WORDS, *units, str(rng.uniform(-1e3, 1e3)), ":", "/", "\\"))
            for _ in range(rng.randint(1, 3))
        ]
        text = "".join(parts)
        kind = rng.choice(list(ACCEPTED))
        yield f"quantity {text[:60]!r} as {kind}", lambda text=text, kind=kind: parse(text, kind)
        yield f"reference {text[:60]!r}", lambda text=text: parse_reference(text)
        yield f"layer {text[:60]!r}", lambda text=text: read_layer(text)


def _sql(file, *statements):
    with contextlib.closing(sqlite3.connect(file)) as db, db:
        for (name,) in db.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
            db.execute(f'DROP TRIGGER "{name}"')  # the standard's own would not let the traps be laid
        for statement in statements:
            db.execute(statement)


BAD_NAME = 'x"; DROP TABLE spots; --'
ENDLESS = (
    "CREATE VIEW zones AS WITH RECURSIVE c(fid) AS (SELECT 1 UNION ALL SELECT fid + 1 FROM c) "
    "SELECT fid, NULL AS geom FROM c"
)
ENDLESS_EXTENSIONS = (
    "CREATE VIEW gpkg_extensions AS WITH RECURSIVE r(n) AS (SELECT 1 UNION ALL SELECT n + 1 FROM r) "
    "SELECT n AS table_name, 'geom' AS column_name, 'x' AS extension_name, 'y' AS definition, 'z' AS scope FROM r"
)
ENDLESS_CONTENTS = (
    "CREATE VIEW gpkg_contents AS WITH RECURSIVE r(n) AS (SELECT 1 UNION ALL SELECT n + 1 FROM r) "
    "SELECT 'l' || n AS table_name, 'features' AS data_type FROM r"
)
TRAPS = {
    "a trigger that empties the spots": (
        "CREATE TRIGGER t AFTER DELETE ON gpkg_contents BEGIN DELETE FROM spots; END",
    ),
    "a trigger that fires on new layers": (
        "CREATE TRIGGER t AFTER INSERT ON gpkg_contents BEGIN DELETE FROM ramps; END",
    ),
    "a trigger on geometry columns": (
        "CREATE TRIGGER t AFTER INSERT ON gpkg_geometry_columns BEGIN UPDATE spots SET name = 'taken'; END",
    ),
    "an endless view as a layer": (
        "DELETE FROM gpkg_contents WHERE table_name = 'zones'", "DROP TABLE zones",
        ENDLESS,
        "INSERT INTO gpkg_contents (table_name, data_type, identifier, srs_id) VALUES ('zones', 'features', 'z', 32615)",
    ),
    "a view that reads another layer": (
        "CREATE VIEW v AS SELECT * FROM spots",
        "INSERT INTO gpkg_contents (table_name, data_type, identifier, srs_id) VALUES ('v', 'features', 'v', 32615)",
        "INSERT INTO gpkg_geometry_columns VALUES ('v', 'geom', 'POINT', 32615, 0, 0)",
    ),
    "SQL in a name": (
        f"""CREATE TABLE '{BAD_NAME}' (fid INTEGER PRIMARY KEY, geom POINT)""",
        f"""INSERT INTO gpkg_contents (table_name, data_type, identifier, srs_id) VALUES ('{BAD_NAME}', 'features', 'q', 32615)""",
        f"""INSERT INTO gpkg_geometry_columns VALUES ('{BAD_NAME}', 'geom', 'POINT', 32615, 0, 0)""",
    ),
    "SQL in the name of a system table": ("""CREATE TABLE 'gpkg_x"); DROP TABLE spots; --' (table_name TEXT)""",),
    "a layer without a table": (
        "INSERT INTO gpkg_contents (table_name, data_type, identifier, srs_id) VALUES ('gone', 'features', 'g', 32615)",
    ),
    "a name that is a number": ("UPDATE gpkg_contents SET table_name = 7 WHERE table_name = 'zones'",),
    "a virtual table as a layer": (
        "DELETE FROM gpkg_contents WHERE table_name = 'zones'", "DROP TABLE zones",
        "CREATE VIRTUAL TABLE zones USING fts5(geom, zone)",
        "INSERT INTO gpkg_contents (table_name, data_type, identifier, srs_id) VALUES ('zones', 'features', 'z', 32615)",
    ),
    "a column worked out on reading": (
        "ALTER TABLE spots ADD COLUMN heavy TEXT GENERATED ALWAYS AS (hex(zeroblob(400000000))) VIRTUAL",
    ),
    "a table of the standard that is an endless view": (
        "ALTER TABLE gpkg_extensions RENAME TO e",
        ENDLESS_EXTENSIONS,
    ),
    "a table of the standard with a column worked out": (
        "ALTER TABLE gpkg_spatial_ref_sys ADD COLUMN heavy TEXT GENERATED ALWAYS AS (hex(zeroblob(400000000))) VIRTUAL",
    ),
    "no contents": ("DROP TABLE gpkg_contents",),
    "contents of another shape": ("DROP TABLE gpkg_contents", "CREATE TABLE gpkg_contents (a, b)"),
    "contents that are a view": (
        "ALTER TABLE gpkg_contents RENAME TO c",
        ENDLESS_CONTENTS,
    ),
    "reference system that is none": ("UPDATE gpkg_spatial_ref_sys SET definition = 'PROJCS[', organization = 'x'",),
    "geometry that is text": ("UPDATE spots SET geom = 'POINT (1 2)'",),
    "geometry cut short": ("UPDATE shoreline SET geom = substr(geom, 1, 60)",),
    "geometry of a billion points": (
        "UPDATE shoreline SET geom = x'47500001777F0000' || x'01030000000100000000CA9A3B' || zeroblob(64)",
    ),
    "numbers that are text": ("UPDATE spots SET depth_m = 'deep', rating = x'00ff'",),
    "a matrix of absurd size": (
        "UPDATE gpkg_tile_matrix SET matrix_width = 2000000000, matrix_height = 2000000000",
    ),
    "tiles of absurd size": ("UPDATE gpkg_tile_matrix SET tile_width = 2000000000, tile_height = 2000000000",),
    "cells of no size": ("UPDATE gpkg_tile_matrix SET pixel_x_size = 0, pixel_y_size = 0",),
    "cells of negative size": ("UPDATE gpkg_tile_matrix SET pixel_x_size = -5",),
    "an extent that is not finite": (
        "UPDATE gpkg_tile_matrix_set SET min_x = 9e999, max_x = -9e999",
        "UPDATE gpkg_contents SET min_x = 9e999",
    ),
    "tiles that are no pictures": ("UPDATE depth SET tile_data = zeroblob(5000)",),
    "a scale of nothing": ("UPDATE gpkg_2d_gridded_coverage_ancillary SET scale = 0, offset = 9e999",),
    "an error that is a word": ("UPDATE gpkg_metadata SET metadata = replace(metadata, '0.1', 'much')",),
    "an error below nothing": ("UPDATE gpkg_metadata SET metadata = replace(metadata, '0.1', '-5')",),
}  # fmt: skip


def trap(folder, name):
    """A GeoPackage with one trap in it."""
    file = Path(folder) / "trap.gpkg"
    shutil.copyfile(Path(folder) / "lake.gpkg", file)
    _sql(file, *TRAPS[name])
    return file


def _wkb(kind, *parts):
    return struct.pack("<BI", 1, kind) + b"".join(parts)


@functools.cache
def bad_geometries():
    """Geometries as no layer should hold them: name -> list of geometries or WKB."""
    with np.errstate(invalid="ignore"):
        return _bad_geometries()


def _bad_geometries():
    x, y = 500_100.0, 4_000_100.0
    square = shapely.box(x, y, x + 300, y + 300)
    bow = shapely.Polygon([(x, y), (x + 300, y + 300), (x + 300, y), (x, y + 300)])
    nan, inf = float("nan"), float("inf")
    ring = struct.pack("<I", 5) + np.array([x, y, x + 9, y, x + 9, y + 9, x, y + 9, x, y], "<f8").tobytes()
    return {
        "NaN": [shapely.Polygon([(x, y), (nan, y), (x + 9, y + 9)])],
        "infinite": [shapely.Polygon([(x, y), (inf, y), (x + 9, y + 9)])],
        "self-crossing": [bow],
        "collection": [shapely.GeometryCollection([square, shapely.Point(x, y)])],
        "nested collection": [shapely.GeometryCollection([shapely.GeometryCollection([bow])])],
        "Z": [shapely.force_3d(square, 7.0)],
        "Z of NaN": [shapely.from_wkt(f"POLYGON Z (({x} {y} NaN, {x + 99} {y} NaN, {x} {y + 99} NaN, {x} {y} NaN))")],
        "M": [shapely.from_wkt(f"POLYGON M (({x} {y} 1, {x + 99} {y} 2, {x} {y + 99} 3, {x} {y} 1))")],
        "curve": [_wkb(10, struct.pack("<I", 1), _wkb(8, ring))],
        "curve polygon": [_wkb(10, struct.pack("<I", 1), _wkb(9, struct.pack("<I", 1), _wkb(8, ring)))],
        "surface of triangles": [_wkb(16, struct.pack("<I", 1), _wkb(17, struct.pack("<I", 1), ring))],
        "nested twenty thousand deep": [b"\x01\x07\0\0\0\x01\0\0\0" * 20_000 + struct.pack("<BIdd", 1, 1, x, y)],
        "unknown kind": [_wkb(999, ring)],
        "cut short": [_wkb(3, struct.pack("<I", 1), ring[:20])],
        "ring of two": [_wkb(3, struct.pack("<II", 1, 2), ring[4:36])],
        "ring not closed": [_wkb(3, struct.pack("<II", 1, 4), ring[4:68])],
        "two billion rings": [_wkb(3, struct.pack("<I", 2_000_000_000), ring)],
        "null": [None],
        "null and good": [None, square],
        "empty": [shapely.Polygon()],
        "flat": [shapely.Polygon([(x, y), (x + 9, y), (x, y)])],
        "far away": [shapely.box(1e15, 1e15, 1e15 + 1e3, 1e15 + 1e3)],
        "huge": [shapely.box(-1e300, -1e300, 1e300, 1e300)],
        "tiny": [shapely.box(x, y, x + 1e-9, y + 1e-9)],
        "hole outside": [shapely.Polygon(square.exterior, [shapely.box(x - 99, y, x - 9, y + 9).exterior])],
        "twice the same": [square, square],
        "hundred thousand corners": [shapely.Point(x + 400, y + 400).buffer(300, quad_segs=25_000)],
        "points": [shapely.Point(x, y)],
        "lines": [shapely.LineString([(x, y), (x, y)])],
    }  # fmt: skip


def bad_layer(file, name, layer, columns):
    """Put bad geometry into a layer of a GeoPackage, past all checks of the writer."""
    from shapely import to_wkb

    made = [
        g if isinstance(g, bytes) or g is None else to_wkb(g, byte_order=1, flavor="iso")
        for g in bad_geometries()[name]
    ]
    head = b"GP\x00\x01" + struct.pack("<i", 32615)
    with contextlib.closing(sqlite3.connect(file)) as db, db:
        triggers = db.execute(
            "SELECT name FROM sqlite_master WHERE type = 'trigger' AND tbl_name = ?", (layer,)
        )
        for (trigger,) in triggers.fetchall():
            db.execute(f'DROP TRIGGER "{trigger}"')
        columns = {
            k: v
            for k, v in columns.items()
            if k in {r[1] for r in db.execute(f'PRAGMA table_info("{layer}")')}
        }
        db.execute(f'DELETE FROM "{layer}"')
        names = ", ".join(["geom", *columns])
        for geometry in made:
            db.execute(
                f'INSERT INTO "{layer}" ({names}) VALUES (?{", ?" * len(columns)})',
                (None if geometry is None else head + geometry, *columns.values()),
            )
    return file


def trap_cases(folder, rng):
    """In an order left to chance: every trap read by every reader and by commands, and bad geometry in every layer."""
    cases = list(_all_trap_cases(Path(folder)))
    rng.shuffle(cases)
    yield from cases


def _all_trap_cases(folder):
    lake = folder / "lake.gpkg"
    for name in TRAPS:
        yield f"{name}: read", lambda name=name: _read_all(trap(folder, name))
        for one in ("water-today", "boat-hold", "fishable"):
            yield f"{name}: {one}", lambda name=name, one=one: _command_on(trap(folder, name), one, folder)
        yield f"{name}: written", lambda name=name: _write_beside(trap(folder, name), "holds")
        yield f"{name}: replaced", lambda name=name: _write_beside(trap(folder, name), "zones")
    use = {"shoreline": "water-today", "water": "cast-reach", "spots": "boat-hold", "zones": "shortest-run",
           "known_hazards": "shallow-hazards", "ramps": "shortest-run", "holds": "shortest-run"}  # fmt: skip
    columns = {"spot_id": "s", "ramp_id": "r", "zone": "no_entry", "kind": "stump", "hold_no": 1, "status": "ok", "water_id": "w",
               "area_m2": 1.0, "reason": "", "depth_m": 3.0, "depth_today_m": 3.0, "cast_m": 9.0}  # fmt: skip
    for layer, one in use.items():
        for name in bad_geometries():

            def work(layer=layer, name=name, one=one):
                file = folder / "trap.gpkg"
                shutil.copyfile(lake, file)
                _command_on(bad_layer(file, name, layer, columns), one, folder)

            yield f"{layer} with geometry {name}: {one}", work


def _command_on(file, name, folder):
    from hostile_commands import run_command

    run_command(name, file, folder)


def _rows(file):
    with contextlib.closing(sqlite3.connect(file)) as db:
        found = {}
        for table in ("spots", "ramps", "known_hazards", "shoreline"):
            with contextlib.suppress(sqlite3.DatabaseError):
                # Not columns that are worked out (2, sqlite.org/pragma.html#pragma_table_xinfo): a trap for us too.
                stored = [
                    column[1] for column in db.execute(f'PRAGMA table_xinfo("{table}")') if column[-1] != 2
                ]
                found[table] = db.execute(f'SELECT {", ".join(stored)} FROM "{table}"').fetchall()
        return found


def _write_beside(file, name):
    """Write a layer; whatever the file holds besides is as it was."""
    before = _rows(file)
    point = gpd.GeoDataFrame({"name": ["new"]}, geometry=[shapely.Point(5e5, 4e6)], crs=CRS)
    try:
        write_layers(file, {name: point}, replace=True)
    finally:
        after = _rows(file)
        if after != before:
            raise AssertionError(f"other layers changed: {[k for k in before if before[k] != after.get(k)]}")


def rasters(folder, rng):
    """Rasters with absurd sizes, transforms, types, systems and tags."""
    folder = Path(folder)
    nan = float("nan")
    transforms = [
        (20.0, 0.0, 5e5, 0.0, -20.0, 4e6), (nan, 0, 5e5, 0, -20, 4e6), (20, 0, nan, 0, -20, 4e6), (0.0, 0, 5e5, 0, -20, 4e6),
        (20, 3, 5e5, 0, -20, 4e6), (1e300, 0, 5e5, 0, -1e300, 4e6), (1e-300, 0, 5e5, 0, -1e-300, 4e6), (20, 0, 5e5, 0, 20, 4e6),
        (-20, 0, 5e5, 0, -20, 4e6), (20, 0, 1e308, 0, -20, 4e6),
    ]  # fmt: skip
    for at in transforms:
        for system in ("EPSG:32615", "EPSG:4326", None):
            for kind, fill in (
                ("float32", nan),
                ("float64", 1e300),
                ("uint8", 3),
                ("int16", -32768),
                ("complex64", 1 + 2j),
            ):

                def work(at=at, system=system, kind=kind, fill=fill):
                    file = folder / "odd.tif"
                    file.unlink(missing_ok=True)
                    with rasterio.open(file, "w", driver="GTiff", width=4, height=3, count=1, dtype=kind, crs=system,
                                       transform=rasterio.Affine(*at)) as data:  # fmt: skip
                        data.write(np.full((3, 4), fill, kind), 1)
                        data.update_tags(
                            castshed_depth_error_m=rng.choice(("0.1", "much", "nan", "-1", "1e999"))
                        )
                    read_surface(str(file))

                yield f"raster {at} {system} {kind}", work
    for size in ((200_000, 200_000), (2_000_000_000, 1), (1_000_000, 100_000)):

        def huge(size=size):
            text = (
                f'<VRTDataset rasterXSize="{size[0]}" rasterYSize="{size[1]}"><SRS>EPSG:32615</SRS>'
                "<GeoTransform>500000, 1, 0, 4000000, 0, -1</GeoTransform>"
                '<VRTRasterBand dataType="Float32" band="1"></VRTRasterBand></VRTDataset>'
            )
            (folder / "huge.vrt").write_text(text)
            read_surface(str(folder / "huge.vrt"))
            raise AssertionError("a raster of absurd size was read")

        yield f"raster of {size}", huge


def run_cases(cases, most=None):
    """Count of cases, and the faults among them."""
    count, faults = 0, []
    for label, work in cases:
        if most is not None and count >= most:
            break
        count += 1
        wrong = outcome(work)
        if wrong:
            faults.append(f"{label}: {wrong}")
    return count, faults
