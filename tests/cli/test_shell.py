"""At the shell: completion, colours, narrow terminals, and names of files and layers as people have them."""

import os
import shutil
import subprocess
import sys

import pytest

import in_process
from castshed.toolbox.command.command import join_at_colon, layer_completer
from castshed.toolbox.layers import list_layers, parse_reference, write_layers
from castshed.toolbox.parameters import POINT, Layer, Surface

CODE = "from castshed.toolbox.cli import main; main()"
HEAVY = (
    "numpy",
    "pandas",
    "shapely",
    "pyproj",
    "pyogrio",
    "geopandas",
    "rasterio",
    "scipy",
    "matplotlib",
    "pint",
)


@pytest.fixture
def home(tmp_path, lake):
    write_layers(
        tmp_path / "lake.gpkg",
        {"depth": lake.depth, "spots": lake.spots, "shoreline": lake.shoreline, "my spots": lake.spots},
    )
    shutil.copy(tmp_path / "lake.gpkg", tmp_path / "my lake.gpkg")
    return tmp_path


def offered(home, *words, after=""):
    """Ask as bash does: words parted at colons too, the last one unfinished."""
    spy = (
        "import atexit, sys\n"
        f"atexit.register(lambda: print([m for m in {HEAVY!r} if m in sys.modules], file=sys.stderr))\n"
    )
    # a process of its own, named as the command is: the shell's script asks the command itself
    done = subprocess.run(
        [sys.executable, "-c", f"{spy}import sys; sys.argv = ['castshed']; {CODE}"],
        capture_output=True,
        text=True,
        cwd=home,
        env={
            **os.environ,
            "_CASTSHED_COMPLETE": "complete_bash",
            "COMP_WORDS": " ".join(["castshed", *words, after]),
            "COMP_CWORD": str(len(words) + (1 if after or not words or words[-1] != ":" else 0)),
        },
        check=False,
    )
    assert done.stderr.strip() == "[]", done.stderr
    return set(done.stdout.splitlines()) - {""}


def test_commands_options_choices_and_names_are_offered(home):
    assert offered(home, after="boat") == {"boat-hold"}
    assert {"describe", "run-steps", "plan"} <= offered(home)
    assert offered(home, "boat-hold", after="--least") == {"--least-cast"}
    assert offered(home, "gather-spots", "a.csv", "--depth-unit") == {"ft", "m"}
    assert offered(home, "describe", after="shallow") == {"shallow-hazards"}


@pytest.mark.parametrize(
    ("words", "after", "layers"),
    [
        (["boat-hold", "lake.gpkg", ":"], "sp", {"spots"}),
        (["boat-hold", "lake.gpkg", ":"], "", {"spots", "shoreline", "my\\ spots"}),
        (["boat-hold", "lake.gpkg:spots", "lake.gpkg", ":"], "d", {"depth"}),
        (["boat-hold", "--water", "lake.gpkg", ":"], "sh", {"shoreline"}),
        (["boat-hold", "my\\ lake.gpkg", ":"], "sp", {"spots"}),
        (["boat-hold", "'my lake.gpkg'", ":"], "sp", {"spots"}),
        (["boat-hold", "gone.gpkg", ":"], "sp", set()),
        (["boat-hold"], "lake.gpkg:sp", {"lake.gpkg:spots"}),
        (["boat-hold"], "lake.g", set()),
    ],
)
def test_layers_of_the_kind_that_is_wanted_are_offered(home, words, after, layers):
    assert offered(home, *words, after=after) == layers


@pytest.mark.skipif(shutil.which("bash") is None, reason="no bash here")
def test_bash_itself_completes_a_layer(home, lake):
    write_layers(home / "lake.gpkg", {"Stellen 水": lake.spots})
    (home / "castshed").write_text(f"#!{sys.executable}\n{CODE.replace('; ', chr(10))}\n")
    (home / "castshed").chmod(0o755)
    script = """
    PATH=$PWD:$PATH
    eval "$(castshed --show-completion bash)"
    for begun in sp Ste; do
        COMP_WORDS=(castshed boat-hold lake.gpkg : $begun); COMP_CWORD=4
        _castshed_completion castshed
        printf '%s\\n' "${COMPREPLY[@]}"
    done
    """
    env = {**os.environ, "_TYPER_COMPLETE_TEST_DISABLE_SHELL_DETECTION": "1"}
    done = subprocess.run(
        ["bash", "--norc", "-c", script], cwd=home, env=env, capture_output=True, text=True, check=False
    )
    assert done.stdout.splitlines() == ["spots", "Stellen\\ 水"], done.stderr


