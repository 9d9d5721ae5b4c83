"""One algorithm or steps file over many lakes: which lakes, what is done already, and what is left to do."""

from __future__ import annotations

import os
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from dataclasses import replace as replace_field
from pathlib import Path
from typing import Any, Final

from ..algorithm import catalogue
from ..cache.store import fingerprint
from ..errors import CastshedError, DataError, OutputExists, OutputFailed, UsageError
from ..layers.exchange import clear_abandoned
from ..layers.geopackage import is_geopackage
from ..real_files import is_folder, require_ordinary
from .dask_crew import do_lakes
from .gathering import check_gathered, gather, gathers, parts_folder
from .lake_arguments import algorithm_work, steps_work
from .lake_work import FOLDER, Job, LakeWork, Outcome, input_digest, read_record, result_digest

_SHOWN: Final = 3
_LONGEST: Final = 200  # bytes: a file system takes 255, and temporary names are longer
STEPS_ENDING: Final = ".toml"


@dataclass(frozen=True)
class Summary:
    """How a run over many lakes went: an outcome for each lake, how many tasks it took, the gathered file."""

    algorithm: str
    outcomes: tuple[Outcome, ...]
    tasks: int
    gathered: Path | None = None

    @property
    def failed(self) -> tuple[Outcome, ...]:
        """The lakes that failed."""
        return tuple(o for o in self.outcomes if o.error)


def _listed(path: Path) -> list[Path]:
    """List the lakes of a folder, of a text file of paths, or the one that is a GeoPackage itself."""
    if is_folder(path):
        found = sorted(p for p in path.iterdir() if is_geopackage(p) and not p.name.startswith("."))
        if not found:
            raise DataError(f"{path} holds no GeoPackage (*.gpkg); name the folder of the lakes.")
        return found
    wanted = "a folder of GeoPackages, a GeoPackage, or a list of them"
    require_ordinary(path, wanted, f"give {wanted}")
    if is_geopackage(path):
        return [path]
    try:
        lines = path.read_text(encoding="utf-8-sig").splitlines()
    except (OSError, UnicodeDecodeError) as error:
        raise DataError(f"{path} cannot be read as a list of GeoPackages, one a line ({error}).") from error
    named = [line.strip() for line in lines if line.strip() and not line.lstrip().startswith("#")]
    found = [path.parent / line for line in named]
    strange = [line for line, p in zip(named, found, strict=True) if not is_geopackage(p)]
    if strange or not found:
        what = f"'{strange[0][:80]}' is none" if strange else "it is empty"
        raise DataError(f"{path} must list GeoPackages (*.gpkg), one a line; {what}.")
    return found  # one that is missing fails by itself, named, and harms no other


def find_lakes(places: Sequence[Path]) -> dict[str, Path]:
    """List lakes by name, the name being that of the file without its ending.

    Raises
    ------
    DataError, FileMissing, UsageError
        Nothing there, or two lakes of one name.
    """
    found: dict[str, Path] = {}
    for path in dict.fromkeys(p.absolute() for place in places for p in _listed(place)):
        twin = next((p for n, p in found.items() if n.casefold() == path.stem.casefold()), None)
        if twin is not None:
            raise UsageError(f"Two lakes are called {path.stem}: {twin} and {path}; rename one of them.")
        found[path.stem] = path
    return found


def _parted(found: dict[str, Path]) -> tuple[dict[str, Path], list[Outcome]]:
    """Part lakes whose names can be those of results from those that fail by theirs."""
    fit: dict[str, Path] = {}
    unfit: list[Outcome] = []
    for lake, path in found.items():
        try:
            size = len(str(path).encode()) and len(lake.encode())
        except UnicodeEncodeError:
            words = "its name, or that of its folder, is not UTF-8; rename it."
        else:
            if lake.startswith("."):
                words = f"'{lake}' cannot be the name of a result, for it begins with a full stop; rename the file."
            elif size > _LONGEST:
                words = (
                    f"its name has {size} bytes, and that of a result at most {_LONGEST}; rename the file."
                )
            else:
                fit[lake] = path
                continue
        shown = os.fsencode(lake).decode("utf-8", "backslashreplace")
        unfit.append(Outcome(shown, "failed", error=words, code=DataError.exit_code))
    return fit, unfit


def _key(job: Job) -> str:
    inputs = []
    for name, texts, marker in job.work.inputs(job.given):
        inputs += [name, *(input_digest(text, marker) for text in texts)]
    return fingerprint(job.work.told, *inputs)


def _work(algorithm: str, arguments: Sequence[str]) -> LakeWork:
    folders = os.environ.get(catalogue.FOLDERS, "")
    if not algorithm.lower().endswith(STEPS_ENDING):
        return algorithm_work(algorithm, arguments, folders)
    if arguments:
        raise UsageError(
            f"A steps file takes no arguments, and {' '.join(arguments)[:80]} was given; write them into the steps."
        )
    return steps_work(Path(algorithm), folders)


