"""Files by which a library of many formats can be made to run, fetch or write something, and a watch over what they do.

Each case makes files in a folder of its own and gives what a person would name on the command line. They are opened as
features, as a raster and as a list in a process of its own, which looks each time whether a file in the folder or in a
watched folder beside it changed; a server on this machine counts who calls. `--bare` opens them with the libraries as they
come, to see that the cases can do harm.
"""

from __future__ import annotations

import contextlib
import json
import os
import shutil
import socket
import sqlite3
import subprocess
import sys
import threading
import time
import zipfile
from pathlib import Path

CASES = {}
MOST_S = 2.0
SHAPES = "<GeometryType>wkbPoint</GeometryType><LayerSRS>EPSG:32615</LayerSRS>"  # fmt: skip
POINT = '{"type": "Feature", "properties": {}, "geometry": {"type": "Point", "coordinates": [1, 2]}}'


class Place:
    """Where one case lies: its folder, what it would write to, and whom it would call."""

    def __init__(self, folder: Path, watched: Path, address: str) -> None:
        self.folder, self.watched, self.address = folder, watched, address

    def put(self, name: str, content: str | bytes) -> str:
        file = self.folder / name
        file.write_bytes(content if isinstance(content, bytes) else content.encode())
        return str(file)


def case(function):
    CASES[function.__name__.replace("_", " ")] = function
    return function


def texts(**made):
    """Several cases that are one file each: name -> (file name, text with places to fill in)."""
    for name, (file, text) in made.items():

        def make(at, file=file, text=text):
            text = (
                text.replace("@WATCHED", str(at.watched))
                .replace("@AT", at.address)
                .replace("@HERE", str(at.folder))
            )
            return at.put(file, text)

        CASES[name.replace("_", " ")] = make


def names(**made):
    """Several cases that are words instead of a file."""
    for name, words in made.items():
        CASES[name.replace("_", " ")] = lambda at, words=words: words.replace("@AT", at.address).replace(
            "@HERE", str(at.folder)
        )


