"""The catalogue page: every example on it is run, and what it shows is what comes out; what is stale is found."""

import copy
import io
import json
import re
import shutil
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

import in_process
from castshed.toolbox import docs
from castshed.toolbox.algorithm.catalogue import OWN, entries, load_entry
from castshed.toolbox.docs.running import SCENES, caption, differences, in_order, looks_otherwise
from castshed.toolbox.output.formats import palette

ALGORITHMS = Path(__file__).parents[2] / "algorithms"
PICTURES = ALGORITHMS / "pictures"
NAMES = sorted(n for n, e in entries().items() if e.origin == "castshed")
MOST_BYTES, MOST_TOGETHER = 60_000, 1_000_000


@pytest.mark.long
def test_every_example_runs_and_leaves_what_the_page_and_its_picture_show():
    words = ["-m", "castshed.toolbox.docs", "--check", "--examples", "--page", str(ALGORITHMS / "README.md")]
    done = subprocess.run(
        [sys.executable, "-W", "ignore", *words], capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr


@pytest.fixture
def copied(tmp_path):
    shutil.copy(ALGORITHMS / "README.md", tmp_path)
    shutil.copytree(PICTURES, tmp_path / "pictures")
    return tmp_path / "README.md"


def test_the_page_shows_each_algorithm_with_its_example_its_picture_and_what_came(copied):
    assert docs.stale_text(copied) == []
    text = copied.read_text(encoding="utf-8")
    told = docs.kept(PICTURES)
    for name in NAMES:
        part = text[text.index(f"### {name}\n") :].partition("\n### ")[0]
        assert load_entry(entries()[name]).example in part
        assert f"![{caption(name)}](pictures/{name}.png)" in part
        assert "\nOut: " in part.replace(". Out: ", ".\nOut: ")
        assert told[name]["layers"] or told[name]["files"]
    for name in OWN:
        assert f"### {name}\n" in text


def test_links_to_pictures_lead_somewhere_and_no_picture_is_left_over(copied):
    shown = re.findall(r"\]\((pictures/[^)]+)\)", copied.read_text(encoding="utf-8"))
    assert len(shown) == len(NAMES) == len(SCENES)
    assert {copied.parent / one for one in shown} == set((copied.parent / "pictures").glob("*.png"))


def test_pictures_are_small_and_say_what_they_show():
    sizes = [path.stat().st_size for path in PICTURES.glob("*.png")]
    assert max(sizes) < MOST_BYTES
    assert sum(sizes) < MOST_TOGETHER
    for name in NAMES:
        assert 30 < len(caption(name)) < 130, name
        with Image.open(PICTURES / f"{name}.png") as picture:
            assert picture.width == 640
            assert picture.mode == "P"


def change_example(folder):
    told = json.loads((folder / "pictures" / "examples.json").read_text(encoding="utf-8"))
    told["level"]["example"] += " --json"
    (folder / "pictures" / "examples.json").write_text(json.dumps(told), encoding="utf-8")


@pytest.mark.parametrize(
    ("change", "says"),
    [
        (lambda f: (f / "README.md").write_text("# old\n"), "README.md is stale"),
        (lambda f: (f / "README.md").unlink(), "README.md is stale"),
        (lambda f: (f / "pictures" / "level.png").unlink(), "level.png is not there"),
        (lambda f: shutil.copy(f / "pictures" / "level.png", f / "pictures" / "gone.png"), "of no algorithm"),
        (change_example, "the example of level was changed since"),
        (lambda f: (f / "pictures" / "examples.json").unlink(), "the example of level was never run"),
    ],
)
def test_what_is_stale_is_found_by_the_text_alone_with_its_remedy(copied, capsys, change, says):
    change(copied.parent)
    assert docs.main(["--check", "--page", str(copied)]) == 1
    said = capsys.readouterr().err
    assert says in said
    assert docs.REMEDY in said or "run python -m castshed.toolbox.docs" in said or "remove it" in said


def test_a_changed_result_is_told_and_last_digits_are_not():
    told = docs.kept(PICTURES)
    assert differences(told, told) == []
    fresh = copy.deepcopy(told)
    layer = fresh["boat-hold"]["layers"][0]
    layer["columns"]["depth_today_m"][1] *= 1.0 + 1e-5
    layer["shown"][0]["cast_m"] += 1e-4
    assert differences(told, fresh) == []
    layer["columns"]["depth_today_m"][1] *= 1.05
    layer["rows"] -= 1
    layer["shown"][0]["status"] = "none"
    found = differences(told, fresh)
    assert len(found) == 3
    assert any(words.startswith("boat-hold layers 0 rows: 25 is now 24") for words in found)
    del fresh["cast-reach"]
    assert "cast-reach: gone" in differences(told, fresh)


def png_of(image):
    made = io.BytesIO()
    image.save(made, format="PNG")
    return made.getvalue()


def test_a_picture_with_other_content_is_told_and_other_compression_is_not():
    data = (PICTURES / "boat-hold.png").read_bytes()
    with Image.open(io.BytesIO(data)) as picture:
        plain = picture.convert("RGB")
    assert not looks_otherwise(data, png_of(plain))
    noisy = np.asarray(plain, dtype=int) + np.random.default_rng(1).integers(
        -6, 7, (plain.height, plain.width, 1)
    )
    assert not looks_otherwise(data, png_of(Image.fromarray(np.clip(noisy, 0, 255).astype("u1"))))
    moved = plain.copy()
    moved.paste(plain.crop((0, 0, 500, plain.height)), (40, 0))
    assert looks_otherwise(data, png_of(moved))
    assert looks_otherwise(data, (PICTURES / "cast-reach.png").read_bytes())
    covered = plain.copy()
    covered.paste(tuple(int(c) for c in np.round(255 * palette.rgb(palette.HAZARD))), (300, 200, 340, 240))
    assert looks_otherwise(data, png_of(covered))


def test_what_others_start_from_runs_first():
    order = in_order(NAMES)
    assert order[:2] == ["demo", "plan"]
    assert sorted(order) == NAMES
    # each of these takes what the other leaves in my.gpkg
    assert order.index("find-structure") < order.index("structure-map")
    assert order.index("wind-exposure") < order.index("wind-picture")


@pytest.mark.parametrize("name", sorted(OWN))
def test_every_own_command_ends_its_help_with_an_example(name):
    from castshed.toolbox.cli.own_commands import own_example

    done = in_process.castshed(name, "--help", env={"COLUMNS": "300"})
    assert done.returncode == 0, done.stderr
    assert f"Example: {own_example(name)}" in " ".join(done.stdout.split())
