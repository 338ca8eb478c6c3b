"""Circuits as data: the tables people write, turned into elements, overridden and drawn.

Every part is one inline table whose first word says what it is::

    R_HOT = { ohm = 100.0, between = ["core", "hot"] }
    C_OUT = { farad = 47e-6, between = ["core", "after"], grade = "electrolytic" }
    L_ONE = { henry = 10.0, between = ["a", "0"] }
    T     = { coupling = 0.99997, of = ["L_ONE", "L_TWO"] }
    IN    = { source = "voltage", between = ["in", "0"], hot = 1.0, cold = -1.0 }
    E     = { gain = 2.0, plus = "x", minus = "0", between = ["y", "0"] }
    A     = { amplifier = "single-pole", plus = "x", minus = "y", out = "y" }
"""

from __future__ import annotations

import zlib
from collections.abc import Mapping
from dataclasses import replace
from typing import Any, Literal

import numpy as np
from pydantic import Field, PositiveFloat, model_validator

from probe.errors import BadInput
from probe.formats.toml import Table
from probe.simulate.circuit import (
    Amplifier,
    Capacitor,
    Circuit,
    ControlledSource,
    Coupling,
    CurrentSource,
    Element,
    Inductor,
    Resistor,
    VoltageSource,
)

GRADES: Mapping[str, float] = {
    "resistor": 0.01,
    "matched": 0.001,
    "wiring": 0.2,
    "capacitor": 0.05,
    "electrolytic": 0.2,
    "stray": 0.2,
    "inductor": 0.1,
    "amplifier": 0.3,
}
"""Half-width of the tolerance of each grade of part, relative (common practice, no source)."""

_FIELDS: Mapping[str, frozenset[str]] = {
    "ohm": frozenset({"between", "grade"}),
    "farad": frozenset({"between", "grade"}),
    "henry": frozenset({"between", "grade"}),
    "coupling": frozenset({"of"}),
    "source": frozenset({"between", "hot", "cold"}),
    "gain": frozenset({"between", "plus", "minus"}),
    "amplifier": frozenset(
        {
            "plus",
            "minus",
            "out",
            "open_loop_gain",
            "gain_bandwidth_hz",
            "output_ohm",
            "off_ohm",
            "grade",
        }
    ),
}
"""What a part of each kind may say beside the word that makes it one."""

_NEEDED: Mapping[str, tuple[str, ...]] = {
    "coupling": ("of",),
    "gain": ("between", "plus", "minus"),
    "amplifier": ("plus", "minus", "out"),
}


class Part(Table):
    """One part of a circuit; see the module for the forms it may take."""

    ohm: PositiveFloat | None = None
    farad: PositiveFloat | None = None
    henry: PositiveFloat | None = None
    coupling: float | None = Field(default=None, gt=0.0, le=1.0)
    source: Literal["voltage", "current"] | None = None
    gain: float | None = None
    amplifier: Literal["single-pole"] | None = None
    between: tuple[str, str] | None = None
    of: tuple[str, ...] | None = Field(default=None, min_length=2)
    plus: str | None = None
    minus: str | None = None
    out: str | None = None
    hot: float | None = None
    cold: float | None = None
    open_loop_gain: PositiveFloat | None = None
    gain_bandwidth_hz: PositiveFloat | None = None
    output_ohm: PositiveFloat | None = None
    off_ohm: PositiveFloat | None = None
    grade: (
        Literal[
            "resistor",
            "matched",
            "wiring",
            "capacitor",
            "electrolytic",
            "stray",
            "inductor",
            "amplifier",
        ]
        | None
    ) = None

    @property
    def what(self) -> str:
        """The word that says what the part is."""
        return next(word for word in _FIELDS if getattr(self, word) is not None)

    @model_validator(mode="after")
    def _one_kind(self) -> Part:
        words = [word for word in _FIELDS if getattr(self, word) is not None]
        if len(words) != 1:
            raise ValueError(f"a part has exactly one of {', '.join(_FIELDS)}")
        needed = _NEEDED.get(words[0], ("between",))
        for key in needed:
            if getattr(self, key) is None:
                raise ValueError(f'a part with "{words[0]}" needs "{key}"')
        for key in self.model_fields_set - {words[0]} - _FIELDS[words[0]]:
            raise ValueError(f'a part with "{words[0]}" has no "{key}"')
        return self