GRID = '<VRTDataset rasterXSize="20" rasterYSize="20"><SRS>EPSG:32615</SRS><GeoTransform>5e5,5,0,4e6,0,-5</GeoTransform>'
SOURCE = "<SimpleSource><SourceFilename>%s</SourceFilename><SourceBand>1</SourceBand></SimpleSource>"
BAND = '<VRTRasterBand dataType="Float32" band="1">%s</VRTRasterBand></VRTDataset>'
DERIVED = '<VRTRasterBand dataType="Float32" band="1" subClass="VRTDerivedRasterBand">%s</VRTRasterBand></VRTDataset>'
PYTHON = (
    "<PixelFunctionType>f.f</PixelFunctionType><PixelFunctionLanguage>Python</PixelFunctionLanguage><PixelFunctionCode>"
    "<![CDATA[def f(*a, **k): open('@WATCHED/profile', 'a').write('run me')]]></PixelFunctionCode>"
)
RAW = (
    '<VRTRasterBand dataType="Byte" band="1" subClass="VRTRawRasterBand"><SourceFilename relativetoVRT="0">'
    "@WATCHED/profile</SourceFilename><ImageOffset>0</ImageOffset><PixelOffset>1</PixelOffset><LineOffset>20</LineOffset>"
    "</VRTRasterBand></VRTDataset>"
)
PROCESSED = (
    '<VRTDataset subClass="VRTProcessedDataset"><Input><SourceFilename>http://@AT/a.tif</SourceFilename></Input>'
    "<ProcessingSteps><Step><Algorithm>Expression</Algorithm></Step></ProcessingSteps></VRTDataset>"
)
WMS = (
    '<GDAL_WMS><Service name="TMS"><ServerUrl>http://@AT/${z}/${x}/${y}.png</ServerUrl></Service><DataWindow>'
    "<UpperLeftX>499000</UpperLeftX><UpperLeftY>4001000</UpperLeftY><LowerRightX>501000</LowerRightX><LowerRightY>3999000"
    "</LowerRightY><TileLevel>2</TileLevel></DataWindow><Projection>EPSG:32615</Projection><BlockSizeX>256</BlockSizeX>"
    "<BlockSizeY>256</BlockSizeY><BandsCount>1</BandsCount><Cache><Path>@WATCHED</Path></Cache></GDAL_WMS>"
)
OGR = '<OGRVRTDataSource><OGRVRTLayer name="spots"><SrcDataSource>%s</SrcDataSource>%s</OGRVRTLayer></OGRVRTDataSource>'
ENDLESS = "<SrcSQL dialect='sqlite'>WITH RECURSIVE n(i) AS (SELECT 1 UNION ALL SELECT i + 1 FROM n) SELECT count(*) FROM n</SrcSQL>"
GML = (
    '<?xml version="1.0"?><gml:FeatureCollection xmlns:gml="http://www.opengis.net/gml" xmlns:o="http://o" '
    'xmlns:xsi="http://www.w3.org/2001/XMLSchema-instance"%s><gml:featureMember><o:s fid="1"><o:g><gml:Point '
    'srsName="EPSG:4326"><gml:coordinates>1,2</gml:coordinates></gml:Point></o:g></o:s></gml:featureMember>'
    "</gml:FeatureCollection>"
)
KML = (
    '<?xml version="1.0"?><kml xmlns="http://www.opengis.net/kml/2.2"><Document>%s<Placemark><name>a</name>%s<Point>'
    "<coordinates>1,2</coordinates></Point></Placemark></Document></kml>"
)
TILES = (
    '{"type": "Feature", "stac_version": "1.0.0", "stac_extensions": '
    '["https://stac-extensions.github.io/tiled-assets/v1.0.0/schema.json"], "id": "a", "properties": {"tiles:tile_matrix_'
    'sets": {"m": {"identifier": "m", "supportedCRS": "http://www.opengis.net/def/crs/OGC/1.3/CRS84", "tileMatrix": '
    '[{"identifier": "0", "scaleDenominator": 1e8, "topLeftCorner": [-180, 90], "tileWidth": 256, "tileHeight": 256, '
    '"matrixWidth": 2, "matrixHeight": 1}]}}}, "asset_templates": {"a": {"href": "http://@AT/{TileMatrix}/{TileRow}/'
    '{TileCol}.tif", "type": "image/tiff"}}}'
)
LAUGH = "".join(f'<!ENTITY l{n} "{f"&l{n - 1};" * 10}">' for n in range(1, 9))
BLOCKS = "".join(
    f"0\nBLOCK\n2\nb{n}\n70\n0\n10\n0\n20\n0\n30\n0\n"
    + f"0\nINSERT\n2\nb{n - 1}\n10\n1\n20\n1\n" * 12
    + "0\nENDBLK\n"
    for n in range(1, 9)
)
DXF = (
    f"0\nSECTION\n2\nBLOCKS\n0\nBLOCK\n2\nb0\n0\nPOINT\n10\n1\n20\n2\n0\nENDBLK\n{BLOCKS}0\nENDSEC\n"
    "0\nSECTION\n2\nENTITIES\n0\nINSERT\n2\nb8\n10\n1\n20\n1\n0\nENDSEC\n0\nEOF\n"
)
RUN = '{"type": "gdal_streamed_alg", "command_line": "gdal vector %s", "relative_paths_relative_to_this_file": false}'

