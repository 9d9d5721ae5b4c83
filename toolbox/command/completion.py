"""What a shell may offer after ``FILE.gpkg:``: the layers of the file, read without any GIS library."""

from __future__ import annotations

import contextlib
import os
import shlex
import sqlite3
from collections.abc import Callable, MutableMapping
from pathlib import Path
from typing import Any, Final

from ..errors import CastshedError
from ..parameters.markers import Surface

BASH: Final = ("_CASTSHED_COMPLETE", "complete_bash")
_file_before_colon = ""


def _tokens(line: str) -> list[str]:
    """Split a line that may be unfinished: an open quotation counts as far as it goes."""
    reader = shlex.shlex(line, posix=True, punctuation_chars=False)
    reader.whitespace_split = True
    reader.commenters = ""
    found: list[str] = []
    try:
        found.extend(reader)
    except ValueError:
        found.append(reader.token)
    return found


def join_at_colon(environment: MutableMapping[str, str]) -> None:
    """Make one word of ``FILE``, ``:`` and the beginning of a layer, which bash takes for three.

    Bash parts words at a colon and replaces only what stands after it, so the file is put aside, the words are told
    without it, and what is offered is the layer's name alone.
    """
    global _file_before_colon  # noqa: PLW0603  # one process completes one word
    _file_before_colon = ""
    name, shell = BASH
    if environment.get(name) != shell:
        return
    try:
        words, at = _tokens(environment["COMP_WORDS"]), int(environment["COMP_CWORD"])
    except (KeyError, ValueError):
        return
    words = words[: at + 1]
    if at >= 2 and len(words) > at - 1 and words[at - 1] == ":":
        file, begun = words[at - 2], words[at] if len(words) > at else ""
        kept = words[: at - 2]
    elif at >= 1 and len(words) > at and words[at] == ":":
        file, begun = words[at - 1], ""
        kept = words[: at - 1]
    else:
        return
    _file_before_colon = file
    environment["COMP_WORDS"] = " ".join(shlex.quote(word) for word in [*kept, begun] if word)
    environment["COMP_CWORD"] = str(len(kept))


def _names(file: str, coverage: bool) -> list[str]:
    from ..layers.geopackage import contents, is_geopackage

    path = Path(os.path.expanduser(file))  # noqa: PTH111  # Path.expanduser raises where there is no home
    with contextlib.suppress(CastshedError, OSError, sqlite3.Error):
        if path.is_file() and is_geopackage(path):
            return [n for n, kind in contents(path).items() if (kind == "coverage") == coverage]
    return []


def layer_completer(marker: Any) -> Callable[[str], list[str]]:
    """Make the function that offers layers of the kind an input takes."""
    coverage = isinstance(marker, Surface)

    def complete(incomplete: str) -> list[str]:
        if _file_before_colon:
            names = [n.replace(" ", "\\ ") for n in _names(_file_before_colon, coverage)]
            return [n for n in names if n.startswith(incomplete)]
        file, colon, begun = incomplete.rpartition(":")
        if not colon or len(file) < 2:  # a drive letter is no file
            return []
        return [f"{file}:{n}" for n in _names(file, coverage) if n.startswith(begun)]

    return complete
