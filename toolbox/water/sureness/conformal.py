"""Split-conformal half-widths: what was held out tells how wide a band must be to hold what was not."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from scipy.special import betainc

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


def sure_quantile(scores: NDArray[np.float64], share: float, *, sure: float = 0.9) -> float:
    """Value that a new score exceeds with a chance of at most 1 - share, and that not only on average of all draws.

    With the chance ``sure``, scores were drawn that give a value which holds this; where there are too few for that,
    the greatest is taken.

    Notes
    -----
    The share under the score of rank r among n is spread as Beta(r, n + 1 - r): Vovk 2012, Conditional validity of
    inductive conformal predictors, Proc. Mach. Learn. Res. 25, 475-490.
    """
    scores = np.sort(scores[np.isfinite(scores)])
    if not len(scores):
        return float("nan")
    rank = np.arange(1, len(scores) + 1)
    holds = 1.0 - betainc(rank, len(scores) + 1 - rank, share) >= sure
    return float(scores[int(np.argmax(holds))] if holds.any() else scores[-1])
