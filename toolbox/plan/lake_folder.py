"""The folder of a lake that was brought in: its layers, a day file that runs, a picture, what was read."""

from __future__ import annotations

import csv
import datetime as dt
import io
import json
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import shapely

from ..intake.downloads.systems import name_of
from ..lon_lat import to_degrees
from ..parameters.files import FolderContents
from ..report import note
from ..text import how_many, one_line
from ..units import in_words

if TYPE_CHECKING:
    from ..depth import DepthSurface
    from ..intake.downloads.bringing import Brought
    from ..intake.downloads.found import FoundLayer

_TEXT: Final = """\
# A day on {title}, written by castshed bring-lake. Lengths, speeds and times are text with their unit.
# Look at lake.png and read.csv first: what the files were taken for decides how deep the water is.
# A planning aid, not for navigation.

title = {quoted}
date = {date}                    # the day of the trip
zone = "{zone}"              # of clock times; write the lake's own, a name of the IANA database
units = "{units}"                     # which system comes first on the map: US or metric

[lake]
file = "lake.gpkg"
{launch}
[level]
today = "0ft"                        # today's surface against normal pool, such as "-4ft"; read it off before you go
error = "6in"                        # how far that may be wrong
{pool}
[boat]                               # fill in your own boat; these are common for a lake boat
draft = "14in"
running_depth = "30in"
margin = "12in"
beam = "8ft"
clearance = "20ft"
fix_error = "10ft"
run_speed = "30mph"
idle_speed = "5mph"

[angler]
least_cast = "40ft"
cast = "70ft"
most_cast = "90ft"

# [wind]                             # from the official forecast; left out, wind plays no part
# from = "SW"
# speed = "10mph"

{spots}
[run]
{ramp}at_most = 8                          # stops
at_each = "25min"
# depart = "06:00"                   # with it the stops get times
"""
_LISTED: Final = """\
[spots]
sources = ["lake.gpkg:spots"]
"""
_FOUND: Final = """\
[structure]                          # no list of spots: plan looks for structure in the depths and fishes it
from = "4ft"
to = "{to}"
most = 6                             # of each kind
"""


def zone_at(lon: float) -> str:
    """Name the nautical time zone of a longitude, as the IANA database writes it: its sign is turned."""
    hours = round(lon / 15.0)
    return "UTC" if hours == 0 else f"Etc/GMT{'-' if hours > 0 else '+'}{abs(hours)}"


_LAUNCH: Final = "ramps = "
_FLOATS_M: Final = 2.0


def _launch(shore_deg: tuple[float, float]) -> str:
    """Write the line in which a person names the place to put in, as an example on this lake's shore."""
    lat, lon = shore_deg
    return (
        f'# {_LAUNCH}"{lat:.5f}, {lon:.5f}"   # FILL IN: no ramp was found; where you put in, in degrees (this is just '
        "a place on the shore);\n"
        "#                                    # then take the # at the line's beginning away\n"
    )


def line_to_fill_in(text: str) -> int:
    """Tell the number of the line of a day file that names the place to put in; 0 where nothing is to be filled in."""
    return next((n for n, line in enumerate(text.splitlines(), 1) if line.startswith(f"# {_LAUNCH}")), 0)


def _start(ramp_id: str, name: str) -> str:
    return f"start = {json.dumps(ramp_id, ensure_ascii=False)}                     # {one_line(name)}\n"


def _in_degrees(brought: Brought, point: Any) -> tuple[float, float]:
    lon, lat = to_degrees(brought.crs).transform(point.x, point.y)
    return float(lat), float(lon)


