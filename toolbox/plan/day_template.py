"""The day file that comes with a lake that was brought in: it runs as it stands, and says what to fill in."""

from __future__ import annotations

import datetime as dt
import json
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any, Final

import shapely

from ..text import one_line

if TYPE_CHECKING:
    from ..intake.downloads.bringing import Brought

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


def _start(ramp_id: str, name: str) -> str:
    return f"start = {json.dumps(ramp_id, ensure_ascii=False)}                     # {one_line(name)}\n"


def day_text(title: str, layers: Mapping[str, Any], brought: Brought) -> str:
    """Write the day file of a lake."""
    import numpy as np
    import pyproj

    middle = shapely.point_on_surface(brought.lake.area)
    lon, lat = pyproj.Transformer.from_crs(brought.crs, "OGC:CRS84", always_xy=True).transform(
        middle.x, middle.y
    )
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
        pool=f"# depths are below the {pool}\n" if pool else "",
        spots=_LISTED if "spots" in layers else _FOUND.format(to=f"{max(3.0, min(12.0, deepest)):.3g}m"),
        ramp=start,
    )
