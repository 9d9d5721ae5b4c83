"""The steps of the job, in the order in which they are done; the catalogue groups the algorithms by them."""

from __future__ import annotations

from typing import Final

STEPS: Final[dict[str, str]] = {
    "gather": "Gather what is known",
    "water": "The lake today",
    "bottom": "Reading the bottom",
    "hold": "Where the boat sits",
    "wind": "Wind and verdict",
    "run": "The run",
    "share": "Files for others",
    "whole": "The whole job",
}
