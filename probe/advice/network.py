"""A passive network between the device's pins and an input, solved exactly at each frequency.

The network (lead, contacts, joins, transformer, receiver) is written as a list of elements
between named nodes and solved by modified nodal analysis (Ho, Ruehli and Brennan, 1975): node
voltages, and one branch current for each winding. All nodes but the device's own pins are
eliminated, which leaves

    i = Y v        currents out of the pins, shape (F, P, P) times (F, P)
    x = H v        every other node's voltage and every probed current

Node ``"0"`` is pin 1 of the device (the shell of its RCA), the reference of all voltages.
Receivers that are not passive (the difference amplifier draws at pin 3 a current that depends
on pin 2) need no special case: a controlled current source is one more entry of the matrix.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Complex = NDArray[np.complex128]

REFERENCE = "0"
"""Pin 1 of the device."""

LEAK_SIEMENS = 1e-13
"""From every inner node to the reference, so that one joined to nothing still has a voltage.
10 Tohm: a thousand times the best insulation on a printed board."""


@dataclass(frozen=True)
class TwoPort:
    """An audio transformer as data, seen at the primary; 1:ratio, not ideal.

    Attributes
    ----------
    ratio
        Secondary turns over primary turns.
    primary_ohm, secondary_ohm
        Winding resistances, ohm.
    magnetising_henry, leakage_henry
        At the primary, H; the leakage is split evenly between the windings.
    loss_ohm
        Core loss as a resistance across the primary, ohm.
    primary_farad, secondary_farad
        Each winding's end that carries the signal, to the screen (joined to its own side), F.
    between_farad
        Primary to secondary, what the screen lets through, F.
    volts_at_20_hz
        Most the core takes at 20 Hz before it saturates, V rms at the primary.
    name
        How it is called.
    """

    ratio: float
    primary_ohm: float
    secondary_ohm: float
    magnetising_henry: float
    leakage_henry: float
    loss_ohm: float
    primary_farad: float
    secondary_farad: float
    between_farad: float
    volts_at_20_hz: float
    name: str = ""
    """Empty: an ordinary part nobody has chosen."""
    of_shelf: bool = False
    """It lies on a shelf, and was not asked for: another one is ordered where it does not do."""


@dataclass(frozen=True)
class _Resistor:
    name: str
    a: str
    b: str
    ohm: float


@dataclass(frozen=True)
class _Capacitor:
    name: str
    a: str
    b: str
    farad: float


@dataclass(frozen=True)
class _Controlled:
    """Current ``siemens (v_c - v_d)`` from node ``a`` through the element to node ``b``."""

    name: str
    a: str
    b: str
    c: str
    d: str
    siemens: float


@dataclass(frozen=True)
class _Coupled:
    """Two coupled windings: ``v1 = jw(L1 i1 + M i2)``, currents into the first-named ends."""

    name: str
    p: str
    q: str
    r: str
    s: str
    primary_henry: float
    secondary_henry: float
    mutual_henry: float


@dataclass
class Circuit:
    """Elements between named nodes, in the order they were added."""

    resistors: list[_Resistor] = field(default_factory=list)
    capacitors: list[_Capacitor] = field(default_factory=list)
    controlled: list[_Controlled] = field(default_factory=list)
    coupled: list[_Coupled] = field(default_factory=list)

    def resistor(self, name: str, a: str, b: str, ohm: float) -> None:
        """Add a resistor of ``ohm`` > 0."""
        if not ohm > 0.0:
            raise ValueError(f"resistor {name}: {ohm} ohm")
        self.resistors.append(_Resistor(name, a, b, ohm))

    def capacitor(self, name: str, a: str, b: str, farad: float) -> None:
        """Add a capacitor; none at all for 0 F."""
        if farad < 0.0:
            raise ValueError(f"capacitor {name}: {farad} farad")
        if farad > 0.0:
            self.capacitors.append(_Capacitor(name, a, b, farad))

    def transconductance(self, name: str, a: str, b: str, c: str, d: str, siemens: float) -> None:
        """Add a current of ``siemens (v_c - v_d)`` flowing from ``a`` through it to ``b``."""
        self.controlled.append(_Controlled(name, a, b, c, d, siemens))

    def transformer(self, name: str, primary: tuple[str, str], secondary: tuple[str, str],
                    part: TwoPort) -> None:  # fmt: skip
        """Add a transformer as its equivalent circuit (windings, leakage, core, capacitances)."""
        (p, q), (r, s), n = primary, secondary, part.ratio
        inner, outer = f"{name}.p", f"{name}.s"
        own = part.magnetising_henry + part.leakage_henry / 2.0
        self.resistor(f"{name}.rp", p, inner, part.primary_ohm)
        self.resistor(f"{name}.rs", r, outer, part.secondary_ohm)
        self.resistor(f"{name}.loss", inner, q, part.loss_ohm)
        self.capacitor(f"{name}.cp", p, q, part.primary_farad)
        self.capacitor(f"{name}.cs", r, s, part.secondary_farad)
        self.capacitor(f"{name}.cb", p, r, part.between_farad)
        self.capacitor(f"{name}.cbq", q, s, part.between_farad)
        self.coupled.append(
            _Coupled(name, inner, q, outer, s, own, own * n**2, part.magnetising_henry * n)
        )

    def nodes(self) -> list[str]:
        """Return every node but the reference, in order of first mention."""
        seen: dict[str, None] = {}
        for r in self.resistors:
            seen.update(dict.fromkeys((r.a, r.b)))
        for c in self.capacitors:
            seen.update(dict.fromkeys((c.a, c.b)))
        for four in self.controlled:
            seen.update(dict.fromkeys((four.a, four.b, four.c, four.d)))
        for pair in self.coupled:
            seen.update(dict.fromkeys((pair.p, pair.q, pair.r, pair.s)))
        return [n for n in seen if n != REFERENCE]


@dataclass(frozen=True)
class Reduced:
    """A network seen from the pins.

    Attributes
    ----------
    y
        Shape (F, P, P), siemens: current out of each pin per volt on each pin.
    nodes
        Node name to its row of voltages per volt on each pin, shape (F, P).
    currents
        Resistor name to its row of currents (from its first node to its second), shape (F, P),
        siemens.
    """

    y: Complex
    nodes: dict[str, Complex]
    currents: dict[str, Complex]

    def across(self, plus: str, minus: str) -> Complex:
        """Return voltage between two nodes per volt on each pin, shape (F, P)."""
        zero = np.zeros(self.y.shape[:2], dtype=np.complex128)
        return self.nodes.get(plus, zero) - self.nodes.get(minus, zero)


def reduce(circuit: Circuit, hz: Floats, pins: Sequence[str]) -> Reduced:
    """Eliminate every node of ``circuit`` but ``pins`` at the frequencies ``hz``, shape (F,)."""
    inner = [n for n in circuit.nodes() if n not in pins]
    order = [*pins, *inner]
    matrix = _matrix(circuit, hz, order)
    p = len(pins)
    transfer = -np.linalg.solve(matrix[:, p:, p:], matrix[:, p:, :p])
    y = matrix[:, :p, :p] + matrix[:, :p, p:] @ transfer
    unit = np.broadcast_to(np.eye(p, dtype=np.complex128), (hz.size, p, p))
    full = np.concatenate([unit, transfer], axis=1)
    nodes = {name: full[:, i, :] for i, name in enumerate(order)}
    return Reduced(y, nodes, _currents(circuit, nodes, full))


def _currents(circuit: Circuit, nodes: dict[str, Complex], full: Complex) -> dict[str, Complex]:
    zero = np.zeros_like(full[:, 0, :])
    return {
        r.name: (nodes.get(r.a, zero) - nodes.get(r.b, zero)) / r.ohm for r in circuit.resistors
    }


def _matrix(circuit: Circuit, hz: Floats, order: Sequence[str]) -> Complex:
    """Return the nodal matrix with the windings' branch rows, shape (F, N, N)."""
    at = {name: i for i, name in enumerate(order)}
    size = len(order) + 2 * len(circuit.coupled)
    real = np.zeros((size, size))
    per_jw = np.zeros((size, size))
    inner = range(len(order))
    real[inner, inner] += LEAK_SIEMENS
    for r in circuit.resistors:
        _stamp(real, at, (r.a, r.b), (r.a, r.b), 1.0 / r.ohm)
    for c in circuit.capacitors:
        _stamp(per_jw, at, (c.a, c.b), (c.a, c.b), c.farad)
    for g in circuit.controlled:
        _stamp(real, at, (g.a, g.b), (g.c, g.d), g.siemens)
    for k, pair in enumerate(circuit.coupled):
        _stamp_windings(real, per_jw, at, pair, len(order) + 2 * k)
    jw = 2j * np.pi * hz
    return np.asarray(real[None] + jw[:, None, None] * per_jw[None])


def _stamp(
    into: Floats, at: dict[str, int], rows: tuple[str, str], columns: tuple[str, str], value: float
) -> None:
    """Add an admittance between ``rows`` controlled by the voltage between ``columns``."""
    for row, row_sign in zip(rows, (1.0, -1.0), strict=True):
        for column, column_sign in zip(columns, (1.0, -1.0), strict=True):
            if row in at and column in at:
                into[at[row], at[column]] += row_sign * column_sign * value


def _stamp_windings(
    real: Floats, per_jw: Floats, at: dict[str, int], pair: _Coupled, branch: int
) -> None:
    """Add two windings: their currents to the nodes, and one voltage equation for each."""
    for ends, current in (((pair.p, pair.q), branch), ((pair.r, pair.s), branch + 1)):
        for node, sign in zip(ends, (1.0, -1.0), strict=True):
            if node in at:
                real[at[node], current] += sign
                real[current, at[node]] += sign
    per_jw[branch, branch] -= pair.primary_henry
    per_jw[branch + 1, branch + 1] -= pair.secondary_henry
    per_jw[branch, branch + 1] -= pair.mutual_henry
    per_jw[branch + 1, branch] -= pair.mutual_henry
