"""One word, one thing: what several algorithms ask for is one type, with one name, one help text and one default."""

import dataclasses
import re
from pathlib import Path
from typing import Annotated

import pytest

from castshed.toolbox import parameters
from castshed.toolbox.algorithm import read_spec
from castshed.toolbox.algorithm.catalogue import entries, load_entry
from castshed.toolbox.docs.vocabulary import in_day_file, second_meanings, with_table
from castshed.toolbox.errors import PluginError
from castshed.toolbox.parameters import Draft, Layer, Length, Spots, defaults
from castshed.toolbox.parameters.markers import shared_of
from castshed.toolbox.plan.day_file import SECTIONS

SPECS = {e.name: load_entry(e) for e in entries().values() if e.origin == "castshed"}
ROOT = Path(__file__).parents[2]
INCH_M, FOOT_M, MILE_M = 0.0254, 0.3048, 1609.344  # international, by definition


def algorithm_of(hint, default=0.5, help_="", name="depth_wanted_m"):
    """An algorithm with one option of that name, type, default and help."""

    def made(spots, **options):
        """Do something.

        Parameters
        ----------
        spots
            Spots.
        """

    import inspect

    kind = inspect.Parameter
    made.__signature__ = inspect.Signature(
        [kind("spots", kind.POSITIONAL_OR_KEYWORD), kind(name, kind.KEYWORD_ONLY, default=default)]
    )
    made.__annotations__ = {
        "spots": Spots,
        name: hint,
        "return": Annotated[object, Layer("spots", ("Point",))],
    }
    if help_:
        made.__doc__ = f"{made.__doc__.rstrip()}\n        {name}\n            {help_}\n"
    return read_spec(made, step="hold", example="castshed made")


def named(spec, name):
    return dataclasses.replace(spec, name=name)


def test_no_two_algorithms_give_one_name_two_meanings():
    assert len(SPECS) > 20
    assert second_meanings(SPECS.values()) == []


@pytest.mark.parametrize(
    ("name", "hint", "default", "help_"),
    [
        ("draft_m", Length, defaults.DRAFT_M, "Water the boat draws."),  # a type of its own
        ("draft_m", Length, 0.36, "Water the boat draws."),  # another default
        (
            "draft",
            Annotated[str, parameters.Text()],
            "",
            "A first version.",
        ),  # another thing under one option
        ("kinds", parameters.Words, "", "Of bait."),  # not shared by anyone yet
    ],
)
def test_a_planted_second_meaning_is_found(name, hint, default, help_):
    planted = named(algorithm_of(hint, default, help_, name), "planted")
    (found,) = second_meanings([*SPECS.values(), planted])
    assert found.startswith(f"--{name.removesuffix('_m')} of planted is not that of ")


def test_the_same_words_written_twice_are_found():
    one = named(algorithm_of(Length, 0.5, "Depth that is wanted."), "one")
    two = named(algorithm_of(Length, 0.5, "Depth that is wanted."), "two")
    assert len(second_meanings([one, two])) == 1


@pytest.mark.parametrize(
    ("name", "default", "help_", "said"),
    [
        ("depth_wanted_m", defaults.DRAFT_M, "", "has the type of draft_m; call it so"),
        ("draft_m", 0.36, "", "is 0.36 by default, and 0.6096 for every algorithm"),
        ("draft_m", defaults.DRAFT_M, "Water.", "comes with its type"),
    ],
)
def test_a_shared_type_is_taken_whole(name, default, help_, said):
    with pytest.raises(PluginError, match=re.escape(said)):
        algorithm_of(Draft, default, help_, name)


def test_python_shows_the_help_of_shared_parameters():
    spec = algorithm_of(Draft, defaults.DRAFT_M, "", "draft_m")
    assert spec.parameter("draft_m").help == shared_of(Draft).help
    text = load_entry(entries()["boat-hold"]).function.__doc__
    for par in SPECS["boat-hold"].parameters:
        assert f"\n{par.name}\n    {par.help}" in text
    assert "\n\nReturns\n-------\n" in text


def test_the_day_file_takes_name_default_and_help_from_the_same_types():
    asked = {par.name: par.shared for spec in SPECS.values() for par in spec.parameters if par.shared}
    inputs = {par.name for spec in SPECS.values() for par in spec.parameters if par.is_input}
    every = {par.name for spec in SPECS.values() for par in spec.parameters}
    notions = set()
    for section, key, field, shared in in_day_file():
        if field in every - inputs:
            assert shared is not None, f"[{section}] {key}"
        if shared is not None:
            assert (shared.name, asked[field]) == (field, shared)
            (own,) = (one for one in dataclasses.fields(SECTIONS[section]) if one.name == field)
            assert own.default == shared.default
            notions.add(field)
    assert len(notions) > 40


def test_every_type_has_a_name_of_its_own_and_a_user():
    shared = [one for word in parameters.__all__ if (one := shared_of(getattr(parameters, word)))]
    names = [one.name for one in shared]
    assert len(names) == len(set(names)) > 50
    assert set(names) <= {par.name for spec in SPECS.values() for par in spec.parameters}


def test_defaults_are_round_where_the_trade_counts_in_feet():
    inches = (defaults.DRAFT_M, defaults.RUNNING_DEPTH_M, defaults.MARGIN_M, defaults.LEVEL_ERROR_M)
    assert [value / INCH_M for value in inches] == pytest.approx([24, 36, 18, 4], abs=1e-9)
    feet = (
        defaults.BEAM_M,
        defaults.FIX_ERROR_M,
        defaults.CLEARANCE_M,
        defaults.DRIFT_M,
        defaults.FOOTPRINT_M,
    )
    assert [value / FOOT_M for value in feet] == pytest.approx([8, 10, 20, 10, 10], abs=1e-9)
    casts = (defaults.LEAST_CAST_M, defaults.CAST_M, defaults.MOST_CAST_M)
    assert [value / FOOT_M for value in casts] == pytest.approx([40, 70, 90], abs=1e-9)
    speeds = (defaults.RUN_SPEED_MPS, defaults.IDLE_SPEED_MPS, defaults.WIND_LIMIT_MPS)
    assert [value * 3600 / MILE_M for value in speeds] == pytest.approx([30, 5, 20], abs=1e-9)


def test_the_table_for_contributors_is_that_of_the_code():
    page = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    assert with_table(page, SPECS) == page
    row = next(line for line in page.splitlines() if line.startswith("| `draft_m` |"))
    assert "| `Draft` | m | 2 ft (0.61 m) |" in row
    for user in ("shallow-hazards", "boat-hold", "shortest-run", "prove-run", "[boat] draft"):
        assert user in row
    assert with_table(page.replace("| `draft_m` |", "| `draught_m` |"), SPECS) == page
