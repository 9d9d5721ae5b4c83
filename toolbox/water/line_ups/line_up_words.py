"""Say a line-up in words, as one would note it on a card."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from ...units import in_words

if TYPE_CHECKING:
    from collections.abc import Sequence

    from .sight_choice import LineUp
    from .sights import Sights

_IN_LINE_DEG = 0.15  # a gap that nobody would call one


def sight_words(sights: Sights, at: int, names: Sequence[str]) -> str:
    """Say one sight: a range of two marks, or the bearing of one."""
    front = names[int(sights.front[at])]
    if sights.rear[at] < 0:
        far = in_words(float(np.rint(sights.distance_m[at])), "length")
        return f"{front} bears {sights.bearing_deg[at]:03.0f} deg, {far} off".replace("360 deg", "000 deg")
    rear, gap = names[int(sights.rear[at])], float(sights.open_deg[at])
    towards = f"towards {sights.bearing_deg[at]:03.0f} deg".replace("360 deg", "000 deg")
    if abs(gap) < _IN_LINE_DEG:
        return f"{front} in line with {rear}, {towards}"
    return f"{front} open {abs(gap):.1f} deg {'right' if gap > 0 else 'left'} of {rear}, {towards}"


def bank_words(bearing_deg: float, bank_m: float, mark: str) -> str:
    """Say what bank lies behind the structure; nothing where the bearing is not known."""
    if np.isnan(bearing_deg):
        return ""
    said = f"bank behind the spot bears {bearing_deg:03.0f} deg".replace("360 deg", "000 deg")
    if not np.isnan(bank_m):
        said += f", {in_words(float(np.rint(bank_m)), 'length')} off"
    return f"{said}, under {mark}" if mark else said


def status_and_reason(found: LineUp, *, most_error_m: float) -> tuple[str, str]:
    """Tell whether a line-up is ``ok``, ``weak`` or ``none``, and why.

    Parameters
    ----------
    found
        The line-up.
    most_error_m
        Error above which a line-up is weak, however well its lines cross.
    """
    unseen = "" if found.looked else "; land on the sight lines was not looked for"
    if not len(found.sights):
        if found.seen < 2:
            marks = "no mark is" if found.seen == 0 else "one mark only is"
            return "none", f"{marks} in sight within range; two are needed{unseen}"
        return (
            "none",
            f"{found.seen} marks in sight, and no two sights of them cross at 20 degrees or more{unseen}",
        )
    cross = f"the first two cross at {found.crossing_deg:.0f} deg"
    if not found.good:
        return "weak", f"{cross}; no two sights cross at 60 to 120 degrees{unseen}"
    if found.error_m > most_error_m:
        error, most = in_words(float(np.rint(found.error_m)), "length"), in_words(most_error_m, "length")
        return "weak", f"{cross}; the error is {error}, more than {most}{unseen}"
    return "ok", f"{cross}{unseen}"
