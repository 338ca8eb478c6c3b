"""Sessions simulated for one measure, and what is found in them."""

from __future__ import annotations

from pathlib import Path

from probe.facts import analyse_session
from probe.simulate.build import stage_of
from probe.simulate.write import simulate

DEVICE = {"maker": "Harrowgate", "model": "Tern"}
BENCH = {"input": [{"volts_full_scale": 8.7, "u95_percent": 0.0}]}
"""A recorder whose scale is exact: what is left is the estimator's own doubt."""


def stage(takes=("idle", "floor"), **more):
    """A stage of few takes without a recorder's reference channel."""
    table = {
        "circuit": "core-and-inverter",
        "device": DEVICE,
        "phase": "none",
        "takes": list(takes),
        "seconds": 4.0,
        "bench": BENCH,
        **more,
    }
    return stage_of(table)


def found(folder: Path, name: str = "session", draws: int = 200, **more) -> dict:
    """The facts document of such a session."""
    folder.mkdir(exist_ok=True)
    simulate(stage(**more), folder / name)
    return analyse_session(folder / name, draws=draws)