texts(
    a_described_raster=("depth.vrt", GRID + BAND % (SOURCE % "@WATCHED/depth.tif")),
    a_described_raster_called_tif=("depth.tif", GRID + BAND % (SOURCE % "/vsicurl/http://@AT/a.tif")),
    a_described_raster_called_shp=("depth.shp", GRID + BAND % (SOURCE % "/vsicurl/http://@AT/b.tif")),
    a_described_raster_called_geojson=("depth.geojson", GRID + BAND % (SOURCE % "/vsicurl/http://@AT/c.tif")),
    a_described_raster_called_gpkg=("depth.gpkg", GRID + BAND % (SOURCE % "/vsicurl/http://@AT/d.tif")),
    a_described_raster_after_a_mark=("depth.asc", "\ufeff\n " + GRID + BAND % (SOURCE % "/vsicurl/http://@AT/e.tif")),
    a_raster_with_a_function=("depth.tif", GRID + DERIVED % "<PixelFunctionType>sqrt</PixelFunctionType>"),
    a_raster_with_a_program=("depth.tif", GRID + DERIVED % PYTHON),
    a_raster_of_raw_bytes=("depth.tif", GRID + RAW),
    a_processed_raster=("depth.tif", PROCESSED),
    a_raster_of_itself=("depth.tif", GRID + BAND % (SOURCE % "@HERE/depth.tif")),
    a_tile_service_with_a_store=("depth.tif", WMS),
    a_tile_service_as_xml=("depth.xml", WMS),
    a_tile_service_as_list=("spots.csv", WMS),
    a_tile_matrix_service=("depth.tif", "<GDAL_WMTS><GetCapabilitiesUrl>http://@AT/?w</GetCapabilitiesUrl><Layer>a</Layer></GDAL_WMTS>"),
    a_coverage_service=("depth.tif", "<WCS_GDAL><ServiceURL>http://@AT/?</ServiceURL><CoverageName>a</CoverageName></WCS_GDAL>"),
    a_tile_index=("depth.tif", "<GDALTileIndexDataset><IndexDataset>/vsicurl/http://@AT/i.gpkg</IndexDataset></GDALTileIndexDataset>"),
    a_catalogue_of_tiles=("depth.json", TILES),
    a_catalogue_of_items=("depth.geojson", '{"type": "FeatureCollection", "stac_version": "1.0.0", "features": [{"type": "Feature", "stac_version": "1.0.0", "properties": {"proj:epsg": 32615, "proj:transform": [5,0,5e5,0,-5,4e6], "proj:shape": [9,9]}, "geometry": null, "assets": {"a": {"href": "http://@AT/a.tif"}}}]}'),
    a_cached_raster=("depth.mrf", "<MRF_META><CachedSource><Source>/vsicurl/http://@AT/a.tif</Source></CachedSource><Raster><Size x='9' y='9'/><DataFile>@WATCHED/profile</DataFile></Raster></MRF_META>"),
    a_written_command=("depth.tif", RUN % "pipeline ! read /vsicurl/http://@AT/a.geojson ! write @WATCHED/profile"),
    a_written_command_called_geojson=("spots.geojson", RUN % "convert http://@AT/a.geojson @WATCHED/made.csv"),
    features_by_endless_sql=("spots.vrt", OGR % ("@HERE/spots.vrt", ENDLESS)),
    features_from_an_address=("spots.shp", OGR % ("/vsicurl/http://@AT/a.csv", SHAPES)),
    features_of_a_database=("spots.geojson", OGR % ("PG:host=@AT dbname=a", SHAPES)),
    features_of_a_service=("spots.kml", "<OGRWFSDataSource><URL>http://@AT/?</URL></OGRWFSDataSource>"),
    features_of_a_catalogue_service=("spots.xml", "<OGRCSWDataSource><URL>http://@AT/?</URL></OGRCSWDataSource>"),
    gml_that_leaves_a_file=("spots.gml", GML % ""),
    gml_called_gpkg=("spots.gpkg", GML % ""),
    gml_with_a_schema_elsewhere=("spots.gml", GML % ' xsi:schemaLocation="http://o http://@AT/a.xsd"'),
    kml_with_a_network_link=("spots.kml", KML % ("<NetworkLink><Link><href>http://@AT/a.kml</href></Link></NetworkLink>", "")),
    kml_with_a_style_elsewhere=("spots.kml", KML % ("", "<styleUrl>http://@AT/a.kml#s</styleUrl>")),
    kml_that_laughs=("spots.kml", f'<?xml version="1.0"?><!DOCTYPE kml [<!ENTITY l0 "ha">{LAUGH}]><kml>&l8;</kml>'),
    gpx_with_a_file_inside=("spots.gpx", '<?xml version="1.0"?><!DOCTYPE gpx [<!ENTITY x SYSTEM "http://@AT/a">]><gpx version="1.1"><wpt lat="1" lon="2"><name>&x;</name></wpt></gpx>'),
    a_feed=("spots.xml", '<rss version="2.0" xmlns:georss="http://www.georss.org/georss"><channel><item><georss:point>1 2</georss:point></item></channel></rss>'),
    a_drawing_of_blocks_in_blocks=("spots.dxf", DXF),
    a_drawing_cut_off=("spots.dxf", "0\nSECTION\n2\nENTITIES\n0\nPOLYLINE\n"),
    a_system_by_link=("spots.geojson", f'{{"type": "FeatureCollection", "crs": {{"type": "link", "properties": {{"href": "http://@AT/crs", "type": "proj4"}}}}, "features": [{POINT}]}}'),
    a_system_by_link_in_escapes=("spots.json", f'{{"type": "FeatureCollection", "\\u0063R\\u0073" : {{"type": "URL", "properties": {{"url": "http://@AT/crs"}}}}, "features": [{POINT}]}}'),
    a_system_named_by_address=("spots.geojson", f'{{"type": "FeatureCollection", "crs": {{"type": "name", "properties": {{"name": "http://@AT/crs"}}}}, "features": [{POINT}]}}'),
    topology=("spots.json", '{"type": "Topology", "objects": {"a": {"type": "Point", "coordinates": [1, 2]}}, "arcs": []}'),
    features_of_a_server=("spots.json", '{"geometryType": "esriGeometryPoint", "spatialReference": {"wkid": 4326}, "exceededTransferLimit": true, "features": [{"attributes": {"a": 1}, "geometry": {"x": 1, "y": 2}}]}'),
    features_with_places=("spots.json", '{"type": "Feature", "conformsTo": ["[ogc-json-fg-1-0.1:core]"], "coordRefSys": "http://@AT/crs", "time": null, "place": null, "properties": {}, "geometry": null}'),
    a_jump_format=("spots.jml", "<?xml version='1.0'?><JCSDataFile><JCSGMLInputTemplate><CollectionElement>c</CollectionElement></JCSGMLInputTemplate></JCSDataFile>"),
    a_map_of_streets=("spots.osm", '<?xml version="1.0"?><osm version="0.6"><node id="1" lat="1" lon="2"/></osm>'),
    map_markup=("spots.mapml", '<mapml- xmlns="http://www.w3.org/1999/xhtml"><map-link href="http://@AT/"/></mapml->'),
    a_dump_of_a_database=("spots.sql", "COPY spots FROM PROGRAM 'touch @WATCHED/made';"),
    a_table_of_another_program=("spots.tab", '!table\n!version 300\nDefinition Table\nFile "http://@AT/a.dbf"\nType NATIVE'),
    a_portable_document=("depth.pdf", "%PDF-1.4\n1 0 obj\n<</Type/Catalog/OpenAction<</S/URI/URI(http://@AT/)>>>>\nendobj\n"),
    a_satellite_description=("depth.tif", "<Dimap_Document><Raster_Access><DATA_FILE href='/vsicurl/http://@AT/a.tif'/></Raster_Access></Dimap_Document>"),
    an_interface_for_features=("spots.json", '{"links": [{"rel": "data", "href": "http://@AT/collections"}], "collections": [{"id": "a"}]}'),
)  # fmt: skip
names(
    an_address="http://@AT/spots.geojson",
    an_address_for_the_library="/vsicurl/http://@AT/spots.geojson",
    an_address_of_a_raster="/vsicurl_streaming/http://@AT/depth.tif",
    an_archive_at_an_address="zip+http://@AT/spots.zip",
    a_database="PG:host=127.0.0.1 dbname=lake",
    a_feature_service="WFS:http://@AT/?",
    a_map_service="WMS:http://@AT/?",
    features_interface="OAPIF:http://@AT/",
    a_raster_with_options="vrt://@HERE/depth.tif?bands=1",
    a_text_as_raster='<VRTDataset rasterXSize="1" rasterYSize="1"/>',
    a_bucket="/vsis3/castshed/spots.gpkg",
    standard_input_for_the_library="/vsistdin/",
)


