"""Which algorithms there are: bundled, installed by others, and in folders of one-file algorithms.

Listing reads source text only; an algorithm's module is imported when it is used. Bundled algorithms come in by the
folder door, the same that ``CASTSHED_ALGORITHMS`` opens. A bundled name is never shadowed; a name that two others
claim is refused naming both; what cannot be read stays listed and says why.
"""

from __future__ import annotations

import ast
import functools
import importlib
import importlib.util
import os
import re
import sys
import zlib
from collections.abc import Iterator
from dataclasses import dataclass, replace
from importlib.machinery import PathFinder
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from ..errors import CastshedError, PluginError, UsageError
from .spec import STEPS

if TYPE_CHECKING:
    from importlib.metadata import EntryPoint

    from .spec import Spec

GROUP: Final = "castshed.algorithms"
FOLDERS: Final = "CASTSHED_ALGORITHMS"
_BUNDLED: Final = "castshed.algorithms"
OWN: Final = {
    "describe": "Describe an algorithm to a machine: inputs, options and outputs with their schemas.",
    "run-steps": "Run the algorithms of a steps file in one go; only what has changed is run again.",
    "over-lakes": "Run an algorithm or a steps file over many lakes, one task a lake, on all cores or a Dask cluster.",
}
"""Commands that are no algorithms, and their words; no algorithm may take their names."""


@dataclass(frozen=True)
class Entry:
    """One line of the catalogue. ``problem`` says why it cannot be used; empty when it can."""

    name: str
    summary: str
    step: str
    origin: str
    module: str
    attribute: str
    path: Path | None
    problem: str = ""


def _is_algorithm(decorator: ast.expr) -> ast.Call | None:
    if not isinstance(decorator, ast.Call):
        return None
    called = decorator.func
    name = called.attr if isinstance(called, ast.Attribute) else getattr(called, "id", "")
    return decorator if name == "algorithm" else None


def _keyword(call: ast.Call, name: str) -> str:
    for keyword in call.keywords:
        if (
            keyword.arg == name
            and isinstance(keyword.value, ast.Constant)
            and isinstance(keyword.value.value, str)
        ):
            return keyword.value.value
    return ""


_HEAD: Final = re.compile(
    r'^@(?:\w+\.)*algorithm\(.*?^(?:async )?def .*?"""(?:.*?)"""', re.MULTILINE | re.DOTALL
)


def _decorated(text: str) -> Iterator[tuple[str, str, str, str]]:
    for node in ast.parse(text).body:
        if not isinstance(node, ast.FunctionDef):
            continue
        for decorator in node.decorator_list:
            call = _is_algorithm(decorator)
            if call is not None:
                summary = (ast.get_docstring(node) or "").partition("\n")[0]
                name = _keyword(call, "name") or node.name.replace("_", "-")
                yield node.name, name, _keyword(call, "step"), summary


def _heads(text: str) -> list[tuple[str, str, str, str]]:
    """Read only the decorated functions, from decorator to docstring; nothing where that does not make sense."""
    try:
        return [one for head in _HEAD.findall(text) for one in _decorated(head)]
    except SyntaxError:
        return []


@functools.lru_cache(maxsize=512)
def _read(path: str, modified_ns: int, size: int, whole: bool) -> tuple[tuple[str, str, str, str], ...]:  # noqa: ARG001  # the key
    text = Path(path).read_text(encoding="utf-8")
    return tuple((not whole and _heads(text)) or _decorated(text))


def _functions(path: Path, *, whole: bool = True) -> tuple[tuple[str, str, str, str], ...]:
    """List (function, command name, step, summary) of each decorated function in a file.

    A file is read again only when its time or size has changed. With ``whole`` a mistake anywhere in it is found; the
    bundled ones, which the tests hold to that, are read as far as is needed.
    """
    state = path.stat()
    return _read(str(path), state.st_mtime_ns, state.st_size, whole)


def _why(error: BaseException) -> str:
    return " ".join(f"{type(error).__name__}: {error}".split())


def _folder(folder: Path, package: str, origin: str) -> Iterator[Entry]:
    for path in sorted(folder.glob("*.py")):
        if path.name.startswith("_"):
            continue
        module = f"{package}.{path.stem}" if package else ""
        guess = path.stem.replace("_", "-")
        try:
            found = _functions(path, whole=not package)
        except Exception as error:  # noqa: BLE001  # any fault of a file, even what is too deep to parse, stays that file's
            yield Entry(guess, "", "", origin, module, "", path, f"{path} cannot be read: {_why(error)}")
            continue
        if not found:
            yield Entry(guess, "", "", origin, module, "", path, f"{path} has no function under @algorithm.")
        for function, name, step, summary in found:
            listed = step if step in STEPS else "share"
            yield Entry(name, summary, listed, origin, module, function, path)


def _find_source(module: str) -> Path | None:
    """Find a module's file without importing it or its parents."""
    where: Any = None
    parts = module.split(".")
    for depth in range(1, len(parts) + 1):
        full = ".".join(parts[:depth])
        spec = None
        for finder in sys.meta_path:
            find = getattr(finder, "find_spec", None)
            spec = find(full, where) if find is not None else None
            if spec is not None:
                break
        if spec is None:
            return None
        if depth == len(parts):
            return Path(spec.origin) if spec.origin and spec.origin.endswith(".py") else None
        where = spec.submodule_search_locations
    return None


