"""What somebody else laid into a store is never taken, waited for, followed or deleted."""

from __future__ import annotations

import functools
import os
import shutil
import stat
import subprocess
import sys
import threading

import numpy as np
import pytest
import shapely

from cache.test_kept_calls import chain, same
from cache.test_store import layers
from castshed.toolbox.cache.store import (
    SETTING,
    Store,
    default_folder,
    fingerprint,
    keeping,
    keeping_by_default,
)
from castshed.toolbox.layers import write_layers
from castshed.toolbox.water.bottom.barriers import dry_land
from castshed.toolbox.water.level.isobaths import kept_dry_land, kept_unknown_area, unknown_area
from castshed.toolbox.water.ways.kept_water import kept_mesh, kept_safe_waters
from castshed.toolbox.water.ways.navigation import SafeWater
from castshed.toolbox.water.ways.safe_water import safe_waters
from made_lake import make_lake
from made_waters import points_on, ragged_water
from water.level.test_kept_grid import LAKE, SURFACE

WATER = ragged_water(2, 60, 8)
POINTS = points_on(WATER, 10, 2)
LENGTHS = SafeWater.build(WATER).ways(POINTS).length_m
ONE, OTHER = fingerprint("one"), fingerprint("other")

pytestmark = pytest.mark.skipif(os.name != "posix", reason="links, pipes and rights are those of POSIX")


@pytest.fixture(autouse=True)
def homes(monkeypatch, tmp_path):
    monkeypatch.delenv(SETTING, raising=False)
    for name in ("cache", "data"):
        (tmp_path / name).mkdir()
        monkeypatch.setenv(f"XDG_{name.upper()}_HOME", str(tmp_path / name))


@pytest.fixture
def store(tmp_path):
    made = Store(tmp_path / "kept")
    made.put(ONE, {"x": np.arange(5)})
    assert made.get(ONE)["x"].tolist() == [0, 1, 2, 3, 4]
    return made


def soon(work):
    """Do work that must not wait for anybody."""
    found = []
    thread = threading.Thread(target=lambda: found.append(work()), daemon=True)
    thread.start()
    thread.join(20.0)
    assert found, "it hangs"
    return found[0]


def test_an_entry_copied_over_another_is_not_that_other(store):
    store.put(OTHER, {"x": np.arange(9)})
    shutil.copy(store.folder / f"{OTHER}.npz", store.folder / f"{ONE}.npz")
    assert store.get(ONE) is None
    assert len(store.get(OTHER)["x"]) == 9


def test_a_mesh_under_another_waters_key_is_made_anew(tmp_path):
    """Both entries are whole, and of the shape that is looked for."""
    other = ragged_water(3, 60, 8)
    with keeping(tmp_path) as store:
        kept_mesh(WATER)
        (mine,) = store.folder.iterdir()
        kept_mesh(other)
        (theirs,) = set(store.folder.iterdir()) - {mine}
        shutil.copy(theirs, mine)
        assert np.array_equal(kept_mesh(WATER).ways(POINTS).length_m, LENGTHS)


def test_a_seal_made_without_the_users_secret_is_none(store, monkeypatch, tmp_path):
    """Who knows all of the code, but not the secret, forges an entry: as another user does with his own."""
    (tmp_path / "stranger").mkdir()
    with monkeypatch.context() as patch:
        patch.setenv("XDG_DATA_HOME", str(tmp_path / "stranger"))
        Store(store.folder).put(ONE, {"x": np.zeros(5)})
        assert Store(store.folder).get(ONE)["x"].sum() == 0
    assert store.get(ONE) is None


def test_every_changed_byte_and_every_cut_is_seen(store):
    path = store.folder / f"{ONE}.npz"
    whole = path.read_bytes()
    for place in range(0, len(whole), 7):
        path.write_bytes(whole[:place] + bytes([whole[place] ^ 1]) + whole[place + 1 :])
        assert store.get(ONE) is None
        path.write_bytes(whole[:place])
        assert store.get(ONE) is None
    path.write_bytes(whole + b"\0")
    assert store.get(ONE) is None
    path.write_bytes(whole)
    assert store.get(ONE) is not None


@pytest.mark.parametrize("what", ["pipe", "device", "link", "link in a ring", "folder", "socket name"])
def test_an_entry_that_is_no_file_is_made_anew_at_once(store, what, tmp_path):
    path = store.folder / f"{ONE}.npz"
    target = path.rename(tmp_path / "target.npz")
    if what == "pipe":
        os.mkfifo(path)
    elif what == "device":
        path.symlink_to("/dev/zero")
    elif what == "link":
        path.symlink_to(target)
    elif what == "link in a ring":
        path.symlink_to(path)
    elif what == "folder":
        path.mkdir()
    else:
        os.mkfifo(path, 0)
    before = target.read_bytes()
    assert soon(lambda: store.get(ONE)) is None
    soon(lambda: [store.put(ONE, {"x": np.arange(3)})])
    assert target.read_bytes() == before
    if what != "folder":
        assert store.get(ONE)["x"].tolist() == [0, 1, 2]
    assert not list(store.folder.glob("*.part"))


