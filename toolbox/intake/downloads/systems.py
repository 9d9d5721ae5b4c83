"""Reference systems: stated in the file, said by the person, or the only one under which the data meet the others."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

import numpy as np
import shapely

from ...algorithm.grid_factors import utm_of
from ...errors import DataError, UsageError
from ...same_system import same_crs
from ...text import shortened
from .found import DEPTH_ROLES, FoundLayer, Questions
from .grids import extent_of

if TYPE_CHECKING:
    from collections.abc import Sequence

    from .found import FileWishes

Box = tuple[float, float, float, float]
_FAR_DEG: Final = (
    6.0  # outside of a system's area: a whole zone of UTM, as wide states use one system beyond its edge
)
_NEAR_DEG: Final = 0.05  # so far beside each other may two files of one lake lie


def system_of(found: FoundLayer) -> Any:
    """Give the reference system of a layer or raster; None where none is known."""
    return found.grid.crs if found.grid is not None else (None if found.frame is None else found.frame.crs)


def _set(found: FoundLayer, crs: Any) -> None:
    import pyproj

    made = pyproj.CRS.from_user_input(crs)
    if found.grid is not None:
        found.grid.crs = made
    elif found.frame is not None:
        attrs = dict(found.frame.attrs)
        found.frame = found.frame.set_crs(made, allow_override=True)
        found.frame.attrs.update(attrs)


def _box(found: FoundLayer) -> Box | None:
    if found.grid is not None:
        return extent_of(found.grid)
    assert found.frame is not None
    xy = shapely.get_coordinates(found.frame.geometry.to_numpy())
    xy = xy[np.isfinite(xy).all(axis=1)]  # a row with others is set aside when rows are cleaned
    if not len(xy):
        return None
    (west, south), (east, north) = xy.min(axis=0), xy.max(axis=0)
    return float(west), float(south), float(east), float(north)


def on_earth(box: Box, crs: Any) -> Box | None:
    """Give an extent in degrees of longitude and latitude; None where it lies nowhere on Earth."""
    import pyproj

    try:
        there = pyproj.Transformer.from_crs(crs, "OGC:CRS84", always_xy=True).transform_bounds(
            *box, densify_pts=5
        )
    except pyproj.exceptions.ProjError:
        return None
    if not np.isfinite(there).all() or abs(there[1]) > 90 or abs(there[3]) > 90:
        return None
    return float(there[0]), float(there[1]), float(there[2]), float(there[3])


def _meet(one: Box, other: Box) -> bool:
    return (
        one[0] <= other[2] + _NEAR_DEG
        and other[0] <= one[2] + _NEAR_DEG
        and one[1] <= other[3] + _NEAR_DEG
        and other[1] <= one[3] + _NEAR_DEG
    )


def _in_degrees(box: Box) -> bool:
    return max(abs(box[0]), abs(box[2])) <= 180.0 and max(abs(box[1]), abs(box[3])) <= 90.0


def name_of(crs: Any) -> str:
    """Name a system as short as it can be told."""
    code = crs.to_authority(min_confidence=70)
    return f"{code[0]}:{code[1]} {crs.name}" if code else str(crs.name)


def _guess(found: FoundLayer, box: Box, known: list[tuple[Any, Box]], questions: Questions) -> None:
    """Take degrees for degrees; ask for any other system, and say under which the layer would meet the other files."""
    import pyproj

    degrees = _in_degrees(box) and not found.metric
    if degrees and (not known or any(_meet(box, other) for _, other in known)):
        _set(found, "EPSG:4326")
        found.why.append("names no reference system: its numbers are degrees, WGS 84 taken")
        return
    fits: list[tuple[Any, Box]] = []
    if known:
        middle = known[0][1]
        own_zone = utm_of((middle[0] + middle[2]) / 2, (middle[1] + middle[3]) / 2)
        for one in [*(crs for crs, _ in known if crs.is_projected), own_zone]:
            crs = pyproj.CRS.from_user_input(one)
            there = on_earth(box, crs)
            if there is None or not any(_meet(there, other) for _, other in known):
                continue
            if not any(same_crs(crs, other) for other, _ in fits):
                fits.append((crs, there))
    words = " or ".join(name_of(crs) for crs, _ in fits)
    questions.ask(
        found.name,
        f"in which reference system are its coordinates ({box[0]:.7g}, {box[1]:.7g} to {box[2]:.7g}, "
        f"{box[3]:.7g})? It names "
        + (f"none; in {words} it would meet the other files." if fits else "none."),
        f"--file-crs {found.name}=EPSG:NUMBER",
    )


def _far_from_its_area(box: Box, crs: Any) -> str:
    """Tell where an extent in degrees lies, where that is far outside of what its system is made for; else empty."""
    area = crs.area_of_use
    if area is None or crs.is_geographic:
        return ""
    lon, lat = (box[0] + box[2]) / 2, (box[1] + box[3]) / 2
    middle = (area.west + (area.east if area.east >= area.west else area.east + 360.0)) / 2
    half = abs(middle - area.west)
    aside = abs((lon - middle + 180.0) % 360.0 - 180.0) - half
    beyond = max(aside, area.south - lat, lat - area.north)
    if beyond <= _FAR_DEG:
        return ""
    return (
        f"at latitude {lat:.2f}, longitude {lon:.2f}, {beyond:.0f} degrees outside of what that is made for "
        f"({shortened(area.name or 'its area', 60)})"
    )


def settle_systems(founds: Sequence[FoundLayer], wishes: FileWishes, questions: Questions) -> None:
    """Give every layer its reference system, or ask for it."""
    known: list[tuple[Any, Box]] = []
    open_ones: list[tuple[FoundLayer, Box]] = []
    for found in founds:
        if found.role == "ignore":
            continue
        said, where = wishes.of(found, "crs")
        stated = system_of(found)
        if not said and stated is None:
            said, where = wishes.of_all("crs")
        if said:
            _set(found, said)
            found.why.append(f"reference system by {where}")
        box = _box(found)
        if box is None:
            found.role = "ignore"
            found.why.append("no row has a place: its coordinates are no numbers")
            continue
        crs = system_of(found)
        if crs is None:
            open_ones.append((found, box))
            continue
        there = on_earth(box, crs)
        if there is None:
            raise DataError(
                f"{found.name}: its coordinates ({box[0]:.7g}, {box[1]:.7g} to {box[2]:.7g}, {box[3]:.7g}) lie "
                "nowhere on Earth "
                f"in {name_of(crs)}. Correct it with --file-crs {found.name}=EPSG:NUMBER."
            )
        if not said and (far := _far_from_its_area(there, crs)):
            questions.ask(
                found.name,
                f"is {name_of(crs)} its reference system? By that it lies {far}.",
                f"--file-crs {found.name}=EPSG:NUMBER, with that one if it is right",
            )
            continue
        known.append((crs, there))
    for found, box in open_ones:
        _guess(found, box, known, questions)
    for found in founds:
        crs = system_of(found)
        found.system = "" if crs is None else name_of(crs)


def middle_of(founds: Sequence[FoundLayer]) -> tuple[float, float] | None:
    """Tell where the depths lie, else the ramps and spots, else the shorelines: longitude and latitude."""
    for roles in (DEPTH_ROLES, ("spots", "ramps", "soundings"), ("shoreline", "islands", "zones", "hazards")):
        for found in founds:
            if found.role not in roles or system_of(found) is None:
                continue
            box = _box(found)
            there = None if box is None else on_earth(box, system_of(found))
            if there is not None:
                return (there[0] + there[2]) / 2, (there[1] + there[3]) / 2
    return None


def metric_system(crs: str, lon: float, lat: float) -> Any:
    """Give the metric system to work in: the one asked for, or the UTM zone of the place.

    Raises
    ------
    UsageError
        It is none, or not in metres.
    """
    import pyproj

    if not crs:
        return pyproj.CRS.from_user_input(utm_of(lon, lat))
    try:
        made = pyproj.CRS.from_user_input(crs)
    except pyproj.exceptions.CRSError as error:
        raise UsageError(
            f"--crs: '{crs[:60]}' is no coordinate reference system; write for instance EPSG:32615."
        ) from error
    if not made.is_projected or any(axis.unit_conversion_factor != 1.0 for axis in made.axis_info[:2]):
        raise UsageError(
            f"--crs: {made.name} is not a projected system in metres; leave it out for UTM, {utm_of(lon, lat)}."
        )
    return made
