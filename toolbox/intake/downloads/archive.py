"""An archive unpacked into a folder of our own: bounded by what comes out, names kept inside that folder."""

from __future__ import annotations

import re
import zipfile
import zlib
from typing import TYPE_CHECKING, Final

from ...errors import DataError

if TYPE_CHECKING:
    from pathlib import Path

_MOST_MEMBERS: Final = 5000
_MOST_OUT: Final = 2_000_000_000
_MOST_RATIO: Final = 400
_CHUNK: Final = 1 << 20
_PARTS: Final = re.compile(r"[\\/]+")


def _place(name: str) -> list[str]:
    """Take a member's name apart, without what leads out of the folder; empty for what systems pack beside files."""
    parts = [
        re.sub(r"[^\w.\- ()]", "_", part)[-120:] for part in _PARTS.split(name) if part not in ("", ".", "..")
    ]
    if (
        not parts
        or parts[0] == "__MACOSX"
        or parts[-1] in (".DS_Store", "Thumbs.db")
        or parts[-1].startswith("._")
    ):
        return []
    return parts


def unpack(path: Path, folder: Path, name: str) -> None:
    """Unpack a ZIP file.

    Raises
    ------
    DataError
        It is broken, locked, or unpacks to more than two gigabytes.
    """
    left = min(_MOST_OUT, max(_CHUNK * 64, path.stat().st_size * _MOST_RATIO))
    try:
        with zipfile.ZipFile(path) as archive:
            members = [one for one in archive.infolist() if not one.is_dir()]
            if len(members) > _MOST_MEMBERS:
                raise DataError(
                    f"{name} packs {len(members):,} files, more than {_MOST_MEMBERS:,}; unpack what is needed."
                )
            for member in members:
                parts = _place(member.filename)
                if not parts:
                    continue
                target = folder.joinpath(*parts)
                target.parent.mkdir(parents=True, exist_ok=True)
                with archive.open(member) as stream, target.open("xb") as file:
                    while piece := stream.read(_CHUNK):
                        left -= len(piece)
                        if left < 0:
                            raise DataError(
                                f"{name} unpacks to more than it should; unpack it yourself and give what is needed."
                            )
                        file.write(piece)
    except (
        zipfile.BadZipFile,
        zlib.error,
        EOFError,
        OSError,
        NotImplementedError,
        RuntimeError,
        ValueError,
        UnicodeError,
    ) as fault:
        if isinstance(fault, DataError):
            raise
        raise DataError(
            f"{name} cannot be unpacked ({fault}); fetch it again, or unpack it and give what is in it."
        ) from fault