class Terminals(Table):
    """Which node is brought out at which terminal."""

    hot: str
    cold: str
    single_ended: str | None = Field(default=None, alias="single-ended")


class Netlist(Table):
    """A circuit: its parts and its terminals."""

    terminals: Terminals
    parts: dict[str, Part] = Field(min_length=1)


class CircuitFile(Netlist):
    """A circuit of the library, with what a bench should make of it."""

    describes: str
    kind: str
    faults: tuple[str, ...] = ()


class Change(Table):
    """New figures for one part: ``open`` takes it out, the others set what they name.

    A bare number is ``value``: the part's main figure.
    """

    value: float | None = None
    open: Literal[True] | None = None
    ohm: PositiveFloat | None = None
    farad: PositiveFloat | None = None
    henry: PositiveFloat | None = None
    coupling: float | None = Field(default=None, gt=0.0, le=1.0)
    gain: float | None = None
    hot: float | None = None
    cold: float | None = None
    open_loop_gain: PositiveFloat | None = None
    gain_bandwidth_hz: PositiveFloat | None = None
    output_ohm: PositiveFloat | None = None
    off_ohm: PositiveFloat | None = None

    @model_validator(mode="before")
    @classmethod
    def _number_or_table(cls, said: object) -> object:
        if isinstance(said, int | float) and not isinstance(said, bool):
            return {"value": said}
        if not isinstance(said, Mapping | Change):
            raise ValueError("must be a number, or a table such as { ohm = 100.0 }")
        return said

    @model_validator(mode="after")
    def _value_alone(self) -> Change:
        if self.value is not None and len(self.model_fields_set) > 1:
            raise ValueError("write either value or the figures by name")
        return self


def circuit_of(netlist: Netlist) -> Circuit:
    """Return the netlist as a circuit.

    Raises
    ------
    BadInput
        A terminal on a node no part touches, or a part's name that the bench itself uses.
    """
    elements = tuple(_element(name, part) for name, part in netlist.parts.items())
    terminals = {"hot": netlist.terminals.hot, "cold": netlist.terminals.cold}
    if netlist.terminals.single_ended is not None:
        terminals["single-ended"] = netlist.terminals.single_ended
    circuit = Circuit(elements, terminals)
    touched = {n for p in netlist.parts.values() for n in _nodes_of(p)} | {"0"}
    for terminal, node in terminals.items():
        if node not in touched:
            raise BadInput(
                f'circuit: terminal {terminal} is on node "{node}", which no part touches'
            )
    for name in netlist.parts:
        if name.startswith("bench "):
            raise BadInput(f'circuit: part "{name}": names beginning with "bench " are taken')
    return circuit


def _nodes_of(part: Part) -> tuple[str, ...]:
    return (
        *(part.between or ()),
        *(n for n in (part.plus, part.minus, part.out) if n is not None),
    )


