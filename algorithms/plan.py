"""The whole chain from one day file: gathered spots to a proved run in open formats."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Any, Final

from castshed.toolbox.algorithm import algorithm
from castshed.toolbox.parameters import DayFile, FolderContents, FolderSet, defaults

if TYPE_CHECKING:
    from geopandas import GeoDataFrame

    from castshed.toolbox.depth import DepthSurface
    from castshed.toolbox.plan.day_file import Boat, Day
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


def _depth(day: Day) -> tuple[DepthSurface, DepthSurface | None]:
    """Take the lake's coverage, or make one from its contours and soundings, with how far it may be off."""
    from dataclasses import replace

    from castshed.algorithms.depth_surface import depth_surface
    from castshed.toolbox.cache.kept_calls import kept

    surface, unsure = day.layers.depth, day.layers.depth_confidence
    if surface is None:
        surface, unsure = kept(depth_surface, "the depth surface")(
            day.layers.shoreline,
            contours=day.layers.contours,
            soundings=day.layers.soundings,
            cell_m=day.lake.cell_m,
        )
    stated = day.lake.depth_error_m
    return (surface if stated is None else replace(surface, error_m=stated)), unsure


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


def _drift_m(boat: Boat) -> float:
    """Keep a hold so far off what is too thin that the way to it, narrowed by beam and position error, reaches it."""
    return max(defaults.DRIFT_M, 1.4 * (boat.beam_m / 2.0 + boat.fix_error_m))


def _limits(boat: Boat, depth: DepthSurface, unsure: DepthSurface | None, level_error_m: float) -> Limits:
    """Work out once more, from the day alone, what the last check holds the run to."""
    from castshed.toolbox.water.proof.depth_doubt import counted_everywhere_m
    from castshed.toolbox.water.proof.last_check import Limits

    return Limits.of_boat(
        draft_m=boat.draft_m,
        running_depth_m=boat.running_depth_m,
        margin_m=boat.margin_m,
        depth_error_m=counted_everywhere_m(depth, unsure),
        level_error_m=level_error_m,
        beam_m=boat.beam_m,
        fix_error_m=boat.fix_error_m,
        clearance_m=boat.clearance_m,
        launch_m=defaults.LAUNCH_M,
    )


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


def _depart(day: Day) -> str:
    """Put date, clock time and zone of the day together."""
    from castshed.toolbox.clock_times import on_day

    return on_day(day.date, day.run.depart, day.zone, "run.depart")


def _in_the_wind(
    day: Day, spots: GeoDataFrame, holds: GeoDataFrame, water: GeoDataFrame, depth: DepthSurface
) -> tuple[GeoDataFrame, GeoDataFrame, GeoDataFrame | None]:
    """Measure wind and waves at spots and holds; of a forecast also by the hour, at the holds."""
    from castshed.algorithms.wind_exposure import wind_exposure

    if day.forecast is not None:
        date = day.date.isoformat()
        told: dict[str, Any] = {
            "forecast": day.forecast,
            "zone": day.zone,
            "first_time": f"{date}T00:00",
            "last_time": f"{date}T23:59",
        }
    elif day.wind.wind_from_deg is not None and day.wind.wind_speed_mps is not None:
        told = {"wind_from_deg": day.wind.wind_from_deg, "wind_speed_mps": day.wind.wind_speed_mps}
    else:
        return spots, holds, None
    there, at_holds = (
        wind_exposure(places, water, depth=depth, level_m=day.level_m, **told) for places in (spots, holds)
    )
    return there.places, at_holds.places, at_holds.exposure


def _handled(day: Day) -> dict[str, Any]:
    """Tell how the boat is handled, in the words of shortest-run and day-plan."""
    boat = day.boat
    return {
        "beam_m": boat.beam_m,
        "fix_error_m": boat.fix_error_m,
        "clearance_m": boat.clearance_m,
        "run_speed_mps": boat.run_speed_mps,
        "idle_speed_mps": boat.idle_speed_mps,
        "launch_m": defaults.LAUNCH_M,
    }


def _afloat(day: Day) -> dict[str, Any]:
    """Tell what floats the boat, in the same words."""
    return {"draft_m": day.boat.draft_m, "level_error_m": day.level.level_error_m}


def _keep_ready(day: Day, water: GeoDataFrame, hazards: GeoDataFrame) -> None:
    """Put the safe water that the run will ask for into the open store."""
    from castshed.toolbox.water.runs.afloat import Handling, keep_ready

    zones = day.layers.zones
    handling = Handling.of_boat(**_handled(day), idle_clearance_m=0.0)
    # Frames of its own: this is done while others work on the layers.
    keep_ready(water.copy(), hazards.copy(), None if zones is None else zones.copy(), handling)


