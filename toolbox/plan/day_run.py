"""The chain of a day run in memory: each step takes the frames of the day and of the steps before it."""

from __future__ import annotations

from dataclasses import fields, replace
from importlib import import_module
from typing import TYPE_CHECKING, Any

from ..algorithm import spec_of
from ..algorithm.contracts import output_items
from ..cache.kept_calls import kept
from .day_chain import MadeBy, OfDay, chain_of

if TYPE_CHECKING:
    from ..algorithm.spec import Spec
    from ..depth import DepthSurface
    from .day_file import Day


def _own(name: str) -> Spec:
    """Take the algorithm that comes with castshed, whatever else bears its name."""
    word = name.replace("-", "_")
    return spec_of(getattr(import_module(f"castshed.algorithms.{word}"), word))


class DayRun:
    """The steps of a day, run one by one; what each gave is kept for those after it.

    Parameters
    ----------
    day
        The day with its layers.
    """

    def __init__(self, day: Day) -> None:
        self.day = day
        self.steps = chain_of(day)
        self._made: dict[str, dict[str, Any]] = {}
        lake = {one.name: getattr(day.layers, one.name) for one in fields(day.layers)}
        self._brought = lake | {"sources": day.spots, "forecast": day.forecast}
        self._brought["depth"] = self._as_stated(day.layers.depth)

    def _as_stated(self, depth: DepthSurface | None) -> DepthSurface | None:
        """Let the depth error that the day file states go before the surface's own."""
        stated = self.day.lake.depth_error_m
        return depth if depth is None or stated is None else replace(depth, error_m=stated)

    def _input(self, given: Any) -> Any:
        if isinstance(given, MadeBy):
            return self._made[given.step].get(given.layer)
        return self._brought[given.name] if isinstance(given, OfDay) else given

    def arguments(self, name: str) -> dict[str, Any]:
        """Put together what a step is given: values, layers of the day, and what earlier steps made."""
        return {key: self._input(given) for key, given in self.steps[name].given.items()}

    def __call__(self, name: str, keep: str = "") -> Any:
        """Run a step; with ``keep``, the words of what it makes, its result is taken from the store where it is kept.

        Returns
        -------
        Any
            What the algorithm gives.
        """
        spec = _own(self.steps[name].run)
        function = kept(spec.function, keep) if keep else spec.function
        given = self.arguments(name)
        result = function(**given)
        made = {output.name: value for output, value in output_items(spec, result)}
        self._made[name] = made | ({"depth": self._as_stated(made["depth"])} if "depth" in made else {})
        return result

    def layer(self, name: str, parameter: str) -> Any:
        """Tell what a step is given for a parameter; None where it is given nothing."""
        return self._input(self.steps[name].given.get(parameter))
