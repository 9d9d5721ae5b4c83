"""A proved plan as a folder: one GeoPackage, three exchange formats, one JSON object, one map."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any, Final

from ..level_told import stating_level
from ..output.formats.geojson import to_geojson
from ..output.formats.gpx import to_gpx
from ..output.formats.kml import to_kml
from ..output.formats.plan_json import to_plan_json
from ..output.formats.prepared_features import ready_features
from ..output.formats.read_back import prove_written
from ..output.maps.chart import draw_map
from ..output.words.cautions import CAUTIONS, level_text
from ..output.words.roles import TABLES, role_of
from ..parameters.folder_contents import FolderContents
from ..text import how_many
from ..units import in_words
from .phone_copy import phone_copy

if TYPE_CHECKING:
    import geopandas as gpd

    from ..water.proof.last_check import Limits

_GPX: Final = ("stops", "legs", "holds", "spots", "ramps")
_ASHORE: Final = frozenset({"contradictions"})
"""For whoever looks into the chart at home; in the plan's own file only."""
_NOT_SHARED: Final = ("set_aside", "shoreline", "cast_reach", "depth_bands")


def totals_of(layers: Mapping[str, gpd.GeoDataFrame], at_each_s: float) -> dict[str, Any]:
    """Sum a plan up: stops, fishable spots, way, time, least depth and clearance."""
    legs, spots, stops = layers["legs"], layers["spots"], layers["stops"]
    travel_s = float(legs["time_s"].sum())
    count = max(len(stops) - 2, 0)
    return {
        "stops": count,
        "spots": len(spots),
        "fishable": int(spots["fishable"].sum()),
        "distance_m": float(legs["distance_m"].sum()),
        "travel_s": travel_s,
        "day_s": travel_s + count * at_each_s,
        "least_depth_m": float(legs.loc[legs["part"] != "launch", "min_depth_m"].min()),
        "least_clearance_m": float(legs["min_clearance_m"].min()),
    }


def _coarser_words(by_m: float) -> str:
    """Say what the copy for a phone leaves out."""
    drawn = (
        f" Areas are drawn to {in_words(by_m, 'length')}: hazards wider by that, water narrower."
        if by_m
        else ""
    )
    return f"The run and what it keeps off; every layer in full is in plan.gpkg.{drawn}"


def plan_folder(
    layers: Mapping[str, gpd.GeoDataFrame],
    *,
    title: str,
    date: str,
    level_m: float,
    units: str,
    at_each_s: float,
    limits: Limits,
    notes: tuple[str, ...] = (),
) -> FolderContents:
    """Draw and write a proved plan.

    Parameters
    ----------
    layers
        Every layer of the plan, by name.
    title, date
        Name and day of the plan.
    level_m
        Today's surface minus chart datum in metres.
    units
        ``US`` or ``metric``: which comes first on the map.
    at_each_s
        Time at each stop in seconds.
    limits
        What the last check held the run to.
    notes
        What was repaired or is less certain than it looks.
    """
    stops = layers["stops"]
    totals = totals_of(layers, at_each_s)
    proof = {"violations": 0, **dataclasses.asdict(limits)}
    places = {name: frame for name, frame in layers.items() if name not in TABLES | _ASHORE}
    places = stating_level(places, {name: role_of(name, frame) for name, frame in places.items()}, level_m)
    shared = {name: frame for name, frame in places.items() if name not in _NOT_SHARED}
    aboard = {name: shared[name] for name in _GPX}
    for name in ("holds", "spots"):  # into a small device go the places of the run only
        aboard[name] = aboard[name][aboard[name]["spot_id"].isin(stops["spot_id"])]
    on_run = {
        name: layers[name][layers[name]["spot_id"].isin(stops["spot_id"])] for name in ("holds", "cast_lines")
    }
    drawn = {**places, **on_run}  # the map shows where the boat stops, not every place it could
    ready = ready_features(shared, level_m=level_m)
    phone, coarser_m = phone_copy(places)
    files = {
        "run.gpx": to_gpx(aboard, title=title, level_m=level_m, date=date),
        "plan.kml": to_kml(
            phone, title=title, description=_coarser_words(coarser_m), level_m=level_m, date=date
        ),
        "plan.geojson": to_geojson(shared, title=title, level_m=level_m, date=date, ready=ready),
        "plan.json": to_plan_json(
            places, title=title, level_m=level_m, date=date, totals=totals, proof=proof, notes=notes
        ),
        "map.png": draw_map(drawn, title=title, level_m=level_m, date=date, units=units),
    }
    prove_written(phone, {"plan.kml": files["plan.kml"]}, gpx=aboard)
    prove_written(shared, {name: files[name] for name in ("run.gpx", "plan.geojson")}, gpx=aboard)
    summary = (
        f"{how_many(totals['stops'], 'stop')} over {in_words(totals['distance_m'], 'length')}, "
        f"{totals['travel_s'] / 60.0:.0f} min under way; {totals['fishable']} of {how_many(totals['spots'], 'spot')} "
        "fishable. " + level_text(level_m, date)
    )
    proved = (
        "The last check found no leg in a hazard, closed zone or dry ground and no hold in too little water."
    )
    return FolderContents(
        layers={"plan.gpkg": dict(layers)},
        files=files,
        types={
            "left_out": ("Point",),
            "set_aside": ("Point",),
            "gathered_from": ("Point",),
            "dry_ground": ("Polygon",),
        },
        figures={name: totals[name] for name in ("stops", "fishable", "distance_m", "travel_s")},
        said=(summary, proved, *CAUTIONS),
    )
