"""The day file: one TOML page that says which lake, which boat, which casts, which wind and which run.

Its keys are the fields of the classes below without their unit suffix (``draft_m`` is ``draft = "14in"``) and without
the name of their section (``level_error_m`` is ``error`` under ``[level]``); what algorithms ask for too has its name,
default and help from `castshed.toolbox.parameters`. A key that
is not known is refused, so that a slip of the pen never becomes a default. Imports nothing heavy until layers are read.
"""

from __future__ import annotations

import dataclasses
import datetime as dt
import difflib
import tomllib
import typing
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from .. import units
from ..dates_and_times import zone_named
from ..errors import DataError, UsageError
from ..parameters import defaults
from ..parameters.boat import (
    Beam,
    Cast,
    Clearance,
    Draft,
    EngineHp,
    FixError,
    FuelOnBoard,
    IdleSpeed,
    LeastCast,
    Margin,
    MostCast,
    Night,
    RunningDepth,
    RunSpeed,
    WaveLimit,
    WaveSpeeds,
    WindFrom,
    WindLimit,
    WindOver,
    WindSpeed,
)
from ..parameters.markers import Quantity, check_value, option_name
from ..parameters.stops import (
    Apart,
    AtEach,
    AtMost,
    BackBy,
    ContourInterval,
    Depart,
    EndRamp,
    LeastDepth,
    LeastRating,
    LongestAtEach,
    MostDepth,
    MostOfAKind,
    MustStops,
    NeverStops,
    StartRamp,
    StaysByKind,
    StopValue,
    StructureKinds,
    TopMargin,
    WindowBottom,
    Windows,
    WindowTop,
)
from ..parameters.sureness import (
    BeyondReadings,
    CellSize,
    DepthError,
    ElevationUnit,
    LevelError,
    LevelItself,
    NormalDatum,
    NormalPool,
    ParameterCode,
    PoolDatum,
    PoolElevation,
    ReadOffTime,
)
from ..parameters.wording import Columns, DepthUnit, SpeedUnits, WordList, Words
from ..real_files import is_folder, require_ordinary
from ..report import note

if TYPE_CHECKING:
    from geopandas import GeoDataFrame

    from ..depth import DepthSurface
    from ..intake.series.series_table import SeriesTable
    from ..sources import SourceTable


@dataclass(frozen=True)
class LevelToday:
    """Today's surface against chart datum: a difference, two elevations in one vertical datum, or a table of them."""

    today_m: LevelItself | None = None
    pool_m: PoolElevation | None = None
    normal_pool_m: NormalPool | None = None
    datum: PoolDatum = ""
    normal_datum: NormalDatum = ""
    table: Words = ""
    time: ReadOffTime = ""
    beyond: BeyondReadings = "refuse"
    columns: Columns = ()
    unit: ElevationUnit = ""
    parameter: ParameterCode = ""
    level_error_m: LevelError = defaults.LEVEL_ERROR_M


@dataclass(frozen=True)
class Boat:
    """The boat. Defaults are common practice for a lake boat; measure your own."""

    draft_m: Draft = defaults.DRAFT_M
    running_depth_m: RunningDepth = defaults.RUNNING_DEPTH_M
    margin_m: Margin = defaults.MARGIN_M
    beam_m: Beam = defaults.BEAM_M
    clearance_m: Clearance = defaults.CLEARANCE_M
    fix_error_m: FixError = defaults.FIX_ERROR_M
    run_speed_mps: RunSpeed = defaults.RUN_SPEED_MPS
    idle_speed_mps: IdleSpeed = defaults.IDLE_SPEED_MPS
    wave_limit_m: WaveLimit = defaults.WAVE_LIMIT_M
    wind_limit_mps: WindLimit = defaults.WIND_LIMIT_MPS
    wave_speeds: WaveSpeeds = defaults.WAVE_SPEEDS


@dataclass(frozen=True)
class Angler:
    """How far the angler casts. Defaults are common practice."""

    least_cast_m: LeastCast = defaults.LEAST_CAST_M
    cast_m: Cast = defaults.CAST_M
    most_cast_m: MostCast = defaults.MOST_CAST_M