def _near_deep_water(lake: Any, depth: DepthSurface) -> Any:
    """Find the place on the shore off which water that floats any small boat is nearest."""
    from scipy.spatial import cKDTree

    shore = shapely.get_coordinates(shapely.segmentize(shapely.boundary(lake), 50.0))
    rows, columns = np.nonzero(depth.depth_m > _FLOATS_M)
    if not len(rows):
        return shapely.Point(shore[0])
    step = max(1, len(rows) // 200_000)
    deep = np.column_stack([depth.xs[columns[::step]], depth.ys[rows[::step]]])
    return shapely.Point(shore[int(np.argmin(cKDTree(deep).query(shore)[0]))])


def day_text(title: str, layers: Mapping[str, Any], brought: Brought) -> str:
    """Write the day file of a lake."""
    lat, lon = _in_degrees(brought, shapely.point_on_surface(brought.lake.area))
    on_shore = _near_deep_water(brought.lake.area, layers["depth"])
    feet = any(found.unit in ("ft", "ftUS") for found in brought.founds)
    pool = next((f.datum for f in brought.founds if f.datum.find("pool at") >= 0), "")
    ramps = layers.get("ramps")
    start = "" if ramps is None else _start(str(ramps["ramp_id"].iloc[0]), str(ramps["name"].iloc[0]))
    deepest = float(np.nanmax(layers["depth"].depth_m))
    return _TEXT.format(
        title=title,
        quoted=json.dumps(title, ensure_ascii=False),
        date=(dt.datetime.now(dt.UTC).date() + dt.timedelta(days=1)).isoformat(),
        zone=zone_at(float(lon)),
        units="US" if feet or (-170.0 < lon < -60.0 and lat < 49.0) else "metric",
        launch="" if ramps is not None else _launch(_in_degrees(brought, on_shore)),
        pool=f"# depths are below the {pool}\n" if pool else "",
        spots=_LISTED if "spots" in layers else _FOUND.format(to=f"{max(3.0, min(12.0, deepest)):.3g}m"),
        ramp=start,
    )


_COLUMNS: Final = (
    "file", "layer", "role", "column", "unit", "sign", "datum", "crs", "rows", "taken", "set_aside", "why",
)  # fmt: skip
_FIRST: Final = 1.6  # steps of the contours, at which the shallowest one lies too deep for the pool


def _set_aside(brought: Brought) -> Any:
    """Make the layer of what was left out, with the row it stands in and why."""
    import geopandas

    rows = [
        (found.name, row, reason, shape)
        for found in brought.founds
        for row, reason, shape in found.aside
        if shape is not None
    ]
    rows += [
        ("shoreline", 0, reason, area) for reason, area in brought.lake.differs if not shapely.is_empty(area)
    ]
    shapes = np.empty(len(rows), dtype=object)
    shapes[:] = [shapely.force_2d(one[3]) for one in rows]
    return geopandas.GeoDataFrame(
        {
            "source": np.array([r[0] for r in rows], dtype=object),
            "line": np.array([r[1] for r in rows], dtype=int),
            "reason": np.array([r[2] for r in rows], dtype=object),
        },
        geometry=shapes,
        crs=brought.crs,
    )


def _reasons(found: FoundLayer) -> str:
    counts: dict[str, int] = {}
    for _, reason, _ in found.aside:
        counts[reason] = counts.get(reason, 0) + 1
    return "; ".join(f"{n} {why}" for why, n in sorted(counts.items(), key=lambda one: -one[1])[:6])


def _table(brought: Brought) -> bytes:
    """Write what was read: a line a layer."""
    out = io.StringIO()
    writer = csv.writer(out)
    writer.writerow(_COLUMNS)
    for found in brought.founds:
        why = [*found.why, *(brought.lake.why if found is brought.lake.found else ())]
        if reasons := _reasons(found):
            why.append(f"set aside: {reasons}")
        layer = found.layer
        writer.writerow(
            [
                _plain(text)
                for text in (
                    found.file,
                    layer,
                    found.role,
                    found.column,
                    found.unit,
                    found.values,
                    found.datum,
                )
            ]
            + [_plain(found.system), found.rows, found.taken, len(found.aside), _plain("; ".join(why))]
        )
    return out.getvalue().encode()


def _plain(text: str) -> str:
    """Keep a text from being worked out as a formula in a spreadsheet."""
    return f"'{text}" if text[:1] in ("=", "+", "-", "@") else text


def _spots(brought: Brought, shore: Any) -> Any:
    """Gather the lists of spots as gather-spots does; None where there are none."""
    from importlib import import_module

    from ..sources import SourceTable

    if not brought.spots:
        return None
    tables = []
    for found in brought.spots:
        assert found.frame is not None
        table = SourceTable.from_frame(found.frame, found.name)
        tables.append(table)
    gather = import_module("castshed.algorithms.gather_spots").gather_spots
    units = {f.unit for f in brought.spots if f.unit in ("m", "ft")}
    made = gather(
        tables, shoreline=shore, depth_unit=units.pop() if len(units) == 1 else None, date="2000-01-01"
    )
    return made.spots if len(made.spots) else None


def _check(brought: Brought, depth: DepthSurface, spots: Any) -> list[str]:
    """Hold the finished surface against all else that is known, and tell what is odd.

    Raises
    ------
    DataError
        Something states depths that differ by a unit, a sign or a datum.
    """
    from ..water.bottom.barriers import centres_inside
    from ..water.doubt.depth_agreement import doubt_against

    mend = "Say its unit with --depths-in FILE=UNIT, or what its numbers are with --values."
    if brought.raster is not None:
        doubt_against(depth, brought.contours, what="contours", mend=mend)
        doubt_against(depth, brought.soundings, what="soundings", mend=mend)
    if spots is not None:
        doubt_against(depth, spots, what="spots", mend=mend)
    inside = centres_inside(depth, brought.lake.area)
    bare = float(np.isnan(depth.depth_m[inside]).mean()) if inside.any() else 1.0
    said = []
    if bare > 0.01:
        said.append(f"{bare:.0%} of the water has no depth.")
    if brought.ramps is not None and len(brought.ramps):
        off = shapely.distance(brought.ramps.geometry.to_numpy(), brought.lake.area)
        said.append(f"Ramps lie up to {in_words(float(off.max()), 'length')} from the water.")
    return said


def _odd_pool(brought: Brought) -> list[str]:
    """Tell where contours begin far under the normal pool that was given: it may be off, and every depth with it."""
    if brought.contours is None or not any(
        "pool at" in f.datum for f in brought.founds if f.role == "contours"
    ):
        return []
    steps = np.unique(brought.contours["depth_m"].to_numpy(dtype=float))
    step = float(np.median(np.diff(steps))) if len(steps) > 2 else float("inf")
    first = float(steps[steps > 0.0].min(initial=np.inf))
    if not first > _FIRST * step:
        return []
    words = (
        f"The shallowest contour lies {in_words(first, 'length')} under the normal pool given, where contours are "
        f"{in_words(step, 'length')} apart: look whether --normal-pool is right, on the datum of the contours."
    )
    return [words]


def lake_folder(
    brought: Brought, depth: DepthSurface, unsure: DepthSurface, *, title: str, contradictions: Any = None
) -> FolderContents:
    """Put a lake's folder together.

    Parameters
    ----------
    brought, depth, unsure
        The lake, its depth surface, and how far each depth may be off.
    title
        What it is called.
    contradictions
        Soundings that differ from the contours round them, as depth-surface tells them.
    """
    import geopandas

    from ..output.maps.lake_chart import draw_lake
    from ..water.doubt.depth_doubt import depth_words

    shore = geopandas.GeoDataFrame({"name": [title]}, geometry=[brought.lake.area], crs=brought.crs)
    spots = _spots(brought, shore)
    said = _check(brought, depth, spots)
    for words in _odd_pool(brought):
        note(words, stacklevel=2)
    others = (
        ("contours", brought.contours),
        ("soundings", brought.soundings),
        ("areas", brought.areas),
        ("ramps", brought.ramps),
        ("zones", brought.zones),
        ("known_hazards", brought.hazards),
        ("spots", spots),
        ("contradictions", contradictions),
    )
    layers: dict[str, Any] = {"shoreline": shore, "depth": depth, "depth_confidence": unsure}
    layers |= {name: layer for name, layer in others if layer is not None and len(layer)}
    aside = _set_aside(brought)
    if len(aside):
        layers["set_aside"] = aside
    for found in brought.founds:
        if found.aside:
            note(
                f"{found.name}: {how_many(len(found.aside), 'row')} set aside: {_reasons(found)}.",
                stacklevel=2,
            )
    for words in brought.lake.why:
        if any(word in words for word in ("disagree", "gap", "loose", "islands")):
            note(f"Shoreline: {words}.", stacklevel=2)
    if brought.raster is not None:
        beside = [n for n, layer in others if n in ("contours", "soundings", "areas") and layer is not None]
        if beside:
            note(
                f"The depths are those of the raster alone; {' and '.join(beside)} are kept beside it, and held "
                "against it for unit and sign. Give --as FILE=ignore for the raster to make the depths of them.",
                stacklevel=2,
            )
    for found in brought.founds:
        for words in found.why:
            if words.startswith(("left out:", "raster: left out")) or " mark for " in words:
                note(f"{found.name}: {words}.", stacklevel=2)
    files = {
        "day.toml": day_text(title, layers, brought).encode(),
        "read.csv": _table(brought),
        "lake.png": draw_lake(layers, title=title),
    }
    told = [
        f"{f.name}: {f.role}"
        + (f", '{f.column}'" if f.column else "")
        + (f", {f.unit or 'm'}, {f.values}, {f.datum}" if f.values else "")
        + f", {f.system}: {f.taken:,} of {f.rows:,} taken"
        for f in brought.founds
        if f.role != "ignore"
    ]
    lake = brought.lake
    area = float(shapely.area(lake.area)) / 1e6
    lat, lon = _in_degrees(brought, shapely.point_on_surface(lake.area))
    told.append(
        f"{title}: {area:.4g} km2 at latitude {lat:.4f}, longitude {lon:.4f}, in {name_of(brought.crs)}; "
        f"{'; '.join(lake.why)}."
    )
    then = "Next: castshed plan {folder}/day.toml --out my_day"
    if to_fill := line_to_fill_in(files["day.toml"].decode()):
        then = (
            f"No ramp was found, and a run begins at one: fill in line {to_fill} of {{folder}}/day.toml, ramps = "
            '"LATITUDE, LONGITUDE" of where you put in, and take its # away. Then: castshed plan {folder}/day.toml '
            "--out my_day"
        )
    return FolderContents(
        layers={"lake.gpkg": layers},
        files=files,
        figures={
            "area_km2": area,
            "deepest_m": float(np.nanmax(depth.depth_m)),
            "depth_error_m": depth.error_m,
        },
        said=(*told, depth_words(depth, lake.area), *said),
        then=then,
    )
