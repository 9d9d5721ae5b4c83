"""XML and packed files read without their dangers: bounded by what comes out, never by what the file says."""

from __future__ import annotations

import io
import zipfile
import zlib
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Final
from xml.parsers import expat  # document types are refused below, which leaves no entity to expand

from ..errors import DataError

if TYPE_CHECKING:
    from collections.abc import Iterator

_DEEPEST: Final = 64
_MOST_ELEMENTS: Final = 1_000_000
_MOST_TEXT: Final = 256 * 1024  # characters in one element
_CHUNK: Final = 64 * 1024


@dataclass(slots=True)
class Element:
    """An XML element: namespace, local name, attributes by local name, text, children, line in the file."""

    namespace: str
    name: str
    attributes: dict[str, str]
    line: int
    pieces: list[str] = field(default_factory=list)
    children: list[Element] = field(default_factory=list)
    after: int = 0  # how many pieces of its parent's text stand before it

    @property
    def text(self) -> str:
        """Its own text, trimmed."""
        return "".join(self.pieces).strip()

    @property
    def flow(self) -> str:
        """Its text and that of everything in it, in the order of the document."""
        parts: list[str] = []
        at = 0
        for one in self.children:
            parts += [*self.pieces[at : one.after], one.flow]
            at = one.after
        return "".join([*parts, *self.pieces[at:]])

    def child(self, name: str) -> Element | None:
        """Its first child of that local name."""
        return next((one for one in self.children if one.name == name), None)

    def text_of(self, name: str) -> str:
        """Text of the first child of that local name; empty when there is none."""
        found = self.child(name)
        return found.text if found is not None else ""

    def walk(self) -> Iterator[Element]:
        """Itself and everything below it, in document order."""
        stack = [self]
        while stack:
            one = stack.pop()
            yield one
            stack.extend(reversed(one.children))

    def outline(self, limit: int = 4000) -> str:
        """Say in short what it holds: attributes and texts, for a row set aside."""
        parts = [f"{key}={value}" for key, value in self.attributes.items()]
        parts += [f"{one.name}={one.text}" for one in self.walk() if one is not self and one.text]
        return "; ".join(parts)[:limit]


class _Builder:
    def __init__(self, name: str) -> None:
        self.name = name
        self.root: Element | None = None
        self.open: list[Element] = []
        self.count = 0
        self.text_size = 0
        # The separator cannot occur in a namespace: expat hands over "namespace}name".
        self.parser = expat.ParserCreate(namespace_separator="}")
        self.parser.buffer_text = True
        self.parser.StartElementHandler = self.start
        self.parser.EndElementHandler = self.end
        self.parser.CharacterDataHandler = self.data
        self.parser.StartDoctypeDeclHandler = self.doctype

    def doctype(self, *_: object) -> None:
        raise DataError(
            f"{self.name} declares a document type (line {self.parser.CurrentLineNumber}); files of spots need none, "
            "and it can hide entities that fill the memory or read other files. Take the <!DOCTYPE ...> out."
        )

    def start(self, tag: str, attributes: dict[str, str]) -> None:
        self.count += 1
        if self.count > _MOST_ELEMENTS:
            raise DataError(
                f"{self.name} has more than {_MOST_ELEMENTS:,} elements, too many for a list of spots."
            )
        if len(self.open) >= _DEEPEST:
            raise DataError(
                f"{self.name} nests more than {_DEEPEST} elements (line {self.parser.CurrentLineNumber})."
            )
        namespace, _, name = tag.rpartition("}")
        plain = {key.rpartition("}")[2]: value for key, value in attributes.items()}
        made = Element(namespace, name, plain, self.parser.CurrentLineNumber)
        if self.open:
            made.after = len(self.open[-1].pieces)
            self.open[-1].children.append(made)
        else:
            self.root = made
        self.open.append(made)
        self.text_size = 0

    def end(self, _tag: str) -> None:
        self.open.pop()

    def data(self, text: str) -> None:
        self.text_size += len(text)
        if self.text_size > _MOST_TEXT and self.open[-1].name != "coordinates":
            raise DataError(
                f"{self.name} has a text of more than {_MOST_TEXT:,} characters (line {self.parser.CurrentLineNumber})."
            )
        self.open[-1].pieces.append(text)


def parse_markup(data: bytes, name: str) -> Element:
    """Parse an XML file.

    Raises
    ------
    DataError
        It is not well formed, declares a document type, or is deeper or larger than any list of spots.
    """
    builder = _Builder(name)
    try:
        for start in range(0, len(data), _CHUNK):
            builder.parser.Parse(data[start : start + _CHUNK], False)
        builder.parser.Parse(b"", True)
    except expat.ExpatError as fault:
        raise DataError(
            f"{name} is not well-formed XML: {expat.errors.messages.get(fault.code, fault)} at line {fault.lineno}; "
            "write the file again, or repair it by hand."
        ) from fault
    except (ValueError, LookupError) as fault:
        if isinstance(fault, DataError):
            raise
        raise DataError(f"{name} cannot be read as XML: {fault}.") from fault
    if builder.root is None:
        raise DataError(f"{name} holds no XML element.")
    return builder.root


_MOST_MEMBERS: Final = 2000
_MOST_OUT: Final = 64 * 1024 * 1024
_ZIP_CHUNK: Final = 256 * 1024


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
                while piece := stream.read(_ZIP_CHUNK):
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
