"""Waypoints and route points of a GPX 1.1 (or 1.0) file. Tracks are no spots and are left where they are.

Way points that castshed itself wrote, come home: what it put into them is told from what somebody added.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Final

from ..output.formats.gpx import NAMESPACE
from ..output.words.row_words import describe
from ..text import how_many, one_line
from .source_table import SourceTable

if TYPE_CHECKING:
    from collections.abc import Mapping

    import shapely

    from .xml_zip_reading import Element

# Points of a plan that are no spots, though they may bear a spot's id: by their type, and by columns only they have.
_TYPES: Final = {
    "hold": "a hold", "stop": "a stop", "ramp": "a ramp", "hazard": "a hazard", "left out": "a spot left out",
    "sounding": "a sounding", "landmarks": "a landmark", "turn": "a turn",
}  # fmt: skip
_COLUMNS: Final = {
    "hold_no": "a hold", "stop_no": "a stop", "leg_no": "a leg", "ramp_id": "a ramp", "hazard_id": "a hazard",
    "landmark_id": "a landmark",
}  # fmt: skip
_TURN: Final = re.compile(r"leg \d+ turn \d+")
_LENGTH: Final = r"[-\d.,]+ [a-z]+ \([-\d.,]+ [a-z]+\)"
# What is said of depths hangs on the level of the day of the export, which the file does not tell.
_DEPTHS: Final = re.compile(
    rf"(?:Bottom|Top) (?:stands dry by )?{_LENGTH} ?(?:down today|today|below chart datum; take the level off)\.|"
    rf"Stands {_LENGTH} off the bottom\."
)


def own_values(point: Element) -> dict[str, str]:
    """Columns that castshed wrote into a point's extension, by name; empty for a point of another program.

    Parameters
    ----------
    point
        A ``wpt`` or ``rtept``. Some programs take elements out of ``extensions`` and put them beside the others.
    """
    return {one.name: one.text for one in point.walk() if one.namespace == NAMESPACE and one is not point}


def why_no_spot(point: Element, own: Mapping[str, str]) -> str:
    """Say why a point of an exported plan is no spot; empty where it may be one."""
    if own:
        what = next(
            (words for column, words in _COLUMNS.items() if own.get(column)),
            _TYPES.get(point.text_of("type")),
        )
        return f"it is {what} of an exported plan, no spot" if what else ""
    if point.text_of("type") == "turn" and _TURN.fullmatch(point.text_of("name")):
        return "it is a turn of an exported plan, no spot"
    return ""


def own_name(name: str, own: Mapping[str, str]) -> str:
    """Give the name a spot has in the book, where the point's name is that, made different from others by a number."""
    stated = own.get("name", "")
    shown = one_line(stated) or own.get("spot_id", "")
    made = re.fullmatch(rf"{re.escape(shown)}(?: \d+)?", name.strip(), re.IGNORECASE)
    return stated if shown and made else name


def added_words(text: str, own: Mapping[str, str]) -> str:
    """Take what castshed wrote out of a description; what is left was added by somebody."""
    left = text
    for sentence in sorted(describe("spots", dict(own), None), key=len, reverse=True):
        if sentence.strip():
            left = left.replace(sentence, "", 1)
    left = _DEPTHS.sub("", left)
    return " ".join(left.split()).strip(" ;") if re.search(r"\w", left) else ""


_PLAIN = ("name", "cmt", "desc", "sym", "type", "time", "src", "ele", "number", "fix", "hdop")
_WRITTEN = ("name", "source")  # in an own extension once more, as the book has them
_AS_COLUMN = {"cmt": "comment", "desc": "description", "time": "surveyed", "src": "source", "sym": "symbol"}


