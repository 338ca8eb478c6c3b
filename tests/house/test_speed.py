"""The speed limits with generous margins; ``python -m tests.benchmark`` measures them properly."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

from tests import benchmark

pytestmark = pytest.mark.skipif(
    sys.platform == "win32", reason="processor time of a child is not known on Windows"
)

MARGIN = 3.0
"""Other work on the machine, a cold cache and a slow processor together."""


def test_help_is_as_fast_as_promised() -> None:
    shown, numpy = benchmark.help_and_numpy(tries=7)
    # The promise of the README: at most 1.2 times the import of numpy. Both in the same run and in
    # processor time, since other tests run beside this one: no margin is needed.
    assert shown.cpu <= 1.2 * numpy.cpu


@pytest.mark.parametrize("phase", [pytest.param("reference", marks=pytest.mark.long), "none"])
def test_six_takes_of_four_seconds(phase: str, tmp_path: Path) -> None:
    session = benchmark.short_session(tmp_path, phase)
    spent = benchmark.analysed(session, tries=2)
    # The project's own limit.
    assert spent.cpu < MARGIN * benchmark.SESSION_SECONDS
    assert (tmp_path / "out" / "report.html").is_file()
    assert (tmp_path / "out" / "facts.json").is_file()
