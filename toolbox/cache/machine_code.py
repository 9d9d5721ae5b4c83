"""Machine code of loops kept between runs, so that a run that finds it loads no compiler.

To load the compiler takes a second, and so longer than most loops run on a lake of some million cells. What it made of
a loop is kept in a store of its own, sealed as all results are: code that anybody else laid there is never run. It
holds for one source, one processor and one set of versions, and is kept only after it gave the compiler's own result
to the last bit.
"""

from __future__ import annotations

import contextlib
import ctypes
import functools
import importlib.metadata
import json
import os
import platform
import sys
import threading
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final, TypeVar, cast

import numpy as np

from ..compiled import runs_interpreted
from .store import SETTING, Store, default_folder, fingerprint

if TYPE_CHECKING:
    from collections.abc import Callable

Function = TypeVar("Function", bound="Callable[..., object]")

FOLDER: Final = "loops"
_FROM_OUTSIDE: Final = frozenset({"hypot", "memset", "memcpy", "memmove"})  # of the C library
# No array comes from the compiler's own storage, so none is ever given back to it; but its code names who would.
_NEVER_CALLED: Final = "define void @NRT_MemInfo_call_dtor(ptr %unused) { ret void }"
_NUMBER: Final = {"i": ctypes.c_int64, "f": ctypes.c_double}
_NOT_KEPT: Final = {"head": np.zeros(0, dtype=np.uint8), "code": np.zeros(0, dtype=np.uint8)}
_LOCK: Final = threading.RLock()
_TRIED_WITH: Final = (
    (0, 60),
    (0, 69),
)  # numba's way of passing arrays is its own affair: versions it was tried with


def _kind(value: Any) -> str | None:
    """Tell what a loop has to know of an argument before it is compiled; None for what is not passed on."""
    if isinstance(value, np.ndarray):
        fit = value.flags.c_contiguous and value.flags.aligned and value.flags.writeable
        return f"{value.dtype.str} {value.ndim}" if fit and value.dtype.isnative else None
    if isinstance(value, float):  # numpy's doubles are floats too
        return "f"
    return "i" if isinstance(value, int | np.integer) and not isinstance(value, bool) else None


def _passed(values: tuple[Any, ...]) -> list[Any]:
    """Take arguments apart as compiled code wants them: arrays as owners (none), sizes, place, shape and strides."""
    parts: list[Any] = []
    for value in values:
        if hasattr(value, "ctypes"):
            parts += [None, None, value.size, value.itemsize, value.ctypes.data, *value.shape, *value.strides]
        else:
            parts.append(value)
    return parts


def _copied(values: tuple[Any, ...]) -> list[Any]:
    """Copy arguments; two arrays over the same memory are so again."""
    made: dict[tuple[int, int], Any] = {}
    parts: list[Any] = []
    for value in values:
        if isinstance(value, np.ndarray):
            one = made.setdefault((value.ctypes.data, value.nbytes), np.copy(value))
            parts.append(one.reshape(-1).view(value.dtype).reshape(value.shape))
        else:
            parts.append(value)
    return parts


def _types(kinds: tuple[str, ...]) -> list[Any]:
    found: list[Any] = []
    for kind in kinds:
        if kind in _NUMBER:
            found.append(_NUMBER[kind])
        else:
            sizes = 2 + 2 * int(kind.split()[1])
            pointers = [ctypes.c_void_p] * 2
            found += [*pointers, *[ctypes.c_int64] * 2, ctypes.c_void_p, *[ctypes.c_int64] * (sizes - 2)]
    return found


@functools.lru_cache(maxsize=1)
def _machine() -> Any:
    """Make ready what turns code kept into code that runs; tells the processor too."""
    import llvmlite.binding as llvm

    llvm.initialize_native_target()
    llvm.initialize_native_asmprinter()
    names = (llvm.get_host_cpu_name(), llvm.get_host_cpu_features().flatten())
    return llvm, llvm.Target.from_default_triple(), names


def _target() -> Any:
    _, target, (cpu, features) = _machine()
    return target.create_target_machine(cpu=cpu, features=features, opt=3, codemodel="jitdefault", jit=True)


@functools.lru_cache(maxsize=1)
def _about() -> str:
    """Fingerprint what machine code depends on beside its source and arguments."""
    libraries = [f"{name} {importlib.metadata.version(name)}" for name in ("numba", "llvmlite", "numpy")]
    return fingerprint(
        sys.version, platform.platform(), *libraries, *_machine()[2], Path(__file__).read_bytes()
    )


def _store() -> Store | None:
    """Open the store of loops; None where nothing is kept, or numba is of a version this was not tried with."""
    told = os.environ.get(SETTING, "")
    folder = Path(told) if told else default_folder()
    version = tuple(int(part) for part in importlib.metadata.version("numba").split(".")[:2])
    if told.casefold() == "off" or folder is None or not _TRIED_WITH[0] <= version < _TRIED_WITH[1]:
        return None
    return Store(folder / FOLDER)


