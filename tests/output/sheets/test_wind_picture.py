"""Pictures of the wind: colours that any eye can order, petals and arrows that point the right way, no calm read as safe."""

import datetime as dt
import itertools
import math
import re

import geopandas as gpd
import numpy as np
import pytest
import shapely
from matplotlib.lines import Line2D
from matplotlib.patches import Polygon, Rectangle, Wedge
from matplotlib.text import Text

from castshed.algorithms.wind_picture import wind_picture
from castshed.toolbox.errors import DataError
from castshed.toolbox.output.formats import palette
from castshed.toolbox.output.maps.chart_page import blank_page, png_of
from castshed.toolbox.output.sheets import exposure_strip, wind_day
from castshed.toolbox.output.sheets.exposure_strip import Strip, draw_strip
from castshed.toolbox.output.sheets.wind_day import counts, draw_wind_day
from castshed.toolbox.output.sheets.wind_hours import (
    WAVE_LIMITS,
    WIND_LIMITS,
    WindDay,
    class_of,
    class_words,
    draw_arrow,
    ramp,
    words_on,
)
from castshed.toolbox.output.words.cautions import CAUTIONS

FOOT, MPH = 0.3048, 1609.344 / 3600
ZONE = dt.timezone(dt.timedelta(hours=-5))
CRS = "EPSG:32615"

# Simulation of dichromacy, severity 1.0: Machado, Oliveira, Fernandes, IEEE TVCG 15(6), 2009 (from memory; each row
# must sum to 1, so that greys stay grey). Applied in linear light.
DEFICIENCY = {
    "protanopia": [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216], [-0.003882, -0.048116, 1.051998]],
    "deuteranopia": [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413], [-0.011820, 0.042940, 0.968881]],
    "tritanopia": [[1.255528, -0.076749, -0.178779], [-0.078411, 0.930809, 0.147602], [0.004733, 0.691367, 0.303900]],
}  # fmt: skip


def day(winds, bearings, gusts=None, dark=None):
    count = len(winds)
    return WindDay(
        tuple(dt.datetime(2026, 5, 16, h, tzinfo=ZONE) for h in range(count)),
        np.array(winds, dtype=float),
        np.full(count, np.nan) if gusts is None else np.array(gusts, dtype=float),
        np.array(bearings, dtype=float),
        np.zeros(count, dtype=bool) if dark is None else np.array(dark),
    )


@pytest.fixture
def drawn(monkeypatch):
    """Figures as drawn, beside their bytes."""
    figures = []

    def keep(figure, told):
        figures.append((figure, dict(told)))
        return png_of(figure, told)

    for module in (wind_day, exposure_strip):
        monkeypatch.setattr(module, "png_of", keep)
    return figures


def texts(figure, kind=""):
    return [t.get_text() for t in figure.findobj(Text) if t.get_text() and (not kind or t.get_gid() == kind)]


# Colours ----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("kind", [None, *DEFICIENCY])
@pytest.mark.parametrize("count", [5, 6])
def test_each_class_is_clearly_darker_than_the_last_for_every_eye(count, kind):
    light = []
    for colour in ramp(count):
        linear = palette.linear(palette.rgb(colour))
        if kind is not None:
            matrix = np.array(DEFICIENCY[kind])
            assert matrix.sum(axis=1) == pytest.approx(1.0, abs=1e-5)
            linear = np.clip(matrix @ linear, 0.0, 1.0)
        y = float(linear @ np.array([0.2126, 0.7152, 0.0722]))
        light.append(116.0 * y ** (1 / 3) - 16.0)  # CIE 1976 lightness
    assert all(weak - strong > 7.0 for weak, strong in itertools.pairwise(light))


def test_numbers_read_on_every_colour():
    # WCAG 2.1: 4.5 to 1 for text
    for count in (5, 6):
        assert all(palette.contrast(words_on(colour), colour) >= 4.5 for colour in ramp(count))


def test_classes_take_their_lower_limit():
    assert [class_of(v, (5.0, 10.0)) for v in (0.0, 4.99, 5.0, 10.0, 99.0)] == [0, 0, 1, 2, 2]
    assert len(class_words(WIND_LIMITS["US"], "mph")) == len(WIND_LIMITS["US"]) + 1


# The rose ---------------------------------------------------------------------------------------------------