def _run(
    day: Day,
    holds: GeoDataFrame,
    water: GeoDataFrame,
    hazards: GeoDataFrame,
    depth: DepthSurface,
    unsure: DepthSurface | None,
    verdicts: GeoDataFrame | None,
    depart: str,
) -> tuple[Any, GeoDataFrame | None]:
    """Order the best rated holds into a run, or choose those that fit the hours where the day says when to be back."""
    from castshed.algorithms.day_plan import day_plan
    from castshed.algorithms.shortest_run import shortest_run
    from castshed.toolbox.clock_times import on_day
    from castshed.toolbox.errors import UsageError

    run = day.run
    handled: dict[str, Any] = {
        "hazards": hazards,
        "zones": day.layers.zones,
        "depth": depth,
        "depth_confidence": unsure,
        "level_m": day.level_m,
        "start": run.start,
        "end": run.end,
        "depart": depart,
        **_handled(day),
        **_afloat(day),
    }
    if not run.back_by:
        found = shortest_run(
            holds, day.layers.ramps, water, at_most=run.at_most, at_each_s=run.at_each_s, **handled
        )
        return found, None
    if not depart:
        raise UsageError("run.back_by is given without run.depart; give both.")
    timed = day_plan(
        holds,
        day.layers.ramps,
        water,
        verdicts=verdicts,
        back_by=on_day(day.date, run.back_by, day.zone, "run.back_by"),
        value=run.value,
        must=run.must,
        never=run.never,
        windows=run.windows,
        at_each_s=run.at_each_s,
        longest_at_each_s=run.longest_at_each_s,
        stays=run.stays,
        fuel_l=run.fuel_l,
        engine_hp=run.engine_hp,
        **handled,
    )
    return timed, timed.answers


def _at_their_hour(stops: GeoDataFrame, hours: GeoDataFrame | None) -> GeoDataFrame:
    """Give stops the wind and waves of the hour at which the boat is there, where they are known by the hour."""
    import pandas as pd

    if hours is None or hours.empty or not (stops["arrive"] != "").any():
        return stops
    made = stops.copy()
    told = hours.assign(at=pd.to_datetime(hours["time"], utc=True)).sort_values("at", kind="stable")
    for row, (spot, arrive) in enumerate(zip(made["spot_id"], made["arrive"], strict=True)):
        own = told[told["spot_id"] == spot]
        if arrive and len(own):
            before = own[own["at"] <= pd.Timestamp(arrive).tz_convert("UTC")]
            hour = (before if len(before) else own).iloc[-1 if len(before) else 0]
            made.loc[row, ["wind_mps", "wave_m"]] = [float(hour["wind_mps"]), float(hour["wave_m"])]
    return made


def _commonest(spots: GeoDataFrame) -> str:
    """Tell the commonest reasons against the spots."""
    first = (
        spots["reason"]
        .str.split("; ")
        .str[0]
        .str.replace(r" *\(.*?\)|\d+\.?\d* m", "", regex=True)
        .str.strip(" ,")
    )
    counted = first.value_counts().head(3)
    return "; ".join(f"{count} x {reason}" for reason, count in counted.items())


def _as_steps(day: Day, file: str) -> str:
    """Write the chain as a steps file."""
    from castshed.toolbox.plan.plan_steps import steps_of_day

    return steps_of_day(
        day, file, drift_m=_drift_m(day.boat), depart=_depart(day), launch_m=defaults.LAUNCH_M
    )


