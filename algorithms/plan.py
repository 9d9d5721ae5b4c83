"""The whole chain from one day file: gathered spots to a proved run in open formats."""

from __future__ import annotations

from inspect import signature
from typing import TYPE_CHECKING, Annotated, Any, Final

from castshed.toolbox.algorithm import algorithm
from castshed.toolbox.parameters import (
    BackBy,
    DayFile,
    DayOf,
    Depart,
    FolderContents,
    FolderSet,
    PaperSize,
    TodaysLevel,
    WordList,
    Words,
    defaults,
)
from castshed.toolbox.text import none_of, units_in_order

if TYPE_CHECKING:
    from geopandas import GeoDataFrame

    from castshed.toolbox.depth import DepthSurface
    from castshed.toolbox.plan.day_file import Day
    from castshed.toolbox.plan.day_run import DayRun
    from castshed.toolbox.water.proof.last_check import Limits

FILES: Final = ("plan.gpkg", "run.gpx", "plan.kml", "plan.geojson", "plan.json", "map.png")
STAGES: Final = {
    "Gathering the spots": 0.4,
    "Making the depth surface": 9.9,
    "Drawing today's water": 2.8,
    "Marking what is too shallow": 4.9,
    "Drawing the cast rings": 0.5,
    "Placing the boat": 2.7,
    "Measuring the wind": 2.3,
    "Choosing and timing the run": 19.1,
    "Proving the run": 0.6,
    "Writing it out": 10.4,
}
"""Stages of the work, with the processor seconds each took on a lake of 1e7 cells with 1,000 spots."""


def _doubt(day: Day, depth: DepthSurface, spots: GeoDataFrame) -> None:
    """Hold the lake's own coverage against all that states a depth beside it; `water_today` holds it to the shore."""
    from castshed.toolbox.water.doubt.depth_agreement import doubt_against

    if day.layers.depth is None:  # made from the others, which are doubted as it is made
        return
    unit = "State the raster's unit when the coverage is made (depth-surface --raster-unit)"
    listed = f"{unit}, or that of the lists ([spots] depth_unit)."
    for layer, what, mend in (
        (spots, "spots", listed),
        (day.layers.soundings, "soundings", f"{unit}, or turn the soundings into metres."),
        (day.layers.contours, "contours", f"{unit}, or turn the contours into metres."),
    ):
        doubt_against(depth, layer, what=what, mend=mend)


def _verdicts_with_run(spots: GeoDataFrame, stops: GeoDataFrame, left_out: GeoDataFrame) -> GeoDataFrame:
    """Tell of each spot whether the run stops there, and why not; what can't be reached is not fishable today."""
    made = spots.copy()
    at = dict(zip(stops["spot_id"], stops["stop_no"], strict=True))
    why = dict(zip(left_out["spot_id"], left_out["reason"], strict=True))
    made["stop_no"] = [int(at.get(one, -1)) for one in made["spot_id"]]
    note = made["spot_id"].map(lambda one: str(why.get(one, "")))
    cut_off = (made["fishable"] == 1) & note.str.startswith("out of reach")
    made.loc[cut_off, "fishable"] = 0
    made.loc[cut_off, "reason"] = note[cut_off]
    made["run_note"] = note.where(made["stop_no"] < 0, "")
    return made


def _all_left_out(spots: GeoDataFrame, left_out: GeoDataFrame) -> GeoDataFrame:
    """List every spot the run does not stop at, with its reason."""
    import pandas as pd
    import shapely

    judged = spots[(spots["fishable"] == 0) & ~spots["spot_id"].isin(left_out["spot_id"])]
    rest = judged[["spot_id", "name", "reason", judged.geometry.name]].copy()
    rest = rest.set_geometry(shapely.point_on_surface(rest.geometry.to_numpy()), crs=spots.crs)
    if rest.geometry.name != left_out.geometry.name:
        rest = rest.rename_geometry(left_out.geometry.name)
    return left_out if rest.empty else pd.concat([left_out, rest[list(left_out.columns)]], ignore_index=True)