def _may_be_offered() -> bool:
    """Tell whether any installed distribution may offer an algorithm.

    Looks for the group's name in the files that list entry points, which costs a tenth of loading the machinery that
    reads them; whatever is not a plain folder of distributions counts as yes.
    """
    if any(hasattr(f, "find_distributions") for f in sys.meta_path if f is not PathFinder):
        return True
    for place in dict.fromkeys(sys.path):
        home = place or "."
        try:
            names = [e.name for e in os.scandir(home) if e.name.endswith((".dist-info", ".egg-info", ".egg"))]
        except NotADirectoryError:
            return True
        except OSError:
            continue
        for name in names:
            for inside in ("", "EGG-INFO"):
                try:
                    listed = Path(home, name, inside, "entry_points.txt").read_bytes()
                except OSError:
                    continue
                if GROUP.encode() in listed:
                    return True
    return False


def _points() -> list[EntryPoint]:
    if not _may_be_offered():
        return []
    from importlib import metadata

    return list(metadata.entry_points(group=GROUP))


def _installed() -> Iterator[Entry]:
    for point in _points():
        name = point.name
        origin = point.dist.name if point.dist is not None else "an unnamed distribution"
        module, _, attribute = point.value.partition(":")
        entry = Entry(name, "", "share", origin, module.strip(), attribute.strip(), None)
        try:
            path = _find_source(entry.module)
            if path is None:
                problem = f"{origin}: the module {entry.module} is not there; install {origin} again."
                yield replace(entry, problem=problem)
                continue
            lines = {f: (step, summary) for f, _, step, summary in _functions(path)}
        except Exception as error:  # noqa: BLE001  # any fault of somebody's plugin must stay that plugin's
            yield replace(entry, problem=f"{origin}: {_why(error)}")
            continue
        step, summary = lines.get(entry.attribute, ("share", ""))
        problem = "" if entry.attribute in lines else f"{origin}: {point.value} is not under @algorithm."
        yield replace(
            entry, step=step if step in STEPS else "share", summary=summary, path=path, problem=problem
        )


def algorithm_folders() -> list[Path]:
    """List the folders of one-file algorithms that the environment names, each once however it is written."""
    named = [Path(part) for part in os.environ.get(FOLDERS, "").split(os.pathsep) if part.strip()]
    return list({os.path.realpath(folder): folder for folder in named}.values())


def entries() -> dict[str, Entry]:
    """List every algorithm by name, bundled ones first, without importing any.

    Returns
    -------
    Name -> entry. An entry that cannot be used has a ``problem``.
    """
    found = {e.name: e for e in _folder(Path(__file__).parents[2] / "algorithms", _BUNDLED, "castshed")}
    others: dict[str, list[Entry]] = {}
    for entry in _installed():
        others.setdefault(entry.name, []).append(entry)
    for folder in algorithm_folders():
        if not folder.is_dir():
            name = folder.name or str(folder)
            problem = f"{FOLDERS} names {folder}, which is not a folder."
            others.setdefault(name, []).append(Entry(name, "", "share", str(folder), "", "", folder, problem))
            continue
        for entry in _folder(folder, "", str(folder)):
            others.setdefault(entry.name, []).append(entry)
    for name, claims in others.items():
        if name in found or name in OWN:
            origins = ", ".join(c.origin for c in claims)
            key = f"{name} ({origins})"
            found[key] = replace(
                claims[0],
                name=key,
                problem=f"{origins} would shadow the bundled {name}; it must take another name.",
            )
        elif len(claims) > 1:
            origins = " and ".join(c.origin if c.module or c.path is None else str(c.path) for c in claims)
            found[name] = replace(
                claims[0],
                problem=f"{name} is claimed by {origins}; uninstall one or rename it.",
            )
        else:
            found[name] = claims[0]
    return found


def _import(entry: Entry) -> Any:
    if entry.module:
        return importlib.import_module(entry.module)
    assert entry.path is not None
    name = f"castshed_folder_{zlib.crc32(bytes(entry.path.resolve())):08x}_{entry.path.stem}"
    if name in sys.modules:
        return sys.modules[name]
    spec = importlib.util.spec_from_file_location(name, entry.path)
    if spec is None or spec.loader is None:
        raise PluginError(f"{entry.path} cannot be loaded.")
    module = importlib.util.module_from_spec(spec)
    sys.modules[name] = module
    try:
        spec.loader.exec_module(module)
    except BaseException:
        del sys.modules[name]
        raise
    return module


def load(name: str) -> Spec:
    """Import one algorithm.

    Raises
    ------
    UsageError
        There is none of that name.
    PluginError
        It is listed but cannot be used; the message says which distribution or file, and why.
    """
    entry = entries().get(name)
    if entry is None:
        raise UsageError(f"There is no algorithm '{name}'; castshed --help lists them.")
    return load_entry(entry)


def load_entry(entry: Entry) -> Spec:
    """Import the algorithm of a catalogue entry; raises as `load` does."""
    if entry.problem:
        raise PluginError(f"{entry.name}: {entry.problem}")
    from . import spec_of

    try:
        return spec_of(getattr(_import(entry), entry.attribute))
    except CastshedError as error:
        raise PluginError(f"{entry.name} ({entry.origin}): {error}") from error
    except (Exception, SystemExit) as error:
        raise PluginError(
            f"{entry.name} ({entry.origin}) failed when it was loaded: {_why(error)}"
        ) from error
