"""Where calibrations are kept: the folder for data that the system gives each person."""

from __future__ import annotations

import os
import re
from pathlib import Path

from probe.bench.calibration.document import read_bench, write_bench
from probe.bench.calibration.figures import BenchFigures
from probe.errors import ProbeError

FOLDER_VARIABLE = "PROBE_DATA"
"""Names another folder: for tests, and for people who keep theirs on a stick."""


def folder() -> Path:
    """Return the folder of calibrations; it need not exist."""
    chosen = os.environ.get(FOLDER_VARIABLE)
    if chosen:
        return Path(chosen) / "bench"
    import platformdirs

    return Path(platformdirs.user_data_dir("probe", appauthor=False)) / "bench"


def place(interface: str, gain: str = "", leads: str = "") -> Path:
    """Return the file of an interface at a gain setting with a set of leads."""
    words = [interface, gain, leads]
    name = "_".join(re.sub(r"[^a-z0-9]+", "-", w.lower()).strip("-")[:60] for w in words if w)
    return folder() / f"{name or 'bench'}.toml"


def keep(bench: BenchFigures) -> Path:
    """Keep a calibration in its place; return it."""
    path = place(bench.interface, bench.gain, bench.leads)
    write_bench(bench, path)
    return path


def remembered(interface: str, gain: str = "", leads: str = "") -> BenchFigures | None:
    """Return the calibration of an interface, gain setting and set of leads, or None.

    Raises
    ------
    BadInput
        It is there and cannot be read.
    """
    path = place(interface, gain, leads)
    return read_bench(path) if path.is_file() else None


def kept() -> list[tuple[Path, BenchFigures]]:
    """Return all calibrations, newest first; files that cannot be read are passed over."""
    found = []
    for path in sorted(folder().glob("*.toml")):
        try:
            found.append((path, read_bench(path)))
        except ProbeError:
            continue
    return sorted(found, key=lambda pair: pair[1].made_on, reverse=True)
