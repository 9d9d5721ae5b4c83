"""The situations in which castshed stops, each with its exit code. Imports nothing.

An error class is a situation, not a place; it is also the builtin exception a Python caller would expect.
A message says what was given, what is allowed and what to do.
"""


class CastshedError(Exception):
    """Anything castshed stops for. Exit code 1 unless a subclass says otherwise."""

    exit_code = 1


class PluginError(CastshedError, ImportError):
    """An algorithm is listed but cannot be loaded or used (exit 1)."""


class UsageError(CastshedError, ValueError):
    """A parameter, option or day file cannot be understood or is out of its limits (exit 2)."""

    exit_code = 2


class UnitError(UsageError):
    """A quantity has no unit, an unknown unit, or a unit of another kind (exit 2)."""


class DataError(CastshedError, ValueError):
    """A layer or a file does not hold what is needed (exit 3)."""

    exit_code = 3


class FileMissing(DataError, FileNotFoundError):
    """A file that was named is not there (exit 3)."""


class LayerMissing(DataError, LookupError):
    """A file is there, but not the layer asked of it (exit 3)."""


class CrsError(DataError):
    """Degrees where metres are needed, no reference system, or two that differ (exit 3)."""


class ContractError(DataError):
    """A layer breaks its contract; ``faults`` lists every fault found (exit 3)."""

    def __init__(self, message: str, faults: tuple[str, ...] = ()) -> None:
        super().__init__(message)
        self.faults = faults


class OutputExists(CastshedError, FileExistsError):
    """The output is already there and replacing it was not asked for (exit 4)."""

    exit_code = 4


class OutputFailed(CastshedError, OSError):
    """The output cannot be written: folder missing, read-only, locked, disk full (exit 4)."""

    exit_code = 4


class NoSolution(CastshedError):
    """The question is sound but has no answer (exit 5)."""

    exit_code = 5


class NoSafeWay(NoSolution):
    """No safe way over the water, or a way that fails the last check (exit 5)."""


class NothingFishable(NoSolution):
    """No spot passes (exit 5)."""


class DataWarning(UserWarning):
    """Something was repaired, left out or is less certain than it looks; the work goes on and says so."""
