"""What rows are called, for people, and for devices: cut to a length, written in ASCII, all different."""

from __future__ import annotations

import math
import unicodedata
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

from ...errors import UsageError
from ...text import clean, is_missing, number, one_line, unique_names

if TYPE_CHECKING:
    import geopandas as gpd

LEAST_LENGTH: Final = 4
"""Shortest length of a name: a letter, a blank and two figures tell some hundred names apart."""

# letters and signs that Unicode does not decompose into an ASCII letter and a mark
_ASCII: Final = str.maketrans(
    {"ß": "ss", "ẞ": "SS", "æ": "ae", "Æ": "AE", "œ": "oe", "Œ": "OE", "ø": "o", "Ø": "O", "đ": "d",
     "Đ": "D", "ð": "d", "Ð": "D", "þ": "th", "Þ": "Th", "ł": "l", "Ł": "L", "ħ": "h", "Ħ": "H", "ı": "i",
     "ŋ": "ng", "Ŋ": "Ng", "°": " deg", "′": "'", "″": '"', "‘": "'", "’": "'", "‚": "'", "“": '"',
     "”": '"', "„": '"', "«": '"', "»": '"', "‐": "-", "‑": "-", "–": "-", "—": "-", "−": "-", "×": "x",
     "÷": "/", "±": "+-", "·": "-", "•": "-", "…": "...", "€": "EUR", "£": "GBP", "\u00a0": " "}
)  # fmt: skip
_JOINERS: Final = frozenset("\u200c\u200d\ufe0e\ufe0f")


def to_ascii(value: Any) -> str:
    r"""Write text with the printable characters of ASCII: marks off their letters, ligatures apart, the rest left out.

    Examples
    --------
    >>> to_ascii("Größer Ålesund – 5°")
    'Grosser Alesund - 5 deg'
    """
    apart = unicodedata.normalize("NFKD", clean(value).translate(_ASCII)).translate(_ASCII)
    return "".join(sign for sign in apart if " " <= sign <= "~" or sign in "\n\t")


def _goes_with_the_one_before(sign: str) -> bool:
    return unicodedata.combining(sign) != 0 or sign in _JOINERS or "\U0001f3fb" <= sign <= "\U0001f3ff"


def cut(text: str, length: int) -> str:
    """Cut text to a number of characters, never between a letter and the marks on it.

    Examples
    --------
    >>> cut("Tin Barn ledge", 9)
    'Tin Barn'
    """
    if len(text) <= length:
        return text.strip()
    end = length
    while end > 0 and (_goes_with_the_one_before(text[end]) or text[end - 1] == "\u200d"):
        end -= 1
    return text[:end].strip()


@dataclass(frozen=True)
class NameRule:
    """How names are written for a device.

    Raises
    ------
    UsageError
        The length leaves no room for names that differ.
    """

    length: int | None = None  # most characters of a name; None for no limit
    ascii_only: bool = False  # whether names and words are kept to the printable characters of ASCII

    def __post_init__(self) -> None:
        if self.length is not None and self.length < LEAST_LENGTH:
            raise UsageError(
                f"name length is {self.length}; give {LEAST_LENGTH} or more, so that names can still differ."
            )

    def words(self, value: Any) -> str:
        """Write a sentence by the rule; it is not cut."""
        return to_ascii(value) if self.ascii_only else clean(value)

    def _short(self, name: str) -> str:
        plain = one_line(self.words(name))
        return cut(plain, self.length) if self.length is not None else plain

    def unique(self, names: Iterable[str]) -> list[str]:
        """Names by the rule, all different regardless of case.

        The first holder of a name keeps it; later ones get the lowest free number behind it, for which the name is
        cut again where it is too long.

        Raises
        ------
        UsageError
            There are more names than the length can tell apart.

        Examples
        --------
        >>> NameRule(8).unique(["Heron brush", "Heron brushy", "heron"])
        ['Heron br', 'Heron 2', 'heron']
        """
        short = [self._short(name) or "unnamed"[: self.length] for name in names]
        if self.length is None:
            return unique_names(short)
        taken: set[str] = set()
        firsts = []
        for name in short:
            firsts.append(name.casefold() not in taken)
            taken.add(name.casefold())
        following: dict[str, int] = {}
        result = []
        for name, first in zip(short, firsts, strict=True):
            result.append(name if first else self._numbered(name, taken, following))
        return result

    def _numbered(self, name: str, taken: set[str], following: dict[str, int]) -> str:
        assert self.length is not None
        number = following.get(name.casefold(), 2)
        while True:
            tail = f" {number}"
            if len(tail) > self.length:
                raise UsageError(
                    f"{len(taken):,} names cannot all differ within {self.length} characters; allow longer ones."
                )
            found = cut(name, self.length - len(tail)) + tail
            if found.strip().casefold() not in taken:
                break
            number += 1
        following[name.casefold()] = number + 1
        taken.add(found.strip().casefold())
        return found.strip()

    def one(self, name: str) -> str:
        """Write a single name by the rule."""
        return self._short(name) or "unnamed"[: self.length]


