"""Readings out of WaterML 2.0, the open standard of the Open Geospatial Consortium for hydrological time series."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from ...errors import DataError
from .level_words import datum_in
from .observation_table import COLUMNS
from .series_table import MOST_ROWS, SeriesTable

if TYPE_CHECKING:
    from ...sources.xml_reading import Element

_NAMESPACE: Final = "http://www.opengis.net/waterml/2.0"


def is_waterml(root: Element) -> bool:
    """Tell whether an XML document holds time series of WaterML 2.0."""
    return any(one.namespace.startswith(_NAMESPACE) for one in root.walk())


def _label(one: Element | None) -> str:
    """Name what an element refers to: by its title, else by the words of its link."""
    if one is None:
        return ""
    return one.attributes.get("title") or one.text or one.attributes.get("href", "")


def _first(root: Element, name: str) -> Element | None:
    return next((one for one in root.walk() if one.name == name), None)


def _qualifier(point: Element | None) -> str:
    if point is None:
        return ""
    found = _first(point, "qualifier") or _first(point, "quality")
    return "" if found is None else found.attributes.get("title", "") or found.flow.strip()[:40]


def _rows(member: Element) -> list[dict[str, str]]:
    """Flatten one observation: its series of points, with what holds for all of them."""
    observed, site = _label(_first(member, "observedProperty")), _label(_first(member, "featureOfInterest"))
    notes = " ".join(
        one.flow for one in member.walk() if one.name in ("verticalDatum", "description", "localDatum")
    )
    default = _first(member, "DefaultTVPMeasurementMetadata")
    common = _first(default, "uom") if default is not None else None
    usual = "" if common is None else common.attributes.get("code", "") or _label(common)
    usual_mark = _qualifier(default)
    rows = []
    for point in (one for one in member.walk() if one.name == "MeasurementTVP"):
        value = point.child("value")
        own = _first(point, "uom")
        nothing = value is None or value.attributes.get("nil", "") in ("true", "1")
        rows.append(
            {
                "datetime": point.text_of("time"),
                "value": "" if nothing or value is None else value.text,
                "observed": observed,
                "unit": (own.attributes.get("code", "") or _label(own) if own is not None else "")
                or (value.attributes.get("uom", "") if value is not None else "")
                or usual,
                "vertical_datum": datum_in(f"{observed} {notes}"),
                "qualifier": _qualifier(point.child("metadata")) or usual_mark,
                "site": site,
            }
        )
    return rows


def parse_waterml(root: Element, name: str) -> SeriesTable:
    """Read the observations of a WaterML 2.0 document.

    Parameters
    ----------
    root
        The document.
    name
        What the file is called.

    Returns
    -------
    Columns of `castshed.toolbox.intake.series.observation_table`; a row's line is its place in the file.

    Raises
    ------
    DataError
        It holds no points of measurement, or too many; the message names the elements that were seen.

    Notes
    -----
    OGC 10-126r4, WaterML 2.0 Part 1: ``OM_Observation`` with ``observedProperty``, and a ``MeasurementTimeseries`` of
    ``MeasurementTVP`` with ``time`` and ``value``; unit and quality in the metadata of the point or the default's.
    """
    members = [one for one in root.walk() if one.name == "OM_Observation"] or [root]
    rows = [row for member in members for row in _rows(member)]
    if not rows:
        seen = list(dict.fromkeys(one.name for one in root.walk()))[:20]
        raise DataError(f"{name} is WaterML without points of measurement; elements seen: {', '.join(seen)}.")
    if len(rows) > MOST_ROWS:
        raise DataError(
            f"{name} holds more than {MOST_ROWS:,} readings; cut it down to the days that matter."
        )
    return SeriesTable(name, COLUMNS, tuple(rows), tuple(range(1, len(rows) + 1)))