def _tif(file, **more):
    import numpy as np
    import rasterio

    with rasterio.open(
        file, "w", driver="GTiff", width=20, height=20, count=1, dtype="float32", crs="EPSG:32615",
        transform=rasterio.Affine(5.0, 0.0, 5e5, 0.0, -5.0, 4e6), **more,
    ) as data:  # fmt: skip
        data.write(np.full((20, 20), 3.0, "float32"), 1)
    return str(file)


def _beside(name, text):
    def make(at):
        file = _tif(at.folder / "depth.tif")
        at.put(name, text.replace("@AT", at.address).replace("@WATCHED", str(at.watched)))
        return file

    return make


CASES |= {
    "notes beside a raster": _beside("depth.tif.aux.xml", "<PAMDataset><SRS>EPSG:4326</SRS><PAMRasterBand band='1'><Offset>9</Offset><Scale>0.01</Scale><UnitType>ft</UnitType></PAMRasterBand></PAMDataset>"),
    "overviews elsewhere": _beside("depth.tif.aux.xml", "<PAMDataset><Metadata domain='OVERVIEWS'><MDI key='OVERVIEW_FILE'>/vsicurl/http://@AT/a.ovr</MDI></Metadata></PAMDataset>"),
    "overviews that are a described raster": _beside("depth.tif.ovr", GRID + BAND % (SOURCE % "/vsicurl/http://@AT/a.tif")),
    "a mask that is a described raster": _beside("depth.tif.msk", GRID + BAND % (SOURCE % "/vsicurl/http://@AT/a.tif")),
    "a world file beside a raster": _beside("depth.tfw", "1\n0\n0\n-1\n0\n0\n"),
    "a table beside a raster": _beside("depth.tif.vat.dbf", "\x03"),
}  # fmt: skip


