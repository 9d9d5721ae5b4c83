"""Packed files (ZIP) opened in memory: bounded by what comes out, not by what the file says of itself."""

from __future__ import annotations

import io
import zipfile
import zlib
from dataclasses import dataclass
from typing import Final

from ..errors import DataError

_MOST_MEMBERS: Final = 2000
_MOST_OUT: Final = 64 * 1024 * 1024
_CHUNK: Final = 256 * 1024


@dataclass(eq=False)
class Packed:
    """A ZIP file. Names inside are only looked up, never used as paths on this machine."""

    name: str
    archive: zipfile.ZipFile
    left: int = _MOST_OUT

    @classmethod
    def open(cls, data: bytes, name: str) -> Packed:
        """Open the bytes of a ZIP file.

        Raises
        ------
        DataError
            It is broken or has too many members.
        """
        try:
            archive = zipfile.ZipFile(io.BytesIO(data))
            count = len(archive.infolist())
        except (zipfile.BadZipFile, ValueError, OSError, NotImplementedError, UnicodeError) as fault:
            raise DataError(
                f"{name} looks packed but cannot be unpacked ({fault}); fetch it again."
            ) from fault
        if count > _MOST_MEMBERS:
            raise DataError(
                f"{name} packs {count:,} files, more than {_MOST_MEMBERS:,}: it is no list of spots."
            )
        return cls(name, archive)

    @property
    def names(self) -> list[str]:
        """Names of the files inside, without folders and what some systems pack beside them."""
        plain = [one.filename for one in self.archive.infolist() if not one.is_dir()]
        return [
            n for n in dict.fromkeys(plain) if not n.startswith("__MACOSX/") and not n.endswith(".DS_Store")
        ]

    def read(self, member: str) -> bytes:
        """Unpack one file.

        Raises
        ------
        DataError
            It is locked by a password, broken, missing, or the file unpacks to more than any list of spots holds.
        """
        pieces: list[bytes] = []
        try:
            with self.archive.open(member) as stream:
                while piece := stream.read(_CHUNK):
                    self.left -= len(piece)
                    if self.left < 0:
                        raise DataError(
                            f"{self.name} unpacks to more than {_MOST_OUT // 1024**2} MB, too much for a list of "
                            "spots; save what is needed as CSV."
                        )
                    pieces.append(piece)
        except KeyError as fault:
            raise DataError(f"{self.name} lacks its part '{member[:60]}'; save it again.") from fault
        except RuntimeError as fault:  # zipfile's word for a password
            raise DataError(f"{self.name} is locked ({fault}); save it without a password.") from fault
        except (zipfile.BadZipFile, zlib.error, EOFError, OSError, NotImplementedError) as fault:
            raise DataError(
                f"{self.name} is damaged at '{member[:60]}' ({fault}); fetch it again."
            ) from fault
        return b"".join(pieces)
