"""The command line run inside the tests' own process: as a process would answer, without its seconds of start-up.

Standard streams are exchanged at the level of file descriptors, so that what a library in C writes is seen too. Folder,
environment, arguments, warnings, contexts, and modules of one-file algorithms and of a `PYTHONPATH` of the call's own are put
back afterwards. Where the process itself is the point (pipes of a shell, kills, terminals, start-up), start one.
"""

from __future__ import annotations

import contextlib
import contextvars
import importlib
import io
import os
import subprocess
import sys
import tempfile
import traceback
import warnings
from pathlib import Path

AS_PROCESSES = (
    "CASTSHED_TESTS_AS_PROCESSES"  # set, every call is a process of its own: the same tests, slowly
)
CODE = "import sys; sys.argv[0] = 'castshed'; from castshed.toolbox.cli import main; main()"


@contextlib.contextmanager
def _streams(given):
    """Standard streams on files of their own; yields the two that are written."""
    sys.stdout.flush()
    sys.stderr.flush()
    with contextlib.ExitStack() as stack:
        files = [stack.enter_context(tempfile.TemporaryFile()) for _ in range(3)]
        files[0].write(given or b"")
        files[0].seek(0)
        kept = [os.dup(number) for number in range(3)]
        before = sys.stdin, sys.stdout, sys.stderr
        try:
            for number, file in enumerate(files):
                os.dup2(file.fileno(), number)
            sys.stdin = io.TextIOWrapper(io.FileIO(0, closefd=False), "utf-8", "surrogateescape")
            sys.stdout = _written_to(1, "surrogateescape")
            sys.stderr = _written_to(2, "backslashreplace")
            yield files[1:]
        finally:
            with contextlib.suppress(OSError):
                sys.stdout.flush()
            with contextlib.suppress(OSError):
                sys.stderr.flush()
            sys.stdin, sys.stdout, sys.stderr = before
            for number, copy in enumerate(kept):
                os.dup2(copy, number)
                os.close(copy)


def _written_to(number, errors):
    raw = io.BufferedWriter(io.FileIO(number, "w", closefd=False))
    return io.TextIOWrapper(raw, "utf-8", errors, line_buffering=number == 2)


def _shown(message, category, filename, lineno, file=None, line=None):
    print(warnings.formatwarning(message, category, filename, lineno, line), end="", file=sys.stderr)


def _lies_in(module, places):
    return any(
        str(getattr(module, "__file__", None) or "").startswith(f"{place}{os.sep}") for place in places
    )


@contextlib.contextmanager
def _found_in(places):
    """Modules and distributions of these folders are found first, and forgotten afterwards."""
    sys.path[:0] = places
    importlib.invalidate_caches()
    try:
        yield
    finally:
        if places:
            del sys.path[: len(places)]
            for name in [name for name, module in sys.modules.items() if _lies_in(module, places)]:
                del sys.modules[name]
            importlib.invalidate_caches()


def _own_places(env):
    """Folders that a ``PYTHONPATH`` of its own puts before those of the tests."""
    told = (env or {}).get("PYTHONPATH") or ""
    return [] if told == os.environ.get("PYTHONPATH") else [one for one in told.split(os.pathsep) if one]


@contextlib.contextmanager
def _surroundings(cwd, env, words):
    folder, environment, arguments, modules = Path.cwd(), dict(os.environ), sys.argv, set(sys.modules)
    try:
        os.chdir(cwd or folder)
        if env is not None:
            os.environ.clear()
            os.environ.update({name: str(value) for name, value in env.items()})
        sys.argv = ["castshed", *words]
        with warnings.catch_warnings():
            warnings.showwarning = _shown
            yield
    finally:
        sys.argv = arguments
        os.environ.clear()
        os.environ.update(environment)
        os.chdir(folder)
        for name in set(sys.modules) - modules:
            if name.startswith("castshed_folder_"):  # a changed file is read anew, as by a new process
                del sys.modules[name]


def _main():
    from castshed.toolbox.cli import main

    try:
        main()
    except SystemExit as end:
        if isinstance(end.code, int | None):
            return end.code or 0
        print(end.code, file=sys.stderr)
        return 1
    except BaseException:  # noqa: BLE001  # a process would end so, and the tests look for the word
        traceback.print_exc()
        return 1
    return 0


def castshed(*words, cwd=None, env=None, given=None, text=True, alone=False):
    """Run a command; what `subprocess.run` would give of it, output captured.

    ``env`` is the whole environment; ``given`` are the bytes of standard input. With ``alone`` it is a process in any case.
    """
    words = [str(word) for word in words]
    if alone or os.environ.get(AS_PROCESSES):
        done = subprocess.run(
            [sys.executable, "-c", CODE, *words], cwd=cwd, env=env, input=given or b"", capture_output=True, check=False
        )  # fmt: skip
        code, out, err = done.returncode, done.stdout, done.stderr
    else:
        with _streams(given) as files:
            with _found_in(_own_places(env)), _surroundings(cwd, env, words):
                code = contextvars.copy_context().run(_main)
            sys.stdout.flush()
            sys.stderr.flush()
            out, err = (os.pread(file.fileno(), os.fstat(file.fileno()).st_size, 0) for file in files)
    if text:
        out, err = (part.decode("utf-8").replace("\r\n", "\n") for part in (out, err))
    return subprocess.CompletedProcess(["castshed", *words], code, out, err)
