"""NMEA 0183 text, read as a stream: fixes (RMC, GGA), depths (DPT, DBT, DBS) and dates (RMC, ZDA), checksums verified.

A sentence runs from ``$`` to ``*``, and two hexadecimal digits after it are the exclusive or of all characters between.
"""

from __future__ import annotations

from array import array
from dataclasses import dataclass, field
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from ...units import FATHOM_M, FOOT_M
from .sounder_log import YEARS, SounderLog

if TYPE_CHECKING:
    from collections.abc import Iterator
    from typing import BinaryIO

    from ...arrays import Floats

LONGEST_LINE: Final = 64 * 1024
FIX_GAP_S: Final = 10.0
"""A depth lies between two fixes no farther apart than this."""
_CHUNK: Final = 4 * 1024 * 1024
_HEX: Final = np.full(256, 99, dtype=np.uint8)
for _value, _digit in enumerate(b"0123456789ABCDEF"):
    _HEX[_digit] = _value
for _value, _digit in enumerate(b"abcdef"):
    _HEX[_digit] = 10 + _value
_WORDS: Final = (b"RMC", b"GGA", b"DPT", b"DBT", b"DBS", b"ZDA")
_CODES: Final = np.array([w[0] << 16 | w[1] << 8 | w[2] for w in _WORDS], dtype=np.int64)
_DAY_S: Final = 86_400.0


@dataclass
class _Read:
    """What has been read so far."""

    line: int = 0  # lines before the present chunk
    fix_line: array[float] = field(default_factory=lambda: array("d"))
    fix_s: array[float] = field(default_factory=lambda: array("d"))
    fix_day_s: array[float] = field(default_factory=lambda: array("d"))
    lat: array[float] = field(default_factory=lambda: array("d"))
    lon: array[float] = field(default_factory=lambda: array("d"))
    depth_line: array[float] = field(default_factory=lambda: array("d"))
    depth_m: array[float] = field(default_factory=lambda: array("d"))
    offset_m: array[float] = field(default_factory=lambda: array("d"))
    depth_word: bytearray = field(default_factory=bytearray)
    day_s: float = float("nan")
    counted: dict[str, int] = field(default_factory=dict)

    def count(self, words: str, number: int = 1) -> None:
        if number:
            self.counted[words] = self.counted.get(words, 0) + int(number)


def _chunks(stream: BinaryIO, read: _Read) -> Iterator[bytes]:
    """Cut the stream behind line ends; a line longer than any sentence is dropped and counted."""
    left = b""
    dropping = False
    while piece := stream.read(_CHUNK):
        if dropping:
            cut = piece.find(b"\n")
            if cut < 0:
                continue
            piece, dropping = piece[cut:], False
        left += piece
        cut = left.rfind(b"\n") + 1
        if cut:
            yield left[:cut]
            left = left[cut:]
        if len(left) > LONGEST_LINE:
            read.count("lines too long to be a sentence")
            left, dropping = b"", True
    if left:
        yield left + b"\n"


def _angle(value: bytes, letter: bytes, most: float) -> float:
    """Read ddmm.mmm and its letter; NaN where it is none."""
    number = float(value)
    degrees = number // 100.0
    minutes = number - degrees * 100.0
    if (
        minutes >= 60.0
        or number < 0.0
        or degrees + minutes / 60.0 > most
        or letter not in (b"N", b"S", b"E", b"W")
    ):
        return float("nan")
    angle = degrees + minutes / 60.0
    return -angle if letter in (b"S", b"W") else angle


def _clock(value: bytes) -> float:
    """Read hhmmss.ss as seconds of the day; ValueError where it is none."""
    hours, minutes, seconds = int(value[:2]), int(value[2:4]), float(value[4:])
    if hours > 23 or minutes > 59 or not 0.0 <= seconds < 61.0:
        raise ValueError
    return hours * 3600.0 + minutes * 60.0 + seconds


def _day(day: int, month: int, year: int) -> float:
    if year not in YEARS:
        raise ValueError
    return datetime(year, month, day, tzinfo=UTC).timestamp()


def _fix(read: _Read, line: int, clock: bytes, place: list[bytes]) -> None:
    seconds = _clock(clock)
    lat, lon = _angle(place[0], place[1], 90.0), _angle(place[2], place[3], 180.0)
    if lat != lat or lon != lon or place[1] not in (b"N", b"S"):  # noqa: PLR0124  # NaN, in the innermost loop
        raise ValueError
    read.fix_line.append(line)
    read.fix_s.append(seconds)
    read.fix_day_s.append(read.day_s)
    read.lat.append(lat)
    read.lon.append(lon)