def test_a_store_that_is_a_link_is_not_used_and_nothing_behind_it_is_deleted(tmp_path):
    elsewhere = tmp_path / "elsewhere"
    elsewhere.mkdir()
    names = ["mine.npz", "mine.part", f"{ONE}.npz", f"{ONE}.{'0' * 16}.part"]
    for name in names:
        (elsewhere / name).write_text("precious")
        os.utime(elsewhere / name, (0, 0))
    (tmp_path / "lake").mkdir()
    (tmp_path / "lake" / ".castshed").symlink_to(elsewhere)
    with keeping(tmp_path / "lake") as store:
        store.most_bytes = 1
        store.put(OTHER, {"x": np.zeros(9)})
        assert store.get(OTHER) is None
    assert sorted(p.name for p in elsewhere.iterdir()) == sorted(names)


def test_tidying_deletes_only_files_of_our_own_names(tmp_path):
    store = Store(tmp_path / "kept", most_bytes=1)
    store.put(ONE, {"x": np.zeros(9)})
    (tmp_path / "target").write_text("precious")
    for name in ("mine.npz", "left.part", f"{ONE}.npz.bak"):
        (store.folder / name).write_text("precious")
        os.utime(store.folder / name, (0, 0))
    (store.folder / f"{OTHER}.npz").symlink_to(tmp_path / "target")
    store.put(fingerprint("third"), {"x": np.zeros(9)})
    left = {p.name for p in store.folder.iterdir()}
    assert left == {f"{fingerprint('third')}.npz", "mine.npz", "left.part", f"{ONE}.npz.bak", f"{OTHER}.npz"}
    assert (tmp_path / "target").read_text() == "precious"


@pytest.mark.parametrize("rights", [0o777, 0o770, 0o702])
def test_a_folder_that_others_may_write_into_is_no_store(store, rights):
    store.folder.chmod(rights)
    store.put(OTHER, {"x": np.zeros(1)})
    assert store.get(ONE) is None
    assert not (store.folder / f"{OTHER}.npz").exists()
    store.folder.chmod(0o700)
    assert store.get(ONE) is not None


@pytest.mark.skipif(not hasattr(os, "geteuid") or os.geteuid() != 0, reason="only root gives folders away")
def test_a_folder_or_file_of_another_user_is_no_store(store):
    os.chown(store.folder / f"{ONE}.npz", 12_345, -1)
    assert store.get(ONE) is None
    os.chown(store.folder / f"{ONE}.npz", os.geteuid(), -1)
    assert store.get(ONE) is not None
    os.chown(store.folder, 12_345, -1)
    assert store.get(ONE) is None


def test_what_we_make_is_for_the_user_alone(store, tmp_path):
    secret = tmp_path / "data" / "castshed" / "store.key"
    assert stat.S_IMODE(secret.stat().st_mode) == 0o600
    assert secret.stat().st_size == 32
    for folder in (secret.parent, store.folder):
        assert stat.S_IMODE(folder.stat().st_mode) == 0o700


@pytest.mark.parametrize("what", ["known to others", "cut", "a link", "a pipe", "gone"])
def test_a_secret_that_is_none_is_made_anew_and_old_entries_are_not_found(store, tmp_path, what):
    secret = tmp_path / "data" / "castshed" / "store.key"
    before = secret.read_bytes()
    if what == "known to others":
        secret.chmod(0o644)
    else:
        secret.unlink()
    if what == "cut":
        secret.write_bytes(b"short")
        secret.chmod(0o600)
    elif what == "a link":
        (tmp_path / "known").write_bytes(b"k" * 32)
        (tmp_path / "known").chmod(0o600)
        secret.symlink_to(tmp_path / "known")
    elif what == "a pipe":
        os.mkfifo(secret)
    assert soon(lambda: store.get(ONE)) is None
    store.put(ONE, {"x": np.arange(2)})
    assert store.get(ONE)["x"].tolist() == [0, 1]
    assert secret.read_bytes() != before
    assert not secret.is_symlink()
    assert stat.S_IMODE(secret.stat().st_mode) == 0o600


