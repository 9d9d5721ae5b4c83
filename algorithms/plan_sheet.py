"""The sheet of a plan for boat and client: map, table of stops, leg cards and hold cards."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Annotated, Any, Final

from castshed.toolbox.algorithm import algorithm
from castshed.toolbox.parameters import (
    AnyLayers,
    DayOf,
    Depth,
    DepthConfidence,
    FileSet,
    PaperSize,
    Title,
    TodaysLevel,
    UnitSystem,
    YesNo,
)

if TYPE_CHECKING:
    from geopandas import GeoDataFrame

FILES: Final = ("sheet.html", "sheet.pdf", "map.png", "legs.png", "holds.png", "timeline.png")
_NEEDED: Final = ("stops", "legs", "holds", "spots")


TITLE: Final = "Fishing run"


def _light(stops: GeoDataFrame) -> tuple[Any, Any] | None:
    """Civil dawn and dusk of the day of the stops, where they have times."""
    import pandas as pd

    from castshed.toolbox.water.light.sun import middle_of, sun_times

    told = [text for text in (*stops["arrive"], *stops["leave"]) if isinstance(text, str) and text]
    at = pd.to_datetime(told[0], errors="coerce") if told else None
    if at is None or pd.isna(at) or at.tzinfo is None:
        return None
    latitude, longitude = middle_of(stops.total_bounds, stops.crs)
    sun = sun_times(at.date(), at.tzinfo, latitude, longitude)
    return None if sun.dawn is None or sun.dusk is None else (sun.dawn, sun.dusk)


@algorithm(
    step="share",
    example="castshed plan-sheet my_day/plan.gpkg --depth demo_layers/reservoir.gpkg:depth --level -4ft "
    "--title 'A day on Larkmoor' --date 2031-05-17 --out my_sheet",
)
def plan_sheet(
    layers: AnyLayers,
    *,
    depth: Depth | None = None,
    depth_confidence: DepthConfidence | None = None,
    level_m: TodaysLevel = 0.0,
    title: Title = "",
    date: DayOf = "",
    units: UnitSystem = "US",
    paper: PaperSize | None = None,
    magnetic: YesNo = False,
) -> Annotated[Mapping[str, bytes], FileSet(FILES)]:
    """Make the sheet of a plan: a page that opens anywhere, a PDF to print, and pictures.

    The PDF is of one paper size: a page for whoever comes along, the map with stops and legs, the tables, the day over
    its hours, the leg cards, each drawn course-up with the boat low on the card so that most of it is water ahead, with
    numbered turns and the true course and distance to each, and the hold cards, each large with the cast and the deep
    side. Bearings are true; with `--magnetic` those of a compass stand beside them. The HTML file loads nothing from
    anywhere: a map to move and bring nearer, with layers, search, the day by the hour, measuring, and a card for
    whatever is tapped. It works by keyboard, on a phone, in light and dark, and is whole without scripts. It is not for
    steering and shows no position of the boat's own.

    Parameters
    ----------
    layers
        Layers of the plan: stops, legs, holds and spots, and the lake at today's level; a file alone stands for all.
    depth
        Depth coverage, for isobaths on the hold cards.
    magnetic
        Write magnetic bearings beside the true ones, by the World Magnetic Model for the date; needs the date.

    Returns
    -------
    Mapping
        File name to content: sheet.html, sheet.pdf, map.png, legs.png and holds.png (the first page of cards), and
        timeline.png where the stops have times.

    Raises
    ------
    UsageError
        A layer that a sheet needs is not there.
    """
    from castshed.toolbox.errors import UsageError
    from castshed.toolbox.magnetic import declination_of
    from castshed.toolbox.output.maps.chart_page import by_role, paper_of, png_of
    from castshed.toolbox.output.maps.chart_table import left_out_groups
    from castshed.toolbox.output.maps.plan_facts import answers_of, legs_of, stops_of, totals_in_words
    from castshed.toolbox.output.sheets.course_up import north_text
    from castshed.toolbox.output.sheets.day_timeline import draw_timeline
    from castshed.toolbox.output.sheets.sheet_html import to_html
    from castshed.toolbox.output.sheets.sheet_pages import draw_pages, pdf_of
    from castshed.toolbox.output.sheets.sheet_tables import (
        draw_tables,
        legs_on_paper,
        stops_on_paper,
        table_of_answers,
        table_of_left_out,
    )
    from castshed.toolbox.output.words.cautions import caution_text, level_text
    from castshed.toolbox.output.words.names import BY_THE_HOUR, TABLES
    from castshed.toolbox.report import progress
    from castshed.toolbox.text import shortened
    from castshed.toolbox.water.level.uncertainty import all_with_errors

    answers = {"answers": layers["answers"]} if "answers" in layers else {}
    plan = {name: frame for name, frame in layers.items() if name not in TABLES}
    plan = all_with_errors(plan, depth_confidence, depth)
    frames = by_role(plan)
    missing = [name for name in _NEEDED if name not in frames or not len(frames[name])]
    if missing:
        raise UsageError(
            f"The sheet needs the layers {', '.join(_NEEDED)}; there is no {', '.join(missing)}. Give the plan's file, "
            "or each layer as FILE.gpkg:LAYER."
        )
    metric, day = units == "metric", date.strip() or None
    today = None if depth is None else depth.shifted(level_m)
    with progress("Drawing the sheet", 3) as step:
        compass = declination_of(frames["stops"], date) if magnetic else None
        page_in = paper_of(paper, units)
        stops = stops_of(frames, metric=metric, declination=compass)
        named = {stop.spot_id: stop.name for stop in stops}
        legs = legs_of(frames, named, metric=metric, declination=compass)
        told = answers_of(answers)
        among_totals = [word for word in told if word == "Fuel" or word.startswith("Sun ")]
        known = {word: told.pop(word) for word in among_totals}
        totals = totals_in_words(frames, metric=metric, more=known)
        pages = draw_pages(
            plan,
            stops,
            legs,
            title=title or TITLE,
            level_m=level_m,
            date=day,
            units=units,
            totals=totals,
            declination=compass,
            paper=page_in,
            today=today,
        )
        hours = {name: layers[name] for name in BY_THE_HOUR if name in layers}
        timeline = draw_timeline(
            {"stops": frames["stops"], **hours},
            title=title or TITLE,
            units=units,
            light=_light(frames["stops"]),
            paper=page_in,
        )
        step(1)
        level = level_text(level_m, day, metric_first=metric)
        left_out = left_out_groups(frames, metric_first=metric)
        tables = draw_tables(
            [
                stops_on_paper(stops),
                legs_on_paper(legs),
                table_of_answers(list(told.items())),
                table_of_left_out(left_out),
            ],
            title=title or TITLE,
            level=level,
            totals=totals,
            paper=page_in,
        )
        page = to_html(
            frames,
            title=title or TITLE,
            level=level,
            north=north_text(compass),
            totals=totals,
            stops=stops,
            legs=legs,
            left_out=left_out,
            questions=list(told.items()),
            hours=hours,
            level_m=level_m,
            metric=metric,
            today=today,
        )
        step(1)
        words = {
            "Title": shortened(title or TITLE, 200),
            "Description": caution_text(level_m, day),
            "Software": "castshed",
        }
        files = {
            "sheet.html": page.encode("utf-8"),
            "sheet.pdf": pdf_of(
                [
                    pages.summary,
                    pages.map,
                    *tables,
                    *([] if timeline is None else [timeline]),
                    *pages.legs,
                    *pages.holds,
                ],
                title=words["Title"],
                description=words["Description"],
            ),
            "map.png": png_of(pages.map, words),
        }
        if timeline is not None:
            files["timeline.png"] = png_of(timeline, words)
        for name, some in (("legs.png", pages.legs), ("holds.png", pages.holds)):
            files[name] = png_of(some[0] if some else pages.map, words)
        step(1)
    return files
