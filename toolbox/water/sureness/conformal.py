"""Split-conformal half-widths: what was held out tells how wide a band must be to hold what was not."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray


def upper_quantile(scores: NDArray[np.float64], share: float) -> float:
    """Value that a new score exceeds with a chance of at most 1 - share, however scores are spread.

    The rank is counted up by one, since the new score is one more of them; where there are too few for that, the
    greatest is taken.

    Notes
    -----
    Vovk, Gammerman and Shafer 2005, Algorithmic Learning in a Random World; Lei, G'Sell, Rinaldo, Tibshirani and
    Wasserman 2018, J. Am. Stat. Assoc. 113, 1094-1111.
    """
    scores = scores[np.isfinite(scores)]
    if not len(scores):
        return float("nan")
    rank = min(int(np.ceil((len(scores) + 1) * share)), len(scores))
    return float(np.partition(scores, rank - 1)[rank - 1])
