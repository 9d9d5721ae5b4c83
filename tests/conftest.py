"""What pytest finds for every test: the made lake."""

from __future__ import annotations

import os
from pathlib import Path
from types import SimpleNamespace

import pytest

from long_tests import (  # noqa: F401  # hooks of pytest
    pytest_collection_modifyitems,
    pytest_configure,
    pytest_deselected,
    pytest_report_header,
    pytest_sessionfinish,
    pytest_terminal_summary,
    pytest_testnodedown,
    pytest_xdist_auto_num_workers,
)
from made_lake import make_lake
from made_once import _chain_once, chain_made, planned_demo_day, shared_folder  # noqa: F401  # fixtures

collect_ignore = ["sample_plugin"]  # somebody else's package: installed and run by test_sample_plugin.py


@pytest.fixture(autouse=True, scope="session")
def no_cache_of_the_users(request, tmp_path_factory):
    """Nothing is kept in the cache of whoever runs the tests, nor is his secret made or used.

    The workers share one of the session's own, as two commands of a user at once share his: what one has made from the
    same inputs the other takes, as do the processes that tests start.
    """
    common = shared_folder(request, tmp_path_factory)
    homes = {name: str(common / name) for name in ("XDG_CACHE_HOME", "XDG_DATA_HOME")}
    for home in homes.values():
        Path(home).mkdir(exist_ok=True)
    before = {name: os.environ.get(name) for name in homes}
    os.environ.update(homes)
    yield
    for name, value in before.items():
        if value is None:
            del os.environ[name]
        else:
            os.environ[name] = value


@pytest.fixture
def lake() -> SimpleNamespace:
    return make_lake()


@pytest.fixture(scope="session")
def lake_of_session() -> SimpleNamespace:
    return make_lake()
