"""Linear circuits solved by modified nodal analysis, complex, at many frequencies at once.

Unknowns are the node voltages and one current for every element whose current is not a plain
function of its voltage (voltage sources, controlled sources, amplifiers, inductors). Kirchhoff's
current law gives one row per node, the element's own law one row per such current; the rows are
stamped element by element and solved by LU for all frequencies and all excitations together.
Method: Ho, Ruehli, Brennan, "The modified nodal approach to network analysis", IEEE Trans.
Circuits and Systems 22 (1975).

Node ``"0"`` is pin 1. Amplifiers are single-pole: open-loop gain ``A(f) = A0 / (1 + j f A0 / GB)``
behind an output resistance; a device without power leaves ``off_ohm`` to pin 1 in their place.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from probe.errors import BadInput

GROUND = "0"
"""The reference node: pin 1."""


@dataclass(frozen=True)
class Resistor:
    """``ohm`` between nodes ``a`` and ``b``."""

    name: str
    a: str
    b: str
    ohm: float
    grade: str = "resistor"


@dataclass(frozen=True)
class Capacitor:
    """``farad`` between nodes ``a`` and ``b``."""

    name: str
    a: str
    b: str
    farad: float
    grade: str = "capacitor"


@dataclass(frozen=True)
class Inductor:
    """``henry`` between nodes ``a`` (the dotted end) and ``b``."""

    name: str
    a: str
    b: str
    henry: float
    grade: str = "inductor"


@dataclass(frozen=True)
class Coupling:
    """Coupling factor ``k`` of inductors; with more than two names, of every pair of them."""

    name: str
    inductors: tuple[str, ...]
    k: float


@dataclass(frozen=True)
class VoltageSource:
    """An e.m.f. from ``b`` (minus) to ``a`` (plus), zero unless excited by name.

    ``hot`` and ``cold`` tell how it follows the two legs of the device's own input, volts per
    volt; both zero: it does not.
    """

    name: str
    a: str
    b: str
    hot: float = 0.0
    cold: float = 0.0


@dataclass(frozen=True)
class CurrentSource:
    """A current leaving node ``b`` and entering node ``a``, zero unless excited by name."""

    name: str
    a: str
    b: str
    hot: float = 0.0
    cold: float = 0.0


@dataclass(frozen=True)
class ControlledSource:
    """A voltage-controlled voltage source: ``V(a) - V(b) = gain (V(plus) - V(minus))``."""

    name: str
    plus: str
    minus: str
    a: str
    b: str
    gain: float


@dataclass(frozen=True)
class Amplifier:
    """An operational amplifier: finite gain, one pole, output resistance."""

    name: str
    plus: str
    minus: str
    out: str
    gain: float = 1e6
    gain_bandwidth_hz: float = 10e6
    output_ohm: float = 40.0
    off_ohm: float = 10e6
    grade: str = "amplifier"


Element = (
    Resistor
    | Capacitor
    | Inductor
    | Coupling
    | VoltageSource
    | CurrentSource
    | ControlledSource
    | Amplifier
)


@dataclass(frozen=True)
class Circuit:
    """Elements, and which node is brought out at which terminal."""

    elements: tuple[Element, ...]
    terminals: Mapping[str, str] = field(default_factory=dict)

    def with_elements(self, *more: Element) -> Circuit:
        """Return the same circuit with more elements hung on it."""
        return Circuit((*self.elements, *more), self.terminals)

    def element(self, name: str) -> Element | None:
        """Return the element of that name, or None."""
        return next((e for e in self.elements if e.name == name), None)


@dataclass(frozen=True)
class Solution:
    """Node voltages at F frequencies for M excitations."""

    hz: NDArray[np.float64]
    nodes: tuple[str, ...]
    volts: NDArray[np.complex128]
    """Shape (F, nodes, M)."""

    def at(self, node: str) -> NDArray[np.complex128]:
        """Return the voltage of ``node`` against pin 1, shape (F, M), volts."""
        if node == GROUND:
            return np.zeros((self.volts.shape[0], self.volts.shape[2]), dtype=np.complex128)
        return self.volts[:, self.nodes.index(node), :]


def solve(
    circuit: Circuit,
    hz: ArrayLike,
    excitations: Sequence[Mapping[str, complex]],
    *,
    powered: bool = True,
) -> Solution:
    """Solve the node voltages of ``circuit``.

    Parameters
    ----------
    circuit
        The circuit, with everything that hangs on it.
    hz
        Frequencies, shape (F,), Hz, above zero.
    excitations
        M mappings from the name of a source to its volts (or amperes); sources that are not
        named are silent.
    powered
        False: every amplifier is replaced by its ``off_ohm`` to pin 1.

    Raises
    ------
    BadInput
        A node that hangs on nothing, a coupling of an unknown inductor, or a circuit that has
        no single solution.
    """
    freq = np.asarray(hz, dtype=np.float64)
    elements = circuit.elements if powered else tuple(_unpowered(e) for e in circuit.elements)
    nodes = _nodes(elements)
    _check_anchored(elements, nodes)
    system = _System(nodes, _branches(elements), freq, len(excitations))
    inductors = {e.name: e for e in elements if isinstance(e, Inductor)}
    for element in elements:
        if isinstance(element, Coupling):
            _stamp_coupling(system, element, inductors)
        else:
            _stamp(system, element)
    for column, excitation in enumerate(excitations):
        _excite(system, elements, column, excitation)
    try:
        x = np.linalg.solve(system.matrix, system.right)
    except np.linalg.LinAlgError as error:
        raise BadInput(
            "circuit: the equations have no single solution; look for a loop of ideal sources "
            "or a node that only sources hold"
        ) from error
    return Solution(freq, nodes, np.asarray(x[:, : len(nodes), :], dtype=np.complex128))


def _unpowered(element: Element) -> Element:
    if isinstance(element, Amplifier):
        return Resistor(element.name, element.out, GROUND, element.off_ohm)
    return element


def _ends(element: Element) -> tuple[str, ...]:
    """Every node an element touches."""
    if isinstance(element, Coupling):
        return ()
    if isinstance(element, Amplifier):
        return (element.plus, element.minus, element.out)
    if isinstance(element, ControlledSource):
        return (element.plus, element.minus, element.a, element.b)
    return (element.a, element.b)


def _nodes(elements: Sequence[Element]) -> tuple[str, ...]:
    found = dict.fromkeys(node for e in elements for node in _ends(e))
    return tuple(node for node in found if node != GROUND)


def _branches(elements: Sequence[Element]) -> tuple[str, ...]:
    kinds = (Inductor, VoltageSource, ControlledSource, Amplifier)
    return tuple(e.name for e in elements if isinstance(e, kinds))


def _check_anchored(elements: Sequence[Element], nodes: Sequence[str]) -> None:
    """Refuse nodes from which no current can reach pin 1: their voltage is anybody's guess."""
    neighbours: dict[str, set[str]] = {node: set() for node in (*nodes, GROUND)}
    for element in elements:
        if isinstance(element, Coupling | CurrentSource):
            continue
        if isinstance(element, Amplifier):
            a, b = element.out, GROUND
        else:
            a, b = element.a, element.b
        neighbours[a].add(b)
        neighbours[b].add(a)
    reached, waiting = {GROUND}, [GROUND]
    while waiting:
        new = neighbours[waiting.pop()] - reached
        reached |= new
        waiting.extend(new)
    for node in nodes:
        if node not in reached:
            raise BadInput(
                f'circuit: node "{node}" has no path to node "0" (pin 1); '
                "add the resistance or the stray capacitance that holds it"
            )


