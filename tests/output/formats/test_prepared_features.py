"""Features made once for all formats, and coordinates written as text all at once."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.text import Text

from castshed.toolbox.output.formats.geojson import to_geojson
from castshed.toolbox.output.formats.kml import to_kml
from castshed.toolbox.output.formats.prepared_features import coordinate_runs, ready_features
from castshed.toolbox.output.maps.chart_page import by_role
from castshed.toolbox.output.maps.draughting import FAMILY, Words, font
from castshed.toolbox.output.sheets.course_up import cut_and_turned, in_pieces
from long_tests import as_many

DEGREES = st.one_of(
    st.floats(-180.0, 180.0), st.sampled_from([-180.0, 180.0, 0.0, -1e-7, 1e-7, -0.0, 9.9999999, -99.9999999, 10.0, 100.0])
)  # fmt: skip


@settings(max_examples=as_many(60), deadline=None)
@given(st.lists(st.lists(st.tuples(DEGREES, DEGREES), min_size=2, max_size=5), min_size=1, max_size=4))
def test_coordinates_are_those_python_writes(lines):
    # no minus before nought, which Python's own format keeps
    rounded = [np.round(np.array(line), 7) + 0.0 for line in lines]
    written = coordinate_runs(np.array([*map(shapely.LineString, rounded), None], dtype=object))
    assert written == [
        *([" ".join(f"{x:.7f},{y:.7f}" for x, y in line.tolist())] for line in rounded), []
    ]  # fmt: skip


def test_runs_come_in_the_order_of_parts_and_rings_without_empty_ones():
    ring, hole = [(0, 0), (4, 0), (4, 4), (0, 0)], [(2, 1), (3, 1), (3, 2), (2, 1)]
    many = shapely.GeometryCollection(
        [
            shapely.Point(1.0, 2.0),
            shapely.Polygon(),
            shapely.MultiPolygon([shapely.Polygon(ring, [hole]), shapely.box(5, 5, 6, 6)]),
            shapely.LineString([(7, 7), (8, 8)]),
        ]
    )
    (runs,) = coordinate_runs(np.array([many]))
    assert [run.split(" ")[0] for run in runs] == [
        f"{x:.7f},{y:.7f}" for x, y in ((1, 2), (0, 0), (2, 1), (6, 5), (7, 7))
    ]
    assert [len(run.split(" ")) for run in runs] == [1, 4, 4, 5, 2]


@pytest.mark.parametrize("write", [to_kml, to_geojson])
def test_a_file_is_the_same_from_features_made_before(plan, write):
    some = {name: frame for name, frame in plan.items() if name not in {"depth_bands", "dry_ground"}}
    ready = ready_features(plan)
    assert write(plan, title="run", ready=ready) == write(plan, title="run")
    assert write(some, title="run", ready=ready.of(some)) == write(some, title="run")


@pytest.mark.parametrize(
    "options", [{}, {"ha": "right"}, {"va": "center"}, {"rotation": 30.0}, {"alpha": 0.5}]
)
def test_words_stand_where_the_library_puts_them(options):
    pictures = []
    for kind in (Text, Words):
        figure = Figure((2.0, 1.0), dpi=150.0)
        canvas = FigureCanvasAgg(figure)
        look = {
            "va": "baseline",
            "fontproperties": font(9.0),
            "parse_math": False,
            "color": "#204060",
            **options,
        }
        figure.add_artist(kind(1.0, 0.5, "Hold $2", transform=figure.dpi_scale_trans, **look))
        canvas.draw()
        pictures.append(np.asarray(canvas.buffer_rgba()).copy())
    assert FAMILY in font(9.0).get_family()
    assert (pictures[0] != 255).any()
    # Set to the right, a line begins where its width says, and the library rounds that to a 64th of a dot.
    np.testing.assert_allclose(
        *(one.astype(float) for one in pictures), atol=8.0 if options.get("ha") else 0.0
    )


def test_cards_cut_from_pieces_show_the_same_ground(plan):
    frames = by_role(plan)
    pieces = {role: in_pieces(role, frame) for role, frame in frames.items()}
    assert len(pieces["depth_bands"]) >= len(frames["depth_bands"])
    window, centre = (
        (480_000.0 - 300.0, 4_100_000.0 - 500.0, 480_000.0 + 900.0, 4_100_000.0 + 700.0),
        (480_000.0, 4_100_000.0),
    )
    one, other = (cut_and_turned(some, window, centre, 40.0, 0.01) for some in (frames, pieces))
    assert set(one) == set(other)
    for role in one:
        if (shapely.get_dimensions(one[role].geometry.to_numpy()) == 2).all():
            assert other[role].area.sum() == pytest.approx(one[role].area.sum(), rel=1e-6)


def test_ground_that_crosses_itself_is_mended_before_it_is_cut(plan):
    bow = shapely.Polygon([(0, 0), (100, 100), (100, 0), (0, 100)])
    water = by_role(plan)["water"].iloc[[0]]
    mended = in_pieces("water", water.set_geometry([bow], crs=water.crs))
    assert len(mended) == 2
    assert mended.is_valid.all()
    assert mended.area.sum() == pytest.approx(5000.0)
