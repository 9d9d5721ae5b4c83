"""Scenes of the lake and what is known of it, and the windows and words that all scenes share."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

import numpy as np
import shapely

from ..layers.reading import read_layer, read_surface
from ..output.formats import palette
from ..output.maps.example_map import Scene, discs, marks, strokes, words
from ..output.maps.structure_chart import draw_structure_marks
from ..units import FOOT_M

if TYPE_CHECKING:
    import geopandas as gpd
    from matplotlib.axes import Axes

    from ..output.maps.chart_page import Bounds, View
    from ..output.maps.draughting import Pen

LAKE: Final = "demo_layers/reservoir.gpkg"
DAY: Final = "my_day/plan.gpkg"
MADE: Final = "my.gpkg"
SPOT: Final = "own-10"
"""The spot at which casts and holds are shown."""

_SHAPE: Final = 1.6  # width by height of a picture


def day_layers(*names: str) -> dict[str, gpd.GeoDataFrame]:
    """Layers of the planned demo day."""
    return {name: read_layer(f"{DAY}:{name}") for name in names}


def ground() -> dict[str, gpd.GeoDataFrame]:
    """Water, depth bands and dry ground of the demo day."""
    return day_layers("water", "depth_bands", "dry_ground")


def whole_lake() -> Bounds:
    """Window on the whole lake."""
    _, south, east, north = (float(v) for v in read_layer(f"{LAKE}:shoreline").total_bounds)
    room = 0.05 * (north - south)
    east += room
    return (
        east - (north - south + 2.0 * room) * _SHAPE,
        south - room,
        east,
        north + room,
    )  # room for the scale at left


def around(place: Any, width_m: float) -> Bounds:
    """Window of a width round the middle of a geometry."""
    x, y = place.centroid.x, place.centroid.y
    wide, high = width_m / 2.0, width_m / _SHAPE / 2.0
    return x - wide, y - high, x + wide, y + high


def both_units(metres: float) -> str:
    """Write a length in feet and metres."""
    return f"{metres / FOOT_M:.0f} ft ({metres:.1f} m)"


def place_of(frame: gpd.GeoDataFrame, spot: str) -> Any:
    """Geometry of a spot."""
    return frame[frame["spot_id"] == spot].geometry.iloc[0]


def demo(_: str) -> Scene:
    """The invented lake: contours, closed and slow zones, known hazards, spots (rings) and ramps (wedges)."""
    given = {name: read_layer(f"{LAKE}:{name}") for name in ("shoreline", "zones", "known_hazards")}

    def extra(axes: Axes, _view: View, _pen: Pen) -> None:
        contours = read_layer(f"{LAKE}:contours").geometry
        strokes(axes, contours, palette.DEEP, 0.3, casing=False)
        marks(axes, "spot", read_layer(f"{LAKE}:spots"))
        marks(axes, "ramp", read_layer(f"{LAKE}:ramps"), 7.5)

    return Scene(whole_lake(), strong=given, extra=extra)


def gather_spots(_: str) -> Scene:
    """All spots of three lists (rings); what stood in two of them is one spot now (filled)."""
    book = read_layer("book.gpkg:spots")
    merged = book[book["rows"] > 1]

    def extra(axes: Axes, _view: View, _pen: Pen) -> None:
        marks(axes, "spot", book)
        discs(axes, merged, palette.HOLD, 38)
        for row in merged.itertuples():
            at = row.geometry.centroid
            words(axes, at.x, at.y, f"{row.name}, from {row.rows} lists", dy=9.0)

    return Scene(whole_lake(), pale=ground(), extra=extra)


def read_log(_: str) -> Scene:
    """Soundings along the boat's track, the deeper the darker; small dots are the single readings behind them."""
    made, every = read_layer("my_log.gpkg:soundings"), read_layer("my_log.gpkg:readings")
    west, south, east, north = made.total_bounds

    def extra(axes: Axes, _view: View, _pen: Pen) -> None:
        points = shapely.get_coordinates(every.geometry.to_numpy())
        axes.scatter(points[:, 0], points[:, 1], s=3, c=palette.QUIET, linewidths=0.0, zorder=5.5)
        at = shapely.get_coordinates(made.geometry.to_numpy())
        depth = made["depth_m"].to_numpy()
        band = np.minimum((depth / 2.0).astype(int), 6)
        colours = np.array(palette.depth_colours(7))[band]
        axes.scatter(at[:, 0], at[:, 1], s=26, c=colours, edgecolors=palette.INK, linewidths=0.6, zorder=6.0)
        for row in range(30, len(made), 37):
            words(axes, at[row, 0], at[row, 1], both_units(depth[row]), dy=9.0)

    return Scene((west - 30.0, south - 20.0, east + 30.0, north + 40.0), pale=ground(), extra=extra)


