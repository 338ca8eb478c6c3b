"""What all tests share: one numerical thread, and one browser for each process."""

from __future__ import annotations

import os
import zlib
from collections.abc import Iterator

import pytest
from hypothesis import settings

from probe.cli.main import THREADS
from tests.chosen import of_this_code
from tests.report.browser import Browser, find

for _name in THREADS:
    # As the command itself does before anything numerical is loaded: one thread, so that what runs
    # inside a test gives the same last digit as what runs in a process of its own.
    os.environ.setdefault(_name, "1")

# Cases that are drawn are the same ones every time, and no clock on the wall judges them: what
# fails here fails on the next machine, and what fails there fails here.
settings.register_profile("the same", derandomize=True, deadline=None, database=None)
settings.load_profile("the same")


def pytest_addoption(parser: pytest.Parser) -> None:
    """Take of the long tests a share alone, where a machine has not the time for all of them."""
    parser.addoption(
        "--share", type=int, default=1, metavar="N",
        help="of the long tests take one of N, others for each change of the program",
    )  # fmt: skip


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """Leave out what is not in the share; which that is the program itself decides."""
    share = config.getoption("--share")
    if share <= 1:
        return
    seed = of_this_code("long tests")
    kept, left = [], []
    for item in items:
        mine = zlib.crc32(f"{seed} {item.nodeid}".encode()) % share == 0
        (kept if mine or item.get_closest_marker("long") is None else left).append(item)
    config.hook.pytest_deselected(items=left)
    items[:] = kept


@pytest.fixture(scope="session")
def chromium(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Browser]:
    """A headless Chromium; where there is none the test is skipped, on a build machine it fails."""
    program = find()
    if program is None:
        if os.environ.get("CI"):
            pytest.fail("no Chromium on the path")
        pytest.skip("no Chromium on the path")
    with Browser(program, tmp_path_factory.mktemp("profile")) as opened:
        yield opened