class _System:
    """The matrix being stamped: rows and columns by node and by branch name."""

    def __init__(
        self,
        nodes: Sequence[str],
        branches: Sequence[str],
        hz: NDArray[np.float64],
        columns: int,
    ) -> None:
        self._node = {name: i for i, name in enumerate(nodes)}
        self._branch = {name: len(nodes) + i for i, name in enumerate(branches)}
        size = len(nodes) + len(branches)
        self.s = 2j * np.pi * hz
        self.hz = hz
        self.matrix = np.zeros((hz.size, size, size), dtype=np.complex128)
        self.right = np.zeros((hz.size, size, columns), dtype=np.complex128)

    def node(self, name: str) -> int | None:
        return None if name == GROUND else self._node[name]

    def branch(self, name: str) -> int:
        return self._branch[name]

    def add(self, row: int | None, column: int | None, value: complex | NDArray[Any]) -> None:
        if row is not None and column is not None:
            self.matrix[:, row, column] += value

    def admittance(self, a: str, b: str, value: complex | NDArray[Any]) -> None:
        i, j = self.node(a), self.node(b)
        self.add(i, i, value)
        self.add(j, j, value)
        self.add(i, j, -value)
        self.add(j, i, -value)

    def branch_current(self, name: str, a: str, b: str) -> int:
        """Let the branch's current leave ``a`` and enter ``b``; return its row."""
        row = self.branch(name)
        self.add(self.node(a), row, 1.0)
        self.add(self.node(b), row, -1.0)
        return row


