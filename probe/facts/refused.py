"""Loads that were tried and not used: the stage may not do under load what it does without."""

from __future__ import annotations

from typing import Any

from probe.numbers import write_number
from probe.session.model import RefusedLoad, Session, Side

Document = dict[str, Any]


def refused_warnings(session: Session) -> list[Document]:
    """Return a warning for every load that was refused, with its side."""
    return [
        {"code": "load-refused", "take": None, "side": r.side, "message": _message(r)}
        for r in session.refused_loads
    ]


def refused_stage(session: Session, side: Side) -> Document:
    """Return ``refused_loads`` and ``refused`` of a side, nothing where none was refused."""
    own = [r for r in session.refused_loads if r.side == side]
    if not own:
        return {}
    return {
        "refused_loads": [_message(r) for r in own],
        "refused": [o for r in own for o in _each(r)],
    }


def _each(refused: RefusedLoad) -> list[Document]:
    """Return its resistors, one by one."""
    return [
        {
            "from": load.from_,
            "to": load.to,
            "ohm": load.ohm,
            "volume": refused.volume,
            "seen": refused.seen,
        }
        for load in refused.loads
    ]


def _message(refused: RefusedLoad) -> str:
    loads = " and ".join(
        f"{write_number(load.ohm, 'ohm')} from {load.from_} to {load.to}" for load in refused.loads
    )
    at = f" at volume {refused.volume}" if refused.volume else ""
    return (
        f"a load of {loads} was refused on the {refused.side} side{at}: {refused.seen}. All that "
        "is stated of this output holds without that load; whether it can drive one, and what "
        "limits it there, was not looked for"
    )
