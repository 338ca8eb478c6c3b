"""The main job in one call: a session folder in, its facts out."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np

from probe.errors import NotUsable
from probe.facts.document import Document, document
from probe.measures.measure import measures
from probe.phasors import measure
from probe.session.model import Session
from probe.session.read import read_session
from probe.stage.identify import identify

DRAWS = 2000
"""Monte Carlo draws: 95 % intervals repeat to about 3 %."""

SEED = 1


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
    present = [side for side in session.sides if any(p.take.side == side for p in phasors)]
    try:
        sides = {s: identify(session, phasors, s, draws=draws, seed=seed) for s in present}
        found = measures(session, phasors, sides, progress=progress)
        return document(session, phasors, sides, found)
    except np.linalg.LinAlgError as error:
        raise NotUsable(
            f"{session.toml_path}: the takes cannot be solved ({error}); look for a channel of "
            "silence or a take that is not what it is declared to be"
        ) from error
