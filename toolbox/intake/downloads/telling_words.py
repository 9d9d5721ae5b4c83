"""Words by which agencies name files and columns, and what each tells. All are ordinary words of the trade."""

from __future__ import annotations

import re
from typing import Final

from .wishes import UNITS

_RAMP: Final = (
    "ramp ramps launch launches boatramp boatramps access accesses slipway slipways boataccess "
    "landing landings"
)
_HAZARD: Final = (
    "hazard hazards rock rocks stump stumps obstruction obstructions wreck wrecks snag snags danger dangers "
    "knownhazards"
)
_ZONE: Final = (
    "zone zones restricted restriction restrictions nowake wake closed buoyline regulation "
    "regulations closure closures"
)
_SPOT: Final = (
    "spot spots attractor attractors habitat brush brushpile brushpiles waypoint waypoints structure structures crib "
    "cribs reef reefs fishattractors"
)
_SHORE: Final = (
    "shoreline shorelines shore shores lake lakes water waters waterbody waterbodies outline outlines hydro "
    "hydrography pond ponds reservoir reservoirs boundary perimeter coastline bank banks edge"
)
_DEPTHS: Final = "bathymetry bathy bathymetric depths depth"
# Role -> words in the name of a file or layer; the first role that has one is taken, for shapes that it can have.
ROLE_WORDS: Final[tuple[tuple[str, str, tuple[str, ...]], ...]] = (
    ("ramps", _RAMP, ("point",)),
    ("hazards", _HAZARD, ("point", "line", "polygon")),
    ("zones", _ZONE, ("polygon",)),
    ("spots", _SPOT, ("point", "polygon")),
    ("islands", "island islands isle isles islet islets", ("polygon", "line")),
    ("depth-areas", "depthareas depare deptharea depthbands depthpolygons depthzones", ("polygon",)),
    ("soundings", "sounding soundings xyz sonar survey depthpoints bathypoints pings soundg", ("point",)),
    ("contours", "contour contours isobath isobaths depcnt depthcontours", ("line", "polygon")),
    ("shoreline", _SHORE, ("polygon", "line")),
    ("contours", _DEPTHS, ("line",)),
    ("soundings", f"{_DEPTHS} points", ("point",)),
)
# Words of a column, and whether its numbers are depths, elevations, or either.
DEPTH_COLUMNS: Final[dict[str, str]] = {
    **dict.fromkeys(
        ("depth", "depths", "dep", "dpth", "valdco", "valsou", "sounding", "waterdepth", "profundidad", "tiefe",
         "profondeur", "djup", "dybde", "syvyys", "diepte"), "depth",
    ),
    **dict.fromkeys(("elev", "elevation", "elevations", "altitude", "alt"), "elevation"),
    **dict.fromkeys(
        ("bathy", "bathymetry", "isobath", "contour", "contours", "cont", "contr", "z", "zvalue", "bottom", "bed"), "",
    ),
    "height": "height",
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
_NEVER: Final = (
    "length leng len area perimeter perim acres hectares fid objectid gid ogc oid shape year date time count "
    "confidence quality error accuracy uncertainty temp temperature speed heading interval lat lon latitude "
    "longitude easting northing x y minelev scale symbol color colour layer linetype entityhandle paperspace "
    "subclasses extendedentity"
)
NEVER_DEPTHS: Final = frozenset(_NEVER.split())
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


def unit_in_file_name(name: str) -> str:
    """Find the unit that the name of a file states: feet, fathoms, or metres beyond doubt; empty for any other.

    Examples
    --------
    >>> unit_in_file_name("contours_5m"), unit_in_file_name("bathymetry_feet"), unit_in_file_name("pond_m")
    ('m', 'ft', '')
    """
    unit = unit_in(name)
    words = words_of(name)
    if unit == "m" and "m" in words:
        before = words[words.index("m") - 1] if words.index("m") else ""
        return (
            "m" if before.isdigit() or before in DEPTH_COLUMNS or before in ("soundings", "isobaths") else ""
        )
    return unit if unit in ("m", "ft", "ftUS", "fathom") else ""


def datum_in(*names: str) -> str:
    """Find the vertical datum that one of the names states."""
    for name in names:
        if found := DATUMS.search(name):
            return found[0].upper().replace("_", "").replace(" ", "").replace("-", "")
    return ""
