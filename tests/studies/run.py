"""One session through the analysis, and the row that is kept of it."""

from __future__ import annotations

import tempfile
import time
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from probe.facts import document as documents
from probe.facts.analyse import analyse_session
from probe.simulate.write import simulate
from probe.stage.identify import identify

from .drawn import Drawn, draw, phasors_of
from .judged import Judged, accepted_kinds, judge, wanted
from .optimum import optimum_of, supported

DRAWS = 1000


@dataclass(frozen=True)
class Row:
    """What is kept of one session."""

    index: int
    circuit: str
    takes: str
    full: bool
    take_count: int
    situation: str
    drift_db: float
    declared: bool
    crosstalk: bool
    audio: bool
    kind: str
    confidence: float
    right: bool
    faults: tuple[str, ...]
    warnings: tuple[str, ...]
    facts: tuple[Judged, ...]
    absent: tuple[str, ...]
    optimum: dict[str, float]
    seconds: float
    repeatability_db: float


def analysed(drawn: Drawn) -> tuple[dict[str, Any], list[tuple[str, str]]]:
    """The facts of one side from phasors, and its warnings as (code, take)."""
    session, phasors = phasors_of(drawn)
    one = identify(session, phasors, "left", draws=DRAWS, seed=1 + drawn.index)
    side = documents._side(session, one)
    warned = [(r.code, r.take) for r in one.remarks]
    warned += [(w["code"], w["take"]) for w in documents._unheard("left", one, side)]
    return side, warned


def analysed_audio(drawn: Drawn) -> tuple[dict[str, Any], list[tuple[str, str]]]:
    """The same through real files."""
    with tempfile.TemporaryDirectory() as folder:
        simulate(drawn.stage, Path(folder) / "session")
        facts = analyse_session(Path(folder) / "session", draws=DRAWS, seed=1 + drawn.index)
    warned = [(w["code"], w["take"]) for w in facts["warnings"] if w["take"] is not None]
    return facts["sides"]["left"], warned


def row(seed: int, index: int, *, audio: bool = False, optimum: bool = True) -> Row:
    """Draw, analyse and judge one session."""
    drawn = draw(seed, index, audio=audio)
    begun = time.perf_counter()
    side, warned = (analysed_audio if audio else analysed)(drawn)
    spent = time.perf_counter() - begun
    stage, facts = side["stage"], side["facts"]
    judged = judge(facts, drawn)
    return Row(
        index=index,
        circuit=drawn.circuit,
        takes=drawn.takes_name,
        full=drawn.full,
        take_count=len(drawn.takes),
        situation=drawn.situation,
        drift_db=drawn.drift_db,
        declared=drawn.declared_db is not None,
        crosstalk=drawn.crosstalk,
        audio=audio,
        kind=stage["kind"],
        confidence=float(stage["confidence"] or 0.0),
        right=stage["kind"] in accepted_kinds(drawn.circuit),
        faults=tuple(stage["faults"]),
        warnings=tuple(f"{code}: {take}" for code, take in warned),
        facts=tuple(judged),
        absent=_absent(drawn, facts) if drawn.full and optimum else (),
        optimum=optimum_of(drawn, judged) if optimum and drawn.full else {},
        seconds=spent,
        repeatability_db=float(side["conditions"]["repeatability_db"]),
    )


def _absent(drawn: Drawn, facts: dict[str, Any]) -> tuple[str, ...]:
    """Facts that were left out though the takes support them.

    A mismatch of legs that are alike is a bound at best, and a bound can always be given.
    """
    missing = [n for n in wanted(drawn) if n not in facts]
    always = [n for n in missing if n == "impedance_mismatch"]
    return (*always, *supported(drawn, [n for n in missing if n not in always]))
