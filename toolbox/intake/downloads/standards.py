"""Feature classes of the S-57 object catalogue (IHO S-57 edition 3.1, appendix A): what each is taken for.

Attributes as there: DRVAL1 and DRVAL2 depth range values, VALDCO value of depth contour, VALSOU value of sounding,
CATZOC category of zone of confidence in data, RESTRN restriction. Depths are metres below the sounding datum.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

import numpy as np

if TYPE_CHECKING:
    from geopandas import GeoDataFrame

    from .found import Found

# Class -> role, column of the depth.
CLASSES: Final[dict[str, tuple[str, str]]] = {
    "DEPARE": ("depth-areas", ""),
    "DRGARE": ("depth-areas", ""),
    "DEPCNT": ("contours", "VALDCO"),
    "SOUNDG": ("soundings", "DEPTH"),
    "OBSTRN": ("hazards", "VALSOU"),
    "WRECKS": ("hazards", "VALSOU"),
    "UWTROC": ("hazards", "VALSOU"),
    "LNDARE": ("islands", ""),
    "COALNE": ("shoreline", ""),
    "SLCONS": ("shoreline", ""),
    "LAKARE": ("shoreline", ""),
    "LAKSHR": ("shoreline", ""),
    "RESARE": ("zones", ""),
    "CTNARE": ("zones", ""),
    "SLIPWY": ("ramps", ""),
    "M_QUAL": ("quality", ""),
}
KINDS: Final = {"OBSTRN": "obstruction", "WRECKS": "wreck", "UWTROC": "rock"}
_BY_COLUMN: Final = {"DRVAL1": "DEPARE", "VALDCO": "DEPCNT", "CATZOC": "M_QUAL"}
# CATZOC -> depth error (95 %): metres, and share of the depth; S-57 appendix A, attribute CATZOC (from memory).
_ZONES_OF_CONFIDENCE: Final = {1: (0.5, 0.01), 2: (1.0, 0.02), 3: (1.0, 0.02), 4: (2.0, 0.05)}
# RESTRN: what keeps a boat out, or slow; the others are for a person to judge.
_CLOSED: Final = {"7": "entry prohibited", "8": "entry restricted", "14": "area to be avoided"}
_SLOW: Final = {"13": "no wake", "27": "speed restricted"}


def class_of(found: Found) -> str:
    """Tell the feature class of a layer, by its name or its attributes; empty where it is none."""
    if found.standard in CLASSES:
        return found.standard
    for stem in reversed(found.stems):
        if stem.upper() in CLASSES:
            return stem.upper()
    if found.frame is not None:
        columns = {str(c).upper() for c in found.frame.columns}
        return next((name for column, name in _BY_COLUMN.items() if column in columns), "")
    return ""


def error_of(quality: GeoDataFrame, deepest_m: float) -> tuple[float, str]:
    """Tell the depth error that zones of confidence state, the worst counting; 0 where they state none."""
    import pandas as pd

    codes = pd.to_numeric(quality["CATZOC"], errors="coerce").dropna().astype(int)
    known = [_ZONES_OF_CONFIDENCE[int(code)] for code in codes if int(code) in _ZONES_OF_CONFIDENCE]
    if not known:
        return 0.0, ""
    error = max(base + share * deepest_m for base, share in known)
    return float(
        error
    ), f"CATZOC {', '.join(str(c) for c in sorted(set(codes)))}: {error:.3g} m at {deepest_m:.3g} m"


def zone_of(row: dict[str, Any]) -> tuple[str, str]:
    """Tell the zone a restriction makes, and why; no zone where it is for a person to judge."""
    codes = [c.strip(" []()'\"") for c in str(row.get("RESTRN") or "").replace(";", ",").split(",")]
    inform = str(row.get("INFORM") or "").strip()
    told = f": {inform}" if inform and inform.lower() not in ("nan", "none") else ""
    for table, zone in ((_CLOSED, "no_entry"), (_SLOW, "slow")):
        for code in codes:
            if code in table:
                return zone, f"{table[code]}{told}"
    named = ", ".join(c for c in codes if c and c.lower() not in ("nan", "none"))
    return "", f"restriction {named or 'not told'}{told}"


def catalogued(found: Found) -> np.ndarray[Any, Any]:
    """Give the depths of a class whose geometry carries them: soundings (z positive down)."""
    import shapely

    assert found.frame is not None
    return np.asarray(shapely.get_z(found.frame.geometry.to_numpy()), dtype=float)