def _keep_ready(run: DayRun) -> None:
    """Put the safe water that the run will ask for into the open store."""
    from castshed.toolbox.plan.day_chain import handled
    from castshed.toolbox.water.runs.afloat import Handling, keep_ready

    water, hazards, zones = (run.layer("run", name) for name in ("water", "hazards", "zones"))
    handling = Handling.of_boat(**handled(run.day), idle_clearance_m=defaults.IDLE_CLEARANCE_M)
    # Frames of its own: this is done while others work on the layers.
    keep_ready(water.copy(), hazards.copy(), None if zones is None else zones.copy(), handling)


def _few_turns(given: dict[str, Any], structures: Any, limits: Limits) -> GeoDataFrame:
    """Draw the run with few turns, proved as the run itself; the legs as they are where that fails."""
    from castshed.toolbox.report import note
    from castshed.toolbox.water.proof.run_proof import run_violations
    from castshed.toolbox.water.runs.thinned_route import as_route, thinned_route
    from castshed.toolbox.water.ways.alongside import edges_to_keep_from

    lake = [given[name] for name in ("water", "hazards", "zones")]
    running, idling = (edges_to_keep_from(*lake, running=one) for one in (True, False))
    route = thinned_route(
        given["legs"],
        running,
        idling,
        run_clearance_m=limits.run_clearance_m,
        idle_clearance_m=limits.idle_clearance_m,
    )
    # Times are those of the legs; what their lines keep clear and how deep they lie is not said of these.
    timed = given["legs"].drop(columns=["min_depth_m", "min_clearance_m"])
    timed = timed.set_geometry(route.geometry.to_numpy(), crs=route.crs)
    timed = timed.assign(distance_m=route["distance_m"].to_numpy())
    if run_violations(**given | {"legs": timed}, structures=structures, limits=limits):
        note(
            "No way with fewer turns passed the last check; the route has all turns of the legs.",
            stacklevel=2,
        )
        return as_route(given["legs"])
    return route


def _proved(run: DayRun, stops: GeoDataFrame, depth: DepthSurface) -> tuple[Limits, GeoDataFrame]:
    """Prove the run by geometry alone; tell what it was held to, and give the run with few turns, proved as well.

    Raises
    ------
    NoSafeWay
        It fails.
    """
    from castshed.toolbox.errors import NoSafeWay
    from castshed.toolbox.water.proof.hours_check import HourLimits, SeasLet, hour_violations
    from castshed.toolbox.water.proof.last_check import Limits
    from castshed.toolbox.water.proof.launch_check import counted_everywhere_m
    from castshed.toolbox.water.proof.run_proof import run_violations

    given = run.arguments("proof") | {"stops": stops}
    by_hour = {name: given.pop(name) for name in ("exposure", "verdicts")}
    seas = SeasLet(*(given.pop(name) for name in ("head_limit_m", "beam_limit_m", "following_limit_m")))
    hours = HourLimits(given.pop("night"), given.pop("wind_limit_mps"), seas=seas)
    stated = given.pop("depth_error_m")
    boat = {name: given.pop(name) for name in tuple(given) if name in signature(Limits.of_boat).parameters}
    counted = counted_everywhere_m(depth, given["depth_confidence"]) if stated is None else stated
    limits = Limits.of_boat(**boat, depth_error_m=counted)
    structures = given.pop("spots")
    broken = run_violations(**given, structures=structures, limits=limits)
    broken += hour_violations(stops, given["legs"], hours, **by_hour, water=given["water"])
    if broken:
        raise NoSafeWay(
            f"The run failed the last check and is not written: {'; '.join(map(str, broken[:5]))}. Widen the "
            "clearance or leave that stop out, and report the case."
        )
    return limits, _few_turns(given, structures, limits)


def _next_command(day: Day, level_m: float) -> str:
    """Say how to make the sheet of the plan."""
    from shlex import quote

    from castshed.toolbox.units import FOOT_M

    us = day.units == "US"
    level = f"{level_m / FOOT_M:.4g}ft" if us else f"{level_m:.4g}m"
    words = ["castshed plan-sheet", "{folder}/plan.gpkg"]
    if day.layers.depth is not None:
        words.append(f"--depth {quote(f'{day.path.parent / day.lake.file}:depth')}")
    words += [f"--level {level}", f"--title {quote(day.title)}", f"--date {day.date.isoformat()}"]
    words += [] if us else ["--units metric"]
    words += [f"--paper {day.paper}"] if day.paper else []
    return f"Next, the sheet for boat and client: {' '.join(words)} --out {{folder}}/sheet"