def test_many_who_begin_at_once_agree_on_one_secret(tmp_path):
    code = "from castshed.toolbox.cache.own_folder import secret; print(secret().hex())"
    runs = [
        subprocess.Popen([sys.executable, "-c", code], stdout=subprocess.PIPE, text=True) for _ in range(6)
    ]
    assert len({run.communicate()[0] for run in runs}) == 1
    assert all(run.returncode == 0 for run in runs)


def test_without_a_place_for_the_secret_nothing_is_kept_and_all_is_done(tmp_path, monkeypatch):
    monkeypatch.setenv("XDG_DATA_HOME", "/dev/null")
    with keeping(tmp_path):
        assert np.array_equal(kept_mesh(WATER).ways(POINTS).length_m, LENGTHS)
    assert not list((tmp_path / ".castshed").glob("*"))


def test_by_default_the_users_cache_is_the_store(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    with keeping_by_default() as store:
        assert store.folder == default_folder() == tmp_path / "cache" / "castshed"
    monkeypatch.setenv(SETTING, "off")
    with keeping_by_default() as store:
        assert store is None
    monkeypatch.setenv(SETTING, str(tmp_path / "named"))
    with keeping_by_default() as store:
        assert store.folder == tmp_path / "named"


WRONG = {
    "nothing": lambda arrays: {},
    "other names": lambda arrays: {"x": np.zeros(3)},
    "a number each": lambda arrays: {name: np.array(7.0) for name in arrays},
    "cut short": lambda arrays: {name: one.reshape(-1)[: one.size // 2] for name, one in arrays.items()},
    "of another kind": lambda arrays: {name: np.full(one.shape, "a") for name, one in arrays.items()},
    "beyond its own end": lambda arrays: {
        name: np.full_like(one, 10**9) if one.dtype.kind == "i" else one for name, one in arrays.items()
    },
}


CARE = {"clearance_m": 5.0, "run_clearance_m": 12.0}


def all_of_it():
    return (
        kept_mesh(WATER).ways(POINTS).length_m,
        kept_safe_waters(*layers(), **CARE),
        kept_unknown_area(SURFACE),
        kept_dry_land(SURFACE, LAKE),
        chain(),
    )


@functools.cache
def all_of_it_without_a_store():
    return LENGTHS, safe_waters(*layers(), **CARE), unknown_area(SURFACE), dry_land(SURFACE, LAKE), chain()


@pytest.fixture(scope="module")
def filled(tmp_path_factory):
    """Homes with a store in which all of it lies, and the secret it was sealed with."""
    place = tmp_path_factory.mktemp("filled") / "home"
    with pytest.MonkeyPatch.context() as patch:
        patch.delenv(SETTING, raising=False)
        for name in ("cache", "data"):
            (place / name).mkdir(parents=True)
            patch.setenv(f"XDG_{name.upper()}_HOME", str(place / name))
        with keeping(place):
            all_of_it()
    return place


@pytest.mark.parametrize("wrong", WRONG)
def test_an_entry_of_a_wrong_shape_under_a_good_seal_is_made_anew(tmp_path, filled, wrong):
    plain = all_of_it_without_a_store()
    shutil.copytree(filled, tmp_path, dirs_exist_ok=True)
    with keeping(tmp_path) as store:
        assert len(list(store.folder.iterdir())) > 5
        for path in sorted(store.folder.iterdir()):
            store.put(path.stem, WRONG[wrong](store.get(path.stem)))
        found = all_of_it()
    assert np.array_equal(found[0], plain[0])
    assert all(shapely.equals_exact(a, b) for a, b in zip(found[1], plain[1], strict=True))
    assert shapely.equals_exact(found[2], plain[2])
    assert np.array_equal(found[3], plain[3])
    same(found[4], plain[4])


def test_a_command_leaves_the_lakes_folder_alone_and_finds_its_results_wherever_the_lake_lies(tmp_path):
    lake = make_lake(20.0)
    for name in ("one", "two"):
        (tmp_path / name).mkdir()
        write_layers(tmp_path / name / "lake.gpkg", {"spots": lake.spots})
        (tmp_path / name / "steps.toml").write_text(
            '[a]\nrun = "export"\nlayers = ["lake.gpkg:spots"]\nout = "shared"\n', encoding="utf-8"
        )
    said = []
    for name in ("one", "two"):
        run = subprocess.run(
            [sys.executable, "-c", "from castshed.toolbox.cli import main; main()", "run-steps", "steps.toml", "--json"],
            cwd=tmp_path / name, capture_output=True, text=True, check=False,
        )  # fmt: skip
        assert run.returncode == 0, run.stderr
        said.append('"kept"' in run.stdout)
        assert {p.name for p in (tmp_path / name).iterdir()} == {"lake.gpkg", "steps.toml", "shared"}
    assert said == [False, True]
    assert list((tmp_path / "cache" / "castshed").glob("*.npz"))
