"""What all tests share: one numerical thread, and one browser for each process."""

from __future__ import annotations

import os
from collections.abc import Iterator

import pytest
from hypothesis import settings

from probe.cli.main import THREADS
from tests.report.browser import Browser, find

for _name in THREADS:
    # As the command itself does before anything numerical is loaded: one thread, so that what runs
    # inside a test gives the same last digit as what runs in a process of its own.
    os.environ.setdefault(_name, "1")

# Cases that are drawn are the same ones every time, and no clock on the wall judges them: what
# fails here fails on the next machine, and what fails there fails here.
settings.register_profile("the same", derandomize=True, deadline=None, database=None)
settings.load_profile("the same")


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
