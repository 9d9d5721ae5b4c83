"""A lake in the forms in which it is handed out, brought in by one command each, and judged by what is known of it.

`forms`: 24 forms written by other programs. One is in when the command ends well, the depths at places kept back are off
by no more than 1.1 times what the same data give as a careful person hands them in (95th percentile), and the
shoreline's area is right to 0.5 %. Done but worse is silently wrong. `untold`: 12 forms that cannot be told have to stop
with the option that answers them, leave nothing behind, and come in with the answer. `big`: a million soundings and
5,000 contours of 200 vertices. `day`: from the download to a plan in two commands. `hostile`: broken files, no traceback
and nothing written. `--lake FILE` gives the lake from outside; without it the forms of it are left out.
"""

from __future__ import annotations

import shutil
import sys
import tempfile
import warnings
from pathlib import Path

from bring_more import big, day, hostile
from bring_runs import TRACE, last_words, off_truth, run, words_of

from castshed.toolbox.layers import read_layer, read_surface
from lake_packages import FORMS, UNTOLD, write_package, write_untold

PARTS = ("forms", "untold", "big", "day", "hostile")
WORSE = 1.1
ROUNDING_M = 0.02  # forms keep centimetres and hundredths of a foot
AREA_SHARE = 0.005
UNKNOWN_SHARE = 0.02  # of the places kept back, more than that without a depth is a hole


def clean_off(package) -> float:
    """What the same data give as a careful person hands them in."""
    from castshed.algorithms.depth_surface import depth_surface

    clean, lake = package.clean, package.lake
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        made = depth_surface(
            clean.shoreline, contours=clean.contours, soundings=clean.soundings, raster=clean.raster, cell_m=lake.cell_m
        )  # fmt: skip
    return off_truth(made.depth, lake.truth)[0]


def judged(package, out: Path) -> dict[str, object]:
    """How a lake that came in stands beside the truth."""
    from castshed.toolbox.errors import CastshedError

    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            surface = read_surface(f"{out / 'lake.gpkg'}:depth")
            shore = read_layer(f"{out / 'lake.gpkg'}:shoreline")
    except (CastshedError, OSError) as problem:
        return {"wrong": f"no lake to read: {problem}"[:300]}
    off, unknown = off_truth(surface, package.lake.truth)
    clean = clean_off(package)
    area = float(shore.to_crs(package.lake.crs).area.sum()) / package.lake.truth.area_m2 - 1.0
    told = {"p95_m": off, "clean_p95_m": clean, "area_off": area, "unknown": unknown}
    faults = []
    if off > WORSE * clean + ROUNDING_M:
        faults.append(f"depth off by {off:.2f} m where clean data are by {clean:.2f} m")
    if abs(area) > AREA_SHARE:
        faults.append(f"area off by {area:.2%}")
    if unknown > UNKNOWN_SHARE:
        faults.append(f"no depth at {unknown:.1%} of the places")
    missing = {"day.toml", "lake.png", "read.csv"} - {p.name for p in out.iterdir()}
    if missing:
        faults.append(f"missing: {', '.join(sorted(missing))}")
    return told | ({"wrong": "; ".join(faults)} if faults else {})


def bring_form(name: str, folder: Path, seed: int, lake) -> dict[str, object] | None:
    """One of the 24: in, refused, crashed or silently wrong, and why."""
    package = write_package(name, folder, seed, lake)
    if package is None:
        return None
    out = folder / "brought"
    code, text, seconds, memory = run(*words_of(package, out), folder=folder)
    told: dict[str, object] = {"seconds": seconds, "mb": memory}
    if TRACE in text or code not in {0, 2, 3, 4, 5}:
        return told | {"came": "crashed", "why": last_words(text)}
    if code:
        return told | {"came": "refused", "why": last_words(text)}
    verdict = judged(package, out)
    return told | verdict | {"came": "wrong" if "wrong" in verdict else "in"}


def ask_form(name: str, folder: Path, seed: int) -> dict[str, object]:
    """One of the 12: has it asked, with the option that answers; did that answer bring it in?"""
    package = write_untold(name, folder, seed)
    out = folder / "brought"
    code, text, _, _ = run(*words_of(package, out), folder=folder)
    told: dict[str, object] = {"asks_for": package.asks_for}
    if TRACE in text or code not in {0, 2, 3, 4, 5}:
        return told | {"asked": False, "why": "crashed: " + last_words(text)}
    if code == 0:
        verdict = judged(package, out)
        return told | {
            "asked": False,
            "assumed": True,
            "why": f"assumed, {verdict.get('wrong', 'and right')}",
        }
    if code != 3 or package.asks_for not in text:
        return told | {
            "asked": False,
            "why": f"exit {code}, {package.asks_for} not named: {last_words(text)}",
        }
    if out.exists():
        return told | {"asked": False, "why": "asked, but left something behind"}
    code, text, _, _ = run(*words_of(package, out, package.answer), folder=folder)
    if code:
        return told | {"asked": True, "answered": False, "why": f"answered, exit {code}: {last_words(text)}"}
    verdict = judged(package, out)
    return told | {"asked": True, "answered": "wrong" not in verdict} | verdict


def _each(names, work, root: Path) -> dict[str, dict[str, object]]:
    found = {}
    for name in names:
        folder = root / name
        folder.mkdir()
        told = work(name, folder)
        if told is not None:
            found[name] = told
            print(f"{name}: {told.get('came', told.get('asked'))} {told.get('why', told.get('wrong', ''))}", file=sys.stderr)  # fmt: skip
        shutil.rmtree(folder)
    return found


def measure(seed: int, quick: bool, parts=PARTS, lake: str | None = None) -> dict[str, object]:
    """Bring lakes in, in every form."""
    result: dict[str, object] = {}
    with tempfile.TemporaryDirectory() as name:
        root = Path(name)
        if "forms" in parts:
            names = list(FORMS)[::4] if quick else list(FORMS)
            found = _each(names, lambda n, f: bring_form(n, f, seed, lake), root)
            result |= {
                "forms": len(found),
                "forms_in": sum(t["came"] == "in" for t in found.values()),
                "silently_wrong": sum(t["came"] == "wrong" for t in found.values()),
                "by_form": found,
            }
        if "untold" in parts:
            names = list(UNTOLD)[::4] if quick else list(UNTOLD)
            found = _each(names, lambda n, f: ask_form(n, f, seed), root)
            result |= {
                "untold": len(found),
                "asked": sum(bool(t["asked"]) for t in found.values()),
                "answered": sum(bool(t.get("answered")) for t in found.values()),
                "by_untold": found,
            }
        if "big" in parts:
            result["big"] = big(seed, quick, root)
        if "day" in parts:
            result["day"] = day(seed, root)
        if "hostile" in parts:
            result["hostile"] = hostile(seed, quick, root)
    return result
