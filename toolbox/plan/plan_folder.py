"""A proved plan as a folder: one GeoPackage, three exchange formats, one JSON object, one map, a copy for a phone."""

from __future__ import annotations

import dataclasses
import json
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any, Final

import shapely

from ..lineage import stating_level
from ..output.formats.geojson import to_geojson
from ..output.formats.gpx import to_gpx
from ..output.formats.gpx_run import for_the_run
from ..output.formats.kml import to_kml
from ..output.formats.prepared_features import ready_features
from ..output.formats.read_back import prove_written
from ..output.maps.chart import draw_map
from ..output.maps.chart_page import paper_of
from ..output.words.cautions import CAUTIONS, level_text
from ..output.words.features import to_lon_lat
from ..output.words.names import TABLES, role_of
from ..parameters.files import FolderContents
from ..report import plain
from ..text import both_distances, how_many
from ..units import in_words

if TYPE_CHECKING:
    import geopandas as gpd

    from ..arrays import Geometries
    from ..water.proof.last_check import Limits

_TABLES = frozenset({"stops", "legs", "holds", "spots", "left_out"})
_DEGREES_KEPT = 7  # 1e-7 degree is about a centimetre


def _rows(frame: gpd.GeoDataFrame, name: str, *, places: bool) -> list[dict[str, Any]]:
    """Rows as plain values; points with their longitude and latitude on WGS84."""
    table = [dict(row) for row in frame.drop(columns=frame.geometry.name).to_dict("records")]
    if places:
        for row, point in zip(table, to_lon_lat(frame, name), strict=True):
            if point is not None and point.geom_type == "Point":
                row["lon"], row["lat"] = (round(v, _DEGREES_KEPT) for v in point.coords[0][:2])
    return table


def _text(value: Any) -> str:
    return json.dumps(value, ensure_ascii=False, indent=1).replace("\n", "\n ")


def _rows_text(rows: list[dict[str, Any]]) -> str:
    """Write rows of a table, a value on a line; row by row, which the library does much faster than all at once."""
    write = json.JSONEncoder(ensure_ascii=False, separators=(",\n   ", ": ")).encode
    shown = (f"  {{\n   {write(plain(row))[1:-1]}\n  }}" if row else "  {}" for row in rows)
    return "[\n" + ",\n".join(shown) + "\n ]" if rows else "[]"


def to_plan_json(
    layers: Mapping[str, gpd.GeoDataFrame],
    *,
    title: str,
    level_m: float,
    date: str,
    totals: Mapping[str, Any],
    proof: Mapping[str, Any],
    notes: tuple[str, ...] = (),
) -> bytes:
    """Write a plan as one JSON object.

    Parameters
    ----------
    layers
        ``stops``, ``legs``, ``holds``, ``spots`` and ``left_out`` of a plan.
    title, date
        Name and day of the plan.
    level_m
        Today's surface minus chart datum in metres.
    totals
        The few figures that matter.
    proof
        What the last check held the run to.
    notes
        What was repaired or is less certain than it looks.

    Returns
    -------
    UTF-8. Lengths in metres, times in seconds, bearings in degrees, as the names of the members say; a number
    that is not known is null.
    """
    body: dict[str, Any] = {
        "title": title,
        "date": date,
        "level_m": level_m,
        "level": level_text(level_m, date),
        "totals": dict(totals),
        "proof": dict(proof),
        "stops": _rows(layers["stops"], "stops", places=True),
        "legs": _rows(layers["legs"], "legs", places=False),
        "holds": _rows(layers["holds"], "holds", places=True),
        "spots": _rows(layers["spots"], "spots", places=True),
        "left_out": _rows(layers["left_out"], "left_out", places=True),
        "notes": list(notes),
        "cautions": list(CAUTIONS),
    }
    members = ",\n".join(
        f" {json.dumps(name)}: {_rows_text(value) if name in _TABLES else _text(plain(value))}"
        for name, value in body.items()
    )
    return f"{{\n{members}\n}}\n".encode()


_KEPT: Final = (
    "stops", "legs", "holds", "cast_lines", "spots", "ramps", "known_hazards", "shallow_hazards", "zones", "water",
    "left_out", "cast_reach",
)  # fmt: skip
_OF_RUN: Final = frozenset({"holds", "cast_lines", "cast_reach", "spots"})
_AREAS: Final = frozenset({"shallow_hazards", "water", "cast_reach"})
_MOST_POINTS: Final = 30_000  # some 700 kB of text
_TOLERANCES_M: Final = (1.0, 2.0, 3.0, 5.0)  # beyond the last the areas would say another thing


