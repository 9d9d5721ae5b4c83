"""The decorator: what it reads, what it refuses, and that every call is guarded."""

from __future__ import annotations

import inspect
from typing import Literal, NamedTuple

import pytest

from castshed.toolbox.algorithm import algorithm, spec_of
from castshed.toolbox.errors import ContractError, PluginError, UsageError
from castshed.toolbox.parameters import CastReach, Count, Length, Level, Spots, Water
from castshed.toolbox.parameters.markers import option_name
from castshed.toolbox.testing import check_algorithm


class Two(NamedTuple):
    cast_reach: CastReach
    water: Water


@algorithm(step="hold", example="castshed circles demo_layers/reservoir.gpkg:spots --out my.gpkg")
def circles(
    spots: Spots,
    *,
    radius_m: Length = 20.0,
    level_m: Level = 0.0,
    how: Literal["round", "square"] = "round",
    parts: Count = 8,
) -> CastReach:
    """Draw a circle round each spot.

    Only for tests.

    Parameters
    ----------
    spots
        Places to circle.
    radius_m
        Radius of each circle,
        on two lines.
    level_m
        Level today.
    how
        Shape of the circle.
    parts
        Vertices in a quarter.
    """
    out = spots[["spot_id", "geometry"]].copy()
    out["geometry"] = spots.buffer(radius_m, quad_segs=max(parts, 1), cap_style=how)
    out["status"] = "ok"
    out["reason"] = "made"
    out["area_m2"] = out.area
    return out


def test_the_spec_is_read_from_signature_and_docstring():
    spec = spec_of(circles)
    assert (spec.name, spec.step, spec.summary) == ("circles", "hold", "Draw a circle round each spot.")
    assert spec.description == "Only for tests."
    assert spec.parameter("radius_m").help == "Radius of each circle, on two lines."
    assert [p.option for p in spec.parameters][1:] == ["--radius", "--level", "--how", "--parts"]
    assert [p.positional for p in spec.parameters] == [True, False, False, False, False]
    assert spec.outputs[0].name == "cast_reach"


def test_the_function_keeps_its_name_signature_and_docstring():
    assert circles.__name__ == "circles"
    assert list(inspect.signature(circles).parameters)[0] == "spots"


def test_the_battery_passes(lake):
    check_algorithm(circles, lake.spots, radius_m=10.0)


@pytest.mark.parametrize(
    ("options", "says"),
    [
        ({"radius_m": -1.0}, "at least 0 m"),
        ({"radius_m": float("nan")}, "finite"),
        ({"radius_m": "wide"}, "number"),
        ({"level_m": 1e9}, "at most"),
        ({"how": "star"}, "choose one of: round, square"),
        ({"parts": 2.5}, "whole number"),
        ({"radius_m": None}, "must not be empty"),
    ],
)
def test_a_wrong_parameter_is_refused(lake, options, says):
    with pytest.raises(UsageError, match=says):
        circles(lake.spots, **options)


def test_zero_is_a_value(lake):

    with pytest.raises(PluginError, match="no geometry"):  # an empty circle breaks the promise of the output
        circles(lake.spots.iloc[:1], radius_m=0.0)


def test_a_frame_that_is_no_frame_is_refused():
    with pytest.raises(ContractError, match="GeoDataFrame"):
        circles([1, 2, 3])


def _bad(build):
    with pytest.raises(PluginError) as caught:
        build()
    return str(caught.value)


def test_a_function_without_help_types_or_promise_is_refused():
    def plain(spots: Spots) -> CastReach:
        """Do it.

        Parameters
        ----------
        spots
            Places of it.
        """

    def no_help(spots: Spots) -> CastReach:
        """Do it."""

    def no_type(spots) -> CastReach:
        """Do it.

        Parameters
        ----------
        spots
            Places of it.
        """

    def no_promise(spots: Spots) -> int:
        """Do it.

        Parameters
        ----------
        spots
            Places of it.
        """

    def positional_number(spots: Spots, radius_m: Length = 1.0) -> CastReach:
        """Do it.

        Parameters
        ----------
        spots
            Places of it.
        radius_m
            Radius of it.
        """

    def several(spots: Spots) -> Two:
        """Do it.

        Parameters
        ----------
        spots
            Places of it.
        """

    door = algorithm(step="hold", example="castshed x --out y.gpkg")
    assert "Parameters" in _bad(lambda: door(no_help))
    assert "needs a type" in _bad(lambda: door(no_type))
    assert "return type" in _bad(lambda: door(no_promise))
    assert "keyword-only" in _bad(lambda: door(positional_number))
    assert "choose one of" in _bad(lambda: algorithm(step="nowhere", example="")(plain))
    assert [o.name for o in spec_of(door(several)).outputs] == ["cast_reach", "water"]


def test_a_broken_promise_is_a_fault_of_the_algorithm(lake):
    @algorithm(step="hold", example="castshed liar x.gpkg:spots --out y.gpkg")
    def liar(spots: Spots) -> CastReach:
        """Promise and not keep it.

        Parameters
        ----------
        spots
            Places of it.
        """
        return spots

    with pytest.raises(PluginError, match="broke the promise"):
        liar(lake.spots)


@pytest.mark.parametrize(
    ("name", "option"),
    [
        ("cast_m", "--cast"),
        ("run_speed_mps", "--run-speed"),
        ("from_deg", "--from"),
        ("at_each_s", "--at-each"),
        ("zones", "--zones"),
        ("depart", "--depart"),
    ],
)
def test_an_option_is_the_name_without_its_unit(name, option):
    assert option_name(name) == option
