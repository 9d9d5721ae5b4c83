"""What the numbers of a raster mean in metres: scale and offset of its band, and the unit it states."""

from __future__ import annotations

import math
from typing import Any, Final, NamedTuple

from ..errors import DataError
from ..units import convert

# Unit as files state it, in small letters without blanks, _ and - -> unit as the house writes it. Names of EPSG (WKT),
# symbols of UCUM (the uom of a GeoPackage coverage) and of PROJ, and what people write.
_NAMES: Final[dict[str, str]] = {
    name: unit
    for unit, names in {
        "m": "m metre metres meter meters [m] mtr m.",
        "cm": "cm centimetre centimetres centimeter centimeters",
        "mm": "mm millimetre millimetres millimeter millimeters",
        "km": "km kilometre kilometres kilometer kilometers",
        "ft": "ft foot feet [fti] internationalfoot footinternational internationalfeet ft.",
        "ftUS": "ftus usft [ftus] ussurveyfoot ussurveyfeet footus surveyfoot surveyfeet usfoot usfeet",
        "in": "in inch inches [ini]",
        "yd": "yd yard yards [ydi]",
        "fathom": "fathom fathoms fath fth ftm [fthi] fathomi",
        "mi": "mi mile miles [mii] statutemile",
        "nmi": "nmi nauticalmile nauticalmiles [nmii]",
    }.items()
    for name in names.split()
}


class Meaning(NamedTuple):
    """How stored numbers become metres, and the unit that the raster states, empty where it states none."""

    factor: float
    offset_m: float
    unit: str


def _house_unit(stated: str) -> str | None:
    plain = "".join(c for c in stated.strip().lower() if c not in " _-")
    return _NAMES.get(plain)


def _vertical_unit_m(crs: Any) -> float | None:
    """Length of the unit of heights or depths of a compound system; None where it has none."""
    for part in crs.sub_crs_list:
        if part.is_vertical and part.axis_info:
            return float(part.axis_info[0].unit_conversion_factor)
    if len(crs.axis_info) == 3:
        return float(crs.axis_info[2].unit_conversion_factor)
    return None


def meaning_of(name: str, *, scale: float, offset: float, unit: str | None, crs: Any) -> Meaning:
    """Work out how a band's numbers become metres: ``(number x scale + offset) x unit``.

    Parameters
    ----------
    name
        What the raster is called in messages.
    scale, offset, unit
        As the band states them.
    crs
        The raster's reference system; its vertical unit counts where the band states none.

    Raises
    ------
    DataError
        The scale is nought or no number, the unit is not known, or band and reference system state different ones.
    """
    if not (math.isfinite(scale) and math.isfinite(offset) and scale != 0.0):
        raise DataError(
            f"{name} states a scale of {scale} and an offset of {offset}; both must be numbers, the scale not 0. Save "
            "it again with its depths as plain metres."
        )
    of_system = _vertical_unit_m(crs)
    stated = (unit or "").strip()
    house = _house_unit(stated) if stated else None
    if stated and house is None:
        raise DataError(
            f"{name} states its unit as '{stated[:40]}', which is not known (m, cm, mm, ft, us-ft, fathom, in, yd and "
            "their names are). Write one of these into the raster, or save it with its depths in metres."
        )
    length = convert(1.0, house, "length") if house else (1.0 if of_system is None else of_system)
    if house and of_system is not None and abs(length / of_system - 1.0) > 1e-9:
        raise DataError(
            f"{name} states its unit as '{stated}' in its band, but its reference system counts heights in units of "
            f"{of_system:.6g} m. Correct the one that is wrong, or save the raster with its depths in metres."
        )
    if not (math.isfinite(length) and length > 0.0):
        raise DataError(
            f"{name} has a vertical unit of {length} m, which is none; correct its reference system."
        )
    told = house or ("" if of_system is None else ("m" if length == 1.0 else f"{length:.6g} m"))
    return Meaning(scale * length, offset * length, told)


def horizontal(crs: Any) -> Any:
    """Return the part of a compound system that places are given in; any other system as it is."""
    return next((part for part in crs.sub_crs_list if not part.is_vertical), crs) if crs.is_compound else crs