def _depth(read: _Read, line: int, word: int, cells: list[bytes]) -> None:
    offset = float("nan")
    if word == 2:
        value = float(cells[0])
        if len(cells) > 1 and cells[1]:
            offset = float(cells[1])
    elif cells[2]:
        value = float(cells[2])
    elif cells[0]:
        value = float(cells[0]) * FOOT_M
    else:
        value = float(cells[4]) * FATHOM_M
    if not 0.0 <= value < 1e5:
        raise ValueError
    read.depth_line.append(line)
    read.depth_m.append(value)
    read.offset_m.append(offset)
    read.depth_word.append(word)


def _sentence(read: _Read, line: int, word: int, cells: list[bytes]) -> None:
    """Take one sentence; ValueError or IndexError where its fields cannot be read."""
    if word == 0:
        if cells[1] != b"A":
            read.count("fixes marked void")
            return
        date = cells[8]
        if len(date) == 6:
            year = int(date[4:])
            read.day_s = _day(int(date[:2]), int(date[2:4]), year + (2000 if year < 80 else 1900))
        _fix(read, line, cells[0], cells[2:6])
    elif word == 1:
        if cells[5] not in (b"1", b"2", b"3", b"4", b"5"):
            read.count("fixes marked void")
            return
        _fix(read, line, cells[0], cells[1:5])
    elif word == 5:
        read.day_s = _day(int(cells[1]), int(cells[2]), int(cells[3]))
    elif not any(cells[0:5:2]) if word != 2 else not cells[0]:
        read.count("depths left empty by the sounder")
    else:
        _depth(read, line, word, cells)


def _take(read: _Read, chunk: bytes, *, unchecked: bool) -> None:
    """Read the lines of a chunk; it ends with a line end."""
    chunk = chunk.replace(b"\r\n", b"\n").replace(b"\r", b"\n")
    data = np.frombuffer(chunk, dtype=np.uint8)
    stop = np.flatnonzero(data == 10)
    start = np.concatenate([[0], stop[:-1] + 1])
    filled = stop > start
    first_line = read.line + 1
    read.line += len(stop)
    dollars, stars = np.flatnonzero(data == 36), np.flatnonzero(data == 42)
    star = stars[np.searchsorted(stars, stop) - 1] if len(stars) else np.full(len(stop), -1)
    has_star = star >= start
    star = np.where(has_star & (star < stop), star, stop)
    dollar = dollars[np.searchsorted(dollars, star) - 1] if len(dollars) else np.full(len(stop), -1)
    sentence = filled & (dollar >= start) & (dollar < star)
    read.count("lines that are no sentence", int((filled & ~sentence).sum()))
    last = len(data) - 1
    total = np.bitwise_xor.accumulate(data)
    given = (
        _HEX[data[np.minimum(star + 1, last)]].astype(np.int64) * 16 + _HEX[data[np.minimum(star + 2, last)]]
    )
    whole = has_star & (star + 2 < stop)
    right = sentence & whole & (given == (total[np.maximum(star - 1, 0)] ^ total[np.maximum(dollar, 0)]))
    bare = sentence & ~has_star
    read.count("sentences with a wrong checksum", int((sentence & ~right & ~bare).sum()))
    read.count("sentences without a checksum", int(bare.sum()))
    read.count("sentences whose checksum is right", int(right.sum()))
    wanted = right | (bare & unchecked)
    at = np.minimum(dollar + 6, last)
    word = (
        data[np.maximum(at - 3, 0)].astype(np.int64) << 16 | data[at - 2].astype(np.int64) << 8 | data[at - 1]
    )
    # A first letter P marks a maker's own sentence, whatever follows.
    known = wanted & np.isin(word, _CODES) & (data[at] == 44) & (data[np.minimum(dollar + 1, last)] != 80)
    read.count("sentences of other kinds", int((wanted & ~known).sum()))
    order = {int(code): number for number, code in enumerate(_CODES)}
    rows = np.flatnonzero(known)
    for row, a, b, code in zip(
        rows.tolist(), (dollar[rows] + 7).tolist(), star[rows].tolist(), word[rows].tolist(), strict=True
    ):
        try:
            _sentence(read, first_line + row, order[code], chunk[a:b].split(b","))
        except (ValueError, IndexError, OverflowError):
            read.count("sentences with fields that cannot be read")