@case
def a_grid_with_a_system_at_an_address(at):
    at.put("depth.prj", f"http://{at.address}/crs")
    return at.put(
        "depth.asc", "ncols 3\nnrows 2\nxllcorner 500000\nyllcorner 4000000\ncellsize 5\n1 2 3\n4 5 6\n"
    )


@case
def a_list_with_a_description_beside(at):
    at.put("spots.vrt", OGR % (f"/vsicurl/http://{at.address}/a.csv", SHAPES))
    return at.put("spots.csv", "x,y\n1,2\n")


def _magic(name, start):
    def make(at):
        return at.put(name, start + bytes(4096))

    return make


CASES |= {
    "a raster of a data library": _magic("depth.nc", b"\x89HDF\r\n\x1a\n"),
    "a raster of another data library": _magic("depth.tif", b"CDF\x01"),
    "a chart": _magic("chart.000", b"015763LE1 0900201 ! 3404FE DDR"),
    "a picture": _magic("depth.png", b"\x89PNG\r\n\x1a\n"),
    "a packed picture": _magic("depth.jp2", b"\x00\x00\x00\x0cjP  \r\n\x87\n"),
    "a gzip": _magic("depth.tif.gz", b"\x1f\x8b\x08"),
    "a grid of a forecast": _magic("wind.grib", b"GRIB\x00\x00\x00\x02"),
    "a raster too large": _magic("depth.tif", bytes.fromhex("49492a0008000000040000010400010000000000007f0101040001000000" "0000007f")),
    "an index cut off": _magic("spots.fgb", b"fgb\x03fgb\x00\xff\xff\xff\x7f"),
}  # fmt: skip


