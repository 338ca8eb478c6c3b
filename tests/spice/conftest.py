"""One analysis per case, however many processes share the run."""

from __future__ import annotations

import os

import pytest

from . import ngspice


@pytest.fixture(autouse=True, scope="session")
def _share_analyses(tmp_path_factory: pytest.TempPathFactory) -> None:
    if not ngspice.available():
        return
    from . import analysed

    base = tmp_path_factory.getbasetemp()
    analysed.shared = base.parent if "PYTEST_XDIST_WORKER" in os.environ else base
    # A 95 % limit from this many draws repeats to about 4 %.
    analysed.DRAWS = 1000
