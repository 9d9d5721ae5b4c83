"""What an author of algorithms runs: a battery that holds any algorithm to the contract of the toolbox.

Needs only the toolbox and a test runner of your choice::

    from castshed.toolbox.testing import check_algorithm

    def test_contract(lake):
        check_algorithm(spot_circles, lake.spots, radius_m=20.0)
"""

from __future__ import annotations

import copy
from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING, Any

from ..algorithm import spec_of
from ..algorithm.contracts import output_items
from ..algorithm.spec import Spec
from ..parameters.markers import Layer, Surface
from ..same_system import same_crs

if TYPE_CHECKING:
    from geopandas import GeoDataFrame


def assert_layer_equal(left: GeoDataFrame, right: GeoDataFrame, *, tolerance_m: float = 0.0) -> None:
    """Assert that two layers hold the same rows.

    Parameters
    ----------
    left, right
        Layers to compare; the order of columns plays no part, the order of rows does.
    tolerance_m
        How far apart coordinates may lie (Hausdorff distance of each pair), in metres.

    Raises
    ------
    AssertionError
        They differ; the message says where first.
    """
    import pandas as pd
    import shapely

    assert len(left) == len(right), f"{len(left)} rows against {len(right)}"
    assert set(left.columns) == set(right.columns), (
        f"columns {sorted(left.columns)} against {sorted(right.columns)}"
    )
    assert (left.crs is None) == (right.crs is None), "only one has a coordinate reference system"
    if left.crs is not None:
        assert same_crs(left.crs, right.crs), f"{left.crs.name} against {right.crs.name}"
    plain = [c for c in left.columns if c != left.geometry.name]
    pd.testing.assert_frame_equal(
        pd.DataFrame(left[plain]).reset_index(drop=True),
        pd.DataFrame(right[plain]).reset_index(drop=True),
        check_dtype=False,
    )
    a, b = left.geometry.to_numpy(), right.geometry.to_numpy()
    if tolerance_m == 0.0:
        same = shapely.equals_exact(shapely.normalize(a), shapely.normalize(b), 0.0)
    else:
        same = (shapely.hausdorff_distance(a, b) <= tolerance_m) | (shapely.is_empty(a) & shapely.is_empty(b))
    same |= shapely.is_missing(a) & shapely.is_missing(b)
    if not same.all():
        row = int((~same).argmax())
        raise AssertionError(f"geometry differs in row {row}: {a[row]} against {b[row]}")


def _snapshot(value: Any) -> Any:
    return copy.deepcopy(value)


def _same(before: Any, after: Any) -> None:
    if hasattr(before, "geometry"):
        assert list(before.columns) == list(after.columns), "an input frame got other columns"
        assert list(before.index) == list(after.index), "an input frame got another index"
        assert_layer_equal(before, after)
    elif hasattr(before, "depth_m"):
        import numpy as np

        assert np.array_equal(before.depth_m, after.depth_m, equal_nan=True), "an input surface was changed"


def _documented(spec: Spec) -> None:
    assert spec.summary.endswith("."), f"{spec.name}: the summary must be one sentence ending in a full stop"
    assert len(spec.summary) <= 90, f"{spec.name}: the summary is longer than 90 characters"
    assert spec.example.startswith(f"castshed {spec.name} "), (
        f"{spec.name}: the example must run castshed {spec.name}"
    )
    for parameter in spec.parameters:
        assert len(parameter.help) >= 8, f"{spec.name}: {parameter.name} needs help in words"


def check_algorithm(
    function: Callable[..., Any],
    *inputs: Any,
    rows: str | None = None,
    **options: Any,
) -> Any:
    """Run an algorithm and hold it to the contract.

    Checked are: help and example are there; inputs are not changed; the same call gives the same result; promised
    layers, geometry and columns are there; the reference system of the first layer is kept; ids of an output come from
    the layer they name; and, when the first input is a layer that may be empty, an empty one gives an empty result
    with the same columns.

    Parameters
    ----------
    function
        A function under ``@algorithm``.
    inputs, options
        What it is called with.
    rows
        The parameter whose rows the output follows; by default the first layer that may be empty.

    Returns
    -------
    Any
        The result of the call.

    Raises
    ------
    AssertionError
        Some part of the contract is broken.
    """
    spec = spec_of(function)
    _documented(spec)
    names = [p.name for p in spec.parameters if p.positional]
    given: dict[str, Any] = dict(zip(names, inputs, strict=False)) | options
    before = {key: _snapshot(value) for key, value in given.items()}
    result = function(*inputs, **options)
    again = function(*inputs, **options)
    for key, value in given.items():
        _same(before[key], value)
    _check_outputs(spec, result, again, given)
    _check_empty(spec, function, given, result, rows)
    return result


def _check_outputs(spec: Spec, result: Any, again: Any, given: Mapping[str, Any]) -> None:
    import numpy as np

    systems = [v.crs for v in given.values() if getattr(v, "crs", None) is not None]
    twice = dict(enumerate(output_items(spec, again)))
    for number, (output, value) in enumerate(output_items(spec, result)):
        other = twice[number][1]
        if isinstance(output.marker, Layer):
            assert_layer_equal(value, other)
            if systems:
                assert same_crs(value.crs, systems[0]), (
                    f"{spec.name}: {output.name} left the reference system"
                )
        elif isinstance(output.marker, Surface):
            assert np.array_equal(value.depth_m, other.depth_m, equal_nan=True), "two runs differ"
    spots = given.get("spots")
    if spots is None or "spot_id" not in spots.columns:
        return
    known = set(spots["spot_id"].astype(str))
    for output, value in output_items(spec, result):
        if isinstance(output.marker, Layer) and output.marker.id == "spot_id":
            strange = set(value["spot_id"]) - known
            assert not strange, (
                f"{spec.name}: {output.name} has ids that came from nowhere: {sorted(strange)[:3]}"
            )


def _check_empty(
    spec: Spec, function: Callable[..., Any], given: Mapping[str, Any], result: Any, rows: str | None
) -> None:
    first = next(
        (
            p.name
            for p in spec.parameters
            if p.positional and isinstance(p.marker, Layer) and p.marker.may_be_empty and p.name in given
        ),
        None,
    )
    name = rows or first
    if name is None:
        return
    call = dict(given) | {name: given[name].iloc[:0]}
    positional = [call.pop(p.name) for p in spec.parameters if p.positional and p.name in call]
    empty = function(*positional, **call)
    for (output, full), (_, bare) in zip(output_items(spec, result), output_items(spec, empty), strict=True):
        if isinstance(output.marker, Layer) and output.marker.may_be_empty:
            missing = set(full.columns) - set(bare.columns)
            assert not missing, f"{spec.name}: empty {name} loses columns {sorted(missing)} of {output.name}"
