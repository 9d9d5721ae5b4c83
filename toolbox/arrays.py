"""What arrays hold, in a word each."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Indices = NDArray[np.intp]
Flags = NDArray[np.bool_]
Geometries = NDArray[np.object_]
