"""Write layers as tables that any spreadsheet opens."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated

from castshed.toolbox.algorithm import algorithm
from castshed.toolbox.parameters import AnyLayers, FileSet


@algorithm(
    step="share",
    example="castshed write-tables demo_layers/reservoir.gpkg:spots --out my_tables",
)
def write_tables(layers: AnyLayers) -> Annotated[Mapping[str, bytes], FileSet()]:
    """Write layers as tables that any spreadsheet opens.

    Each layer becomes one CSV file of its name, with all its columns and the positions in WGS84: the book, its history,
    what was set aside, soundings. A text that begins like a formula gets an apostrophe before it, so that no
    spreadsheet works it out; gather-spots and trip-log take it off again, so a table that was filled in comes home as
    it was meant.

    Parameters
    ----------
    layers
        Layers to write; a file alone stands for all its layers.

    Returns
    -------
    Mapping
        File name to content.

    Raises
    ------
    UsageError
        No layer is named.
    """
    import re

    from castshed.toolbox.errors import UsageError
    from castshed.toolbox.output.formats.csv_table import to_csv

    if not layers:
        raise UsageError("No layer was given to write; give one or more as FILE.gpkg:LAYER.")
    files: dict[str, bytes] = {}
    for name, frame in layers.items():
        stem = re.sub(r"[^\w\- ]", "_", name).strip() or "layer"
        number, file = 2, f"{stem}.csv"
        while file.casefold() in {taken.casefold() for taken in files}:
            number, file = number + 1, f"{stem} {number}.csv"
        files[file] = to_csv(frame, name)
    return files
