"""A fault of a run, in words that can be acted on."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ...units import in_words


@dataclass(frozen=True)
class Violation:
    """One rule that does not hold."""

    what: str  # the leg or hold
    rule: str  # what is wrong with it, in words
    # where, in the reference system of the legs; NaN where it has no place
    x: float = float("nan")
    y: float = float("nan")
    by_m: float = float("nan")  # by how much, in metres; NaN where that has no meaning

    def __str__(self) -> str:
        much = f", by {in_words(self.by_m, 'length')}" if np.isfinite(self.by_m) else ""
        place = f" at {self.x:.1f}, {self.y:.1f}" if np.isfinite(self.x) else ""
        return f"{self.what} {self.rule}{much}{place}"