@dataclass(frozen=True)
class Wind:
    """The wind, from the official forecast: one for the day, or a file of it by the hour."""

    wind_from_deg: WindFrom | None = None
    wind_speed_mps: WindSpeed | None = None
    forecast: Words = ""
    columns: Columns = ()
    speed_units: SpeedUnits = ()
    wind_over: WindOver = defaults.WIND_OVER


@dataclass(frozen=True)
class Run:
    """From which ramp, back to which, how many stops, how long at each; with ``back_by`` the hours decide how many."""

    start: StartRamp = ""
    end: EndRamp = ""
    at_most: AtMost = defaults.AT_MOST
    at_each_s: AtEach = defaults.AT_EACH_S
    depart: Depart = ""
    back_by: BackBy = ""
    value: StopValue = defaults.VALUE
    must: MustStops = ()
    never: NeverStops = ()
    windows: Windows = ()
    longest_at_each_s: LongestAtEach = 0.0
    stays: StaysByKind = ()
    fuel_l: FuelOnBoard | None = None
    engine_hp: EngineHp = 0
    night: Night = False


@dataclass(frozen=True)
class Fishing:
    """Which depths are worth a stop today."""

    least_depth_m: LeastDepth = defaults.LEAST_DEPTH_M
    most_depth_m: MostDepth | None = None
    top_margin_m: TopMargin = defaults.TOP_MARGIN_M
    least_rating: LeastRating = defaults.LEAST_RATING


@dataclass(frozen=True)
class SpotLists:
    """Where the spots come from, and what a number without a unit means in them."""

    sources: WordList = ()
    depth_unit: DepthUnit | None = None


@dataclass(frozen=True)
class FoundStructure:
    """Structure that is looked for in the depths and fished where no list of spots is given, as find-structure does."""

    kinds: StructureKinds = defaults.STRUCTURE_KINDS
    from_m: WindowTop = defaults.WINDOW_FROM_M
    to_m: WindowBottom = defaults.WINDOW_TO_M
    most: MostOfAKind = defaults.MOST_OF_A_KIND
    spacing_m: Apart = defaults.SPACING_M
    interval_m: ContourInterval = 0.0


@dataclass(frozen=True)
class Lake:
    """The lake's GeoPackage, and its layers where they have names of their own; ramps and hazards also as lists."""

    file: Words = ""
    shoreline: Words = "shoreline"
    depth: Words = "depth"
    depth_confidence: Words = "depth_confidence"
    contours: Words = "contours"
    soundings: Words = "soundings"
    ramps: Words = "ramps"
    zones: Words = "zones"
    known_hazards: Words = "known_hazards"
    ramps_columns: WordList = ()
    hazards_columns: WordList = ()
    depth_unit: DepthUnit | None = None
    cell_m: CellSize | None = None
    depth_error_m: DepthError | None = None


@dataclass(frozen=True)
class Layers:
    """The layers a day file names, as read; None where the lake has none."""

    shoreline: GeoDataFrame
    ramps: GeoDataFrame
    depth: DepthSurface | None = None
    depth_confidence: DepthSurface | None = None
    contours: GeoDataFrame | None = None
    soundings: GeoDataFrame | None = None
    zones: GeoDataFrame | None = None
    known_hazards: GeoDataFrame | None = None


@dataclass(frozen=True)
class Day:
    """A day file with everything it names.

    Attributes
    ----------
    level_m
        Today's surface minus chart datum.
    path, stated
        The file, and what it states, by section and key.
    paper
        What the map is laid out for; empty: as the units say.
    """

    title: str
    date: dt.date
    zone: str
    units: str
    level: LevelToday
    boat: Boat
    angler: Angler
    wind: Wind
    run: Run
    fishing: Fishing
    lists: SpotLists
    lake: Lake
    level_m: float
    layers: Layers
    spots: tuple[SourceTable, ...]
    forecast: SeriesTable | None = None
    structure: FoundStructure | None = None
    named: Mapping[str, str] = field(default_factory=dict)
    path: Path = Path("day.toml")
    paper: str = ""
    stated: Mapping[str, Any] = field(default_factory=dict)


