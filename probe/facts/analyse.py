"""The main job in one call: a session folder in, its facts out."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np

from probe.errors import NotUsable
from probe.facts.document import Document, document
from probe.measures.measure import measures
from probe.measures.model import Measured
from probe.phasors import TakePhasors, measure
from probe.session.model import Session, Side
from probe.session.read import read_session
from probe.stage.identify import Identified, identify

DRAWS = 2000
"""Monte Carlo draws: 95 % intervals repeat to about 3 %."""

SEED = 1

READ_WHOLE = ("idle", "level-steps", "sweep")
"""Signals of the device that measures read without phasors."""


def analyse_session(
    path: str | Path,
    *,
    draws: int = DRAWS,
    seed: int = SEED,
    progress: Callable[[int, int, str], None] | None = None,
) -> Document:
    """Read a session folder (or its session.toml), measure it and return its facts.

    Parameters
    ----------
    path
        The folder or its session.toml.
    draws, seed
        Of the Monte Carlo; the same seed gives the same facts.
    progress
        Called with (takes done, takes in all, name of the next) while the takes are measured.

    Raises
    ------
    BadInput
        Anything in the folder that cannot be used.
    """
    return analyse(read_session(path), draws=draws, seed=seed, progress=progress)


def analyse(
    session: Session,
    *,
    draws: int = DRAWS,
    seed: int = SEED,
    progress: Callable[[int, int, str], None] | None = None,
) -> Document:
    """Return the same for a session that was read already."""
    phasors = measure(session, progress=progress)

    def more(sides: dict[Side, Identified]) -> Measured:
        return measures(session, phasors, sides, progress=progress)

    return analyse_measured(session, phasors, draws=draws, seed=seed, more=more)


def analyse_measured(
    session: Session,
    phasors: tuple[TakePhasors, ...],
    *,
    draws: int = DRAWS,
    seed: int = SEED,
    more: Callable[[dict[Side, Identified]], Measured] | None = None,
) -> Document:
    """Return the facts of takes whose phasors are known.

    Parameters
    ----------
    session, phasors
        The session, and its takes that carry tones, measured.
    draws, seed
        Of the Monte Carlo.
    more
        Reads the recordings once more for noise and the like; None: what the phasors say.

    Raises
    ------
    NotUsable
        The takes cannot be solved.
    """
    present = [side for side in session.sides if _heard(session, phasors, side)]
    try:
        sides = {s: identify(session, phasors, s, draws=draws, seed=seed) for s in present}
        return document(session, phasors, sides, None if more is None else more(sides))
    except np.linalg.LinAlgError as error:
        raise NotUsable(
            f"{session.toml_path}: the takes cannot be solved ({error}); look for a channel of "
            "silence or a take that is not what it is declared to be"
        ) from error


def _heard(session: Session, phasors: tuple[TakePhasors, ...], side: Side) -> bool:
    """Return whether any take tells of a side: it carries tones, or a measure reads it."""
    tones = any(p.take.side == side for p in phasors)
    return tones or any(t.side == side and t.signal in READ_WHOLE for t in session.takes)
