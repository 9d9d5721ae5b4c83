"""How much data count against each other, by what their source states and by their age."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from ...dates import read_dates
from ...errors import UsageError
from ...units import parse

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from numpy.typing import NDArray

USUAL_ERROR_M: Final = 0.3
"""Depth error (95 %) of data whose source states none (common practice)."""

_LEAST_ERROR_M: Final = 0.01


def read_source_errors(texts: Sequence[str]) -> dict[str, float]:
    """Read ``NAME=LENGTH`` pairs, such as ``club 1998=2ft``.

    Raises
    ------
    UsageError
        Not such a pair, a name given twice, or an error that is not above 0.
    """
    found: dict[str, float] = {}
    for text in texts:
        name, equals, length = text.rpartition("=")
        name = name.strip()
        if not equals or not name:
            raise UsageError(f"source-errors is '{text}'; write NAME=LENGTH, such as 'club 1998=2ft'.")
        if name in found:
            raise UsageError(f"source-errors names '{name}' twice; give each source one error.")
        found[name] = parse(length, "length")
        if found[name] <= 0:
            raise UsageError(f"source-errors gives '{name}' {length.strip()}; an error is a length above 0.")
    return found


def survey_years(texts: Sequence[str]) -> NDArray[np.float64]:
    """Years of dates as written, NaN where none can be read."""
    return np.array([float(date[:4]) if date else np.nan for date, _ in read_dates(list(texts))])


def data_errors_m(
    sources: Sequence[str],
    years: NDArray[np.float64],
    stated_m: Mapping[str, float],
    *,
    newest_year: float,
    ageing_m: float,
) -> NDArray[np.float64]:
    """Depth error (95 %) of each datum: what its source states, and more with every year.

    Parameters
    ----------
    sources, years
        Of each datum; a year that is NaN counts as that of the newest data.
    stated_m
        Error by source; others have `USUAL_ERROR_M`.
    newest_year
        Year from which age is counted back; NaN where no year is known.
    ageing_m
        Error added for each year of age: silt, slumping, dredging.
    """
    error = np.array([stated_m.get(source, USUAL_ERROR_M) for source in sources], dtype=np.float64)
    age = np.nan_to_num(newest_year - years, nan=0.0).clip(0.0)
    return np.maximum(error + ageing_m * age, _LEAST_ERROR_M)


def trust_of(error_m: NDArray[np.float64], best_m: float) -> NDArray[np.float64]:
    """Weights of data by the inverse square of their error; 1 for the best there are."""
    return np.asarray(np.clip((best_m / error_m) ** 2, 1e-4, 1.0))