PLAIN: Final = NameRule()
"""Names as they are, only made different."""


_NOUNS: Final[dict[str, str]] = {
    "holds": "hold",
    "cast_lines": "cast",
    "hold_lines": "hold line",
    "fixes": "marks",
    "verdicts": "verdict",
    "exposure": "exposure",
    "shallow_hazards": "shallow",
    "known_hazards": "hazard",
    "zones": "zone",
    "depth_bands": "depth band",
    "cast_reach": "cast reach",
    "water": "water",
    "dry_ground": "dry ground",
    "shoreline": "shoreline",
    "contours": "contour",
    "soundings": "sounding",
    "contradictions": "contradiction",
}


def _count(row: Mapping[str, Any], column: str) -> str:
    """Say which of several; nothing for the first."""
    value = number(row.get(column))
    return f" {value:.0f}" if value > 1 else ""


def _hour(row: Mapping[str, Any]) -> str:
    """Day and clock time of an hour written with its zone; other text as it stands, nothing where none is told."""
    told = row.get("time")
    return "" if is_missing(told) else one_line(told).replace("T", " ")[:16]


def _of_a_hold(role: str, row: Mapping[str, Any], own: str, order: int) -> str | None:
    if role == "hold_lines":
        return f"{own or f'spot {order}'} hold line{_count(row, 'line_no')}"
    if role == "line_ups":
        what = one_line(row.get("words")) or f"line-up {order}"
        return f"{own}{_count(row, 'hold_no')}: {what}" if own else what
    if role == "fixes":
        return f"{own or f'hold {order}'}{_count(row, 'hold_no')} marks"
    if role in {"verdicts", "exposure"}:
        return " ".join(part for part in (own or f"{_NOUNS[role]} {order}", _hour(row)) if part)
    return None


def title(role: str, row: Mapping[str, Any], spot_names: Mapping[str, str], order: int) -> str:
    """Name of one row for people, not yet unique.

    Parameters
    ----------
    role
        Part of the plan the row's layer is.
    row
        Column to value.
    spot_names
        Name of each spot by its id.
    order
        Place of the row in its layer, counted from 1; used where the row has no name of its own.
    """
    spot = one_line(row.get("spot_id"))
    own = one_line(row.get("name")) or spot_names.get(spot, "") or spot
    if role == "stops":
        return f"{number(row.get('stop_no')):.0f} {own}" if math.isfinite(number(row.get("stop_no"))) else own
    if role in {"legs", "route"}:
        leg = number(row.get("leg_no"))
        return f"leg {f'{leg:.0f}' if math.isfinite(leg) else order} {one_line(row.get('part'))}".strip()
    if (held := _of_a_hold(role, row, own, order)) is not None:
        return held
    if role == "ways":
        return f"way {one_line(row.get('from_id'))} to {one_line(row.get('to_id'))}"
    if role == "safe_water":
        return f"safe water {one_line(row.get('care')) or order}"
    if role == "answers":
        return one_line(row.get("question")) or f"answer {order}"
    if role == "gathered_from":
        return one_line(row.get("source")) or f"source {order}"
    if role == "landmarks":
        return own or one_line(row.get("landmark_id")) or f"landmark {order}"
    if role == "ramps":
        return own or one_line(row.get("ramp_id")) or f"ramp {order}"
    if role == "left_out":
        return f"{own or f'spot {order}'} left out"
    if role in {"spots", "structure", "other"}:
        return own or f"{'spot' if role != 'other' else 'feature'} {order}"
    if role == "shallow_hazards":
        return f"shallow {one_line(row.get('hazard_id')) or order}"
    if role == "known_hazards":
        return own or f"{one_line(row.get('kind')).replace('_', ' ') or 'hazard'} {order}"
    if role == "zones":
        return own or f"{one_line(row.get('zone')).replace('_', ' ')} zone {order}"
    noun = _NOUNS.get(role, role)
    return f"{own} {noun}" if own else f"{noun} {order}"


