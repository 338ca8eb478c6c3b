"""Sessions written, analysed and thrown away again; one analysis per case and process."""

from __future__ import annotations

import tempfile
from functools import cache
from pathlib import Path
from typing import Any

from probe.facts import analyse_session

from .cases import Case, write
from .sessions import Written


@cache
def analysed(case: Case) -> tuple[dict[str, Any], Written]:
    """The facts and the truth of a case."""
    with tempfile.TemporaryDirectory(prefix="session-") as folder:
        written = write(case, Path(folder))
        return analyse_session(Path(folder)), written
