"""Names for devices: within their length, in ASCII, and all different whatever is cut."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from castshed.toolbox.errors import UsageError
from castshed.toolbox.output.words.names import NameRule, cut, to_ascii
from castshed.toolbox.text import unique_names
from long_tests import as_many

ANY_NAMES = st.lists(st.text(max_size=20), max_size=60)


@settings(max_examples=as_many(200), deadline=None)
@given(ANY_NAMES, st.integers(4, 30), st.booleans())
def test_whatever_is_cut_names_stay_different_and_within_the_length(names, length, ascii_only):
    found = NameRule(length, ascii_only).unique(names)
    assert len(found) == len(names)
    assert len({name.casefold() for name in found}) == len(names)
    assert all(1 <= len(name) <= length and name == name.strip() for name in found)
    if ascii_only:
        assert all(name.isascii() and name.isprintable() for name in found)


@settings(max_examples=as_many(100), deadline=None)
@given(ANY_NAMES)
def test_without_a_length_names_are_as_ever(names):
    assert NameRule().unique(names) == unique_names(names)


def test_a_thousand_names_of_one_beginning_differ_within_their_length():
    found = NameRule(12).unique(f"Long Church hump {n}" for n in range(1000))
    assert len({name.casefold() for name in found}) == 1000
    assert found[0] == "Long Church"
    assert found[1] == "Long Churc 2"
    assert max(map(len, found)) == 12


def test_more_names_than_a_length_can_hold_are_refused():
    with pytest.raises(UsageError, match="within 4 characters"):
        NameRule(4).unique(["x"] * 2000)


def test_a_length_without_room_for_numbers_is_refused():
    with pytest.raises(UsageError, match="give 4 or more"):
        NameRule(3)


@pytest.mark.parametrize(
    ("given_name", "wanted"),
    [
        ("Żółw", "Zolw"),
        ("Straße", "Strasse"),
        ("Ångström Ø", "Angstrom O"),
        ("12′ – “deep”", '12\' - "deep"'),
        ("深場の岩", ""),
        ("🎣 bank", " bank"),
        ("ﬁn", "fin"),
    ],
)
def test_letters_lose_their_marks_and_the_rest_is_left_out(given_name, wanted):
    assert to_ascii(given_name) == wanted


def test_names_without_an_ascii_letter_still_differ():
    assert NameRule(ascii_only=True).unique(["深場", "岩"]) == ["unnamed", "unnamed 2"]


def test_a_letter_is_never_cut_from_its_mark():
    assert cut("cafe\u0301 ledge", 4) == "caf"
    assert cut("🧑\u200d🌾 bank", 2) == ""
