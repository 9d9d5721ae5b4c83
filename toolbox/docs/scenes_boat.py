"""Scenes of the boat: where it sits, what the wind does there, and its run."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from ..layers.reading import read_layer
from ..output.formats import palette
from ..output.maps.example_map import Scene, areas, discs, marks, strokes, words
from ..units import FOOT_M
from .scenes_lake import DAY, LAKE, MADE, SPOT, around, both_units, ground, place_of, whole_lake

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from ..output.maps.chart_page import Bounds, View
    from ..output.maps.draughting import Pen


def _one_spot() -> tuple[Any, Bounds]:
    spots = read_layer(f"{LAKE}:spots")
    return spots, around(place_of(spots, SPOT), 150.0)


def boat_hold(_: str) -> Scene:
    """The boat on the deep side of a point, a cast away from it."""
    spots, bounds = _one_spot()
    held = {name: read_layer(f"{MADE}:{name}") for name in ("holds", "cast_lines")}
    own = {name: frame[frame["spot_id"] == SPOT] for name, frame in held.items()}
    hold, cast = own["holds"].iloc[0], own["cast_lines"].geometry.iloc[0]

    def extra(axes: Axes, _view: View, _pen: Pen) -> None:
        strokes(axes, [cast], palette.CAST, 1.8)
        marks(axes, "spot", spots)
        marks(axes, "hold", own["holds"])
        at, middle = hold.geometry, cast.interpolate(0.5, normalized=True)
        words(axes, at.x, at.y, f"{both_units(hold.depth_today_m)} deep today", dy=15.0, fontsize=8.0)
        words(
            axes,
            middle.x,
            middle.y,
            f"cast {both_units(hold.cast_m)}",
            dx=-6.0,
            dy=-13.0,
            ha="right",
            fontsize=8.0,
        )
        spot = place_of(spots, SPOT)
        words(axes, spot.x, spot.y, "Quarrel Point", dx=8.0, ha="left", fontsize=8.0)

    return Scene(bounds, pale=ground(), extra=extra)


def cast_reach(_: str) -> Scene:
    """From everywhere in the ring the spot can be reached with a cast, less far against the wind."""
    spots, bounds = _one_spot()
    made = read_layer(f"{MADE}:cast_reach")

    def extra(axes: Axes, _view: View, _pen: Pen) -> None:
        areas(axes, made, "none", tolerance_m=0.2, facecolor=palette.CAST, alpha=0.3)
        areas(axes, made, palette.CAST, tolerance_m=0.2, linewidth=1.4)
        marks(axes, "spot", spots)

    return Scene(bounds, pale=ground(), extra=extra)


def hold_lines(_: str) -> Scene:
    """A line to hold along (pale, from the boat) beside the edge that is fished (dark)."""
    spots = read_layer(f"{LAKE}:spots")
    made = read_layer(f"{MADE}:hold_lines")
    longest = made.loc[made["length_m"].idxmax()]
    spot = place_of(spots, str(longest["spot_id"]))
    edges = [spot.boundary if spot.geom_type.endswith("Polygon") else spot]
    bounds = around(longest.geometry, max(420.0, 1.5 * float(longest["length_m"])))

    def extra(axes: Axes, _view: View, _pen: Pen) -> None:
        strokes(axes, edges, palette.CAST, 1.6)
        strokes(axes, made.geometry, palette.HOLD, 3.0, zorder=6.5)
        ends = made[made["spot_id"] == longest["spot_id"]]
        marks(axes, "hold", ends.assign(geometry=shapely.get_point(ends.geometry.to_numpy(), 0)), 7.5)
        middle = longest.geometry.interpolate(0.5, normalized=True)
        words(axes, middle.x, middle.y, f"{both_units(longest['length_m'])} along", dx=52.0, fontsize=8.0)

    return Scene(bounds, pale=ground(), extra=extra)


def line_up(_: str) -> Scene:
    """Marks ashore whose bearings cross at the hold."""
    fixes, lines = read_layer(f"{MADE}:fixes"), read_layer(f"{MADE}:line_ups")
    marks_there = read_layer(f"{LAKE}:landmarks")
    one = fixes[fixes["status"] == "ok"].iloc[[0]]
    own = lines[lines["spot_id"] == one["spot_id"].iloc[0]]
    west, south, east, north = own.total_bounds
    room = 0.12 * max(east - west, north - south)

    def extra(axes: Axes, _view: View, _pen: Pen) -> None:
        strokes(axes, own.geometry, palette.ZONE, 1.4)
        points = shapely.get_coordinates(marks_there.geometry.to_numpy())
        axes.scatter(points[:, 0], points[:, 1], s=12, marker="^", c=palette.INK, linewidths=0.0, zorder=6.4)
        marks(axes, "hold", one, 7.5)
        named = marks_there.set_index("landmark_id")
        for mark in dict.fromkeys([*own["landmark_id"], *own["behind_id"].dropna()]):
            if mark in named.index:
                at = named.geometry.loc[mark]
                words(axes, at.x, at.y, str(named["name"].loc[mark]), dy=9.0)

    return Scene((west - room, south - room, east + room, north + 3.0 * room), pale=ground(), extra=extra)


def wind_exposure(_: str) -> Scene:
    """Waves at the spots in the worst hour of the forecast, the higher the larger and darker."""
    made = read_layer(f"{MADE}:windy_spots")
    worst = made.sort_values("wave_m", ascending=False)

    def extra(axes: Axes, view: View, _pen: Pen) -> None:
        step = np.searchsorted((0.06, 0.12, 0.18), made["wave_m"].to_numpy(dtype=float))
        discs(
            axes,
            made,
            np.array((palette.THIN, palette.DRY, palette.HOLD, palette.HAZARD))[step],
            18 + 26 * step,
        )
        written: list[Any] = []
        for row in worst.head(8).itertuples():
            at = row.geometry.centroid
            if all(at.distance(one) > 1500.0 for one in written):
                words(axes, at.x, at.y, f"{row.wave_m / FOOT_M:.1f} ft ({row.wave_m:.2f} m)", dy=11.0)
                written.append(at)
        west, east, south, north = view.limits
        x, y = west + 0.09 * (east - west), south + 0.2 * (north - south)
        from_deg = np.radians(float(worst["wind_from_deg"].iloc[0]))
        step = 0.06 * (east - west)
        dx, dy = -step * np.sin(from_deg), -step * np.cos(from_deg)
        arrow = {"arrowstyle": "-|>", "color": palette.INK, "linewidth": 2.0, "mutation_scale": 14}
        axes.annotate("", (x + dx, y + dy), (x - dx, y - dy), arrowprops=arrow, zorder=9.0)
        words(axes, x, y, "wind", dy=-26.0)

    return Scene(whole_lake(), pale=ground(), extra=extra)


def fishable(_: str) -> Scene:
    """Spots that can be fished today (filled) and those that cannot (crossed), with the reason."""
    made = read_layer(f"{MADE}:judged")
    good, bad = made[made["fishable"] == 1], made[made["fishable"] == 0]

    def extra(axes: Axes, _view: View, _pen: Pen) -> None:
        discs(axes, good, palette.HOLD, 16)
        marks(axes, "left_out", bad, 7.5)
        written: list[Any] = []
        for row in bad.itertuples():
            at = row.geometry.centroid
            if all(at.distance(one) > 2500.0 for one in written):
                words(axes, at.x, at.y, str(row.reason).partition(",")[0], dy=9.0, fontsize=6.4)
                written.append(at)

    return Scene(whole_lake(), pale=ground(), extra=extra)


def fishable_holds(_: str) -> Scene:
    """All holds of the day (dots) and those of fishable spots rated three or better (boats)."""
    given, made = read_layer(f"{DAY}:holds"), read_layer(f"{MADE}:holds")

    def extra(axes: Axes, _view: View, _pen: Pen) -> None:
        at = shapely.get_coordinates(given[given["status"] == "ok"].geometry.to_numpy())
        axes.scatter(at[:, 0], at[:, 1], s=7, c=palette.LEFT_OUT, alpha=0.6, linewidths=0.0, zorder=5.0)
        marks(axes, "hold", made)

    return Scene(whole_lake(), pale=ground(), extra=extra)


def safe_ways(_: str) -> Scene:
    """The edge of the water that is safe for the boat, and shortest ways over it between ramp and holds."""
    safe, ways = read_layer(f"{MADE}:safe_water"), read_layer(f"{MADE}:ways")
    ramp = read_layer(f"{LAKE}:ramps").iloc[0]
    run_to = read_layer(f"{DAY}:stops")["spot_id"].tolist()
    own = ways[ways["to_id"].isin(run_to) & ways["from_id"].isin([ramp["ramp_id"], *run_to])]

    def extra(axes: Axes, _view: View, _pen: Pen) -> None:
        areas(axes, safe, palette.RAMP, tolerance_m=8.0, linewidth=0.5, zorder=4.0)
        strokes(axes, own.geometry, palette.RUN, 0.45, zorder=5.0)
        marks(axes, "hold", read_layer(f"{DAY}:stops").iloc[1:-1])
        marks(axes, "ramp", read_layer(f"{LAKE}:ramps").iloc[[0]], 7.5)

    return Scene(whole_lake(), pale=ground(), extra=extra)


def shortest_run(_: str) -> Scene:
    """Eight holds in the order of the shortest run, from the ramp and back."""
    made = {name: read_layer(f"{MADE}:{name}") for name in ("stops", "legs")}
    ramps = read_layer(f"{LAKE}:ramps")
    holds = read_layer(f"{DAY}:holds")
    at = holds[holds["spot_id"].isin(made["stops"]["spot_id"])]
    shown = {**made, "ramps": ramps[ramps["ramp_id"].isin(made["stops"]["spot_id"])], "holds": at}
    return Scene(whole_lake(), pale=ground(), run=shown)


def prove_run(_: str) -> Scene:
    """Where the run has least to spare: the clearance it needs (band), and what was measured (stroke)."""
    proof = read_layer(f"{MADE}:proof")
    running = proof[proof["part"] == "run"]
    spare = running["clearance_m"] - running["needed_clearance_m"]
    tight = running.loc[spare.idxmin()]
    edges = read_layer(f"{DAY}:shallow_hazards")
    area = edges.geometry.iloc[int(edges.distance(tight.geometry).to_numpy().argmin())]
    at, other = shapely.get_coordinates(shapely.shortest_line(tight.geometry, area))
    bounds = around(shapely.Point(at), 260.0)

    def extra(axes: Axes, _view: View, _pen: Pen) -> None:
        half = float(tight["needed_clearance_m"])
        kept = shapely.buffer(tight.geometry, half)
        xy = shapely.get_coordinates(kept)
        axes.fill(xy[:, 0], xy[:, 1], color=palette.RAMP, alpha=0.22, zorder=4.6, linewidth=0.0)
        strokes(axes, proof.geometry, palette.RUN, 1.6)
        strokes(axes, [shapely.LineString([at, other])], palette.HAZARD, 2.2, zorder=6.6)
        told = " and ".join(
            f"{metres / FOOT_M:.1f} ft ({metres:.2f} m) {word}"
            for metres, word in ((float(tight["clearance_m"]), "measured"), (half, "needed"))
        )
        words(axes, at[0], at[1], told, dy=20.0, fontsize=8.0)

    return Scene(bounds, pale=ground(), strong={"shallow_hazards": edges}, extra=extra)


def day_plan(_: str) -> Scene:
    """The stops that fit the hours, with the time of arrival at each."""
    stops, legs = (read_layer(f"{MADE}:{name}") for name in ("stops", "legs"))
    held = stops[stops["reason"] != "ramp"]

    def extra(axes: Axes, _view: View, _pen: Pen) -> None:
        strokes(axes, legs.geometry, palette.RUN, 1.1)
        marks(axes, "hold", held)
        marks(axes, "ramp", stops[stops["reason"] == "ramp"].iloc[[0]], 7.5)
        for row in held.itertuples():
            words(axes, row.geometry.x, row.geometry.y, str(row.arrive)[11:16], dx=7.0, ha="left")

    return Scene(whole_lake(), pale=ground(), extra=extra)