def _states(jobs: Sequence[Job], *, replace: bool) -> tuple[list[Outcome], list[Job]]:
    """Part the lakes into those done already and those to do; refuse to replace what was not asked for."""
    kept: list[Outcome] = []
    left: list[Job] = []
    taken: list[str] = []
    for job in jobs:
        record = read_record(job.record)
        there = result_digest(job.out)
        if there and record is not None and record.key == job.key and record.result == there:
            kept.append(Outcome(job.lake, "kept", record.seconds, record.features, tuple(record.warnings)))
            continue
        begun = record is not None and not record.result
        if there and not begun:
            taken.append(job.lake)
        left.append(job)
    if taken and not replace:
        shown = ", ".join(taken[:_SHOWN]) + (
            f" and {len(taken) - _SHOWN:,} more" if len(taken) > _SHOWN else ""
        )
        raise OutputExists(
            f"Results of {shown} are there, made from something else or changed since; add --replace to replace them "
            "(what is done already is kept), or choose another --out."
        )
    return kept, left


def _bytes(path: Path) -> int:
    try:
        return path.stat().st_size
    except OSError:
        return 0


def _folder(out: Path, *, fresh: bool) -> None:
    if out.exists() and not out.is_dir():
        raise OutputExists(f"{out} is a file; give --out a folder, FILE.gpkg or FILE.parquet.")
    home = out if out.exists() else out.absolute().parent
    if not home.is_dir():
        raise OutputFailed(f"The folder {home} is not there; make it first.")
    if not os.access(home, os.W_OK):
        raise OutputFailed(f"{home} is read-only; choose another folder.")
    if fresh:
        try:
            (out / FOLDER).mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise OutputFailed(f"{out} could not be made ({error}).") from error


def over_lakes(
    algorithm: str,
    arguments: Sequence[str],
    lakes: Sequence[Path],
    out: Path,
    *,
    replace: bool = False,
    crs: str | None = None,
    workers: int | None = None,
    scheduler: Any = None,
    without_tls: bool = False,
) -> Summary:
    """Run an algorithm or a steps file over many lakes, one task a lake.

    Parameters
    ----------
    algorithm
        Its name, or that of a steps file (``.toml``).
    arguments
        Its inputs and options as on its own command line; ``{lake}`` stands for the lake's file, ``{name}`` for its
        name. A steps file has none: the placeholders stand in it.
    lakes
        Folders of GeoPackages, GeoPackages, or text files that list them.
    out
        A folder, for one result a lake; or ``FILE.gpkg`` or ``FILE.parquet``, which gathers them.
    replace
        Whether results made from something else may be replaced.
    crs
        Reference system of what is gathered.
    workers, scheduler, without_tls
        See `castshed.toolbox.lakes.dask_crew.do_lakes`.

    Returns
    -------
    An outcome for every lake, whatever happened to others.

    Raises
    ------
    CastshedError
        Nothing could be run at all: arguments, lakes, output or cluster.
    """
    work = _work(algorithm, arguments)
    found, unfit = _parted(find_lakes(lakes))
    one_file = gathers(out)
    if crs is not None and not one_file:
        raise UsageError(
            "--crs is for what is gathered into one file; write that of the algorithm after its name."
        )
    if one_file:
        check_gathered(work, out, replace=replace)
    folder = (parts_folder(out) if one_file else out).absolute()

    def job(lake: str, path: Path) -> Job:
        bare = Job(
            lake,
            work,
            work.given(lake, path),
            folder / (lake if work.folder else f"{lake}.gpkg"),
            folder / FOLDER / "lakes" / f"{lake}.json",
            "",
        )
        return replace_field(bare, key=_key(bare))

    written = {out.resolve()} if one_file or not work.folder else set()
    if not work.folder:
        written |= {(folder / f"{lake}.gpkg").resolve() for lake in found}
    clash = [p for p in found.values() if p.resolve() in written]
    if clash:
        raise UsageError(f"{out} would be written over the lake {clash[0]}; choose another --out.")
    _folder(folder, fresh=False)
    with ThreadPoolExecutor() as readers:
        jobs = list(readers.map(job, found, found.values()))
    kept, left = _states(jobs, replace=replace)
    if left:
        _folder(folder, fresh=True)
    left.sort(
        key=lambda j: _bytes(found[j.lake]), reverse=True
    )  # else the largest might keep all waiting at the end
    fresh = do_lakes(left, workers=workers, scheduler=scheduler, without_tls=without_tls)
    clear_abandoned(folder)
    by_name = {o.lake: o for o in [*kept, *fresh]}
    outcomes = (*(by_name[lake] for lake in found), *unfit)
    parts = {j.lake: j.out for j in jobs if not by_name[j.lake].error}
    if one_file and parts:
        gather(work, parts, out, replace=replace, crs=crs, lineage=work.lineage(list(parts)))
    return Summary(work.name, outcomes, len(left), out if one_file and parts else None)


def check_all_done(summary: Summary) -> None:
    """Raise where lakes failed, naming them.

    Raises
    ------
    CastshedError
        With the exit code that they share, else 1.
    """
    failed = summary.failed
    if not failed:
        return
    names = ", ".join(o.lake for o in failed[:20]) + (
        f" and {len(failed) - 20:,} more" if len(failed) > 20 else ""
    )
    error = CastshedError(
        f"{len(failed):,} of {len(summary.outcomes):,} lakes failed ({names}); the others are done. Mend them and run "
        "the same command again: only they are tried."
    )
    codes = {o.code for o in failed}
    error.exit_code = codes.pop() if len(codes) == 1 else 1
    raise error
