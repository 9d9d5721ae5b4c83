"""The four pictures of a lake that was brought in: scales that end near what is shown, and any number of points."""

import io

import geopandas as gpd
import numpy as np
import pytest
from PIL import Image

import bowl_lake as bowl
from castshed.toolbox.depth import DepthSurface
from castshed.toolbox.output.maps.lake_chart import _most, draw_lake


@pytest.mark.parametrize("top", [0.03, 0.31, 1.0, 4.9, 5.1, 12.4, 26.0, 51.0, 114.0, 380.0])
def test_a_scale_ends_near_what_it_shows(top):
    """Of a ladder 1-2-5 two fifths to a half of the colours may be of no depth there is."""
    end = _most(np.full(100, top))
    assert top <= end * (1 + 1e-6)
    assert end <= 1.34 * top


@pytest.mark.parametrize("count", [300, 30_000])
def test_few_and_many_soundings_are_drawn(count):
    x, y, depth = bowl.soundings(count)
    xs = bowl.MIDDLE[0] - 500.0 + 5.0 * np.arange(200)
    ys = bowl.MIDDLE[1] + 300.0 - 5.0 * np.arange(120)
    cells = bowl.depth_at(*np.meshgrid(xs, ys)).astype("float32")
    crs = bowl.shoreline().crs
    surface = DepthSurface(np.where(cells > 0, cells, np.nan), xs[0] - 2.5, ys[0] + 2.5, 5.0, 5.0, crs)
    points = gpd.GeoDataFrame({"depth_m": depth}, geometry=gpd.points_from_xy(x, y), crs=crs)
    layers = {
        "shoreline": bowl.shoreline(),
        "depth": surface,
        "depth_confidence": surface,
        "soundings": points,
    }
    picture = Image.open(io.BytesIO(draw_lake(layers, title="Bowl Lake", width_px=800)))
    right = np.asarray(picture.convert("RGB")).astype(int)[: picture.height // 2, picture.width // 2 :]
    violet = (right[..., 2] > right[..., 1] + 30) & (right[..., 0] > right[..., 1] + 10)
    assert violet.sum() > 200  # pixels; a picture without any has none