SECTIONS: Final[dict[str, type[Any]]] = {
    "lake": Lake,
    "level": LevelToday,
    "boat": Boat,
    "angler": Angler,
    "wind": Wind,
    "fishing": Fishing,
    "spots": SpotLists,
    "structure": FoundStructure,
    "run": Run,
}
_LISTS: Final = frozenset((
    ".csv", ".tsv", ".txt", ".gpx", ".kml", ".kmz", ".geojson", ".json", ".xlsx", ".ods", ".shp", ".zip",
))  # fmt: skip
_OUTSIDE_M: Final = 500.0  # how far beside the lake's box a listed mark may lie, as for lists of spots
_TOP: Final = ("title", "date", "zone", "units", "paper")


def key_of(name: str, section: str = "") -> str:
    """Name the key of a field: without its unit suffix, and without the name of its section.

    Examples
    --------
    >>> key_of("run_speed_mps", "boat")
    'run_speed'
    >>> key_of("wind_from_deg", "wind")
    'from'
    """
    return option_name(name).removeprefix("--").replace("-", "_").removeprefix(f"{section}_")


def _unknown(key: str, known: list[str], where: str) -> UsageError:
    near = difflib.get_close_matches(key, known, n=1)
    hint = f" Did you mean {near[0]}?" if near else ""
    return UsageError(f"{where} has no key '{key}'.{hint} Known: {', '.join(known)}.")


def _value(given: Any, hint: Any, where: str) -> Any:
    from ..parameters.markers import marker_of

    marker, _ = marker_of(hint)
    if isinstance(given, (dt.time, dt.date)):
        given = given.isoformat()
    if isinstance(marker, Quantity):
        if not isinstance(given, str):
            accepted = ", ".join(units.ACCEPTED[marker.kind])
            raise UsageError(
                f'{where} is {given!r}, a number without a unit. Write it as text with its unit, such as "80ft" '
                f"(units: {accepted})."
            )
        try:
            given = units.parse(given, marker.kind)
        except UsageError as error:
            raise type(error)(f"{where}: {error}") from None
    elif isinstance(given, dict):
        raise UsageError(f"{where} is a table; give one value.")
    return check_value(given, marker, where)


def _section(kind: type[Any], given: Any, where: str) -> Any:
    if not isinstance(given, dict):
        raise UsageError(f"[{where}] must be a table of keys.")
    hints = typing.get_type_hints(kind, include_extras=True)
    names = {key_of(f.name, where): f.name for f in dataclasses.fields(kind)}
    values: dict[str, Any] = {}
    for key, value in given.items():
        if key not in names:
            raise _unknown(key, list(names), f"[{where}]")
        values[names[key]] = _value(value, hints[names[key]], f"{where}.{key}")
    return kind(**values)


def level_of(
    level: LevelToday, folder: Path = Path(), date: dt.date | None = None, zone: str = "UTC", clock: str = ""
) -> float:
    """Work out today's level from the day file.

    Parameters
    ----------
    level
        The section of the day file.
    folder
        Where the file of a table is looked for.
    date, zone, clock
        Day, zone and time of departure: when a table is read off, unless the section names a time. Noon where no
        clock time is known.

    Raises
    ------
    UsageError
        Neither a level nor two elevations nor a table, or more than one of them; elevations on two datums.
    DataError, NoSolution
        The table cannot be read, or does not cover the time.
    """
    if level.today_m is not None:
        if (level.pool_m, level.normal_pool_m, level.table) != (None, None, ""):
            raise UsageError(
                "[level] gives today and an elevation as well; give today, or pool and normal_pool, or table and "
                "normal_pool."
            )
        return level.today_m
    if (level.pool_m is None) == (not level.table) or level.normal_pool_m is None:
        raise UsageError(
            '[level] needs today = "-4ft" (today\'s surface against the level the depths refer to), or pool and '
            "normal_pool, two elevations in one vertical datum, or table and normal_pool."
        )
    from ..intake.series.level_table import to_levels
    from ..intake.series.level_words import datum_name
    from ..intake.series.series_file import read_series
    from ..intake.series.series_times import read_time
    from ..water.level.pool_level import level_from_pools, level_from_series

    normal = datum_name(level.normal_datum)
    if level.pool_m is not None:
        found = level_from_pools(level.pool_m, level.normal_pool_m, datum_name(level.datum), normal)
    else:
        series = to_levels(
            read_series(folder / level.table, "levels"),
            columns=level.columns,
            unit=level.unit,
            zone=zone,
            parameter=level.parameter,
            wanted_datum=normal,
            datum=datum_name(level.datum),
        )
        text = level.time or (f"{date.isoformat()}T{clock or '12:00'}" if date else "")
        moment = read_time(text, zone, name="level.time") if text else None
        found = level_from_series(series, level.normal_pool_m, normal, moment, level.beyond)
    if not found.measured:
        note(f"[level] is not measured: {found.how}.", stacklevel=2)
    for told in found.notes:
        note(f"[level] {told}.", stacklevel=2)
    return found.level_m