ROLES: Final[dict[str, frozenset[str]]] = {
    "structure": frozenset({"spot_id", "kind", "rank", "confidence"}),
    "hold_lines": frozenset({"spot_id", "line_no", "headings"}),
    "line_ups": frozenset({"spot_id", "range_no", "landmark_id"}),
    "fixes": frozenset({"spot_id", "hold_no", "ranges", "error_m"}),
    "verdicts": frozenset({"spot_id", "time", "fishable", "margin_m"}),
    "exposure": frozenset({"spot_id", "time", "fetch_m", "wave_m"}),
    "answers": frozenset({"question", "answer"}),
    "gathered_from": frozenset({"source", "rows", "kept", "noticed"}),
    "holds": frozenset({"spot_id", "hold_no", "deep_bearing_deg"}),
    "cast_lines": frozenset({"spot_id", "hold_no", "cast_m"}),
    "stops": frozenset({"stop_no", "spot_id", "arrive"}),
    "route": frozenset({"leg_no", "part", "from_id", "to_id", "turns"}),
    "legs": frozenset({"leg_no", "part", "from_id", "to_id"}),
    "ways": frozenset({"from_id", "to_id", "distance_m", "idle_m"}),
    "shallow_hazards": frozenset({"care", "least_depth_m"}),
    "safe_water": frozenset({"care", "area_m2"}),
    "cast_reach": frozenset({"spot_id", "status", "area_m2"}),
    "depth_bands": frozenset({"from_m", "to_m"}),
    "zones": frozenset({"zone"}),
    "ramps": frozenset({"ramp_id"}),
    "landmarks": frozenset({"landmark_id"}),
    "spots": frozenset({"spot_id", "kind"}),
    "known_hazards": frozenset({"kind", "top_depth_m"}),
    "contradictions": frozenset({"difference_m", "charted_m", "sounded_m"}),
    "left_out": frozenset({"spot_id", "name", "reason"}),
    "water": frozenset({"water_id"}),
    "dry_ground": frozenset(),
    "shoreline": frozenset(),
    "contours": frozenset({"depth_m"}),
    "isobaths": frozenset({"depth_m"}),
    "soundings": frozenset({"depth_m", "time"}),
}
"""Columns that give a part away, asked in this order; those without columns go by name only."""

BY_THE_HOUR: Final = frozenset({"verdicts", "exposure"})
"""Parts with a row for each place and hour: tables to be looked up, not places to be steered to."""

TABLES: Final = BY_THE_HOUR | {"answers", "gathered_from"}
"""Parts that belong in the plan's GeoPackage only: nothing to steer to and nothing to draw."""

_BY_NAME_ONLY: Final = frozenset({"contours", "isobaths", "soundings"})


def role_of(name: str, frame: gpd.GeoDataFrame) -> str:
    """Part of a plan that a layer is, or ``other``.

    Parameters
    ----------
    name
        What the layer is called.
    frame
        The layer. A layer called ``holds`` without the columns of holds is not taken for holds.
    """
    columns = set(frame.columns)
    if name in ROLES and ROLES[name] <= columns:
        return name
    for role, telling in ROLES.items():
        if telling and role not in _BY_NAME_ONLY and telling <= columns:
            return role
    return "other"
