"""Runs ngspice in batch and reads its binary raw file: linear small-signal solutions at tones.

Circuits are linear, so a solution is a transfer: every listed source is 1 V or 1 A at phase
zero in the tones that name it and silent in all others. Whoever writes a recording multiplies.
"""

from __future__ import annotations

import hashlib
import re
import shutil
import subprocess
import tempfile
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

NETLISTS = Path(__file__).parent / "netlists"

_cache: dict[str, dict[str, NDArray[np.complex128]]] = {}


@dataclass(frozen=True)
class Tone:
    """One frequency (Hz) and the names of the sources that are on there, e.g. ``("vdrive",)``."""

    hz: float
    sources: tuple[str, ...]


def available() -> bool:
    """Tell whether ngspice is installed."""
    return shutil.which("ngspice") is not None


def solve(
    netlist: str, sources: Sequence[str], tones: Sequence[Tone], outputs: Sequence[str]
) -> dict[str, NDArray[np.complex128]]:
    """Solve ``netlist`` at every tone; returns output name (``v(n)``, ``i(v1)``) → shape (F,).

    The netlist declares each of ``sources`` with ``dc 0 ac 0``; one process does all tones.
    """
    deck = _deck(netlist, sources, tones, outputs)
    key = hashlib.sha256(deck.encode()).hexdigest()
    if key not in _cache:
        _cache[key] = _run(deck, outputs)
    return _cache[key]


def _deck(
    netlist: str, sources: Sequence[str], tones: Sequence[Tone], outputs: Sequence[str]
) -> str:
    lines = ["output stage under test", netlist, ".save " + " ".join(outputs), ".control"]
    lines += ["set filetype=binary", "set appendwrite"]
    on: dict[str, int] = dict.fromkeys(sources, 0)
    for tone in tones:
        for source in sources:
            wanted = int(source in tone.sources)
            if wanted != on[source]:
                lines.append(f"alter {source} acmag={wanted}")
                on[source] = wanted
        lines += [f"ac lin 1 {tone.hz!r} {tone.hz!r}", "write out.raw", "destroy all"]
    return "\n".join([*lines, ".endc", ".end", ""])


def _run(deck: str, outputs: Sequence[str]) -> dict[str, NDArray[np.complex128]]:
    with tempfile.TemporaryDirectory(prefix="ngspice-") as folder:
        (Path(folder) / "deck.cir").write_text(deck)
        done = subprocess.run(
            ["ngspice", "-b", "deck.cir"],
            cwd=folder,
            capture_output=True,
            text=True,
            timeout=60,
            check=False,
        )
        raw = Path(folder) / "out.raw"
        noise = done.stdout + done.stderr
        if not raw.exists() or re.search(r"(?i)\berror\b|singular", noise):
            raise RuntimeError(f"ngspice failed:\n{noise}\n{deck}")
        points = _read_raw(raw.read_bytes())
    missing = [name for name in outputs if name.lower() not in points[0]]
    if missing:
        raise RuntimeError(f"ngspice did not write {missing}")
    return {
        name: np.array([point[name.lower()] for point in points], dtype=np.complex128)
        for name in outputs
    }


def _read_raw(data: bytes) -> list[dict[str, complex]]:
    """One dictionary per plot of an appended binary raw file of complex one-point plots."""
    points = []
    at = 0
    while at < len(data):
        start = data.index(b"Binary:\n", at) + len(b"Binary:\n")
        head = data[at:start].decode()
        if "Flags: complex" not in head or not re.search(r"No\. Points:\s*1\s", head):
            raise RuntimeError(f"unexpected raw file header:\n{head}")
        count = int(re.search(r"No\. Variables:\s*(\d+)", head).group(1))  # type: ignore[union-attr]
        names = re.findall(r"^\s*\d+\s+(\S+)\s+\S+", head.split("Variables:\n", 1)[1], re.M)
        values = np.frombuffer(data, np.complex128, count, start)
        points.append(dict(zip(names, values.tolist(), strict=True)))
        at = start + 16 * count
    return points
