"""One name, one thing in the code too: no two classes share a name, and no two files but a format's reader and writer."""

import re
from collections import Counter
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
FILES = sorted(path for room in ("toolbox", "algorithms") for path in (ROOT / room).rglob("*.py"))
BOTH_WAYS = ("geojson.py", "gpx.py", "kml.py", "shapefile.py")
"""Formats that are read and written: a file in sources/, one in output/formats/."""
PYTHONS_OWN = ("__init__.py", "__main__.py")


def twice(names):
    return sorted(name for name, count in Counter(names).items() if count > 1)


def classes(text):
    return re.findall(r"(?m)^class (\w+)", text)


def test_no_two_classes_share_a_name():
    assert len(FILES) > 200
    assert twice(name for path in FILES for name in classes(path.read_text(encoding="utf-8"))) == []


def test_no_two_files_share_a_name_but_the_reader_and_the_writer_of_a_format():
    for name in twice(path.name for path in FILES if path.name not in PYTHONS_OWN):
        assert name in BOTH_WAYS
        rooms = sorted(path.parent.relative_to(ROOT).as_posix() for path in FILES if path.name == name)
        assert rooms == ["toolbox/output/formats", "toolbox/sources"]


@pytest.mark.parametrize("text", ["class Lake:\n    pass\n", "class Lake(Base):\n    pass\n"])
def test_a_second_class_of_one_name_is_found(text):
    assert twice([*classes(text), *classes("import a\n\n\nclass Lake:\n    pass\n")]) == ["Lake"]