def trip_log(_: str) -> Scene:
    """The book (rings) and what the trip added to it (filled)."""
    changes = read_layer("my_book.gpkg:changes")
    new = changes[changes["status"] == "new"]

    def extra(axes: Axes, _view: View, _pen: Pen) -> None:
        marks(axes, "spot", changes[changes["status"] != "new"])
        discs(axes, new, palette.HOLD, 48)
        for row in new.itertuples():
            words(axes, row.geometry.centroid.x, row.geometry.centroid.y, str(row.name), dy=9.0)

    return Scene(whole_lake(), pale=ground(), extra=extra)


def water_today(_: str) -> Scene:
    """Four feet down: today's water by depth, and the ground that has fallen dry (dotted)."""
    made = {name: read_layer(f"{MADE}:{name}") for name in ("water", "depth_bands", "dry_ground")}
    arm = read_layer(f"{LAKE}:ramps").geometry.iloc[1]
    return Scene(around(arm, 1500.0), strong={"shoreline": read_layer(f"{LAKE}:shoreline"), **made})


def depth_surface(_: str) -> Scene:
    """Depths between contours (lines) and soundings (dots), the deeper the darker."""
    import matplotlib as mpl

    depth = read_surface(f"{MADE}:depth")
    spot = place_of(read_layer(f"{LAKE}:spots"), "own-03")
    bounds = around(spot, 1500.0)
    soundings, contours = read_layer(f"{LAKE}:soundings"), read_layer(f"{LAKE}:contours")

    def extra(axes: Axes, _view: View, _pen: Pen) -> None:
        high, wide = depth.shape
        edges = (
            depth.west_m, depth.west_m + wide * depth.cell_x_m, depth.north_m - high * depth.cell_y_m, depth.north_m,
        )  # fmt: skip
        values = np.where(depth.depth_m > 0.0, depth.depth_m, np.nan)
        shades = mpl.colors.ListedColormap(palette.depth_colours(24))
        axes.imshow(
            values, extent=edges, cmap=shades, vmin=0.0, vmax=18.0, zorder=3.0, interpolation="nearest"
        )
        axes.set_aspect("auto")
        strokes(axes, contours.geometry, palette.QUIET, 0.45, casing=False, zorder=4.0)
        at = shapely.get_coordinates(soundings.geometry.to_numpy())
        axes.scatter(at[:, 0], at[:, 1], s=5, c=palette.CAST, linewidths=0.0, zorder=5.0)

    return Scene(bounds, strong={"shoreline": read_layer(f"{LAKE}:shoreline")}, extra=extra)


def shallow_hazards(_: str) -> Scene:
    """Water too thin to run (hatched once) and too thin even at idle (hatched twice), round a known hazard."""
    made = read_layer(f"{MADE}:shallow_hazards")
    known = read_layer(f"{LAKE}:known_hazards")
    near = around(known[known.geom_type == "Point"].geometry.iloc[0], 900.0)
    return Scene(near, pale=ground(), strong={"shallow_hazards": made, "known_hazards": known})


def find_structure(_: str) -> Scene:
    """Structure found in the depths alone, each kind with its own mark."""
    made = read_layer(f"{MADE}:structure")
    middles = made.centroid
    width = 2600.0
    seen = [made["kind"][middles.within(shapely.box(*around(one, 0.8 * width)))].nunique() for one in middles]
    bounds = around(middles.iloc[int(np.argmax(seen))], width)

    def extra(axes: Axes, view: View, pen: Pen) -> None:
        west, east, south, north = view.limits
        seen = made[made.intersects(shapely.box(west, south, east, north))]
        for kind, own in seen.groupby("kind"):
            draw_structure_marks(
                axes, pen, str(kind), list(own.geometry), own["deep_bearing_deg"].to_list(), view.on_page
            )
        for row in seen.itertuples():
            at = shapely.point_on_surface(row.geometry)
            if west < at.x < east and south < at.y < north:
                words(axes, at.x, at.y, str(row.kind).replace("_", " "), dy=11.0)

    return Scene(bounds, pale=ground(), extra=extra)
