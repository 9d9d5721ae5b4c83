"""Results kept beside the lake, found again by the content of what they were made from.

A store is a folder that may be emptied at any time. What lies in it is found by a fingerprint of everything the result
depends on, so a changed input is another result and a stale one is never met; a broken file is as good as none.
"""

from __future__ import annotations

import contextlib
import hashlib
import os
import tempfile
import time
import zipfile
from contextvars import ContextVar
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from numpy.typing import NDArray

    Arrays = Mapping[str, NDArray[Any]]

FOLDER: Final = ".castshed"
SETTING: Final = "CASTSHED_STORE"
MOST_BYTES: Final = 500_000_000
_ABANDONED_S: Final = 86_400.0
_CHECKSUM: Final = "_checksum"

_open: ContextVar[Store | None] = ContextVar("castshed_store", default=None)


def fingerprint(*parts: str | bytes | NDArray[Any]) -> str:
    """Fingerprint what a result is made from.

    Parameters
    ----------
    parts
        Words, bytes and arrays in an order that matters; arrays count by type, shape and every bit.

    Returns
    -------
    str
        64 hexadecimal digits (SHA-256).
    """
    import numpy as np

    total = hashlib.sha256()
    for part in parts:
        content: Any
        if isinstance(part, str | bytes):
            content = part.encode() if isinstance(part, str) else part
            head = f"{type(part).__name__} {len(content)}\n"
        else:
            array = np.ascontiguousarray(part)
            content, head = array.reshape(-1).view(np.uint8), f"{array.dtype.str} {array.shape}\n"
        total.update(head.encode())
        total.update(content)
    return total.hexdigest()


def _checksum(arrays: Arrays) -> str:
    return fingerprint(*(part for name in sorted(arrays) for part in (name, arrays[name])))


class Store:
    """A folder of results by fingerprint.

    Parameters
    ----------
    folder
        Made when something is first kept.
    most_bytes
        What has not been used for longest is removed beyond this size.

    Attributes
    ----------
    told
        What lies in the store of all that the work asked for so far, in words.
    """

    def __init__(self, folder: Path, *, most_bytes: int = MOST_BYTES) -> None:
        self.folder = folder
        self.most_bytes = most_bytes
        self.told: list[str] = []

    def _path(self, key: str) -> Path:
        return self.folder / f"{key}.npz"

    def get(self, key: str) -> dict[str, NDArray[Any]] | None:
        """Look a result up; None where it is missing, broken or not what it says."""
        import numpy as np

        path = self._path(key)
        try:
            with path.open("rb") as file, np.load(file, allow_pickle=False) as stored:
                arrays = {name: stored[name] for name in stored.files}
            if str(arrays.pop(_CHECKSUM)) != _checksum(arrays):
                return None
        except (OSError, ValueError, KeyError, EOFError, zipfile.BadZipFile, MemoryError):
            return None
        with contextlib.suppress(OSError):
            os.utime(path)
        return arrays

    def put(self, key: str, arrays: Arrays, what: str = "") -> None:
        """Keep a result; after a crash there is the whole file or none.

        Where the folder cannot be written nothing is kept, and that is no error.
        """
        with contextlib.suppress(OSError):
            self.folder.mkdir(parents=True, exist_ok=True)
            self._write(self._path(key), arrays)
            self._tidy()
            self.tell(what)

    def tell(self, what: str) -> None:
        """Remember in words what lies in the store now."""
        if what and what not in self.told:
            self.told.append(what)

    def _write(self, path: Path, arrays: Arrays) -> None:
        import numpy as np

        handle, name = tempfile.mkstemp(dir=self.folder, prefix=path.stem[:8], suffix=".part")
        try:
            with os.fdopen(handle, "wb") as file:
                content: dict[str, Any] = {_CHECKSUM: np.asarray(_checksum(arrays)), **arrays}
                np.savez(file, **content)
            Path(name).replace(path)
        except BaseException:
            Path(name).unlink(missing_ok=True)
            raise

    def _tidy(self) -> None:
        """Remove what is too much, the longest unused first, and what a crash left."""
        for left in self.folder.glob("*.part"):
            if time.time() - left.stat().st_mtime > _ABANDONED_S:
                left.unlink(missing_ok=True)
        files = sorted((p.stat().st_mtime, p.stat().st_size, p) for p in self.folder.glob("*.npz"))
        total = sum(size for _, size, _ in files)
        for _, size, path in files[:-1]:
            if total <= self.most_bytes:
                break
            path.unlink(missing_ok=True)
            total -= size


def open_store() -> Store | None:
    """Tell the store results are kept in at present, or None."""
    return _open.get()


@contextlib.contextmanager
def keeping(folder: Path | str | None) -> Iterator[Store | None]:
    """Keep results in a folder, and take them from it, while the block runs.

    Parameters
    ----------
    folder
        Such as the folder of the lake's file; None keeps nothing. Results go into ``.castshed`` within it. The variable
        ``CASTSHED_STORE`` names another folder to use instead, or is ``off``.

    Examples
    --------
    >>> with keeping("lakes") as store:
    ...     store.folder.as_posix()
    'lakes/.castshed'
    """
    told = os.environ.get(SETTING, "")
    store: Store | None
    if told.casefold() == "off" or (not told and folder is None):
        store = None
    else:
        store = Store(Path(told) if told else Path(str(folder)) / FOLDER)
    token = _open.set(store)
    try:
        yield store
    except KeyboardInterrupt as stop:  # whoever stopped the work is told what need not be done again
        if store is not None and store.told:
            stop.add_note(f"Kept for the next time in {store.folder}: {', '.join(store.told)}.")
        raise
    finally:
        _open.reset(token)