def _extensions(point: Element) -> dict[str, str]:
    """Flatten what other programs added: element and attribute names to their text, a repeated name numbered."""
    found: dict[str, str] = {}
    # Some programs put what stood in extensions beside the elements of the point itself.
    foreign = [one for one in point.children if one.namespace != point.namespace]
    holder = [one for one in point.children if one.name == "extensions" and one.namespace == point.namespace]
    for one in (inner for outer in (*holder, *foreign) for inner in outer.walk()):
        pairs = [(f"{one.name} {key}", value) for key, value in one.attributes.items()]
        if all(one is not outer for outer in holder) and one.text:
            pairs.append((one.name, one.text))
        for key, value in pairs:
            name, number = key, 2
            while name in found:
                name, number = f"{key} ({number})", number + 1
            found[name] = value
    return found


def _cells(point: Element) -> dict[str, str]:
    plain = {one.name: one.text for one in reversed(point.children) if one.namespace == point.namespace}
    own = own_values(point)
    edited = False
    if own:
        edited = plain.get("type", own.get("kind", "")) != own.get("kind", "")
        plain["name"] = own_name(plain.get("name", ""), own)
        for key in ("desc", "cmt"):
            plain[key] = added_words(plain.get(key, ""), own)
        if not edited:
            plain.pop("type", None)
        plain["shown as"] = plain.pop(
            "sym", ""
        )  # what another program draws; the kind stands in the extension
    cells = {_AS_COLUMN.get(key, key): text for key in (*_PLAIN, "shown as") if (text := plain.get(key, ""))}
    links = [one.attributes.get("href", "") for one in point.children if one.name == "link"]
    if any(links):
        cells["link"] = " ".join(filter(None, links))
    for key, value in _extensions(point).items():
        if own and (
            key == "layer"
            or (key == "kind" and edited)
            or (key in _WRITTEN and value in (cells.get(key), ""))
        ):
            continue
        cells[key if key not in cells else f"extension {key}"] = value
    return cells


def _point(element: Element) -> tuple[shapely.Point | None, str]:
    import math

    import shapely

    texts = element.attributes.get("lat", ""), element.attributes.get("lon", "")
    try:
        lat, lon = (float(text) for text in texts)
    except ValueError:
        return None, f"its lat and lon cannot be read: {' '.join(texts)[:40] or 'missing'}"
    if not (math.isfinite(lat) and math.isfinite(lon)):
        return None, f"its lat and lon are not numbers: {' '.join(texts)[:40]}"
    return shapely.Point(lon, lat), ""


def read_gpx(root: Element, name: str) -> SourceTable:
    """Take waypoints (``wpt``) and route points (``rtept``) out of a parsed GPX file.

    Parameters
    ----------
    root
        The ``gpx`` element.
    name
        What the source is called.

    Returns
    -------
    Comment and description become notes, symbol and type kinds, time the day of survey; extensions keep their
    element names; ``ele`` is the height of the point, never a depth, and stays an extra.
    """
    found = [one for one in root.children if one.name == "wpt"]
    for route in (one for one in root.children if one.name == "rte"):
        found += [one for one in route.children if one.name == "rtept"]
    points = [_point(one) for one in found]
    tracks = sum(one.name == "trk" for one in root.children)
    return SourceTable.make(
        name,
        "gpx",
        [_cells(one) for one in found],
        line=[one.line for one in found],
        counted="line",
        text=[one.outline() for one in found],
        problem=[
            why or why_no_spot(one, own_values(one)) for (_, why), one in zip(points, found, strict=True)
        ],
        geometry=[point for point, _ in points],
        crs="OGC:CRS84",
        said=[f"{how_many(tracks, 'track')} left out: a track is no spot"] if tracks else [],
    )


def track_lines(root: Element) -> list[tuple[str, shapely.LineString]]:
    """Give the tracks of a parsed GPX file as lines, a segment each, with the name of the track.

    A point whose place cannot be read is passed over.
    """
    import shapely

    found = []
    for track in (one for one in root.children if one.name == "trk"):
        for segment in (one for one in track.children if one.name == "trkseg"):
            points = [_point(one)[0] for one in segment.children if one.name == "trkpt"]
            there = [point for point in points if point is not None]
            if len(there) > 1:
                found.append((track.text_of("name"), shapely.LineString(there)))
    return found
