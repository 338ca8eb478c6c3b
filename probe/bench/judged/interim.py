"""The facts so far: the folder analysed again after each take, each recording measured once."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np

from probe.bench.planned.steps import OF_BENCH
from probe.errors import NotUsable
from probe.facts.analyse import analyse_measured
from probe.measures.maximum import maximum
from probe.measures.measure import measures
from probe.phasors import TakePhasors, carries_tones, measure_take
from probe.session.model import Session, Side, Take
from probe.session.read import read_session
from probe.stage.identify import identify
from probe.stage.kind import decide, gather
from probe.stage.next_take import next_take

DRAWS = 200
"""Monte Carlo draws between takes: the final analysis takes more; 0.9 is known to 0.02."""


DOUBTS = ("contradicting-take", "poor-repeatability", "unplaced-take", "hum-beside-tone")
"""Warnings of the analysis that ask for a take to be made again."""

LEVEL_ALONE = "poor-repeatability"
"""Of these the one that no single take need be to blame for."""

DRIFT_DB = 0.05
"""Levels that differ by less between takes are what a device does that still warms up: its
intervals are as wide as that, and no take made again would make them narrower."""


@dataclass(frozen=True)
class Doubt:
    """A take that the others speak against, and the analysis' words for it."""

    take: str
    code: str
    message: str


class Interim:
    """Analyses a session folder again and again.

    Parameters
    ----------
    folder
        The session's folder.
    draws
        Monte Carlo draws.
    """

    def __init__(self, folder: Path, draws: int = DRAWS) -> None:
        self.folder = folder
        self.draws = draws
        self.session: Session | None = None
        self._measured: dict[str, tuple[Take, TakePhasors]] = {}
        self._facts: dict[str, Any] = {}

    def update(self, volume: str) -> dict[str, Any]:
        """Return the facts of the takes at one volume that are in the folder now.

        Empty where there are none, or where they cannot be solved.

        Raises
        ------
        BadInput
            The folder cannot be read.
        """
        session = self.session = read_session(self.folder)
        every = self._phasors(session)
        takes = tuple(t for t in session.takes if t.volume == volume or t.signal in OF_BENCH)
        phasors = tuple(p for p in every if p.take.volume == volume)
        now = replace(session, takes=takes)
        try:
            self._facts = analyse_measured(
                *(now, phasors),
                draws=self.draws,
                more=partial(measures, now, phasors, wanted=(maximum,), between=()),
            )
        except (NotUsable, ValueError):
            self._facts = {}
        return self._facts

    def clear(self) -> None:
        """Forget everything: there is no take any more."""
        self.session, self._facts = None, {}

    def _phasors(self, session: Session) -> tuple[TakePhasors, ...]:
        found = []
        for take in session.takes:
            if not carries_tones(take):
                continue
            kept = self._measured.get(take.name)
            if kept is None or kept[0] != take:
                kept = (take, measure_take(take, session.bench.mains_hz))
                self._measured[take.name] = kept
            found.append(kept[1])
        return tuple(found)

    def phasors(self, side: Side, volume: str) -> tuple[TakePhasors, ...]:
        """Return the measured takes of one side at one volume, in session order."""
        if self.session is None:
            return ()
        kept = (self._measured.get(t.name) for t in self.session.takes)
        return tuple(
            k[1] for k in kept if k is not None and k[0].side == side and k[0].volume == volume
        )

    def body(self, side: Side) -> dict[str, Any]:
        """Return the side's part of the facts."""
        found: dict[str, Any] = self._facts.get("sides", {}).get(side, {})
        return found

    def doubts(self, side: Side, volume: str) -> list[Doubt]:
        """Return the takes of one side at one volume that the others speak against.

        Levels that differ no more than drift explains are nobody's fault.
        """
        takes = () if self.session is None else self.session.takes
        ours = {t.name for t in takes if (t.side, t.volume) == (side, volume)}
        found: dict[str, Doubt] = {}
        moved = self.body(side).get("conditions", {}).get("repeatability_db") or 0.0
        for one in self._facts.get("warnings", ()):
            if one["code"] == LEVEL_ALONE and moved <= DRIFT_DB:
                continue
            if one["code"] in DOUBTS and one["take"] in ours:
                found.setdefault(one["take"], Doubt(one["take"], one["code"], one["message"]))
        return list(found.values())

    def ranked(
        self, side: Side, volume: str, available: Collection[str]
    ) -> tuple[str | None, str | None]:
        """Name the take, of those available, that settles most of what is still possible."""
        phasors = self.phasors(side, volume)
        if self.session is None or not phasors:
            return None, None
        try:
            identified = identify(self.session, phasors, side, draws=self.draws)
        except (ValueError, np.linalg.LinAlgError):
            return None, None
        evidence = gather(identified, "undetermined")
        found = next_take(identified, evidence, decide(evidence), available)
        return found.take, found.reason
