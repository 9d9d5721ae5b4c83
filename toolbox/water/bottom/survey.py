"""Contours, soundings and depth areas, as layers, brought together as what is known of a bottom."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import geopandas
import numpy as np
import pandas as pd
import shapely

from ...errors import DataError, UsageError
from ...notes import note
from ...text import how_many
from . import data_weights as trust
from .depth_areas import contours_between
from .measured import Measured

if TYPE_CHECKING:
    from collections.abc import Sequence

    from geopandas import GeoDataFrame
    from shapely.geometry.base import BaseGeometry

ORIGIN: Final = ("source", "surveyed", "time")
"""Columns that say where data come from and when; empty text where it is not known."""


def _said(text: str) -> None:
    note(text, stacklevel=4)


def usable_rows(layer: GeoDataFrame | None, lake: BaseGeometry, name: str) -> GeoDataFrame | None:
    """Leave out rows above chart datum and rows that do not touch the lake, and say how many."""
    if layer is None or len(layer) == 0:
        return None
    depth = layer["depth_m"].to_numpy(dtype=float)
    if not (depth > 0).any() and (depth < 0).any():
        raise DataError(
            f"{name}.depth_m holds no depth above 0; depths are positive down, metres below chart datum. "
            "Turn the sign of the column, or take the elevations from that of chart datum."
        )
    shapely.prepare(lake)
    touches = shapely.intersects(lake, layer.geometry.to_numpy())
    if not touches.any():
        raise DataError(
            f"{name}: none of the {len(layer)} rows lies inside the shoreline; check that both layers are of the same "
            "lake and that their reference systems are stated rightly."
        )
    above = depth < 0
    if above.any():
        _said(f"{name}: {how_many(int(above.sum()), 'row')} with a depth_m below 0 (land) left out.")
    if (~touches).any():
        _said(f"{name}: {how_many(int((~touches).sum()), 'row')} outside the shoreline left out.")
    return layer[np.asarray(touches & ~above)]


def with_depth_areas(contours: GeoDataFrame | None, areas: GeoDataFrame | None) -> GeoDataFrame | None:
    """Add the lines along which depth areas meet to the contours."""
    if areas is None or len(areas) == 0:
        return contours
    lines, depths = contours_between(
        areas.geometry.to_numpy(), areas["from_m"].to_numpy(float), areas["to_m"].to_numpy(float)
    )
    if not len(lines):
        raise DataError(
            "No two depth areas meet at a depth above 0: none reaches as deep (to_m) as another begins (from_m). "
            "Depths are positive down, in metres below chart datum."
        )
    names = np.array([f"between depth areas at {depth:g} m" for depth in depths], dtype=object)
    made = geopandas.GeoDataFrame({"depth_m": depths}, geometry=lines, crs=areas.crs, index=names)
    for column in ORIGIN:
        made[column] = ""
    return made if contours is None else geopandas.GeoDataFrame(pd.concat([contours, made]), crs=areas.crs)


def measured_from(
    lake: BaseGeometry,
    contours: GeoDataFrame | None,
    soundings: GeoDataFrame | None,
    *,
    source_errors: Sequence[str] = (),
    ageing_m: float = 0.0,
) -> tuple[Measured, float]:
    """Bring together what is known, weighted by source and age.

    Parameters
    ----------
    lake
        The water at chart datum.
    contours, soundings
        Usable rows, with the columns of `ORIGIN`; None where there are none.
    source_errors
        Depth error (95 %) by source, ``NAME=LENGTH``.
    ageing_m
        Error added for each year by which a row is older than the newest.

    Returns
    -------
    What is known, and the greatest error that one of its sources states.

    Raises
    ------
    UsageError
        An error is stated for a source that no row has.
    """
    stated = trust.read_source_errors(source_errors)
    depths, years = [np.empty(0), np.empty(0)], [np.empty(0), np.empty(0)]
    sources: list[list[str]] = [[], []]
    for k, layer in enumerate((contours, soundings)):
        if layer is not None:
            depths[k] = layer["depth_m"].to_numpy(dtype=float)
            sources[k] = [text.strip() for text in layer["source"]]
            dates = layer["surveyed"].where(layer["surveyed"].str.strip() != "", layer["time"])
            years[k] = trust.survey_years([text.strip() for text in dates])
    there = set(sources[0]) | set(sources[1])
    for name in stated:
        if name not in there:
            names = ", ".join(sorted(there - {""})) or "none"
            raise UsageError(
                f"source-errors names '{name}', which no row has as its source; there are: {names}."
            )
    known_years = np.concatenate(years)
    newest = float(np.nanmax(known_years)) if np.isfinite(known_years).any() else np.nan
    errors = [
        trust.data_errors_m(sources[k], years[k], stated, newest_year=newest, ageing_m=ageing_m)
        for k in (0, 1)
    ]
    best = float(np.concatenate(errors).min())
    empty = np.empty(0, dtype=object)
    known = Measured.gather(
        lake,
        empty if contours is None else contours.geometry.to_numpy(),
        depths[0],
        np.empty((0, 2))
        if soundings is None
        else np.column_stack([soundings.geometry.x, soundings.geometry.y]),
        depths[1],
        contour_trust=trust.trust_of(errors[0], best),
        trust=trust.trust_of(errors[1], best),
    )
    worst = max((stated[name] for name in there if name in stated), default=0.0)
    return known, worst


def usual_interval(contours: GeoDataFrame | None) -> float | None:
    """Find the usual step between contours; the first step is from the shore."""
    if contours is None or len(contours) == 0:
        return None
    depths = np.unique(np.concatenate([[0.0], contours["depth_m"].to_numpy(dtype=float)]))
    return float(np.median(np.diff(depths))) if len(depths) > 1 else None