def test_other_words_are_left_as_they_are():
    for words, at in (("castshed boat-hold lake.gpkg", "2"), ("castshed", "x"), ("castshed : ", "0")):
        told = {"_CASTSHED_COMPLETE": "complete_bash", "COMP_WORDS": words, "COMP_CWORD": at}
        before = dict(told)
        join_at_colon(told)
        assert told == before
    assert layer_completer(Layer("spots", POINT))("C:") == []
    assert layer_completer(Surface("depth"))("") == []


@pytest.mark.parametrize(
    ("text", "path", "layer"),
    [
        (r"C:\lake.gpkg:spots", r"C:\lake.gpkg", "spots"),
        (r"C:\lake.gpkg", r"C:\lake.gpkg", None),
        ("C:lake.gpkg", "C:lake.gpkg", None),
        ("C:/my lakes/Größer See.gpkg:Plätze 2", "C:/my lakes/Größer See.gpkg", "Plätze 2"),
        (r"\\?\D:\lake.gpkg:spots", r"\\?\D:\lake.gpkg", "spots"),
        (r"\\?\D:\lake.gpkg", r"\\?\D:\lake.gpkg", None),
        (r"\\server\share\lake.gpkg:spots", r"\\server\share\lake.gpkg", "spots"),
        ("湖.gpkg:水", "湖.gpkg", "水"),
        ("a:b.gpkg:spots", "a:b.gpkg", "spots"),
    ],
)
def test_drive_letters_spaces_and_other_scripts_in_references(text, path, layer):
    ref = parse_reference(text)
    assert (str(ref.path), ref.layer) == (path, layer)


def castshed(home, *arguments, **environment):
    return in_process.castshed(*arguments, cwd=home, env={**os.environ, "COLUMNS": "200", **environment})


def test_names_with_spaces_and_in_other_scripts_from_end_to_end(tmp_path, lake):
    home = tmp_path / "Größer See 湖"
    home.mkdir()
    write_layers(
        home / "мой lake.gpkg", {"Stellen 水": lake.spots, "Wasser ä": lake.shoreline.assign(water_id=["1"])}
    )
    done = castshed(
        home, "cast-reach", "мой lake.gpkg:Stellen 水", "мой lake.gpkg:Wasser ä", "-o", "neu ö.gpkg:Ring 輪"
    )
    assert done.returncode == 0, done.stderr
    assert "neu ö.gpkg:Ring 輪" in done.stdout
    assert list(list_layers(home / "neu ö.gpkg")) == ["Ring 輪"]
    wrong = castshed(home, "cast-reach", "мой lake.gpkg:Stelle 水", "мой lake.gpkg:Wasser ä", "-o", "x.gpkg")
    assert wrong.returncode == 3
    assert "Stellen 水" in wrong.stderr


@pytest.mark.parametrize("columns", ["30", "60"])
@pytest.mark.parametrize(
    "arguments", [["boat-hold", "--help"], ["run-steps", "--help"], ["describe", "--help"]]
)
def test_a_page_of_help_fits_a_narrow_terminal_and_has_no_colours_without_one(home, arguments, columns):
    done = castshed(home, *arguments, COLUMNS=columns)
    assert done.returncode == 0
    assert max(len(line) for line in done.stdout.splitlines()) <= int(columns)
    assert "\x1b" not in done.stdout


def test_colours_follow_no_color(home):
    assert "\x1b[" in castshed(home, "--help", FORCE_COLOR="1", TERM="xterm").stdout
    plain = castshed(home, "--help", FORCE_COLOR="1", NO_COLOR="1", TERM="xterm").stdout
    # NO_COLOR (no-color.org) speaks of colours; bold may stay. SGR 30 to 37 and 90 to 97 are the colours (ECMA-48)
    assert "\x1b[3" not in plain
    assert "\x1b[9" not in plain


def test_a_name_that_is_too_long_for_any_file_is_told_as_missing(home):
    done = castshed(home, "cast-reach", "x" * 5000, "lake.gpkg:shoreline", "-o", "y.gpkg")
    assert done.returncode in (2, 3), done.stderr
    assert "Traceback" not in done.stderr
