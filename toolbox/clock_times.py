"""What a clock shows, made a moment: zones by name, and the nights in which clocks are put on or back.

An hour that the clocks skip is no time at all and is refused with the two times beside it. An hour that comes twice is
two moments: the one that goes on from what was read before, else the first of them, and that is said.
"""

from __future__ import annotations

import datetime as dt
import re
import zoneinfo
from typing import Final

from .errors import CastshedError, UsageError
from .notes import note

# Names of the IANA database: letters first, parts between slashes ("Timezone identifiers" in theory.html of it).
_ZONE: Final = re.compile(r"[A-Za-z][A-Za-z0-9_+\-]{0,29}(/[A-Za-z0-9_+\-]{1,30}){0,2}")


def zone_named(name: str) -> zoneinfo.ZoneInfo:
    """Find a zone of the IANA database.

    Raises
    ------
    UsageError
        There is none of that name.

    Examples
    --------
    >>> zone_named("America/Chicago").key
    'America/Chicago'
    """
    try:
        if _ZONE.fullmatch(name):
            return zoneinfo.ZoneInfo(name)
    except (zoneinfo.ZoneInfoNotFoundError, ValueError, OSError):  # a part of names only is a folder there
        pass
    told = name if len(name) <= 60 else f"{name[:60]}..."
    raise UsageError(f"zone is {told!r}; write a zone of the IANA database, such as America/Chicago.")


def in_zone(
    clock: dt.datetime,
    zone: dt.tzinfo,
    what: str,
    *,
    after: dt.datetime | None = None,
    fault: type[CastshedError] = UsageError,
) -> dt.datetime:
    """Make a clock's time in a zone a moment with a fixed offset.

    Parameters
    ----------
    clock
        Day and time, without a zone.
    zone
        The zone.
    what
        What the time is, for messages.
    after
        The moment read before it; of an hour that comes twice the one that goes on from there is taken.
    fault
        The error to raise.

    Returns
    -------
    With a fixed offset: what is written into a file must not change meaning with a later table of zones.

    Raises
    ------
    CastshedError
        The clocks skip it that night.
    """
    first, second = clock.replace(tzinfo=zone, fold=0), clock.replace(tzinfo=zone, fold=1)
    place = getattr(zone, "key", str(zone))
    on, back = (one.astimezone(dt.UTC).astimezone(zone).replace(tzinfo=None) for one in (first, second))
    if clock not in (on, back):
        early, late = sorted((on, back))
        raise fault(
            f"{what} is {clock:%Y-%m-%d %H:%M}, which the clocks of {place} skip; write {early:%H:%M} or {late:%H:%M}, "
            "or the time with its offset."
        )
    taken = first
    if first.utcoffset() != second.utcoffset():
        if after is not None and first.astimezone(dt.UTC) <= after < second.astimezone(dt.UTC):
            taken = second
        elif after is None:
            note(
                f"{what} is {clock:%Y-%m-%d %H:%M}, which comes twice in {place} that night; the first is taken, "
                f"{_fixed(first).isoformat(timespec='minutes')}. Write the time with its offset for the other.",
                stacklevel=2,
            )
    return _fixed(taken)


def _fixed(moment: dt.datetime) -> dt.datetime:
    return moment.replace(fold=moment.fold).astimezone(dt.timezone(moment.utcoffset() or dt.timedelta(0)))


def on_day(date: dt.date, text: str, zone: str, what: str) -> str:
    """Make a clock time of a day, such as ``06:00``, an ISO text with its offset; a whole time stays as it is.

    Raises
    ------
    UsageError
        It is no time, or one that the clocks skip.
    """
    if not text.strip():
        return ""
    try:
        clock = dt.time.fromisoformat(text.strip())
    except ValueError:
        try:
            moment = dt.datetime.fromisoformat(text.strip())
        except ValueError:
            moment = None
        if moment is None or moment.tzinfo is None:
            raise UsageError(f"{what} is '{text[:60]}'; write the time as \"06:00\".") from None
        return text.strip()
    if clock.tzinfo is not None:
        return dt.datetime.combine(date, clock).isoformat()
    return in_zone(dt.datetime.combine(date, clock), zone_named(zone), what).isoformat()