def test_hours_by_sector_and_class_counted_by_hand():
    # SW 225: 3 mph, 7 mph, 7 mph; N 355 and 5: 12 mph; a breath of 0.2 m/s without bearing; one hour not known.
    found, turning = counts(
        day([3 * MPH, 7 * MPH, 7 * MPH, 12 * MPH, 12 * MPH, 0.2, np.nan], [225, 230, 220, 355, 5, 90, 90]),
        "US",
    )
    assert turning == 1
    assert found[10].tolist() == [1, 2, 0, 0, 0]
    assert found[0].tolist() == [0, 0, 2, 0, 0]
    assert found.sum() == 5


def test_petals_point_to_where_the_wind_comes_from_and_are_as_long_as_its_hours(drawn):
    draw_wind_day(day([4.0] * 6, [225.0] * 4 + [90.0] * 2), title="Wind")
    petals = [p for p in drawn[0][0].findobj(Wedge) if p.get_gid() == "petal"]
    by_side = {round((p.theta1 + p.theta2) / 2) % 360: p.width for p in petals}
    # Angles of the drawing run anticlockwise from east: south-west is 225, east is 0.
    assert set(by_side) == {225, 0}
    assert by_side[225] == pytest.approx(2 * by_side[0])


@pytest.mark.parametrize(("coming", "towards"), [(270.0, (1, 0)), (0.0, (0, -1)), (225.0, (1, 1))])
def test_arrows_fly_with_the_wind(coming, towards):
    figure, pen = blank_page(2.0, 200)
    draw_arrow(pen, 1.0, 1.0, coming, 0.2, palette.INK)
    (head,) = [p for p in figure.findobj(Polygon) if p.get_gid() == "wind arrow"]
    tip = head.get_xy()[0] - np.array([1.0, 1.0])
    assert np.hypot(*tip) == pytest.approx(0.1)
    assert tip == pytest.approx(np.array(towards) / np.hypot(*towards) * 0.1)


def test_columns_tell_wind_gusts_and_what_is_not_known(drawn):
    draw_wind_day(
        day([5.0, np.nan, 10.0], [90, 90, 180], [7.0, np.nan, 14.0], [True, False, False]),
        title="",
        units="metric",
    )
    figure, told = drawn[0]
    columns = [p for p in figure.findobj(Rectangle) if p.get_gid() == "column"]
    assert [c.get_height() for c in columns][1] == pytest.approx(2 * columns[0].get_height())
    assert texts(figure, "unknown") == ["?"]
    assert "Strongest gust 14.0 m/s (31 mph) at 02:00" in texts(figure, "fact")
    assert "1 hour without wind in the forecast" in texts(figure, "fact")
    assert len([p for p in figure.findobj(Rectangle) if p.get_gid() == "dark"]) == 1
    assert "calm wave figure never means safe" in told["Description"]


# The strip --------------------------------------------------------------------------------------------------


def test_cells_tell_the_upper_end_and_marks_the_verdict(drawn):
    waves = np.array([[0.1, 0.5, np.nan], [0.0, 0.01, 1.2]]) * FOOT
    good = np.array([[True, True, False], [False, False, False]])
    strip = Strip(
        ["Old hump", "Long ledge"],
        waves,
        good,
        np.array([[False, True, False], [True, True, True]]),
        ["00:00-02:00", ""],
    )
    draw_strip(strip, day([3.0] * 3, [200.0] * 3), title="Strip")
    figure = drawn[0][0]
    # a figure that rounds to nought is told as small, not as none
    assert texts(figure, "wave") == ["0.1", "0.5", "<0.1", "<0.1", "1.2"]
    marks = [line.get_gid() for line in figure.findobj(Line2D)]
    assert (marks.count("fishable"), marks.count("marginal")) == (2, 2)  # one of each is in the key
    assert texts(figure, "hours") == ["00:00-02:00", "no hour"]


@pytest.mark.parametrize("units", ["US", "metric"])
def test_a_calm_day_never_reads_as_safe(drawn, units):
    still = day([0.0] * 4, [0.0] * 4, [0.0] * 4)
    strip = Strip(
        ["a"], np.zeros((1, 4)), np.ones((1, 4), dtype=bool), np.zeros((1, 4), dtype=bool), ["00:00-04:00"]
    )
    draw_wind_day(still, title="", units=units)
    draw_strip(strip, still, title="", units=units)
    for figure, told in drawn:
        said = [t for t in texts(figure) if t not in texts(figure, "caution")]
        for text in said:
            assert not re.search(r"\b(safe|safely|calm|flat|fine|good|no waves|0\.0+)\b", text), text
        assert " ".join(texts(figure, "caution")) == " ".join(CAUTIONS)
        assert "never means safe" in told["Description"]


