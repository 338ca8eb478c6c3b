"""Loads that were tried and not used: the stage may not do under load what it does without."""

from __future__ import annotations

from collections.abc import Collection
from typing import Any

import numpy as np

from probe.numbers import write_number
from probe.session.model import Load, RefusedLoad, Session, Side
from probe.stage.observations import Group

Document = dict[str, Any]


def refused_warnings(session: Session) -> list[Document]:
    """Return a warning for every load that was refused, with its side."""
    return [
        {"code": "load-refused", "take": None, "side": r.side, "message": _message(r)}
        for r in session.refused_loads
    ]


def refused_stage(session: Session, side: Side, used: Collection[str] = ()) -> Document:
    """Return what a side was loaded with and did not drive, nothing where none was refused.

    ``used``: names of the takes that were used. What they were loaded with, the device drove:
    ``driven``, beside ``refused_loads`` and ``refused``.
    """
    own = [r for r in session.refused_loads if r.side == side]
    if not own:
        return {}
    driven = [o for t in session.takes if t.side == side and t.name in used for o in t.loads]
    return {
        "refused_loads": [_message(r) for r in own],
        "refused": [
            {**_resistor(o), "volume": r.volume, "seen": r.seen} for r in own for o in r.loads
        ],
        "driven": [_resistor(o) for o in driven],
    }


def drawn_currents(group: Group | None) -> Document:
    """Return what was drawn of each output by the loads of the takes that were used.

    ``drawn``: by ``xlr`` (the leg that gave more) and ``rca``, A, the peak of a sine of the same
    root mean square as all tones of the take together; nothing where no take had a load.
    """
    most = {"xlr": 0.0, "rca": 0.0}
    for one in group.takes if group is not None else ():
        if one.phasors.take.loads:
            amperes = np.einsum("kij,kj->ki", one.y, one.volts)
            hot, cold, single = np.sqrt(2.0 * np.sum(np.abs(amperes) ** 2, axis=0)).tolist()
            most["xlr"] = max(most["xlr"], hot, cold)
            most["rca"] = max(most["rca"], single)
    shown = {output: ampere for output, ampere in most.items() if ampere > 0.0}
    return {"drawn": shown} if shown else {}


def _resistor(load: Load) -> Document:
    return {"from": load.from_, "to": load.to, "ohm": load.ohm}


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
