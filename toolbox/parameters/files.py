"""What is read from, or goes into, whole files and folders: lists, logs, tables, the day, depth coverages."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

from .markers import (
    DayInput,
    DownloadList,
    FileSet,
    FolderSet,
    LayerSet,
    LogList,
    SeriesInput,
    Shared,
    SourceList,
    Surface,
)

if TYPE_CHECKING:
    from geopandas import GeoDataFrame as Frame

    from ..depth import DepthSurface
    from ..intake.logs.log_table import LogFile
    from ..intake.logs.sounder_log import SounderLog
    from ..intake.series.series_table import SeriesTable
    from ..plan.day_file import Day
    from ..sources import SourceTable
    from ..water.level.pool_level import LevelSeries
    from ..water.wind.forecast import Forecast
else:  # at run time the plain type plays no part
    Day = DepthSurface = Forecast = Frame = LevelSeries = LogFile = SeriesTable = SounderLog = SourceTable = (
        object
    )


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
    then
        The command to run next, printed last; {folder} stands for the folder.
    """

    layers: Mapping[str, Mapping[str, Any]] = field(default_factory=dict)
    files: Mapping[str, bytes] = field(default_factory=dict)
    types: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    figures: Mapping[str, Any] = field(default_factory=dict)
    said: tuple[str, ...] = ()
    then: str = ""


Sources = Annotated[Sequence[SourceTable], SourceList()]
SounderLogs = Annotated[Sequence[SounderLog | LogFile], LogList()]
Downloads = Annotated[Sequence[Path | str | Frame], DownloadList()]
DayFile = Annotated[Day, DayInput()]
WindForecast = Annotated[SeriesTable | Forecast, SeriesInput("forecast")]
PoolLevels = Annotated[SeriesTable | LevelSeries, SeriesInput("levels")]
Symbols = Annotated[SeriesTable | Mapping[str, str], SeriesInput("symbols")]
Layers = Annotated[Mapping[str, Frame], LayerSet()]
AnyLayers = Annotated[Mapping[str, Frame], LayerSet(may_lack_place=True)]
Depth = Annotated[DepthSurface, Surface("depth")]
DepthConfidence = Annotated[
    DepthSurface,
    Surface("depth_confidence"),
    Shared(
        "depth_confidence",
        "How far each depth may be off (half-width, 95 %), from depth-surface; where that is more than the depth "
        "error, it counts instead, and depths are told with it.",
        None,
    ),
]
Files = Annotated[Mapping[str, bytes], FileSet()]
Folder = Annotated[FolderContents, FolderSet()]
