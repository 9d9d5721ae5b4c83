"""Read a log of an echo sounder, whatever open format it is in: what it holds decides, not its name."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from ...errors import DataError
from ...real_files import require_ordinary, shown

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

    from .sounder_log import SounderLog

_HEAD: Final = 64 * 1024
_READ: Final = "NMEA 0183 text, CSV, and crowd-sourced bathymetry as CSV or GeoJSON"


class LogFile:
    """A log that was named and is there; read when its rules are known.

    Parameters
    ----------
    path
        The file.

    Raises
    ------
    FileMissing, DataError
        It is not there, or no ordinary file, or of another format.
    """

    def __init__(self, path: Path) -> None:
        require_ordinary(path, "a log")
        self.path = path
        self.name = shown(path.name)

    def read(
        self,
        *,
        day_s: float = float("nan"),
        unchecked: bool = False,
        depth_unit: str | None = None,
        columns: Mapping[str, str] | None = None,
    ) -> SounderLog:
        """Read it; see the readers of `castshed.toolbox.intake`.

        Raises
        ------
        DataError
            It cannot be read, or is in another format.
        """
        from .log_table import read_log_csv, read_log_geojson
        from .nmea import read_nmea

        try:
            with self.path.open("rb") as stream:
                head = stream.read(_HEAD)
                stream.seek(0)
                bare = head.lstrip(b"\xef\xbb\xbf \t\r\n")
                if not bare:
                    raise DataError(f"{self.path} is empty. Formats read: {_READ}.")
                if bare.startswith((b"PK\x03\x04", b"\x1f\x8b", b"%PDF", b"<")):
                    raise DataError(f"{self.path} is packed, a document or XML. Formats read: {_READ}.")
                if bare.startswith(b"{"):
                    return read_log_geojson(stream.read(), self.name)
                sentences = head.count(b"$") + head.count(b"!")
                if sentences > 0.2 * max(head.count(b"\n") + head.count(b"\r"), 1):
                    return read_nmea(stream, self.name, day_s=day_s, unchecked=unchecked)
                return read_log_csv(stream, self.name, depth_unit=depth_unit, columns=columns or {})
        except OSError as fault:
            raise DataError(f"{self.path} cannot be opened: {fault.strerror or fault}.") from fault
