"""Sessions by name: which circuit, which draw of its parts, recorded how."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from .circuits import draw
from .sessions import Written, make_session


@dataclass(frozen=True)
class Case:
    """A session to write: see ``make_session``."""

    circuit: str
    situation: str
    seed: int = 0
    takes: str = "full"
    rough: bool = False
    drift_db: float = 0.0
    errors: bool = False
    exchanged: bool = False
    seconds: tuple[float, float] = (2.0, 2.6)

    def __str__(self) -> str:
        words = [self.circuit, self.situation, f"draw{self.seed}"]
        words += [self.takes.replace(" ", "_")] if self.takes != "full" else []
        words += ["rough"] if self.rough else []
        words += ["errors"] if self.errors and not self.rough else []
        words += ["exchanged"] if self.exchanged else []
        return "-".join(words)


def write(case: Case, folder: Path) -> Written:
    """Write the session of a case into ``folder``."""
    return make_session(
        folder,
        draw(case.circuit, case.seed),
        takes=case.takes,
        situation=case.situation,
        rough=case.rough,
        drift_db=case.drift_db,
        errors=case.errors,
        exchanged=case.exchanged,
        seconds=case.seconds,
        ppm=(180.0, -95.0, 320.0)[case.seed % 3],
        single_ended_load=(1_000.0, 10_000.0)[case.seed % 2],
        seed=case.seed,
    )
