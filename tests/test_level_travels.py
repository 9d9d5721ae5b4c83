"""The level goes with layers into our own formats and through pipes, and comes back: no step applies it twice."""

import io
import json
from xml.etree import ElementTree as ET

import geopandas as gpd
import numpy as np
import pytest
import shapely

from castshed.algorithms.depth_surface import depth_surface
from castshed.algorithms.export import export
from castshed.algorithms.gather_spots import gather_spots
from castshed.algorithms.safe_ways import safe_ways
from castshed.algorithms.water_today import water_today
from castshed.toolbox.errors import DataError
from castshed.toolbox.layers.reading import read_layer
from castshed.toolbox.layers.text_sequence import read_sequence, write_sequence
from castshed.toolbox.lineage import LEVEL, mark_from_column, told_level
from castshed.toolbox.sources import read_source
from made_lake import CRS, X0, Y0, frame

FOUR_DOWN = -1.2192  # 4 ft
AT = [shapely.Point(X0 + 300, Y0 + 400), shapely.Point(X0 + 500, Y0 + 600)]
FILES = {"kml": "plan.kml", "geojson": "plan.geojson", "gpx": "run.gpx", "csv": "plan-holds.csv"}


def holds():
    made = frame(
        AT, spot_id=["a", "b"], hold_no=[1, 1], status=["ok", "ok"], reason=["", ""], depth_today_m=[4.0, 3.0],
        cast_m=[20.0, 20.0], cast_bearing_deg=[0.0, 0.0], deep_bearing_deg=[0.0, 0.0], wind_angle_deg=[0.0, 0.0],
    )  # fmt: skip
    made.attrs[LEVEL] = FOUR_DOWN
    return made


def written(folder, layers, word, **told):
    files = export(layers, formats=[word], **told)
    for name, content in files.items():
        (folder / name).write_bytes(content)
    return files


@pytest.mark.parametrize("word", ["kml", "geojson"])
def test_holds_read_back_from_our_own_files_know_their_level(tmp_path, lake, word):
    written(tmp_path, {"holds": holds()}, word)  # the level is that of the layer
    layer = ":holds" if word == "kml" else ""
    back = read_layer(f"{tmp_path / FILES[word]}{layer}").to_crs(CRS)
    assert told_level(back) == pytest.approx(FOUR_DOWN)
    usable = holds().assign(geometry=back.geometry.to_numpy())
    usable.attrs[LEVEL] = back.attrs[LEVEL]
    water = frame([shapely.Polygon(lake.shoreline.geometry.iloc[0])], water_id=["w"])
    with pytest.raises(DataError, match=r"1\.2.* m.*holds|holds.*1\.2"):
        safe_ways(usable, lake.ramps, water, level_m=0.0)


@pytest.mark.parametrize("word", list(FILES))
def test_holds_of_our_own_files_become_no_spots_with_today_s_depth_for_the_charted_one(tmp_path, lake, word):
    written(tmp_path, {"holds": holds()}, word)
    book = gather_spots([read_source(str(tmp_path / FILES[word]))], shoreline=lake.shoreline)
    assert book.spots.empty
    assert len(book.set_aside) == 2
    assert book.set_aside["reason"].str.contains("hold").all()


@pytest.mark.parametrize("word", list(FILES))
def test_a_judged_spot_comes_back_with_its_charted_depth(tmp_path, lake, word):
    spots = lake.spots.iloc[[0, 1]]
    spots = spots.assign(depth_today_m=spots["depth_m"] + FOUR_DOWN)
    if word != "gpx":  # there a stop's number makes it a stop
        spots["stop_no"] = [1, -1]
    written(tmp_path, {"spots": spots}, word, level_m=FOUR_DOWN)
    name = "plan-spots.csv" if word == "csv" else FILES[word]
    book = gather_spots([read_source(str(tmp_path / name))], shoreline=lake.shoreline)
    got = dict(zip(book.spots["name"], book.spots["depth_m"], strict=True))
    assert got == pytest.approx(dict(zip(spots["name"], spots["depth_m"], strict=True)))


