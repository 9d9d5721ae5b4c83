"""Temporary files beside their final place: named after who makes them, cleared when that command runs no more."""

from __future__ import annotations

import contextlib
import os
import re
import zlib
from pathlib import Path
from typing import Final

TEMPORARY: Final = ".castshed-"


def _this_machine() -> str:
    """Tell machines, and containers of one machine, from each other where they share a folder."""
    name, space = os.uname().nodename if os.name == "posix" else "", ""
    with contextlib.suppress(OSError):
        space = str(Path("/proc/self/ns/pid").readlink())
    return f"{zlib.crc32(f'{name} {space}'.encode()):08x}"


def _runs(process: int) -> bool:
    try:
        os.kill(process, 0)
    except ProcessLookupError:
        return False
    except (OSError, OverflowError):
        pass
    return True


def temporary_prefix() -> str:
    """Begin the name of a temporary file; it tells who makes it, so that what a killed command left can be cleared."""
    return f"{TEMPORARY}{_this_machine()}-{os.getpid()}-"


def clear_abandoned(folder: Path) -> None:
    """Remove temporary files of commands of this machine that run no more; those of others are let be."""
    if os.name != "posix":  # elsewhere to ask whether a process runs would end it
        return
    ours = re.compile(re.escape(f"{TEMPORARY}{_this_machine()}-") + r"(\d+)-")
    with contextlib.suppress(OSError):
        for left in folder.iterdir():
            found = ours.match(left.name)
            if found and not _runs(int(found.group(1))):
                with contextlib.suppress(OSError):
                    left.unlink()
