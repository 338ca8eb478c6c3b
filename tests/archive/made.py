"""Many invented devices as facts documents, small and quick to make."""

from __future__ import annotations

import copy
import functools
import random
from pathlib import Path
from typing import Any

from probe.archive.documents import Package
from probe.facts import to_json
from tests.verify.documents import document, entry, side

MAKERS = ("Larkfield", "Ottermere", "Tarn Electric", "Hollin & Bray")


@functools.cache
def _side() -> dict[str, Any]:
    return side()


def example(number: int, *, ohm: float | None = None, on: str = "2026-03-14") -> dict[str, Any]:
    """The facts of one invented device; all that follows from its number."""
    rng = random.Random(number)
    ohm = rng.gauss(100.0, 2.0) if ohm is None else ohm
    body = copy.deepcopy(_side())
    for name in ("hot_impedance", "cold_impedance"):
        body["facts"][name] = entry(ohm, "ohm", 0.01 * ohm)
    facts = document(mono=body)
    facts["sides"]["mono"]["facts"]["differential_level"] = entry(rng.gauss(2.0, 0.01), "V", 0.01)
    facts["device"] = {
        "maker": MAKERS[number % len(MAKERS)],
        "model": f"LP-{number % 5}",
        "serial": f"S-{number:05d}",
        "firmware": "1.2",
    }
    facts["made"]["session_sha256"] = f"{number:064x}"
    facts["made"]["bench"]["recorded_on"] = on
    return facts


def package(facts: dict[str, Any], **more: Any) -> Package:
    return Package(to_json(facts), "<html>report</html>", "", **more)


def take(folder: Path, name: str, content: bytes) -> tuple[str, Path]:
    path = folder / name
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(content)
    return name, path