def _made(function: Any, kinds: tuple[str, ...]) -> dict[str, Any]:
    """Compile a loop to machine code that needs nothing but the C library.

    Raises
    ------
    ValueError
        The loop asks for more: for memory, or for Python.
    """
    import numba

    llvm = _machine()[0]
    numbers = {"i": numba.types.int64, "f": numba.types.float64}
    signature = tuple(
        numbers[kind]
        if kind in numbers
        else numba.types.Array(numba.from_dtype(np.dtype(kind.split()[0])), int(kind.split()[1]), "C")
        for kind in kinds
    )
    no_wrappers: Any = {"no_cpython_wrapper": True, "no_cfunc_wrapper": True}
    alone: Any = numba.njit(nogil=True, **no_wrappers)(function)
    alone.compile(signature)
    if alone.overloads[signature].signature.return_type != numba.types.int64:
        raise ValueError("a loop that is kept gives back a whole number")
    entry = alone.overloads[signature].fndesc.llvm_func_name
    module = llvm.parse_assembly(alone.inspect_llvm(signature))
    module.link_in(llvm.parse_assembly(_NEVER_CALLED))
    needs = [one.name for one in module.functions if one.is_declaration and not one.name.startswith("llvm.")]
    if strange := set(needs) - _FROM_OUTSIDE:
        raise ValueError(f"{function.__name__} needs {', '.join(sorted(strange))}")
    code = _target().emit_object(module)
    head = json.dumps({"entry": entry, "needs": needs}).encode()
    return {"head": np.frombuffer(head, dtype=np.uint8), "code": np.frombuffer(code, dtype=np.uint8)}


class _Code:
    """Machine code in memory."""

    def __init__(self, arrays: dict[str, Any], kinds: tuple[str, ...]) -> None:
        llvm = _machine()[0]
        head = json.loads(arrays["head"].tobytes())
        if missing := [name for name in head["needs"] if not llvm.address_of_symbol(name)]:
            raise ValueError(f"{', '.join(missing)} is not there")
        self._engine = llvm.create_mcjit_compiler(llvm.parse_assembly(""), _target())
        self._engine.add_object_file(llvm.ObjectFileRef.from_data(arrays["code"].tobytes()))
        self._engine.finalize_object()
        address = self._engine.get_function_address(head["entry"])
        if not address:
            raise ValueError("the code has no such beginning")
        given = [ctypes.POINTER(ctypes.c_int64), ctypes.POINTER(ctypes.c_void_p), *_types(kinds)]
        self._run = ctypes.CFUNCTYPE(ctypes.c_int32, *given)(address)

    def __call__(self, *values: Any) -> int | None:
        """Run it; None where it stopped with an error, which the compiler's own code then tells."""
        result, error = ctypes.c_int64(), ctypes.c_void_p()
        state = self._run(ctypes.byref(result), ctypes.byref(error), *_passed(values))
        return None if state else result.value


class _Kept:
    """A loop that is run by the code kept of it, or else by the compiler."""

    def __init__(self, loop: Any) -> None:
        functools.update_wrapper(self, loop)
        self.loop = loop
        self._known: dict[tuple[str, ...], _Code | None] = {}

    def __call__(self, *values: Any) -> Any:
        if runs_interpreted():
            return self.loop(*values)
        kinds = tuple(_kind(value) for value in values)
        if None in kinds:
            return self.loop(*values)
        known = cast("tuple[str, ...]", kinds)
        with _LOCK:
            if known not in self._known:
                with contextlib.suppress(Exception):  # without kept code everything is as it is with it
                    self._known[known] = self._found(known)
            if known not in self._known:
                return self._first(known, values)
        code = self._known[known]
        result = None if code is None else code(*values)
        return self.loop(*values) if result is None else result

    def _key(self, kinds: tuple[str, ...]) -> str:
        source = Path(self.loop.__wrapped__.__code__.co_filename).read_bytes()
        return fingerprint("machine code", source, self.loop.__qualname__, _about(), *kinds)

    def _found(self, kinds: tuple[str, ...]) -> _Code | None:
        store = _store()
        arrays = None if store is None else store.get(self._key(kinds))
        if arrays is None:
            raise KeyError("nothing is kept")
        return _Code(arrays, kinds) if arrays["code"].size else None

    def _first(self, kinds: tuple[str, ...], values: tuple[Any, ...]) -> Any:
        """Run a loop by the compiler, and keep its code for the next time where that gives the very same."""
        store, self._known[kinds] = _store(), None
        # To make it takes a second, so first something small: can anything be kept and found again?
        trial = fingerprint("trial")
        if store is not None:
            store.put(trial, _NOT_KEPT)
        if store is None or store.get(trial) is None:
            return self.loop(*values)
        again = _copied(values)
        result = self.loop(*values)
        arrays = dict(_NOT_KEPT)
        with contextlib.suppress(Exception):
            made = _made(self.loop.__wrapped__, kinds)
            same = _Code(made, kinds)(*again) == result
            both = zip(values, again, strict=True)
            if same and all(np.asarray(one).tobytes() == np.asarray(other).tobytes() for one, other in both):
                arrays = made
        store.put(self._key(kinds), arrays)
        return result


def kept_code(loop: Function) -> Function:
    """Keep the machine code of a loop from run to run.

    Parameters
    ----------
    loop
        What `compiled` gave: it gets whole numbers, doubles and arrays, writes into the arrays, asks for no memory,
        and gives back a whole number. It and the loops it calls are in one file.
    """
    return cast("Function", _Kept(loop))