def _outward(areas: Geometries, by_m: float) -> Geometries:
    """Draw areas coarser so that nothing of them is lost: they may grow by twice the tolerance."""
    drawn = shapely.simplify(shapely.buffer(areas, by_m, join_style="mitre"), by_m)
    lost = shapely.difference(areas, drawn)  # slivers, where a sharp corner was cut
    some = ~shapely.is_empty(lost)
    drawn[some] = shapely.union(drawn[some], shapely.buffer(lost[some], 0.1 * by_m, quad_segs=1))
    return drawn


def _inward(areas: Geometries, by_m: float) -> Geometries:
    """Draw areas coarser so that nothing comes to them."""
    drawn = shapely.simplify(shapely.buffer(areas, -by_m, join_style="mitre"), by_m)
    drawn = shapely.intersection(drawn, areas)
    lost = shapely.is_empty(drawn)
    drawn[lost] = areas[lost]
    return drawn


def _coarser(role: str, frame: gpd.GeoDataFrame, by_m: float) -> gpd.GeoDataFrame:
    areas = frame.geometry.to_numpy()
    drawn = _outward(areas, by_m) if role == "shallow_hazards" else _inward(areas, by_m)
    return frame.set_geometry(drawn, crs=frame.crs)


def phone_copy(layers: Mapping[str, gpd.GeoDataFrame]) -> tuple[dict[str, gpd.GeoDataFrame], float]:
    """Make the copy of a plan that a phone opens at once.

    Parameters
    ----------
    layers
        Layers of a plan by name, in metres; ``stops`` among them.

    Returns
    -------
    Its layers, what is fished first: of holds, casts, rings and spots only those of the run (why others are
    left out stays in ``left_out``), no depth bands, no dry ground beside the water; and by how many metres areas are
    drawn coarser, because they have more points than a phone draws at once. Hazards only ever grow by it, by twice
    as much at most, and water only shrinks; stops, legs, holds, known hazards and zones stay as they are.
    """
    chosen = set(layers["stops"]["spot_id"])
    made = {
        name: layers[name][layers[name]["spot_id"].isin(chosen)] if name in _OF_RUN else layers[name]
        for name in _KEPT
        if name in layers
    }
    areas = {name: frame for name, frame in made.items() if name in _AREAS}
    drawn, by_m = areas, 0.0
    for step in _TOLERANCES_M:
        points = sum(
            int(shapely.get_num_coordinates(one.geometry.to_numpy()).sum()) for one in drawn.values()
        )
        if points <= _MOST_POINTS:
            break
        drawn, by_m = {name: _coarser(name, one, step) for name, one in areas.items()}, step
    return {name: drawn.get(name, frame) for name, frame in made.items()}, by_m


_GPX: Final = ("stops", "legs", "route", "holds", "ramps")
_ASHORE: Final = frozenset({"contradictions"})
"""For whoever looks into the chart at home; in the plan's own file only."""
_NOT_SHARED: Final = ("set_aside", "shoreline", "cast_reach", "depth_bands", "route")


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
    paper: str = "",
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
    paper
        What the map is laid out for: letter or a4; by default as the units say.
    """
    stops, metric = layers["stops"], units == "metric"
    totals = totals_of(layers, at_each_s)
    proof = {"violations": 0, **dataclasses.asdict(limits)}
    places = {name: frame for name, frame in layers.items() if name not in TABLES | _ASHORE}
    places = stating_level(places, {name: role_of(name, frame) for name, frame in places.items()}, level_m)
    shared = {name: frame for name, frame in places.items() if name not in _NOT_SHARED}
    aboard = for_the_run({name: places[name] for name in _GPX if name in places})
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
        "map.png": draw_map(
            drawn, title=title, level_m=level_m, date=date, units=units, paper=paper_of(paper, units)
        ),
    }
    prove_written(phone, {"plan.kml": files["plan.kml"]}, gpx=aboard)
    prove_written(shared, {name: files[name] for name in ("run.gpx", "plan.geojson")}, gpx=aboard)
    summary = (
        f"{how_many(totals['stops'], 'stop')} over {both_distances(totals['distance_m'], metric_first=metric)}, "
        f"{totals['travel_s'] / 60.0:.0f} min under way; {totals['fishable']} of {how_many(totals['spots'], 'spot')} "
        "fishable. " + level_text(level_m, date, metric_first=metric)
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
        said=(summary, proved, " ".join(CAUTIONS)),
    )
