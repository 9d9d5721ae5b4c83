"""What an algorithm may take and give: annotated types that carry their own checks.

Each name here is ``Annotated[type, marker]``. A type checker sees the plain type (a frame, a float); the frame of
the house reads the marker: how to read it from the command line, what to demand of it, how to show it in the help.
Nothing here imports a heavy library.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Annotated, Any, Final

from .errors import UsageError

if TYPE_CHECKING:
    from geopandas import GeoDataFrame as Frame

    from .day import Day
    from .intake.series_table import SeriesTable
    from .intake.sounder_log import SounderLog
    from .logs import LogFile
    from .sources import SourceTable
    from .water.depth import DepthSurface
    from .water.forecast import Forecast
    from .water.level_series import LevelSeries
else:  # At run time the plain type plays no part; the marker does.
    Frame = DepthSurface = SourceTable = Day = SeriesTable = Forecast = LevelSeries = object
    SounderLog = LogFile = object

POINT: Final = ("Point",)
LINE: Final = ("LineString", "MultiLineString")
POLYGON: Final = ("Polygon", "MultiPolygon")
ANY: Final = ("Point", "MultiPoint", *LINE, *POLYGON)


@dataclass(frozen=True)
class Column:
    """A column a layer has: its kind (``number``, ``text``, ``any``) and whether gaps are allowed."""

    name: str
    kind: str = "number"
    gaps: bool = False


@dataclass(frozen=True)
class Layer:
    """A vector layer: its usual name, geometry types, id column, needed and optional columns.

    An optional column that is missing reaches the algorithm filled with NaN or empty text. ``may_lack_place`` is for
    rows of which nobody knows where they lie. ``only_with`` names the parameter without which an output is not made.
    """

    name: str
    geometry: tuple[str, ...]
    id: str | None = None
    needs: tuple[Column, ...] = ()
    optional: tuple[Column, ...] = ()
    may_be_empty: bool = True
    may_lack_place: bool = False
    only_with: str = ""
    metavar = "FILE:LAYER"


@dataclass(frozen=True)
class Surface:
    """A depth coverage: metres below chart datum, positive down."""

    name: str
    metavar = "FILE:COVERAGE"


@dataclass(frozen=True)
class LayerSet:
    """Any number of vector layers, by name; ``may_lack_place`` as in `Layer`."""

    may_lack_place: bool = False
    metavar = "FILE[:LAYER]..."


@dataclass(frozen=True)
class SourceList:
    """Any number of spot lists in the formats of `castshed.toolbox.sources`."""

    metavar = "FILE[:LAYER]..."


@dataclass(frozen=True)
class LogList:
    """Any number of sounder logs in the formats of `castshed.toolbox.logs`."""

    metavar = "FILE..."


@dataclass(frozen=True)
class DayInput:
    """A day file (TOML) with the layers it names."""

    metavar = "DAY.toml"


@dataclass(frozen=True)
class SeriesInput:
    """A table in a file: a wind ``forecast`` or pool ``levels`` over time, or ``symbols`` by kind."""

    holds: str

    @property
    def metavar(self) -> str:
        """The word the help shows."""
        return "FILE" if self.holds == "levels" else "FILE.csv"


@dataclass(frozen=True)
class Quantity:
    """A number with a unit, kept in SI: ``length``, ``speed``, ``time`` or ``bearing``; limits are inclusive."""

    kind: str
    least: float | None = None
    most: float | None = None

    @property
    def metavar(self) -> str:
        """The word the help shows."""
        return self.kind.upper()


@dataclass(frozen=True)
class Number:
    """A plain number without a unit; limits are inclusive."""

    least: float | None = None
    most: float | None = None
    whole: bool = False

    @property
    def metavar(self) -> str:
        """The word the help shows."""
        return "COUNT" if self.whole else "NUMBER"


@dataclass(frozen=True)
class Text:
    """Free text."""

    metavar: str = "TEXT"


@dataclass(frozen=True)
class Flag:
    """Yes or no."""

    metavar: str = ""


@dataclass(frozen=True)
class Choice:
    """One word of a list."""

    words: tuple[str, ...]

    @property
    def metavar(self) -> str:
        """The words the help shows."""
        return "|".join(self.words)


@dataclass(frozen=True)
class Many:
    """Several values of one marker, given one after the other."""

    of: Any

    @property
    def metavar(self) -> str:
        """The word the help shows."""
        return f"{self.of.metavar}"


@dataclass(frozen=True)
class FileSet:
    """Output files in a folder, by name.

    ``names`` are those it may make, so that an existing one can be refused before any work; a name with ``*`` stands
    for as many files as there are layers or parts. When they are not known, the folder must be new or empty.
    """

    names: tuple[str, ...] = ()


@dataclass(frozen=True)
class FolderSet:
    """An output folder: GeoPackages with their layers, and other files; ``names`` as in `FileSet`."""

    names: tuple[str, ...] = ()


@dataclass(frozen=True)
class BookFile:
    """An output that changes a book: a GeoPackage that is written only when replacing is asked for."""


@dataclass(frozen=True)
class FolderContents:
    """What an algorithm puts into a folder.

    Attributes
    ----------
    layers
        GeoPackage file name -> layer name -> frame or depth surface.
    files
        File name -> bytes.
    types
        Layer name -> geometry types, for layers that may be without rows.
    figures
        The few numbers that matter, for the report.
    said
        Lines for people, printed at the end of the command.
    """

    layers: Mapping[str, Mapping[str, Any]] = field(default_factory=dict)
    files: Mapping[str, bytes] = field(default_factory=dict)
    types: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    figures: Mapping[str, Any] = field(default_factory=dict)
    said: tuple[str, ...] = ()


def check_choice(value: object, words: Sequence[str], name: str) -> str:
    """Return the word when it is one of the list.

    Raises
    ------
    UsageError
        It is not; the message lists the words.
    """
    if value not in words:
        raise UsageError(f"{name} is '{value}'; choose one of: {', '.join(words)}.")
    return str(value)


# Quantities -----------------------------------------------------------------------------------------------
Level = Annotated[float, Quantity("length", -200.0, 200.0)]
Length = Annotated[float, Quantity("length", 0.0, 1.0e6)]
SignedLength = Annotated[float, Quantity("length", -1.0e6, 1.0e6)]
Speed = Annotated[float, Quantity("speed", 0.0, 100.0)]
Duration = Annotated[float, Quantity("time", 0.0, 864000.0)]
Bearing = Annotated[float, Quantity("bearing", 0.0, 360.0)]
Volume = Annotated[float, Quantity("volume", 0.0, 1.0e6)]
Flow = Annotated[float, Quantity("flow", 0.0, 1.0e6)]
Count = Annotated[int, Number(0, whole=True)]
Plain = Annotated[float, Number()]
Share = Annotated[float, Number(0.0, 1.0)]
YesNo = Annotated[bool, Flag()]
Words = Annotated[str, Text()]
Lengths = Annotated[Sequence[float], Many(Quantity("length", -1.0e6, 1.0e6))]
WordList = Annotated[Sequence[str], Many(Text())]

# Inputs ---------------------------------------------------------------------------------------------------
Sources = Annotated[Sequence[SourceTable], SourceList()]
SounderLogs = Annotated[Sequence[SounderLog | LogFile], LogList()]
DayFile = Annotated[Day, DayInput()]
WindForecast = Annotated[SeriesTable | Forecast, SeriesInput("forecast")]
PoolLevels = Annotated[SeriesTable | LevelSeries, SeriesInput("levels")]
Symbols = Annotated[SeriesTable | Mapping[str, str], SeriesInput("symbols")]
Layers = Annotated[Mapping[str, Frame], LayerSet()]
AnyLayers = Annotated[Mapping[str, Frame], LayerSet(may_lack_place=True)]
Depth = Annotated[DepthSurface, Surface("depth")]
DepthConfidence = Annotated[DepthSurface, Surface("depth_confidence")]

Shoreline = Annotated[Frame, Layer("shoreline", POLYGON, may_be_empty=False)]
Contours = Annotated[Frame, Layer("contours", LINE, needs=(Column("depth_m"),))]
Soundings = Annotated[Frame, Layer("soundings", POINT, needs=(Column("depth_m"),))]
Ramps = Annotated[
    Frame,
    Layer(
        "ramps",
        POINT,
        "ramp_id",
        optional=(Column("name", "text", gaps=True), Column("min_level_m", gaps=True)),
        may_be_empty=False,
    ),
]
Zones = Annotated[
    Frame,
    Layer(
        "zones",
        POLYGON,
        needs=(Column("zone", "text"),),
        optional=(Column("speed_mps", gaps=True), Column("reason", "text", gaps=True)),
    ),
]
KnownHazards = Annotated[
    Frame,
    Layer(
        "known_hazards",
        ANY,
        optional=(
            Column("kind", "text", gaps=True),
            Column("top_depth_m", gaps=True),
            Column("radius_m", gaps=True),
        ),
    ),
]
Landmarks = Annotated[
    Frame,
    Layer(
        "landmarks",
        POINT,
        "landmark_id",
        optional=(
            Column("name", "text", gaps=True),
            Column("kind", "text", gaps=True),
            Column("height_m", gaps=True),
            Column("position_error_m", gaps=True),
        ),
    ),
]
SPOT_COLUMNS: Final = (
    Column("name", "text", gaps=True),
    Column("kind", "text", gaps=True),
    Column("depth_m", gaps=True),
    Column("height_m", gaps=True),
    Column("rating", gaps=True),
    Column("note", "text", gaps=True),
    Column("source", "text", gaps=True),
    Column("surveyed", "text", gaps=True),
    Column("position_error_m", gaps=True),
)
Spots = Annotated[Frame, Layer("spots", ANY, "spot_id", optional=SPOT_COLUMNS)]

Structure = Annotated[
    Frame,
    Layer(
        "structure",
        ANY,
        "spot_id",
        needs=(
            Column("name", "text"),
            Column("kind", "text"),
            Column("description", "text"),
            Column("rank"),
            Column("confidence"),
            Column("depth_m", gaps=True),
            Column("top_today_m", gaps=True),
            Column("base_today_m", gaps=True),
            Column("relief_m", gaps=True),
            Column("slope_deg", gaps=True),
            Column("length_m", gaps=True),
            Column("area_m2", gaps=True),
            Column("deep_bearing_deg", gaps=True),
            Column("bank", "text", gaps=True),
            Column("bank_m", gaps=True),
        ),
    ),
]

# Layers that algorithms make and take ------------------------------------------------------------------------
Water = Annotated[
    Frame,
    Layer("water", POLYGON, "water_id", optional=(Column("area_m2", gaps=True),), may_be_empty=False),
]
DepthBands = Annotated[
    Frame, Layer("depth_bands", POLYGON, needs=(Column("from_m"), Column("to_m", gaps=True)))
]
DryGround = Annotated[Frame, Layer("dry_ground", POLYGON, needs=(Column("area_m2"),))]
ShallowHazards = Annotated[
    Frame,
    Layer(
        "shallow_hazards",
        POLYGON,
        "hazard_id",
        needs=(
            Column("care", "text"),
            Column("reason", "text"),
            Column("least_depth_m", gaps=True),
        ),
        optional=(Column("needed_depth_m", gaps=True),),
    ),
]
CastReach = Annotated[
    Frame,
    Layer(
        "cast_reach",
        POLYGON,
        "spot_id",
        needs=(
            Column("status", "text"),
            Column("reason", "text"),
            Column("area_m2"),
        ),
    ),
]
Holds = Annotated[
    Frame,
    Layer(
        "holds",
        POINT,
        needs=(
            Column("spot_id", "text"),
            Column("hold_no"),
            Column("status", "text"),
            Column("reason", "text"),
            Column("depth_m", gaps=True),
            Column("cast_m", gaps=True),
            Column("cast_bearing_deg", gaps=True),
            Column("deep_bearing_deg", gaps=True),
            Column("wind_angle_deg", gaps=True),
        ),
    ),
]
CastLines = Annotated[
    Frame,
    Layer(
        "cast_lines",
        LINE,
        needs=(
            Column("spot_id", "text"),
            Column("hold_no"),
            Column("cast_m"),
            Column("cast_bearing_deg"),
        ),
    ),
]
HoldLines = Annotated[
    Frame,
    Layer(
        "hold_lines",
        LINE,
        needs=(
            Column("spot_id", "text"),
            Column("line_no"),
            Column("length_m"),
            Column("heading_deg", gaps=True),
            Column("headings", "text"),
            Column("cast_side", "text"),
            Column("cast_m"),
            Column("least_depth_m"),
            Column("most_depth_m"),
            Column("deep_bearing_deg", gaps=True),
            Column("wind_angle_deg", gaps=True),
            Column("starts", "text"),
            Column("ends", "text"),
            Column("reason", "text"),
        ),
    ),
]
LineUps = Annotated[
    Frame,
    Layer(
        "line_ups",
        LINE,
        needs=(
            Column("spot_id", "text"),
            Column("hold_no"),
            Column("range_no"),
            Column("landmark_id", "text"),
            Column("behind_id", "text", gaps=True),
            Column("words", "text"),
            Column("bearing_deg"),
            Column("distance_m"),
            Column("open_deg", gaps=True),
            Column("error_m"),
            Column("crossing_deg"),
        ),
    ),
]
Fixes = Annotated[
    Frame,
    Layer(
        "fixes",
        POINT,
        needs=(
            Column("spot_id", "text"),
            Column("hold_no"),
            Column("status", "text"),
            Column("reason", "text"),
            Column("words", "text", gaps=True),
            Column("ranges"),
            Column("crossing_deg", gaps=True),
            Column("error_m", gaps=True),
            Column("bank_bearing_deg", gaps=True),
            Column("bank_m", gaps=True),
            Column("bank_mark", "text", gaps=True),
        ),
    ),
]
EXPOSURE_COLUMNS: Final = (
    Column("fetch_m", gaps=True),
    Column("wave_m", gaps=True),
    Column("wave_low_m", gaps=True),
    Column("wave_high_m", gaps=True),
    Column("period_s", gaps=True),
    Column("wave_method", "text", gaps=True),
    Column("wind_mps", gaps=True),
    Column("wind_from_deg", gaps=True),
    Column("bank", "text", gaps=True),
)
Places = Annotated[Frame, Layer("places", ANY)]
Exposure = Annotated[
    Frame,
    Layer(
        "exposure",
        ANY,
        needs=EXPOSURE_COLUMNS,
        # one row a place and hour: whose, when (ISO text with zone), and the gusts of that hour
        optional=(
            Column("spot_id", "text", gaps=True),
            Column("time", "text", gaps=True),
            Column("gust_mps", gaps=True),
        ),
    ),
]
HourlyExposure = Annotated[
    Frame,
    Layer(
        "exposure",
        ANY,
        needs=(
            Column("spot_id", "text"),
            Column("time", "text"),
            Column("gust_mps", gaps=True),
            Column("fetch_depth_m", gaps=True),
            *EXPOSURE_COLUMNS,
        ),
        only_with="forecast",
    ),
]
Verdicts = Annotated[
    Frame,
    Layer(
        "spots",
        ANY,
        "spot_id",
        needs=(
            Column("depth_today_m", gaps=True),
            Column("top_today_m", gaps=True),
            Column("fishable"),
            Column("reason", "text"),
            Column("margin_m", gaps=True),
            Column("marginal"),
            Column("hours", "text", gaps=True),
        ),
        optional=SPOT_COLUMNS,
    ),
]
HourVerdicts = Annotated[
    Frame,
    Layer(
        "verdicts",
        ANY,
        needs=(
            Column("spot_id", "text"),
            Column("time", "text"),
            Column("fishable"),
            Column("reason", "text"),
            Column("margin_m", gaps=True),
            Column("marginal"),
        ),
        only_with="exposure",
    ),
]
Stops = Annotated[
    Frame,
    Layer(
        "stops",
        POINT,
        needs=(
            Column("stop_no"),
            Column("spot_id", "text"),
            Column("name", "text", gaps=True),
            Column("arrive", "text", gaps=True),
            Column("leave", "text", gaps=True),
            Column("wind_mps", gaps=True),
            Column("wave_m", gaps=True),
            Column("reason", "text", gaps=True),
        ),
    ),
]
Legs = Annotated[
    Frame,
    Layer(
        "legs",
        LINE,
        needs=(
            Column("leg_no"),
            Column("part", "text"),
            Column("from_id", "text"),
            Column("to_id", "text"),
            Column("distance_m"),
            Column("slow_m"),
            Column("min_depth_m", gaps=True),
            Column("min_clearance_m", gaps=True),
            Column("time_s"),
        ),
        optional=(
            Column("nearest_hazard", "text", gaps=True),
            Column("hazard_side", "text", gaps=True),
            Column("hazard_at_m", gaps=True),
        ),
    ),
]
Proof = Annotated[
    Frame,
    Layer(
        "proof",
        LINE,
        needs=(
            Column("leg_no"),
            Column("part", "text"),
            Column("from_id", "text"),
            Column("to_id", "text"),
            Column("distance_m"),
            Column("clearance_m", gaps=True),
            Column("needed_clearance_m", gaps=True),
            Column("least_depth_m", gaps=True),
            Column("needed_depth_m", gaps=True),
        ),
    ),
]
Answers = Annotated[
    Frame,
    Layer("answers", POINT, needs=(Column("question", "text"), Column("answer", "text"))),
]
SafeWaterAreas = Annotated[
    Frame,
    Layer("safe_water", POLYGON, needs=(Column("care", "text"), Column("area_m2"))),
]
WaysBetween = Annotated[
    Frame,
    Layer(
        "ways",
        LINE,
        needs=(
            Column("from_id", "text"),
            Column("to_id", "text"),
            Column("distance_m"),
            Column("idle_m"),
            Column("slow_m"),
            Column("time_s"),
        ),
    ),
]
LeftOut = Annotated[
    Frame,
    Layer(
        "left_out",
        POINT,
        needs=(
            Column("spot_id", "text"),
            Column("name", "text", gaps=True),
            Column("reason", "text"),
        ),
    ),
]
SetAside = Annotated[
    Frame,
    Layer(
        "set_aside",
        ANY,
        needs=(
            Column("source", "text"),
            Column("line"),
            Column("reason", "text"),
            Column("text", "text", gaps=True),
        ),
        may_lack_place=True,
    ),
]
GatheredFrom = Annotated[
    Frame,
    Layer(
        "gathered_from",
        ANY,
        needs=(
            Column("source", "text"),
            Column("day", "text"),
            Column("rows"),
            Column("kept"),
            Column("set_aside"),
            Column("noticed", "text", gaps=True),
        ),
        may_lack_place=True,
    ),
]
Files = Annotated[Mapping[str, bytes], FileSet()]
Folder = Annotated[FolderContents, FolderSet()]
