"""The level a layer was made at is read in one way: by its mark, its column and its lineage, with one tolerance."""

import json
import math

import numpy as np
import pandas as pd
import pytest

from castshed.toolbox.errors import DataError
from castshed.toolbox.lineage import ATTRIBUTE, LEVEL, settled_level, told_level
from castshed.toolbox.water.proof.run_proof import other_levels


def layer(*, column=None, mark=None, lineage=None):
    made = pd.DataFrame({"care": ["run", "idle"]})
    if column is not None:
        made["level_m"] = column
    if mark is not None:
        made.attrs[LEVEL] = mark
    if lineage is not None:
        made.attrs[ATTRIBUTE] = json.dumps(lineage)
    return made


@pytest.mark.parametrize(
    "told",
    [
        {"column": [-1.22, -1.22]},
        {"column": [np.nan, -1.22]},
        {"mark": -1.22},
        {"lineage": {"level_m": -1.22}},
        {"lineage": {"parameters": {"level_m": -1.22}}},
        {"column": [-1.22, -1.2192], "mark": -1.2192},  # four feet, and four feet in hundredths of a metre
    ],
)
def test_wherever_a_layer_tells_its_level_step_and_proof_read_the_same(told):
    made = layer(**told)
    assert told_level(made) == pytest.approx(-1.22, abs=0.001)
    assert settled_level({"water": made}, None, ["water"]) == told_level(made)
    assert list(other_levels({"water": made}, -1.2192)) == []
    assert (
        len(list(other_levels({"water": made}, -1.21))) == 1
    )  # a centimetre is another reading of the gauge
    with pytest.raises(DataError, match="made at a level of"):
        settled_level({"water": made}, -1.21, ["water"])


@pytest.mark.parametrize(
    "told",
    [
        {"column": [-1.0, -2.0]},
        {"column": [-1.0, -1.0], "mark": -2.0},
        {"mark": -1.0, "lineage": {"level_m": -2.0}},
    ],
)
def test_a_layer_of_several_levels_fits_none(told):
    made = layer(**told)
    assert math.isnan(told_level(made))
    for asked in (-1.0, -2.0):
        (fault,) = other_levels({"water": made}, asked)
        assert "several levels" in str(fault)
        with pytest.raises(DataError, match="several levels"):
            settled_level({"water": made}, asked, ["water"])
    with pytest.raises(DataError, match="several levels"):
        settled_level({"water": made}, None, ["water"])


@pytest.mark.parametrize("told", [{}, {"column": [np.nan, np.nan]}, {"mark": True}, {"lineage": ["level_m"]}])
def test_a_layer_that_tells_none_fits_any(told):
    assert told_level(layer(**told)) is None
    assert list(other_levels({"water": layer(**told)}, -3.0)) == []


def test_a_column_of_that_name_in_other_layers_is_something_else():
    assert settled_level({"readings": layer(column=[-1.0, -2.0])}, -3.0) == -3.0