def test_files_say_level_and_datum_where_the_standards_have_a_place_for_it(tmp_path):
    for word in FILES:
        files = written(tmp_path, {"holds": holds()}, word)
        content = next(iter(files.values())).decode("utf-8-sig")
        if word == "geojson":
            told = json.loads(content)
            assert (told["level_m"], told["vertical_datum"]) == (FOUR_DOWN, "chart datum (normal pool)")
            assert {row["properties"]["level_m"] for row in told["features"]} == {FOUR_DOWN}
        elif word == "kml":
            space = "{http://www.opengis.net/kml/2.2}"
            data = ET.fromstring(content).find(f"{space}Document/{space}ExtendedData")
            told = {one.get("name"): one.findtext(f"{space}value") for one in data}
            assert told == {"level_m": repr(FOUR_DOWN), "vertical_datum": "chart datum (normal pool)"}
        elif word == "gpx":
            space, own = "{http://www.topografix.com/GPX/1/1}", "{urn:x-castshed:plan:1}"
            root = ET.fromstring(content)
            assert root.findtext(f"{space}metadata/{space}extensions/{own}level_m") == repr(FOUR_DOWN)
            assert root.findtext(f"{space}wpt/{space}extensions/{own}level_m") == repr(FOUR_DOWN)
        else:
            assert content.splitlines()[0].split(",").count("level_m") == 1
            about = json.loads(files["csv-metadata.json"])
            assert {"schema:name": "level_m", "schema:value": FOUR_DOWN} in about["schema:additionalProperty"]


def test_a_pipe_carries_the_level():
    stream = io.BytesIO()
    write_sequence(stream, {"holds": holds(), "ramps": frame([AT[0]], ramp_id=["r"])})
    stream.seek(0)
    back = read_sequence(stream)
    assert told_level(back["holds"]) == FOUR_DOWN
    assert told_level(back["ramps"]) is None


def test_layers_that_are_given_together_tell_their_level_too():
    with pytest.raises(DataError, match=r"holds was made at a level of"):
        export({"holds": holds()}, level_m=0.0)
    said = export({"holds": holds()}, formats=["geojson"])["plan.geojson"].decode()
    assert "at level -4.0 ft" in said
    other = holds()
    other.attrs[LEVEL] = 0.0
    with pytest.raises(DataError, match="was made at"):
        export({"holds": holds(), "stops": other})


def test_a_list_that_says_its_level_is_brought_to_chart_datum(tmp_path, lake):
    spot = gpd.GeoSeries([AT[0]], crs=CRS).to_crs(4326).iloc[0]
    (tmp_path / "own.csv").write_text(
        f"name,lat,lon,depth (ft),level_m\nhere,{spot.y:.7f},{spot.x:.7f},10,{FOUR_DOWN}\n", encoding="utf-8"
    )
    book = gather_spots([read_source(str(tmp_path / "own.csv"))], shoreline=lake.shoreline)
    assert book.spots["depth_m"].to_list() == pytest.approx([14 * 0.3048])  # 10 ft of water at 4 ft down
    assert "brought to chart datum" in book.spots["remark"].iloc[0]


def test_rows_of_several_levels_mark_nothing():
    made = frame(AT, level_m=["-1.2", "0"])
    mark_from_column(made)
    assert LEVEL not in made.attrs
    made["level_m"] = [np.nan, "-1.2"]
    mark_from_column(made)
    assert made.attrs[LEVEL] == -1.2


def test_today_s_bands_are_no_charted_depth_areas(lake):
    today = water_today(lake.depth, lake.shoreline, level_m=FOUR_DOWN)
    with pytest.raises(DataError, match=r"depth_areas was made at a level of -1\.2"):
        depth_surface(lake.shoreline, depth_areas=today.depth_bands)
    charted = water_today(lake.depth, lake.shoreline, level_m=0.0)
    assert (
        np.nanmax(depth_surface(lake.shoreline, depth_areas=charted.depth_bands, cell_m=20.0).depth.depth_m)
        > 5.0
    )