def _stamp(system: _System, element: Element) -> None:
    match element:
        case Resistor():
            system.admittance(element.a, element.b, 1.0 / element.ohm)
        case Capacitor():
            system.admittance(element.a, element.b, system.s * element.farad)
        case Inductor():
            row = system.branch_current(element.name, element.a, element.b)
            system.add(row, system.node(element.a), 1.0)
            system.add(row, system.node(element.b), -1.0)
            system.add(row, row, -system.s * element.henry)
        case VoltageSource():
            row = system.branch_current(element.name, element.a, element.b)
            system.add(row, system.node(element.a), 1.0)
            system.add(row, system.node(element.b), -1.0)
        case ControlledSource():
            row = system.branch_current(element.name, element.a, element.b)
            system.add(row, system.node(element.a), 1.0)
            system.add(row, system.node(element.b), -1.0)
            system.add(row, system.node(element.plus), -element.gain)
            system.add(row, system.node(element.minus), element.gain)
        case Amplifier():
            _stamp_amplifier(system, element)
        case _:
            pass  # a current source only stands on the right-hand side


def _stamp_amplifier(system: _System, amplifier: Amplifier) -> None:
    """Stamp ``(V(out) - Ro I) / A - (V(plus) - V(minus)) = 0``, I leaving node ``out``.

    Divided by the gain, so that the row stays of order one.
    """
    row = system.branch_current(amplifier.name, amplifier.out, GROUND)
    inverse = 1.0 / amplifier.gain + 1j * system.hz / amplifier.gain_bandwidth_hz
    system.add(row, system.node(amplifier.out), inverse)
    system.add(row, row, -amplifier.output_ohm * inverse)
    system.add(row, system.node(amplifier.plus), -1.0)
    system.add(row, system.node(amplifier.minus), 1.0)


def _excite(
    system: _System, elements: Sequence[Element], column: int, excitation: Mapping[str, complex]
) -> None:
    by_name = {e.name: e for e in elements}
    for name, value in excitation.items():
        match by_name.get(name):
            case VoltageSource():
                system.right[:, system.branch(name), column] += value
            case CurrentSource(a=a, b=b):
                for node, sign in ((system.node(a), 1.0), (system.node(b), -1.0)):
                    if node is not None:
                        system.right[:, node, column] += sign * value
            case _:
                raise BadInput(f'circuit: there is no source "{name}" to excite')


def _stamp_coupling(system: _System, coupling: Coupling, inductors: Mapping[str, Inductor]) -> None:
    """Stamp the mutual inductance ``k sqrt(L1 L2)`` of every pair."""
    for name in coupling.inductors:
        if name not in inductors:
            raise BadInput(f'circuit: {coupling.name} couples "{name}", which is no inductor')
    for i, first in enumerate(coupling.inductors):
        for second in coupling.inductors[i + 1 :]:
            mutual = coupling.k * (inductors[first].henry * inductors[second].henry) ** 0.5
            rows = system.branch(first), system.branch(second)
            system.add(rows[0], rows[1], -system.s * mutual)
            system.add(rows[1], rows[0], -system.s * mutual)