def _element(name: str, part: Part) -> Element:
    a, b = part.between or ("", "")
    plus, minus, out = part.plus or "", part.minus or "", part.out or ""
    if part.ohm is not None:
        return Resistor(name, a, b, part.ohm, part.grade or "resistor")
    if part.farad is not None:
        return Capacitor(name, a, b, part.farad, part.grade or "capacitor")
    if part.henry is not None:
        return Inductor(name, a, b, part.henry, part.grade or "inductor")
    if part.coupling is not None:
        return Coupling(name, part.of or (), part.coupling)
    if part.source == "voltage":
        return VoltageSource(name, a, b, part.hot or 0.0, part.cold or 0.0)
    if part.source == "current":
        return CurrentSource(name, a, b, part.hot or 0.0, part.cold or 0.0)
    if part.gain is not None:
        return ControlledSource(name, plus, minus, a, b, part.gain)
    plain = Amplifier(name, plus, minus, out)
    return replace(
        plain,
        gain=part.open_loop_gain or plain.gain,
        gain_bandwidth_hz=part.gain_bandwidth_hz or plain.gain_bandwidth_hz,
        output_ohm=part.output_ohm or plain.output_ohm,
        off_ohm=part.off_ohm or plain.off_ohm,
        grade=part.grade or "amplifier",
    )


_VALUE: Mapping[type, str] = {
    Resistor: "ohm",
    Capacitor: "farad",
    Inductor: "henry",
    Coupling: "k",
    ControlledSource: "gain",
    Amplifier: "gain_bandwidth_hz",
}
"""The figure a bare number sets, and the one that tolerances draw."""

_FIELD_OF_KEY = {"coupling": "k", "open_loop_gain": "gain"}


def changed(circuit: Circuit, changes: Mapping[str, float | Change]) -> Circuit:
    """Return ``circuit`` with other part values; a number stands for the part's main figure.

    Raises
    ------
    BadInput
        A part that is not there, a figure it does not have, or a value out of range.
    """
    known = [e.name for e in circuit.elements]
    for name in changes:
        if name not in known:
            raise BadInput(f'parts: there is no part "{name}"; there are {", ".join(known)}')
    elements: list[Element] = []
    for element in circuit.elements:
        change = changes.get(element.name)
        if isinstance(change, Change) and change.open:
            continue
        elements.append(element if change is None else _changed(element, change))
    return Circuit(tuple(elements), circuit.terminals)


def _changed(element: Element, change: float | Change) -> Element:
    if isinstance(change, Change) and change.value is not None:
        change = change.value
    if not isinstance(change, Change):
        key = _VALUE.get(type(element))
        if key is None:
            raise BadInput(
                f'parts: "{element.name}" is a source; write {{ hot = ..., cold = ... }}'
            )
        if change <= 0 and key != "gain":
            raise BadInput(f"parts: {element.name} = {change}; must be above 0")
        if key == "k" and change > 1:
            raise BadInput(f"parts: {element.name} = {change}; a coupling is at most 1")
        return _with(element, {key: float(change)})
    said = change.model_dump(exclude_none=True)
    fields: dict[str, Any] = {}
    for key, value in said.items():
        if key == "gain" and isinstance(element, Amplifier):
            raise BadInput(f"parts: {element.name} is an amplifier; write open_loop_gain")
        name = _FIELD_OF_KEY.get(key, key)
        if name not in type(element).__dataclass_fields__:
            raise BadInput(f'parts: {element.name} has no "{key}"')
        fields[name] = value
    return _with(element, fields)


def _with(element: Element, fields: Mapping[str, Any]) -> Element:
    """Return the element with other figures; the caller has checked that it has them."""
    return type(element)(**{**element.__dict__, **fields})


def drawn(circuit: Circuit, seed: int, grades: Mapping[str, float] = GRADES) -> Circuit:
    """Return ``circuit`` with every part off by what its grade allows.

    Uniform between the limits; each part has a stream of its own, made of ``seed`` and its name,
    so that adding a part moves no other. Amplifiers are drawn in gain-bandwidth.
    """
    elements: list[Element] = []
    for element in circuit.elements:
        grade = getattr(element, "grade", None)
        key = _VALUE.get(type(element))
        if grade is None or key is None:
            elements.append(element)
            continue
        stream = np.random.default_rng([seed, zlib.crc32(element.name.encode())])
        factor = 1.0 + grades[grade] * stream.uniform(-1.0, 1.0)
        elements.append(_with(element, {key: getattr(element, key) * factor}))
    return Circuit(tuple(elements), circuit.terminals)
