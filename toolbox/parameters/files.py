"""What is read from, or goes into, whole files: lists, logs, tables, the day, depth coverages, any layers."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

from .folder_contents import FolderContents
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
    from ..intake.logs.log_file import LogFile
    from ..intake.logs.sounder_log import SounderLog
    from ..intake.series.series_table import SeriesTable
    from ..plan.day_file import Day
    from ..sources import SourceTable
    from ..water.level.level_series import LevelSeries
    from ..water.wind.forecast import Forecast
else:  # at run time the plain type plays no part; the marker does
    Frame = DepthSurface = SourceTable = Day = SeriesTable = Forecast = LevelSeries = object
    SounderLog = LogFile = object

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