def _fix_times(read: _Read, day_s: float) -> Floats:
    """Work out the times of the fixes in seconds since 1970; NaN where no date is known."""
    seconds, day = np.array(read.fix_s), np.array(read.fix_day_s)
    if len(day) == 0:
        return seconds
    known = np.isfinite(day)
    day = np.where(known, day, day[np.argmax(known)] if known.any() else day_s)
    # Past midnight the clock falls back; the date follows with the next sentence that carries one.
    index = np.arange(len(day))
    fresh = np.maximum.accumulate(np.where(np.diff(day, prepend=np.nan) != 0.0, index, 0))
    midnights = np.cumsum(np.diff(seconds, prepend=seconds[:1]) < -0.5 * _DAY_S)
    time: Floats = day + seconds + _DAY_S * (midnights - midnights[fresh])
    return time


def _depths(read: _Read, time: Floats, said: list[str]) -> dict[str, Any]:
    """Place each depth between the fixes before and after it."""
    word = np.frombuffer(bytes(read.depth_word), dtype=np.uint8)
    used = next((w for w in (2, 3, 4) if (word == w).any()), 2)
    others = int((word != used).sum())
    if others:
        said.append(
            f"{others} depths of other sentences than {_WORDS[used].decode()} left aside: the same readings again"
        )
    keep = word == used
    line, depth = np.array(read.depth_line)[keep], np.array(read.depth_m)[keep]
    offset = np.array(read.offset_m)[keep]
    fix_line, lat, lon = np.array(read.fix_line), np.array(read.lat), np.array(read.lon)
    clock = np.array(read.fix_s)
    place = np.full((3, len(line)), np.nan)
    if len(fix_line):
        after = np.searchsorted(fix_line, line)
        i, j = np.maximum(after - 1, 0), np.minimum(after, len(fix_line) - 1)
        gap = np.abs((clock[j] - clock[i] + 0.5 * _DAY_S) % _DAY_S - 0.5 * _DAY_S)
        near = gap <= FIX_GAP_S
        span = np.maximum(fix_line[j] - fix_line[i], 1.0)
        part = np.where(i == j, 0.0, np.clip((line - fix_line[i]) / span, 0.0, 1.0))
        turn = (lon[j] - lon[i] + 180.0) % 360.0 - 180.0
        place[0] = lat[i] + part * (lat[j] - lat[i])
        place[1] = (lon[i] + part * turn + 180.0) % 360.0 - 180.0
        place[2] = time[i] + part * (time[j] - time[i])
        place[:, ~near] = np.nan
    return {
        "line": line.astype(np.int64),
        "time_s": place[2],
        "lon_deg": place[1],
        "lat_deg": place[0],
        "measured_m": depth,
        "below_surface": np.full(len(line), used == 4),
        "transducer_m": np.where(offset > 0.0, offset, np.nan),
    }


def read_nmea(
    stream: BinaryIO, name: str, *, day_s: float = float("nan"), unchecked: bool = False
) -> SounderLog:
    """Read a log of NMEA 0183 sentences.

    Parameters
    ----------
    stream
        The bytes; read once, in pieces.
    name
        What the log is called.
    day_s
        Day of the log in seconds since 1970, for a log whose sentences carry no date.
    unchecked
        Also take sentences that carry no checksum.

    Returns
    -------
    One reading a depth sentence: DPT where there are any, else DBT, else DBS (below the surface). Its place and
    time lie between the fixes before and after it, by the lines between, where these are at most `FIX_GAP_S` apart.

    Notes
    -----
    Field order from memory of the published sentence lists; the tests hold it to an independent reader. A positive
    offset of DPT is the depth of the transducer below the water line; a negative one goes to the keel and is not used.
    What makes the result wrong: a sounder that reports late, by the distance run in that time.
    """
    read = _Read()
    for chunk in _chunks(stream, read):
        _take(read, chunk, unchecked=unchecked)
    read.count("lines", read.line)
    read.count("fixes", len(read.fix_line))
    said: list[str] = []
    found = _depths(read, _fix_times(read, day_s), said)
    return SounderLog(name, "nmea", **found, counted=read.counted, said=tuple(said))