def _geopackage(at, name):
    import geopandas as gpd
    import shapely

    file = at.folder / "made.gpkg"
    frame = gpd.GeoDataFrame(
        {"name": ["a", "b"]}, geometry=shapely.points([[5e5, 4e6], [5e5, 4e6 + 9]]), crs=32615
    )
    frame.to_file(file, layer="spots", engine="pyogrio")
    return file.rename(at.folder / name)


def _bent_geopackage(name, sql):
    def make(at):
        file = _geopackage(at, name)
        with contextlib.closing(sqlite3.connect(file)) as db:
            db.executescript(sql.replace("@WATCHED", str(at.watched)))
        return f"{file}:spots" if "DROP TABLE gpkg_contents" not in sql else str(file)

    return make


VIEW = "DROP TRIGGER IF EXISTS rtree_spots_geom_insert; ALTER TABLE spots RENAME TO s; CREATE VIEW spots AS "
ENDLESS_VIEW = "WITH RECURSIVE n(fid) AS (SELECT 1 UNION ALL SELECT fid + 1 FROM n) SELECT max(fid) AS fid, x'' AS geom FROM n;"
for ending in ("db", "sqlite", "tif", "geojson", "gpkg"):
    CASES |= {
        f"an endless view called {ending}": _bent_geopackage(f"spots.{ending}", VIEW + ENDLESS_VIEW),
        f"a standard table that is endless called {ending}": _bent_geopackage(
            f"spots.{ending}",
            "DROP TABLE IF EXISTS gpkg_ogr_contents; CREATE VIEW gpkg_ogr_contents AS " + ENDLESS_VIEW,
        ),
    }
CASES |= {
    "a view that loads a library": _bent_geopackage("spots.db", VIEW + "SELECT fid, geom, load_extension('@WATCHED/x.so') AS x FROM s;"),
    "a column worked out, called tif": _bent_geopackage("spots.tif", "ALTER TABLE spots ADD COLUMN w AS (hex(zeroblob(400000000)));"),
    "a virtual table in its place": _bent_geopackage("spots.db", "DROP TABLE spots; CREATE VIRTUAL TABLE spots USING fts5(geom);"),
    "a trigger that waits": _bent_geopackage("spots.sqlite", "CREATE TRIGGER t AFTER UPDATE ON gpkg_contents BEGIN DELETE FROM spots; END;"),
    "no contents but tiles": _bent_geopackage("depth.mbtiles", "DROP TABLE gpkg_contents; CREATE TABLE metadata(name, value); CREATE TABLE tiles(zoom_level, tile_column, tile_row, tile_data); INSERT INTO metadata VALUES ('format', 'pbf');"),
    "a reference system at an address": _bent_geopackage("spots.gpkg", "UPDATE gpkg_spatial_ref_sys SET organization = 'x', definition = 'http://127.0.0.1/crs' WHERE srs_id = 32615;"),
}  # fmt: skip


BREAK_OFF = """
import os, sqlite3, sys
db = sqlite3.connect(sys.argv[1])
db.execute("PRAGMA cache_size = 1")
db.execute("CREATE TABLE f (a)")
db.executemany("INSERT INTO f VALUES (?)", [("x" * 900,)] * 900)
db.commit()
db.execute("UPDATE f SET a = 1")
os._exit(0)
"""


def break_off(file):
    """Write to a database in a process that ends in the middle: its journal stays."""
    subprocess.run([sys.executable, "-c", BREAK_OFF, str(file)], check=True)


@case
def an_unfinished_write(at):
    file = _geopackage(at, "spots.gpkg")
    break_off(file)
    return f"{file}:spots"


