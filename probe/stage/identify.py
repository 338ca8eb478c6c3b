"""From the phasors of one side to the output stage with its doubt.

All takes first (``side``), and again where inputs hold something else than declared (``leads``);
where takes contradict each other, what is suspect (``suspects``).
"""

from __future__ import annotations

from dataclasses import replace

from probe.phasors.model import TakePhasors
from probe.session.model import Session, Side
from probe.stage.leads import with_leads
from probe.stage.side import Identified, TakeUse, solve_side
from probe.stage.suspects import settled


def identify(
    session: Session,
    phasors: tuple[TakePhasors, ...],
    side: Side,
    *,
    draws: int = 2000,
    seed: int = 1,
) -> Identified:
    """Solve the output stage of one side.

    Parameters
    ----------
    session
        For the declared repeatability.
    phasors
        Of all takes; those of other sides are left aside.
    side
        ``left``, ``right`` or ``mono``.
    draws
        Number of Monte Carlo draws D.
    seed
        Of the draws; the same seed gives the same facts.

    Returns
    -------
    Identified
        Where takes contradict each other and exactly one of them explains it, without that one.
    """
    found = solve_side(session, phasors, side, draws, seed)
    phasors, found, ways = with_leads(session, phasors, found, seed)
    found = settled(session, phasors, found, seed) if found.clash else found
    used = {p.take.name for p in found.takes}
    otherwise = tuple(tuple(p for p in way if p.take.name in used) for way in ways)
    return replace(found, clipped=_clipped(phasors, side), otherwise=otherwise)


def _clipped(phasors: tuple[TakePhasors, ...], side: Side) -> tuple[str, ...]:
    return tuple(
        p.take.name
        for p in phasors
        if p.take.side == side
        and {"hot", "cold"} <= set(p.take.channels)
        and any(r.code == "clipped-take" for r in p.remarks)
        and not p.usable
    )


__all__ = ["Identified", "TakeUse", "identify"]
