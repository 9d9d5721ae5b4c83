"""Words by which agencies name files and columns, and what each tells. All are ordinary words of the trade."""

from __future__ import annotations

import re
from typing import Final

from .wishes import UNITS

# Role -> words in the name of a file or layer; the first role that has one is taken, for shapes that it can have.
ROLE_WORDS: Final[tuple[tuple[str, tuple[str, ...], tuple[str, ...]], ...]] = (
    ("ramps", ("ramp", "ramps", "launch", "launches", "boatramp", "boatramps", "access", "accesses", "slipway", "slipways",
               "boataccess", "landing", "landings"), ("point",)),
    ("hazards", ("hazard", "hazards", "rock", "rocks", "stump", "stumps", "obstruction", "obstructions", "wreck", "wrecks",
                 "snag", "snags", "danger", "dangers", "knownhazards"), ("point", "line", "polygon")),
    ("zones", ("zone", "zones", "restricted", "restriction", "restrictions", "nowake", "wake", "closed", "buoyline",
               "regulation", "regulations", "closure", "closures"), ("polygon",)),
    ("spots", ("spot", "spots", "attractor", "attractors", "habitat", "brush", "brushpile", "brushpiles", "waypoint",
               "waypoints", "structure", "structures", "crib", "cribs", "reef", "reefs", "fishattractors"),
     ("point", "polygon")),
    ("islands", ("island", "islands", "isle", "isles", "islet", "islets"), ("polygon", "line")),
    ("depth-areas", ("depthareas", "depare", "deptharea", "depthbands", "depthpolygons", "depthzones"), ("polygon",)),
    ("soundings", ("sounding", "soundings", "xyz", "sonar", "survey", "depthpoints", "bathypoints", "pings", "soundg"),
     ("point",)),
    ("contours", ("contour", "contours", "isobath", "isobaths", "depcnt", "depthcontours"), ("line", "polygon")),
    ("shoreline", ("shoreline", "shorelines", "shore", "shores", "lake", "lakes", "water", "waterbody", "waterbodies",
                   "outline", "outlines", "hydro", "hydrography", "pond", "ponds", "reservoir", "reservoirs", "boundary",
                   "perimeter", "coastline", "waters", "bank", "banks", "edge"), ("polygon", "line")),
    ("contours", ("bathymetry", "bathy", "bathymetric", "depths", "depth"), ("line",)),
    ("soundings", ("bathymetry", "bathy", "bathymetric", "depths", "depth", "points"), ("point",)),
)  # fmt: skip
# Words of a column, and whether its numbers are depths, elevations, or either.
DEPTH_COLUMNS: Final = {
    "depth": "depth", "depths": "depth", "dep": "depth", "dpth": "depth", "bathy": "", "bathymetry": "", "isobath": "",
    "valdco": "depth", "valsou": "depth", "sounding": "depth", "contour": "", "contours": "", "cont": "", "contr": "",
    "elev": "elevation", "elevation": "elevation", "elevations": "elevation", "altitude": "elevation", "alt": "elevation",
    "z": "", "zvalue": "", "height": "height", "bottom": "", "bed": "", "waterdepth": "depth", "profundidad": "depth",
    "tiefe": "depth", "profondeur": "depth", "djup": "depth", "dybde": "depth", "syvyys": "depth", "diepte": "depth",
}  # fmt: skip
WEAK_COLUMNS: Final = (
    "value",
    "val",
    "level",
    "label",
    "name",
    "text",
    "gridcode",
    "description",
    "desc",
    "id",
    "code",
)
NEVER_DEPTHS: Final = frozenset(
    "length leng len area perimeter perim acres hectares fid objectid gid ogc oid shape year date time count confidence "
    "quality error accuracy uncertainty temp temperature speed heading interval lat lon latitude longitude easting northing x y "
    "minelev scale symbol color colour layer linetype entityhandle paperspace subclasses extendedentity".split()
)
DATUMS: Final = re.compile(
    r"navd[ _-]?88|ngvd[ _-]?29|ngvd|navd|cgvd[ _-]?\d+|igld[ _-]?\d*|nzvd[ _-]?\d*|msl|mllw|nap|evrf\d*|ahd",
    re.IGNORECASE,
)
_PIECE: Final = re.compile(r"[A-Z]+(?![a-z])|[A-Z]?[a-z]+|\d+|[^\W\d_]+|'")
_GLUED: Final = re.compile(
    r"(depth|elev|elevation|contour|bathy|z|cont)(ft|feet|foot|m|meters|metres|fathoms|fath|cm|dm|usft)",
    re.IGNORECASE,
)


def words_of(name: str) -> list[str]:
    """Take a name apart into small words: ``BathyContours_ft`` is bathy, contours, ft."""
    found: list[str] = []
    for piece in _PIECE.findall(name):
        low = piece.lower()
        glued = _GLUED.fullmatch(low)
        found += [glued[1], glued[2]] if glued else [low]
    return found


def unit_in(name: str) -> str:
    """Find the unit that a name states; empty where it states none, or more than one."""
    words = words_of(name)
    joined = "".join(words)
    if "usft" in joined or "ftus" in joined or "surveyf" in joined:
        return "ftUS"
    units = {UNITS[w] for w in words if w in UNITS and w not in ("in", "f", "'", "d")}
    return units.pop() if len(units) == 1 else ""


def datum_in(*names: str) -> str:
    """Find the vertical datum that one of the names states."""
    for name in names:
        if found := DATUMS.search(name):
            return found[0].upper().replace("_", "").replace(" ", "").replace("-", "")
    return ""
