"""Results kept in the user's cache, found again by the content of what they were made from.

A store is a folder that may be emptied at any time. What lies in it is found by a fingerprint of everything the result
depends on, so a changed input is another result and a stale one is never met. Every file is sealed for its key with a
secret of the user's; one that is broken, was laid there by somebody else or under another key is as good as none.
"""

from __future__ import annotations

import contextlib
import hashlib
import hmac
import io
import os
import re
import time
import zipfile
from contextvars import ContextVar
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from .own_folder import BYTES as SEAL_BYTES
from .own_folder import Held, held, seal

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from numpy.typing import NDArray

    Arrays = Mapping[str, NDArray[Any]]

FOLDER: Final = ".castshed"
SETTING: Final = "CASTSHED_STORE"
MOST_BYTES: Final = 2_000_000_000
_ABANDONED_S: Final = 86_400.0
_KEY: Final = "[0-9a-f]{64}"
_ENTRY: Final = re.compile(_KEY + r"\.npz")
_PART: Final = re.compile(_KEY + r"\.[0-9a-f]{16}\.part")

_open: ContextVar[Store | None] = ContextVar("castshed_store", default=None)


def fingerprint(*parts: str | bytes | NDArray[Any]) -> str:
    """Fingerprint what a result is made from.

    Parameters
    ----------
    parts
        Words, bytes and arrays in an order that matters; arrays count by type, shape and every bit.

    Returns
    -------
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


def _name(key: str) -> str:
    name = f"{key}.npz"
    if not _ENTRY.fullmatch(name):
        raise ValueError(f"{key!r} is no fingerprint")
    return name


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

    def get(self, key: str) -> dict[str, NDArray[Any]] | None:
        """Look a result up; None where it is missing, or not what this user kept under this key, to the byte.

        Raises
        ------
        ValueError
            The key is no fingerprint.
        """
        import numpy as np

        name = _name(key)
        try:
            with held(self.folder) as folder:
                whole = folder.read(name, self.most_bytes)
                content = memoryview(whole)
                cut = max(0, len(content) - SEAL_BYTES)
                if not hmac.compare_digest(content[cut:], seal(key, content[:cut])):
                    return None
                # bytes are shared, not copied; a zip file is looked up from its end, and may be followed by some
                with np.load(io.BytesIO(whole), allow_pickle=False) as stored:
                    arrays = {name: stored[name] for name in stored.files}
                folder.touch(name)
        except (OSError, ValueError, KeyError, EOFError, zipfile.BadZipFile, MemoryError):
            return None
        return arrays

    def put(self, key: str, arrays: Arrays, what: str = "") -> None:
        """Keep a result; after a crash there is the whole file or none.

        Where the folder cannot be written, or is not the user's alone, nothing is kept, and that is no error.

        Raises
        ------
        ValueError
            The key is no fingerprint.
        """
        import numpy as np

        name = _name(key)
        with contextlib.suppress(OSError), held(self.folder, make=True) as folder:
            stream = io.BytesIO()
            np.savez(stream, **dict(arrays))  # type: ignore[arg-type]  # an array named like an option of savez
            content = stream.getbuffer()
            folder.write(name, [content, seal(key, content)])
            self._tidy(folder)
            self.tell(what)

    def tell(self, what: str) -> None:
        """Remember in words what lies in the store now."""
        if what and what not in self.told:
            self.told.append(what)

    def _tidy(self, folder: Held) -> None:
        """Remove what is too much, the longest unused first, and what a crash left; nothing but files of ours."""
        files = []
        for name, state in folder.files():
            if _PART.fullmatch(name) and time.time() - state.st_mtime > _ABANDONED_S:
                folder.remove(name)
            elif _ENTRY.fullmatch(name):
                files.append((state.st_mtime, state.st_size, name))
        files.sort()
        total = sum(size for _, size, _ in files)
        for _, size, name in files[:-1]:
            if total <= self.most_bytes:
                break
            folder.remove(name)
            total -= size


def default_folder() -> Path | None:
    """Tell where results are kept unless something else is asked for: in the user's own cache."""
    import platformdirs

    folder = platformdirs.user_cache_path("castshed", appauthor=False)
    return folder if folder.is_absolute() else None  # a user without a home keeps nothing


def open_store() -> Store | None:
    """Tell the store results are kept in at present, or None."""
    return _open.get()


@contextlib.contextmanager
def keeping(folder: Path | str | None) -> Iterator[Store | None]:
    """Keep results in a folder, and take them from it, while the block runs.

    Parameters
    ----------
    folder
        Such as the folder of the lake's file: results go into ``.castshed`` within it, which is used only where it is
        the user's alone. None keeps nothing. The variable ``CASTSHED_STORE`` names another folder to use instead, or
        is ``off``. Commands keep in the user's cache, see `keeping_by_default`.

    Examples
    --------
    >>> with keeping("lakes") as store:
    ...     store.folder.as_posix()
    'lakes/.castshed'
    """
    with _kept_in(None if folder is None else Path(folder) / FOLDER) as store:
        yield store


@contextlib.contextmanager
def keeping_by_default() -> Iterator[Store | None]:
    """Keep results in the user's cache while the block runs; a lake's folder, which may be a stranger's, gets none.

    ``CASTSHED_STORE`` counts as for `keeping`.
    """
    with _kept_in(default_folder()) as store:
        yield store


@contextlib.contextmanager
def _kept_in(folder: Path | None) -> Iterator[Store | None]:
    told = os.environ.get(SETTING, "")
    place = Path(told) if told else folder
    store = None if told.casefold() == "off" or place is None else Store(place)
    token = _open.set(store)
    try:
        yield store
    except KeyboardInterrupt as stop:  # whoever stopped the work is told what need not be done again
        if store is not None and store.told:
            stop.add_note(f"Kept for the next time in {store.folder}: {', '.join(store.told)}.")
        raise
    finally:
        _open.reset(token)