# The command ------------------------------------------------------------------------------------------------


def exposure(hours=6, spots=("s0", "s1"), holds=None):
    count = len(spots) * hours
    rows = {
        "spot_id": np.repeat(np.array(spots, dtype=object), hours),
        "time": [
            (dt.datetime(2026, 5, 16, 4, tzinfo=ZONE) + dt.timedelta(hours=h)).isoformat()
            for h in range(hours)
        ]
        * len(spots),
        "wave_high_m": np.linspace(0.0, 1.0, count),
        **{
            c: np.full(count, 3.0)
            for c in ("wind_mps", "gust_mps", "fetch_m", "wave_m", "wave_low_m", "period_s")
        },
        "wind_from_deg": np.full(count, 210.0),
        "wave_method": "named",
        "bank": "open",
    }
    if holds:
        rows["hold_no"] = np.repeat(holds, hours)
    return gpd.GeoDataFrame(rows, geometry=[shapely.Point(500_000, 4_400_000)] * count, crs=CRS)


def verdicts(layer, good=1):
    return gpd.GeoDataFrame(
        {"spot_id": layer["spot_id"], "time": layer["time"], "fishable": good, "reason": "told", "margin_m": 1.0, "marginal": 0},
        geometry=layer.geometry, crs=CRS,
    )  # fmt: skip


def test_both_files_are_pictures_and_come_out_the_same_twice():
    layer = exposure()
    before = layer.copy(deep=True)
    found = wind_picture(layer, verdicts=verdicts(layer), title="Larkmoor")
    assert set(found) == {"wind_rose.png", "exposure_strip.png"}
    assert all(content.startswith(b"\x89PNG\r\n\x1a\n") for content in found.values())
    assert found == wind_picture(layer, verdicts=verdicts(layer), title="Larkmoor")
    assert layer.equals(before)


def test_dark_hours_names_and_rows_beyond_the_number(drawn):
    spots = gpd.GeoDataFrame(
        {"spot_id": ["s0", "s1", "s2"], "name": ["$x^{2$ <b>\n&", "", "Third"]},
        geometry=[shapely.Point(500_000, 4_400_000)] * 3, crs=CRS,
    )  # fmt: skip
    wind_picture(exposure(spots=("s0", "s1", "s2")), spots=spots, most_rows=2)
    figure = drawn[1][0]
    assert texts(figure, "name") == ["$x^{2$ <b> &", "s1"]
    assert texts(figure, "more") == ["1 more places are in the layer."]
    # 40 N 93 W: civil dawn in mid May is after 05:00 daylight saving time, so the hours from 4 and 5 are dark.
    assert len([p for p in figure.findobj(Rectangle) if p.get_gid() == "dark"]) == 2


def test_several_holds_of_a_spot_are_rows_of_their_own(drawn):
    layer = exposure(spots=("s0", "s0", "s1"), holds=[1, 2, 1])
    wind_picture(layer, verdicts=verdicts(exposure()))
    assert texts(drawn[1][0], "name") == ["s0 hold 1", "s0 hold 2", "s1"]
    assert texts(drawn[1][0], "hours") == ["04:00-10:00"] * 3


def test_what_cannot_be_drawn_is_refused_with_the_remedy():
    with pytest.raises(DataError, match=r"49 hours; 48 can be drawn.*--first-time"):
        wind_picture(exposure(49))
    with pytest.raises(DataError, match="different hours"):
        wind_picture(exposure(6), verdicts=verdicts(exposure(5)))
    with pytest.raises(DataError, match="no rows"):
        wind_picture(exposure().iloc[:0])
    single = exposure().drop(columns=["time"])
    with pytest.raises(DataError, match="forecast"):
        wind_picture(single)


def test_limits_rise():
    for limits in (*WIND_LIMITS.values(), *WAVE_LIMITS.values()):
        assert list(limits) == sorted(set(limits))
        assert math.isfinite(limits[-1])