def _date(given: Any) -> dt.date:
    if isinstance(given, dt.datetime):
        return given.date()
    if isinstance(given, dt.date):
        return given
    try:
        return dt.date.fromisoformat(str(given))
    except ValueError:
        raise UsageError(f"date is {given!r}; write it as 2026-05-16.") from None


def _parse(path: Path) -> dict[str, Any]:
    if is_folder(path):
        raise UsageError(f"{path} is a folder; give the day file in it, such as {path / 'day.toml'}.")
    require_ordinary(path, "a day file", "castshed demo FOLDER writes one to start from")
    if path.stat().st_size > 1_000_000:
        raise DataError(f"{path} is larger than a megabyte; that is no day file.")
    try:
        return tomllib.loads(path.read_text(encoding="utf-8"))
    except tomllib.TOMLDecodeError as error:
        raise UsageError(f"{path} is not a day file in TOML: {error}.") from error
    except UnicodeDecodeError as error:
        raise UsageError(f"{path} is not UTF-8 text; save it as UTF-8.") from error


def is_list(told: str) -> bool:
    """Tell whether a name is that of a list of points, or one place in degrees, rather than of a layer."""
    from ..intake.book.listed_marks import is_place

    return Path(told).suffix.lower() in _LISTS or is_place(told)


def _listed(
    name: str, told: str, lake: Lake, folder: Path, shoreline: GeoDataFrame, pool_m: float | None
) -> GeoDataFrame:
    """Make ramps or known hazards of a list of points, or the one ramp of a place."""
    from ..intake.book.listed_marks import hazards_of, is_place, ramp_at, ramps_of
    from ..intake.book.placing import LakeExtent
    from ..sources import read_source

    if name == "ramps" and is_place(told):
        return ramp_at(told, shoreline.crs)
    table = read_source(str(folder / told))
    extent, water = LakeExtent.of(shoreline, _OUTSIDE_M), shoreline.union_all()
    unit = lake.depth_unit
    if name == "ramps":
        columns = lake.ramps_columns
        return ramps_of(table, extent, columns=columns, unit=unit, normal_pool_m=pool_m, water=water)
    return hazards_of(table, extent, columns=lake.hazards_columns, unit=unit, water=water)


def _read_layers(lake: Lake, folder: Path, pool_m: float | None = None) -> tuple[Layers, dict[str, str]]:
    from ..layers.reading import list_layers, parse_reference, read_layer, read_surface

    if not lake.file:
        raise UsageError('[lake] needs file = "your_lake.gpkg".')
    home = folder / lake.file
    there = list_layers(home)
    defaults = {f.name: f.default for f in dataclasses.fields(Lake)}
    found: dict[str, Any] = {}
    named: dict[str, str] = {}
    for name in (f.name for f in dataclasses.fields(Layers)):
        told = str(getattr(lake, name))
        if not told:
            continue
        if name in ("ramps", "known_hazards") and is_list(told):
            named[name] = told
            found[name] = _listed(name, told, lake, folder, found["shoreline"], pool_m)
            continue
        if ":" in told or told.lower().endswith((".gpkg", ".tif", ".tiff")):
            ref = parse_reference(told)
            reference = str(dataclasses.replace(ref, path=folder / ref.path))
        else:
            if told not in there and told == defaults[name] and name not in ("shoreline", "ramps"):
                continue  # a lake need not have every layer of the usual names
            if told not in there and name == "ramps" and told == defaults[name]:
                raise DataError(
                    f"{home} has no layer ramps, and a run begins at one. Write where you put in under [lake]: "
                    'ramps = "LATITUDE, LONGITUDE" in degrees, or name a list of ramps, such as ramps = "ramps.csv".'
                )
            reference = f"{home}:{told}"
        named[name] = told
        found[name] = read_surface(reference) if name.startswith("depth") else read_layer(reference)
    if "depth" not in found and found.pop("depth_confidence", None) is not None:
        named.pop("depth_confidence")  # the depths made from contours and soundings come with their own
    return Layers(**found), named


