"""The sheet of a plan for boat and client: map, table of stops, leg cards and hold cards."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Annotated, Final

from castshed.toolbox.algorithm import algorithm
from castshed.toolbox.parameters import Choice, Depth, FileSet, Layers, Level, Words

if TYPE_CHECKING:
    from geopandas import GeoDataFrame

FILES: Final = ("sheet.html", "sheet.pdf", "map.png", "legs.png", "holds.png")
_NEEDED: Final = ("stops", "legs", "holds", "spots")


def _left_out(frames: Mapping[str, GeoDataFrame]) -> list[tuple[str, str]]:
    from castshed.toolbox.output.chart_table import left_out_table

    return [(row[0], row[1]) for row in left_out_table(frames).rows]


@algorithm(
    step="share",
    example="castshed plan-sheet my_day/plan.gpkg --depth demo_layers/reservoir.gpkg:depth --level -4ft "
    "--title 'A day on Larkmoor' --date 2031-05-17 --out my_sheet",
)
def plan_sheet(
    layers: Layers,
    *,
    depth: Depth | None = None,
    level_m: Level = 0.0,
    title: Words = "Fishing run",
    date: Words = "",
    units: Annotated[str, Choice(("US", "metric"))] = "US",
) -> Annotated[Mapping[str, bytes], FileSet(FILES)]:
    """Make the sheet of a plan: a page that opens anywhere, a PDF to print, and pictures.

    The first page is the map with stops and legs, then come the leg cards, each drawn course-up with the boat low on
    the card so that most of it is water ahead, and the hold cards, each large with the cast and the deep side. The HTML
    file loads nothing from anywhere, reads without scripts, and works by keyboard, on a phone, in light and dark.

    Parameters
    ----------
    layers
        Layers of the plan: stops, legs, holds and spots, and the lake at today's level; a file alone stands for all.
    depth
        Depth coverage, for isobaths on the hold cards.
    level_m
        Today's surface minus chart datum; four feet down is -4ft.
    title
        Heading.
    date
        Day of the plan, as it should be written.
    units
        Units that come first.

    Returns
    -------
    Mapping
        File name to content: sheet.html, sheet.pdf, map.png, legs.png and holds.png (the first page of cards).

    Raises
    ------
    UsageError
        A layer that a sheet needs is not there.
    """
    import shapely

    from castshed.toolbox.errors import UsageError
    from castshed.toolbox.output.cautions import caution_text, level_text
    from castshed.toolbox.output.chart_page import png_of
    from castshed.toolbox.output.sheet_facts import answers_of, legs_of, stops_of, totals_in_words
    from castshed.toolbox.output.sheet_html import to_html
    from castshed.toolbox.output.sheet_pages import draw_pages, name_layers, pdf_of, shares_of
    from castshed.toolbox.output.sheet_svg import svg_of
    from castshed.toolbox.output.text import shortened
    from castshed.toolbox.output.view import by_role
    from castshed.toolbox.report import progress

    answers = {"answers": layers["answers"]} if "answers" in layers else {}
    plan = {name: frame for name, frame in layers.items() if name not in {"answers", "verdicts", "exposure"}}
    frames = by_role(plan)
    missing = [name for name in _NEEDED if name not in frames or not len(frames[name])]
    if missing:
        raise UsageError(
            f"The sheet needs the layers {', '.join(_NEEDED)}; there is no {', '.join(missing)}. Give the plan's file, "
            "or each layer as FILE.gpkg:LAYER."
        )
    metric, day = units == "metric", date.strip() or None
    with progress("Drawing the sheet", 3) as step:
        stops = stops_of(frames, metric=metric)
        legs = legs_of(frames, {stop.spot_id: stop.name for stop in stops}, metric=metric)
        told = answers_of(answers)
        among_totals = [word for word in told if word == "Fuel" or word.startswith("Sun ")]
        known = {word: told.pop(word) for word in among_totals}
        totals = totals_in_words(frames, metric=metric, more=known)
        pages = draw_pages(
            plan,
            stops,
            legs,
            title=title,
            level_m=level_m,
            date=day,
            units=units,
            today=None if depth is None else depth.shifted(level_m),
        )
        step(1)
        inner = [(stop, k) for k, stop in enumerate(stops) if not stop.ramp]
        ordered = frames["stops"].sort_values("stop_no", kind="stable").geometry.to_numpy()
        shares = shares_of(pages.map, shapely.get_coordinates(ordered))
        name_layers(pages.map)
        level = level_text(level_m, day)
        page = to_html(
            title=title,
            level=level,
            totals=totals,
            stops=stops,
            legs=legs,
            left_out=_left_out(frames),
            questions=list(told.items()),
            map_svg=svg_of(pages.map, "map"),
            hot_spots=[
                (stop.number, stop.name, float(shares[k][0]), float(shares[k][1])) for stop, k in inner
            ],
            cards=[
                *((svg_of(figure, f"leg{k}"), "Leg cards, course up") for k, figure in enumerate(pages.legs)),
                *(
                    (svg_of(figure, f"hold{k}"), "Hold cards, north up")
                    for k, figure in enumerate(pages.holds)
                ),
            ],
        )
        step(1)
        words = {
            "Title": shortened(title, 200),
            "Description": caution_text(level_m, day),
            "Software": "castshed",
        }
        files = {
            "sheet.html": page.encode("utf-8"),
            "sheet.pdf": pdf_of(
                [pages.map, *pages.legs, *pages.holds], title=words["Title"], description=words["Description"]
            ),
            "map.png": png_of(pages.map, words),
        }
        for name, some in (("legs.png", pages.legs), ("holds.png", pages.holds)):
            files[name] = png_of(some[0] if some else pages.map, words)
        step(1)
    return files
