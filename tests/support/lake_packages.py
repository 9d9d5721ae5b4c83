"""A lake's data in the 24 forms in which depths are handed out; each with what it holds, so that it can be judged.

`write_package(name, folder, ...)` writes one form into a folder that is there and gives a `Package`: the files to hand
in, the options a user has to add because no file tells them, and the same data as a careful person would hand them in
(`clean`). `write_untold` does so for the forms that cannot be told, with the question they raise.
"""

from __future__ import annotations

import zlib
from dataclasses import replace
from pathlib import Path

import numpy as np

import line_packages  # noqa: F401  # forms are kept as they are read, here and in the next two lines
import point_packages  # noqa: F401
import untold_packages  # noqa: F401
from package_forms import FORMS, UNTOLD, Package, lake_named
from package_lakes import truth_on_lines


def write_package(
    name: str, folder: Path, seed: int = 1, outside: str | Path | None = None
) -> Package | None:
    """Write one form into a folder; None where it is of the lake from outside and that is not given."""
    lake_name, write = FORMS[name]
    lake = lake_named(lake_name, seed, outside)
    if lake is None:
        return None
    rng = np.random.default_rng([24, seed, zlib.crc32(name.encode())])
    files, options, clean = write(lake, folder, rng)
    if lake.surface is None and clean.contours is not None:
        # Its contours and soundings contradict each other by metres: contours are judged by contours.
        lake = replace(lake, truth=truth_on_lines(clean.contours, lake.water, lake.truth, rng))
    return Package(name, tuple(str(f) for f in files), tuple(options), lake, clean)


def write_untold(name: str, folder: Path, seed: int = 1) -> Package:
    """Write one form that cannot be told: `options` leave its question open, `answer` is what answers it."""
    lake_name, write = UNTOLD[name]
    lake = lake_named(lake_name, seed)
    rng = np.random.default_rng([12, seed, zlib.crc32(name.encode())])
    files, options, answer, clean = write(lake, folder, rng)
    return Package(name, tuple(str(f) for f in files), tuple(options), lake, clean, tuple(answer))