def _forecast(wind: Wind, folder: Path) -> SeriesTable | None:
    if not wind.forecast:
        if wind.columns or wind.speed_units:
            raise UsageError(
                "[wind] names columns or units, which belong to a forecast; give one, or leave them out."
            )
        return None
    if wind.wind_from_deg is not None or wind.wind_speed_mps is not None:
        raise UsageError("[wind] gives a forecast and one wind as well; leave one of them out.")
    from ..intake.series.series_file import read_series

    return read_series(folder / wind.forecast, "forecast")


def read_day(path: Path) -> Day:
    """Read a day file and every layer and list it names.

    Parameters
    ----------
    path
        The TOML file; names in it are relative to its folder.

    Raises
    ------
    UsageError
        A key is unknown or missing, or a value is out of its limits.
    DataError
        A file or layer is missing or broken.
    """
    return day_of(_parse(path), path)


def day_of(body: Mapping[str, Any], path: Path, like: Day | None = None) -> Day:
    """Make a day of what its file states, and read every layer and list it names.

    Parameters
    ----------
    body
        Sections and keys, as the file states them.
    path
        The file; names in it are relative to its folder.
    like
        A day of the same folder: what it has read is not read again.

    Raises
    ------
    UsageError, DataError
        As for `read_day`.
    """
    known = [*_TOP, *SECTIONS]
    for key in body:
        if key not in known:
            raise _unknown(key, known, path.name)
    parts = {name: _section(kind, body.get(name, {}), name) for name, kind in SECTIONS.items()}
    if "date" not in body:
        raise UsageError(f"{path.name} needs date = 2026-05-16 (the day of the trip).")
    zone = str(body.get("zone", "UTC"))
    zone_named(zone)
    system = str(body.get("units", "US"))
    if system not in ("US", "metric"):
        raise UsageError(f"units is '{system}'; choose US or metric.")
    paper = str(body.get("paper", ""))
    if paper not in ("", "letter", "a4"):
        raise UsageError(f"paper is '{paper}'; choose letter or a4.")
    date = _date(body["date"])
    from ..sources import read_source

    folder = path.parent
    level_m = level_of(parts["level"], folder, date, zone, parts["run"].depart)
    normal_m = parts["level"].normal_pool_m
    if like is not None and (like.lake, like.level.normal_pool_m) == (parts["lake"], normal_m):
        layers, named = like.layers, like.named
    else:
        layers, named = _read_layers(parts["lake"], folder, normal_m)
    lists: SpotLists = parts["spots"]
    searched = "structure" in body
    if not lists.sources and not searched:
        raise UsageError(
            '[spots] needs sources = ["my_spots.csv"]: one or more lists of spots; or write '
            "[structure], and structure is looked for in the depths."
        )
    if lists.sources and searched:
        raise UsageError("[spots] names lists and [structure] asks for a search; leave one of them out.")
    if like is not None and like.lists.sources == lists.sources:
        tables = like.spots
    else:
        tables = tuple(read_source(str(folder / one)) for one in lists.sources)
    return Day(
        title=str(body.get("title", "A day on the lake")),
        date=date,
        zone=zone,
        units=system,
        level=parts["level"],
        boat=parts["boat"],
        angler=parts["angler"],
        wind=parts["wind"],
        run=parts["run"],
        fishing=parts["fishing"],
        lists=lists,
        lake=parts["lake"],
        level_m=level_m,
        layers=layers,
        spots=tables,
        forecast=_forecast(parts["wind"], folder),
        structure=parts["structure"] if searched else None,
        named=named,
        path=path,
        paper=paper,
        stated=body,
    )