@case
def a_log_that_was_kept(at):
    file = _geopackage(at, "spots.gpkg")
    with contextlib.closing(sqlite3.connect(file)) as db:
        db.execute("PRAGMA journal_mode = WAL")
    return f"{file}:spots"


@case
def a_pipe(at):
    os.mkfifo(at.folder / "spots.gpkg")
    return str(at.folder / "spots.gpkg")


@case
def a_pipe_as_part_of_a_shapefile(at):
    import geopandas as gpd
    import shapely

    gpd.GeoDataFrame({"a": [1]}, geometry=[shapely.Point(1, 2)], crs=4326).to_file(
        at.folder / "spots.shp", engine="pyogrio"
    )
    (at.folder / "spots.dbf").unlink()
    os.mkfifo(at.folder / "spots.dbf")
    return str(at.folder / "spots.shp")


@case
def a_socket(at):
    here = Path.cwd()
    os.chdir(at.folder)  # the name of a socket is short
    try:
        with contextlib.closing(socket.socket(socket.AF_UNIX)) as made:
            made.bind("spots.csv")
    finally:
        os.chdir(here)
    return str(at.folder / "spots.csv")


@case
def a_device(_at):
    return "/dev/zero"


@case
def a_link_to_itself(at):
    (at.folder / "spots.gpkg").symlink_to(at.folder / "spots.gpkg")
    return str(at.folder / "spots.gpkg")


@case
def a_folder_called_geodatabase(at):
    (at.folder / "lake.gdb").mkdir()
    (at.folder / "lake.gdb" / "a00000001.gdbtable").write_bytes(bytes(64))
    return str(at.folder / "lake.gdb")


@case
def an_archive_with_a_described_raster(at):
    with zipfile.ZipFile(at.folder / "depth.zip", "w") as archive:
        archive.writestr("depth.tif", GRID + BAND % (SOURCE % f"/vsicurl/http://{at.address}/a.tif"))
    return str(at.folder / "depth.zip")


@case
def a_name_that_leads_to_another_file(at):
    at.put("a.geojson", '{"type": "FeatureCollection", "features": []}')
    return at.put("a.geojson;v2.geojson", GRID + BAND % (SOURCE % f"/vsicurl/http://{at.address}/a.tif"))


def _state(folder):
    """All that can be seen of a folder: names, kinds, sizes, times, content."""
    found = {}
    for path in sorted(folder.rglob("*")):
        about = path.lstat()
        content = path.read_bytes() if path.is_file() and not path.is_symlink() else b""
        found[str(path)] = (about.st_mode, about.st_size, about.st_mtime_ns, content)
    return found


def _ours(words):
    from castshed.toolbox.cache.kept_calls import of_reference
    from castshed.toolbox.errors import CastshedError
    from castshed.toolbox.layers import list_layers, parse_reference, read_layer, read_surface
    from castshed.toolbox.sources import read_source

    told = []
    for work in (
        lambda w: list_layers(parse_reference(w).path),
        read_layer,
        read_surface,
        read_source,
        lambda w: of_reference(parse_reference(w), ("spots",)),
    ):
        try:
            work(words)
            told.append("read")
        except CastshedError as error:
            told.append("refused" if len(str(error)) > 20 else "a refusal without words")
    return told


def _bare(words):
    import pyogrio
    import rasterio

    told = []
    name, _, _ = words.partition(":spots")
    for work in (lambda: pyogrio.read_dataframe(name), lambda: rasterio.open(name).read(1)):
        try:
            work()
            told.append("read")
        except Exception:  # noqa: BLE001
            told.append("refused")
    return told