def _as_steps(day: Day, file: str, *, paper: str | None = None, **changes: Any) -> str:
    """Write the chain as a steps file; none of its steps draws on paper."""
    del paper
    from castshed.toolbox.plan.day_changes import changed_day, changes_in_words
    from castshed.toolbox.plan.day_run import steps_of_day

    found = changes_in_words(**changes)
    return steps_of_day(changed_day(day, found) if found else day, file)


@algorithm(step="whole", example="castshed plan demo_layers/day.toml --out my_day", steps=_as_steps)
def plan(
    day: DayFile,
    *,
    level_m: TodaysLevel | None = None,
    wind: Words = "",
    date: DayOf = "",
    depart: Depart = "",
    back_by: BackBy = "",
    boat: WordList = (),
    change: WordList = (),
    paper: PaperSize | None = None,
) -> Annotated[FolderContents, FolderSet(FILES)]:
    """Plan the day of a day file and write it in open formats.

    Runs the chain: gather-spots, depth-surface where the lake has no coverage, water-today, find-structure where the
    day file has [structure] instead of lists of spots, shallow-hazards, cast-reach, boat-hold, wind-exposure, fishable,
    and shortest-run, or day-plan where the day says when to be back. The run is then proved once more by geometry
    alone: every leg keeps out of every hazard, closed zone and dry ground with the stated clearance, and every hold
    lies in water deep enough. A plan that fails the proof is not written.

    The folder gets plan.gpkg (all layers), run.gpx, plan.kml, plan.geojson, plan.json and map.png.

    Parameters
    ----------
    day
        The day file; castshed demo writes one to start from. The parameters below change it for this plan alone.
    wind
        Another wind: where it comes from and how fast, such as "SW 12mph", the file of a forecast, or none.
    boat
        Other values of the boat, such as draft=18in.
    change
        Other values of any section, such as run.at_most=8 or fishing.least_depth=5ft.

    Returns
    -------
    FolderContents
        The layers and files of the plan.

    Raises
    ------
    NothingFishable
        No spot passes; the message tells the commonest reasons.
    NoSafeWay
        No fishable spot can be reached from the ramp, or the run fails the last check.
    """
    import contextlib
    from dataclasses import replace

    import geopandas as gpd
    import shapely

    from castshed.toolbox.compiled import begun
    from castshed.toolbox.errors import DataError, NothingFishable, UsageError
    from castshed.toolbox.lineage import mark_level
    from castshed.toolbox.plan.day_changes import changed_day, changes_in_words, changes_told
    from castshed.toolbox.plan.day_run import DayRun
    from castshed.toolbox.plan.plan_folder import plan_folder
    from castshed.toolbox.report import collecting_notes, note, stages
    from castshed.toolbox.water.doubt.depth_doubt import depth_words
    from castshed.toolbox.water.hours.run_hours import by_the_hour
    from castshed.toolbox.water.hours.slowed_day import in_their_hours
    from castshed.toolbox.water.level.isobaths import isobath_lines
    from castshed.toolbox.water.verdicts.reach import commonest

    found = changes_in_words(
        level_m=level_m, wind=wind, date=date, depart=depart, back_by=back_by, boat=boat, change=change
    )
    day = changed_day(day, found) if found else day
    lake, level_m = day.layers, day.level_m
    run = DayRun(day)
    if day.run.back_by and not day.run.depart:
        raise UsageError("run.back_by is given without run.depart; give both.")
    with (
        collecting_notes() as caught,
        stages(STAGES) as stage,
        contextlib.ExitStack() as until_the_end,
    ):
        if found:
            note(f"Other than in {day.path.name}: {changes_told(found)}.", stacklevel=2)
        with stage("Gathering the spots"):
            book = run("book") if day.structure is None else None
            if book is not None and book.spots.empty:
                raise DataError(
                    "The lists of spots hold no spot that lies on or near this lake; see [spots] sources."
                )
        with stage("Making the depth surface"):
            apart = run("bottom", "the depth surface").contradictions if "bottom" in run.steps else None
            depth = run.layer("today", "depth")
            if book is not None:
                _doubt(day, depth, book.spots)
        with stage("Drawing today's water"):
            today = run("today", "today's water")
            if book is None and run("found", "the structure").empty:
                raise NothingFishable(
                    "No structure was found in the depths; widen from and to in [structure], or give lists of spots in "
                    "[spots] sources."
                )
        with stage("Marking what is too shallow"):
            hazards = run("thin", "the shallow hazards")
        # Nothing before the run needs the safe water: it is made while rings, holds and wind are worked.
        afloat = until_the_end.enter_context(begun(lambda: _keep_ready(run)))
        with stage("Drawing the cast rings"):
            reach = run("reach", "the cast rings")
        with stage("Placing the boat"):
            held = run("held", "the holds")
        with stage("Measuring the wind"):
            for name in ("spots_in_wind", "holds_in_wind"):
                if name in run.steps:
                    run(name)
            holds, hours = run.layer("judged", "holds"), run.layer("judged", "exposure")
            judged = run("judged")
            spots = judged.judged
        with stage("Choosing and timing the run"):
            if run("chosen").empty:
                raise NothingFishable(
                    f"{none_of(len(spots), 'spot is', 'spot is not')} fishable today. Commonest reasons: "
                    f"{commonest(spots['reason'])}.{by_the_hour(judged.verdicts)} Look at level, draft, margins and "
                    "wind in the day file."
                )
            afloat()
            made = run("run")
            made = made._replace(stops=in_their_hours(made.stops, hours))
        with stage("Proving the run"):
            limits, route = _proved(run, made.stops, depth)
        with stage("Writing it out"):
            spots = _verdicts_with_run(spots, made.stops, made.left_out)
            layers: dict[str, Any] = {
                "shoreline": lake.shoreline,
                "water": today.water,
                "depth_bands": today.depth_bands,
                "dry_ground": today.dry_ground,
                "shallow_hazards": hazards,
                **({} if lake.known_hazards is None else {"known_hazards": lake.known_hazards}),
                **({} if lake.zones is None else {"zones": lake.zones}),
                "ramps": lake.ramps,
                "spots": spots,
                "cast_reach": reach,
                "holds": holds.merge(spots[["spot_id", "name", "kind", "rating"]], on="spot_id", how="left"),
                "cast_lines": held.cast_lines,
                "stops": made.stops,
                "legs": made.legs,
                "route": route,
                "left_out": _all_left_out(spots, made.left_out),
                **(
                    {} if book is None else {"set_aside": book.set_aside, "gathered_from": book.gathered_from}
                ),
                **({} if judged.verdicts is None else {"verdicts": judged.verdicts}),
                **({} if hours is None else {"exposure": hours}),
                **({"answers": made.answers} if day.run.back_by else {}),
                **({} if apart is None or apart.empty else {"contradictions": apart}),
            }
            for name, layer in layers.items():
                mark_level(name, layer, level_m)
            notes = tuple(dict.fromkeys(caught))
            contents = plan_folder(
                layers,
                title=day.title,
                date=day.date.isoformat(),
                level_m=level_m,
                units=day.units,
                at_each_s=day.run.at_each_s,
                limits=limits,
                notes=notes,
                paper=paper or day.paper,
            )
            sunk = depth.shifted(level_m)
            drawn, depths = isobath_lines(sunk, sorted(set(today.depth_bands["from_m"]) - {0.0}))
            isobaths = gpd.GeoDataFrame({"depth_m": depths}, geometry=drawn, crs=depth.crs)
            mark_level("isobaths", isobaths, level_m)
            whole = {**contents.layers["plan.gpkg"], "isobaths": isobaths, "depth_today": sunk}
            contents = replace(
                contents,
                layers={"plan.gpkg": whole},
                types={**contents.types, "isobaths": ("LineString",)},
                said=(
                    contents.said[0],
                    *contents.said[1:-1],
                    units_in_order(
                        depth_words(depth, shapely.union_all(lake.shoreline.geometry)),
                        metric_first=day.units == "metric",
                    ),
                    contents.said[-1],
                ),
                then=_next_command(day, level_m),
            )
    for told in notes:
        note(told, stacklevel=2)
    return contents
