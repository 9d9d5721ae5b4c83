"""Make the demo lake: one invented reservoir with its layers, lists and day file.

Run ``python demo_layers/generate.py`` where castshed is installed; ``--seed`` makes another lake, ``--out`` writes
elsewhere. The same seed gives the same layers.
"""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pyproj

from castshed.demo_layers import edges, landmarks, lists, names, own_spots, places
from castshed.demo_layers.bottom import shape_bottom
from castshed.toolbox.depth import DepthSurface
from castshed.toolbox.layers import write_layers

if TYPE_CHECKING:
    from castshed.demo_layers.edges import Chart

SEED = 12
DEPTH_ERROR_M = 0.3  # of the survey, 95 %


def _surface(chart: Chart) -> DepthSurface:
    return DepthSurface(
        chart.depth_m,
        chart.west_m,
        chart.north_m,
        chart.cell_m,
        chart.cell_m,
        pyproj.CRS(edges.CRS),
        DEPTH_ERROR_M,
    )


def make_lake(seed: int = SEED) -> tuple[dict[str, Any], dict[str, str]]:
    """Make layers and lists.

    Parameters
    ----------
    seed
        Everything follows from it.

    Returns
    -------
    layers, texts
        Layer name -> frame or depth surface; file name -> text.
    """
    bottom = shape_bottom(seed)
    rng = np.random.default_rng([seed, 7])
    chart = edges.make_chart(bottom)
    shoreline = edges.make_shoreline(chart)
    shore = places.Shore(chart)
    ramps = places.make_ramps(rng, shore)
    lake = shoreline.geometry.iloc[0]
    spots = own_spots.make_own_spots(rng, shore, bottom)
    layers = {
        "depth": _surface(chart),
        "shoreline": shoreline,
        "contours": edges.make_contours(chart),
        "soundings": edges.make_soundings(rng, chart),
        "ramps": ramps,
        "zones": places.make_zones(rng, shore, bottom, lake, ramps),
        "known_hazards": places.make_hazards(rng, shore, bottom, lake),
        "spots": spots,
        # Numbers of their own, so that the other layers are what they were without them.
        "landmarks": landmarks.make_landmarks(np.random.default_rng([seed, 11]), lake),
    }
    texts = {
        "habitat_sites.csv": lists.habitat_csv(rng, shore, spots),
        "own_waypoints.gpx": lists.waypoints_gpx(rng, shore),
        "forecast.csv": lists.forecast_csv(rng),
        "pool_levels.csv": lists.pool_levels_csv(rng),
    }
    texts["habitat_sites.csv"] = lists.plant_repeats(
        np.random.default_rng([seed, 12]), chart, texts["habitat_sites.csv"], texts["own_waypoints.gpx"]
    )
    middle = np.array(spots.geometry.iloc[0].centroid.coords[0])
    texts["sounder_log.nmea"] = lists.sounder_log(np.random.default_rng([seed, 13]), chart, middle)
    return layers, texts


def main() -> None:
    """Write the demo lake into a folder."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seed", type=int, default=SEED)
    parser.add_argument("--out", type=Path, default=Path(__file__).parent)
    told = parser.parse_args()
    layers, texts = make_lake(told.seed)
    told.out.mkdir(exist_ok=True)
    path = told.out / "reservoir.gpkg"
    write_layers(path, layers, replace=True, words=f"{names.RESERVOIR}, an invented lake")
    for name, text in texts.items():
        (told.out / name).write_text(text, encoding="utf-8")
    print(f"wrote {path} ({path.stat().st_size / 1e6:.1f} MB) and {len(texts)} lists")


if __name__ == "__main__":
    main()
