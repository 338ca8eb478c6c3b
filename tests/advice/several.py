"""Several leads on one device as one netlist: the single leads, each with nodes of its own.

Every lead is that of `connections`; what they share are the stage's terminals and its chassis.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from tests.advice.connections import Connection, input_lines, lead_lines
from tests.spice.ngspice import Tone, solve

SHARED = {"0", "h", "c", "r"}
"""Nodes that all leads have in common: the device's chassis and terminals."""

NODES = {"r": 2, "c": 2, "v": 2, "l": 2, "e": 4}
"""How many nodes an element has, by its letter; a coupling (k) names two inductors."""


@dataclass(frozen=True)
class Heard:
    """What the simulator says of one lead.

    ``level``: V at the input for 1 V of drive, shape (F,). ``tie``: A likewise, or None. ``hum``
    and ``common``: shape (leads, F), V heard and V as the mean of the input's pins for 1 V of
    difference at each of the leads, its own among them.
    """

    level: Any
    tie: Any
    hum: Any
    common: Any


def simulate_several(
    connections: Sequence[Connection], hz: Sequence[float], hum_hz: Sequence[float]
) -> list[Heard]:
    """Solve all leads at once; they name the same circuit."""
    lines = [connections[0].circuit.includes(), "vdrive drive 0 dc 0 ac 0",
             connections[0].circuit.instance("dut", "drive", "h", "c", "r"),
             "rih h 0 1e12", "ric c 0 1e12", "rir r 0 1e12"]  # fmt: skip
    ties = []
    for k, connection in enumerate(connections):
        own = [*lead_lines(connection), *input_lines(connection)]
        own += ["eheard heard 0 i2 minus 1", "rheard heard 0 1k",
                "ri3 i3 0 1e13", "ri2 i2 0 1e13", "rig g 0 1e13"]  # fmt: skip
        ties.append(any(line.startswith("vtie ") for line in own))
        lines += [_named(line, f"_{k}") for line in own]
    emfs = [f"vemf_{k}" for k in range(len(connections))]
    outputs = [f"v({node}_{k})" for k in range(len(connections))
               for node in ("heard", "i2", "minus", "g")]  # fmt: skip
    outputs += [f"i(vtie_{k})" for k, tied in enumerate(ties) if tied]
    tones = [Tone(f, ("vdrive",)) for f in hz]
    tones += [Tone(f, (emf,)) for emf in emfs for f in hum_hz]
    found = solve("\n".join(lines), ["vdrive", *emfs], tones, outputs)
    return [_heard(found, k, tied, len(hz), len(emfs)) for k, tied in enumerate(ties)]


def _heard(found: dict[str, Any], k: int, tied: bool, count: int, leads: int) -> Heard:
    heard = found[f"v(heard_{k})"]
    mean = (found[f"v(i2_{k})"] + found[f"v(minus_{k})"]) / 2.0 - found[f"v(g_{k})"]
    return Heard(
        level=heard[:count],
        tie=found[f"i(vtie_{k})"][:count] if tied else None,
        hum=np.reshape(heard[count:], (leads, -1)),
        common=np.reshape(mean[count:], (leads, -1)),
    )


def _named(line: str, suffix: str) -> str:
    """The same element between nodes of this lead."""
    name, *rest = line.split()
    if name[0] == "k":
        return " ".join([name + suffix, rest[0] + suffix, rest[1] + suffix, *rest[2:]])
    nodes = NODES[name[0]]
    own = [node if node in SHARED else node + suffix for node in rest[:nodes]]
    return " ".join([name + suffix, *own, *rest[nodes:]])