def _child(folder, watched, address, bare):
    """Make and open all cases, one line of JSON each."""
    connected = []
    sys.addaudithook(
        lambda event, args: connected.append(str(args[1:])) if event == "socket.connect" else None
    )
    import warnings

    warnings.simplefilter("ignore")
    work = _bare if bare else _ours
    warm = Place(folder / "warm", watched, address)
    warm.folder.mkdir()
    for words in (
        f"{_geopackage(warm, 'warm.gpkg')}:spots",
        _tif(warm.folder / "warm.tif"),
        warm.put("warm.geojson", f'{{"type": "FeatureCollection", "features": [{POINT}]}}'),
        warm.put(
            "warm.json", f'{{"type": "FeatureCollection", "crs": {{"type": "x"}}, "features": [{POINT}]}}'
        ),
    ):
        work(words)  # libraries are loaded, and count for no case
    for number, (name, make) in enumerate(CASES.items()):
        place = Place(folder / f"{number:03d}", watched, address)
        place.folder.mkdir()
        words = make(place)
        before = _state(place.folder), _state(watched)
        calls, begin = len(connected), time.perf_counter()
        print(json.dumps({"begins": name}), flush=True)
        try:
            told, wrong = work(words), ""
        except BaseException as error:  # noqa: BLE001
            told, wrong = [], f"{type(error).__name__}: {str(error)[:200]}"
        seconds = time.perf_counter() - begin
        changed = (_state(place.folder), _state(watched)) != before
        print(
            json.dumps(
                {"case": name, "told": told, "wrong": wrong, "seconds": seconds, "changed": changed,
                 "connected": len(connected) > calls}
            ),
            flush=True,
        )  # fmt: skip


class _Server:
    """Counts who calls, and answers nothing."""

    def __enter__(self):
        self.calls = 0
        self.socket = socket.create_server(("127.0.0.1", 0))
        self.address = f"127.0.0.1:{self.socket.getsockname()[1]}"
        threading.Thread(target=self._serve, daemon=True).start()
        return self

    def _serve(self):
        with contextlib.suppress(OSError):
            while True:
                caller, _ = self.socket.accept()
                self.calls += 1
                caller.close()

    def __exit__(self, *_):
        self.socket.close()


def open_all(folder, *, bare=False, most_s=300.0):
    """Open every case: its label -> what is wrong with it, empty where it was refused or read harmlessly."""
    folder = Path(folder)
    watched, home = folder / "watched", folder / "cases"
    for one in (watched, home):
        shutil.rmtree(one, ignore_errors=True)
        one.mkdir(parents=True)
    (watched / "profile").write_text("# started at login\n")
    faults, calls = dict.fromkeys(CASES, "not reached"), 0
    with _Server() as server:
        child = subprocess.Popen(
            [sys.executable, __file__, str(home), str(watched), server.address, "bare" if bare else "ours"],
            stdout=subprocess.PIPE, text=True,
        )  # fmt: skip
        guard = threading.Timer(most_s, child.kill)
        guard.start()
        for line in child.stdout:
            told = json.loads(line)
            if "begins" in told:
                faults[told["begins"]] = "the process ended"
                continue
            said = [told["wrong"]] if told["wrong"] else []
            said += [one for one in told["told"] if one not in ("read", "refused")]
            said += ["changed a file"] * told["changed"] + ["opened a socket"] * told["connected"]
            if server.calls > calls:
                said.append("called an address")
                calls = server.calls
            if told["seconds"] > MOST_S:
                said.append(f"took {told['seconds']:.1f} s")
            faults[told["case"]] = "; ".join(said)
        child.stdout.close()
        child.wait()
        guard.cancel()
    return faults


def run_hostile_drivers(folder, tell=lambda _text: None):
    """How many cases are refused or read harmlessly, and of how many."""
    faults = open_all(folder)
    for name, what in faults.items():
        if what:
            tell(f"{name}: {what}")
    return sum(not what for what in faults.values()), len(faults)


if __name__ == "__main__":
    if sys.argv[1:2] == ["--bare"]:
        import tempfile

        with tempfile.TemporaryDirectory() as made:
            print(json.dumps({k: v for k, v in open_all(made, bare=True).items() if v}, indent=1))
    else:
        _child(Path(sys.argv[1]), Path(sys.argv[2]), sys.argv[3], sys.argv[4] == "bare")