@algorithm(step="whole", example="castshed plan demo_layers/day.toml --out my_day", steps=_as_steps)
def plan(day: DayFile) -> Annotated[FolderContents, FolderSet(FILES)]:
    """Plan the day of a day file and write it in open formats.

    Runs the chain: gather-spots, depth-surface where the lake has no coverage, water-today, shallow-hazards, cast-
    reach, boat-hold, wind-exposure, fishable, and shortest-run, or day-plan where the day says when to be back. The
    run is then proved once more by geometry alone: every leg keeps out of every hazard, closed zone and dry ground
    with the stated clearance, and every hold lies in water deep enough. A plan that fails the proof is not written.

    The folder gets plan.gpkg (all layers), run.gpx, plan.kml, plan.geojson, plan.json and map.png.

    Parameters
    ----------
    day
        The day file; castshed demo writes one to start from.

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

    import shapely

    from castshed.algorithms.boat_hold import boat_hold
    from castshed.algorithms.cast_reach import cast_reach
    from castshed.algorithms.fishable import fishable
    from castshed.algorithms.fishable_holds import fishable_holds
    from castshed.algorithms.gather_spots import gather_spots
    from castshed.algorithms.shallow_hazards import shallow_hazards
    from castshed.algorithms.water_today import water_today
    from castshed.toolbox.cache.kept_calls import kept
    from castshed.toolbox.errors import DataError, NoSafeWay, NothingFishable
    from castshed.toolbox.level_told import mark_level
    from castshed.toolbox.notes import collecting_notes, note
    from castshed.toolbox.plan.plan_folder import plan_folder
    from castshed.toolbox.report import stages
    from castshed.toolbox.threads import begun
    from castshed.toolbox.water.doubt.depth_doubt import depth_words
    from castshed.toolbox.water.proof.run_proof import run_violations

    boat, angler, level_m, lake = day.boat, day.angler, day.level_m, day.layers
    depart = _depart(day)
    with (
        collecting_notes() as caught,
        stages(STAGES) as stage,
        contextlib.ExitStack() as until_the_end,
    ):
        with stage("Gathering the spots"):
            book = gather_spots(day.spots, shoreline=lake.shoreline, depth_unit=day.lists.depth_unit)
            if book.spots.empty:
                raise DataError(
                    "The lists of spots hold no spot that lies on or near this lake; see [spots] sources."
                )
        with stage("Making the depth surface"):
            depth, unsure = _depth(day)
            _doubt(day, depth, book.spots)
        with stage("Drawing today's water"):
            today = kept(water_today, "today's water")(depth, lake.shoreline, level_m=level_m)
        with stage("Marking what is too shallow"):
            hazards = kept(shallow_hazards, "the shallow hazards")(
                depth,
                today.water,
                known_hazards=lake.known_hazards,
                depth_confidence=unsure,
                level_m=level_m,
                draft_m=boat.draft_m,
                running_depth_m=boat.running_depth_m,
                margin_m=boat.margin_m,
                level_error_m=day.level.level_error_m,
            )
        # Nothing before the run needs the safe water: it is made while rings, holds and wind are worked.
        afloat = until_the_end.enter_context(begun(lambda: _keep_ready(day, today.water, hazards)))
        with stage("Drawing the cast rings"):
            reach = kept(cast_reach, "the cast rings")(
                book.spots, today.water, least_cast_m=angler.least_cast_m, most_cast_m=angler.most_cast_m
            )
        with stage("Placing the boat"):
            held = kept(boat_hold, "the holds")(
                book.spots,
                depth,
                level_m=level_m,
                level_error_m=day.level.level_error_m,
                fix_error_m=boat.fix_error_m,
                least_cast_m=angler.least_cast_m,
                cast_m=angler.cast_m,
                most_cast_m=angler.most_cast_m,
                draft_m=boat.draft_m,
                margin_m=boat.margin_m,
                drift_m=_drift_m(boat),
                wind_from_deg=day.wind.wind_from_deg,
                depth_confidence=unsure,
                hazards=hazards,
                known_hazards=lake.known_hazards,
                zones=lake.zones,
            )
        with stage("Measuring the wind"):
            spots, holds, hours = _in_the_wind(day, book.spots, held.holds, today.water, depth)
            judged = fishable(
                spots,
                today.water,
                depth=depth,
                level_m=level_m,
                holds=holds,
                exposure=hours,
                zones=lake.zones if hours is not None else None,
                from_ramp=day.run.start if hours is not None else "",
                time_zone=day.zone,
                least_depth_m=day.fishing.least_depth_m,
                top_margin_m=day.fishing.top_margin_m,
                most_depth_m=day.fishing.most_depth_m,
                wave_limit_m=boat.wave_limit_m,
                wind_limit_mps=boat.wind_limit_mps,
                level_error_m=day.level.level_error_m,
                depth_confidence=unsure,
            )
            spots = judged.judged
        with stage("Choosing and timing the run"):
            rated = fishable_holds(holds, spots, least_rating=day.fishing.least_rating)
            if rated.empty:
                raise NothingFishable(
                    f"None of {len(spots)} spots is fishable today. Commonest reasons: {_commonest(spots)}. Look at "
                    "level, draft, margins and wind in the day file."
                )
            afloat()
            run, answers = _run(day, rated, today.water, hazards, depth, unsure, judged.verdicts, depart)
            run = run._replace(stops=_at_their_hour(run.stops, hours))
        with stage("Proving the run"):
            limits = _limits(boat, depth, unsure, day.level.level_error_m)
            broken = run_violations(
                run.stops,
                run.legs,
                holds,
                depth=depth,
                level_m=level_m,
                water=today.water,
                limits=limits,
                hazards=hazards,
                zones=lake.zones,
                dry_ground=today.dry_ground,
                structures=book.spots,
                ramps=lake.ramps,
                depth_confidence=unsure,
            )
            if broken:
                raise NoSafeWay(
                    f"The run failed the last check and is not written: {'; '.join(map(str, broken[:5]))}. Widen the "
                    "clearance or leave that stop out, and report the case."
                )
        with stage("Writing it out"):
            spots = _verdicts_with_run(spots, run.stops, run.left_out)
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
                "stops": run.stops,
                "legs": run.legs,
                "left_out": _all_left_out(spots, run.left_out),
                "set_aside": book.set_aside,
                "gathered_from": book.gathered_from,
                **({} if judged.verdicts is None else {"verdicts": judged.verdicts}),
                **({} if hours is None else {"exposure": hours}),
                **({} if answers is None else {"answers": answers}),
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
            )
            contents = replace(
                contents,
                said=(depth_words(depth, shapely.union_all(lake.shoreline.geometry)), *contents.said),
            )
    for told in notes:
        note(told, stacklevel=2)
    return contents
