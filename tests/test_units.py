"""Quantities with units: values by definition, and every wrong way to write one."""

import math

import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st

from castshed.toolbox import units
from castshed.toolbox.errors import UnitError, UsageError
from castshed.toolbox.parameters.markers import Quantity, check_value, marker_of
from castshed.toolbox.parameters.wording import Count


@pytest.mark.parametrize(
    ("text", "kind", "value"),
    [
        ("1ft", "length", 0.3048),  # international foot, definition of 1959
        ("1000ftUS", "length", 1000 * 1200 / 3937),  # US survey foot, definition of 1893
        ("1mi", "length", 1609.344),
        ("1nmi", "length", 1852.0),  # definition of 1929
        ("1fathom", "length", 1.8288),
        ("-4 ft", "length", -1.2192),
        ("5ft 6in", "length", 1.6764),
        ("-5ft 6in", "length", -1.6764),
        ("1kn", "speed", 1852 / 3600),
        ("15mph", "speed", 6.7056),
        ("36km/h", "speed", 10.0),
        ("25min", "time", 1500.0),
        ("1.5h", "time", 5400.0),
        ("SW", "bearing", 225.0),
        ("nne", "bearing", 22.5),
        ("-90deg", "bearing", 270.0),
        ("360deg", "bearing", 0.0),
    ],
)
def test_a_quantity_has_the_value_its_definition_gives(text, kind, value):
    assert units.parse(text, kind) == pytest.approx(value, rel=1e-12)


@pytest.mark.parametrize(("kind", "unit"), [(kind, u) for kind, of in units.ACCEPTED.items() for u in of])
def test_every_unit_is_worth_what_a_library_of_units_says(kind, unit):
    # Its fathom is six survey feet, ours six international ones (the yard and pound agreement of 1959).
    theirs = {"h": "hour", "L/h": "litre/hour", "gal/h": "gallon/hour", "gph": "gallon/hour", "fathom": "6 foot",
              "ftUS": "survey_foot", "kn": "knot"}  # fmt: skip
    base = {
        "length": "m",
        "speed": "m/s",
        "time": "s",
        "bearing": "deg",
        "volume": "L",
        "flow": "litre/hour",
    }[kind]
    worth = pint.UnitRegistry()(theirs.get(unit, unit)).to(base).magnitude
    assert units.parse(f"1{unit}", kind) == pytest.approx(worth, rel=1e-12)


def test_survey_and_international_foot_are_0_6_mm_apart_at_1000_ft():
    apart = units.parse("1000ftUS", "length") - units.parse("1000ft", "length")
    assert apart == pytest.approx(0.0006096, abs=1e-6)  # NIST Handbook 44, appendix C


@pytest.mark.parametrize(
    ("text", "kind", "says"),
    [
        ("80", "length", "has no unit"),
        ("80fx", "length", "not known"),
        ("15mph", "length", "is a speed, not a length"),
        ("", "length", "is not a length"),
        ("ft", "length", "is not a length"),
        ("nanft", "length", "is not a length"),
        ("1e999ft", "length", "finite"),
        ("--4ft", "length", "is not a length"),
        ("5ft -6in", "length", "is not a length"),
        ("80ft; rm", "length", "is not a length"),
        ("12m/s", "time", "is a speed, not a time"),
        ("south-west", "bearing", "is not a bearing"),
    ],
)
def test_a_wrong_quantity_is_refused_with_the_accepted_units(text, kind, says):
    with pytest.raises(UnitError, match="Write a") as caught:
        units.parse(text, kind)
    assert says in str(caught.value)
    assert all(unit in str(caught.value) for unit in units.ACCEPTED[kind])
    assert caught.value.exit_code == 2


@given(st.floats(-1e6, 1e6), st.sampled_from(units.ACCEPTED["length"]))
def test_feet_in_feet_out_is_the_same_number(value, unit):
    back = units.convert(value, unit, "length") / units.convert(1.0, unit, "length")
    assert math.isclose(back, value, rel_tol=1e-12, abs_tol=1e-12)


@given(st.text(max_size=20), st.sampled_from(["length", "speed", "time", "bearing"]))
def test_any_text_is_a_number_or_a_clear_refusal(text, kind):
    try:
        assert math.isfinite(units.parse(text, kind))
    except UnitError as error:
        assert "Write a" in str(error)


@pytest.mark.parametrize("value", [math.nan, math.inf, "x", None, True])
def test_a_number_must_be_finite(value):
    if value is True:
        assert units.check_finite(value, "cast") == 1.0
        return
    with pytest.raises(UsageError, match="cast"):
        units.check_finite(value, "cast")


def test_words_show_metric_and_us():
    assert units.in_words(21.336, "length") == "21.34 m (70 ft)"
    assert units.in_words(3218.688, "length") == "3.22 km (2.00 mi)"
    assert units.compass_point(359.0) == "N"


@pytest.mark.parametrize("value", [10**400, -(10**400), "1e400", "nan", "-inf", None, "x" * 400])
def test_a_number_beyond_all_limits_is_refused(value):
    with pytest.raises(UsageError):
        units.check_finite(value, "cast")


@pytest.mark.parametrize("kind", sorted(units.LEAST))
@pytest.mark.parametrize("value", [5e-324, 1e-300, -1e-300, 1e-10])
def test_next_to_nothing_is_nought_or_refused(kind, value):
    marker = Quantity(kind)
    if kind in ("speed", "flow"):
        with pytest.raises(UsageError, match=r"0 or at least 0\.001"):
            check_value(value, marker, "x")
    else:
        assert check_value(value, marker, "x") == 0.0
    assert check_value(units.LEAST[kind], marker, "x") == units.LEAST[kind]
    assert check_value(0.0, marker, "x") == 0.0
    with pytest.raises(UsageError, match="at most 1e"):
        check_value(1.1e9, marker, "x")


def test_a_count_has_a_limit():
    for value in (10**400, 1e308, 2**63):
        with pytest.raises(UsageError):
            check_value(value, marker_of(Count)[0], "at-most")
