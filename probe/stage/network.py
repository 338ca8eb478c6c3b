"""What hangs on the device in one take: admittances and injected currents, each with its errors.

``Y`` and ``J`` of ``i = J - Y v`` (``i`` into the device) are kept as a list of two-terminal
elements, because every physical thing carries one error of its own that all takes share.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from probe.session.model import Injection, Load, RecorderInput, Take
from probe.stage.source import TERMINALS

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]


@dataclass(frozen=True)
class Element:
    """A conductance and a capacitance between two terminals (or one and pin 1).

    ``pattern`` has shape (3,): the voltage across the element is ``pattern @ v_leg``.
    ``conductance_key`` names the shared relative error of the resistance, ``capacitance_key`` the
    shared error of the capacitance (F).
    """

    pattern: Array
    siemens: float
    conductance_key: str
    farad: float = 0.0
    capacitance_key: str = ""


@dataclass(frozen=True)
class Generator:
    """An e.m.f. (V rms per tone) behind ``ohm`` into a terminal."""

    terminal: int
    volts: float
    ohm: float
    resistance_key: str
    volts_key: str
    injection: int


def terminal_index(name: str) -> int:
    """Index of a terminal in the order hot, cold, single-ended."""
    return TERMINALS.index(name)


def _unit(name: str) -> Array:
    pattern = np.zeros(3)
    if name != "ground":
        pattern[terminal_index(name)] = 1.0
    return pattern


COMMON_GAIN = "common-gain"
"""Key of the gain error that all recorder channels share."""


def channel_key(channel: int, volts_full_scale: float) -> str:
    """Key of the gain error of a recorder channel at one gain setting."""
    return f"gain/{channel}/{volts_full_scale:.9g}"


def recorder_elements(take: Take) -> list[Element]:
    """Return the recorder's own inputs on the terminals they record."""
    elements: list[Element] = []
    for index, (channel, inlet) in enumerate(zip(take.channels, take.inputs, strict=True)):
        names = {"difference": ["hot", "cold"]}.get(channel, [channel])
        elements += [_inlet(name, index, inlet) for name in names if name in TERMINALS]
    return elements


def _inlet(name: str, index: int, inlet: RecorderInput) -> Element:
    return Element(
        pattern=_unit(name),
        siemens=1.0 / inlet.impedance_ohm,
        conductance_key=f"input-ohm/{index}",
        farad=inlet.capacitance_farad,
        capacitance_key=f"input-farad/{index}",
    )


def _load_element(load: Load) -> Element:
    return Element(_unit(load.from_) - _unit(load.to), 1.0 / load.ohm, f"part/{load.part}")


def _injection_element(injection: Injection) -> Element:
    return Element(_unit(injection.into), 1.0 / injection.through_ohm, f"part/{injection.part}")


def elements_of(take: Take) -> tuple[Element, ...]:
    """Everything that draws current in a take: recorder inputs, loads, injectors (silent too)."""
    return (
        *recorder_elements(take),
        *(_load_element(load) for load in take.loads),
        *(_injection_element(injection) for injection in take.injections),
    )


def generators_of(take: Take) -> tuple[Generator, ...]:
    """Return the injectors of a take that carry a signal."""
    return tuple(
        Generator(
            terminal_index(injection.into),
            injection.volts,
            injection.through_ohm,
            f"part/{injection.part}",
            "injected-volts",
            index,
        )
        for index, injection in enumerate(take.injections)
        if injection.volts > 0.0 and injection.tones_hz
    )


def error_scales(take: Take) -> dict[str, float]:
    """Return standard uncertainty of every shared error a take meets, by key.

    Relative for gains, resistances and injected volts; farad for capacitances. ``u95`` figures
    are expanded with k = 2.
    """
    scales: dict[str, float] = {}
    for index, (channel, inlet) in enumerate(zip(take.channels, take.inputs, strict=True)):
        if channel == "unused":
            continue
        scales[channel_key(index, inlet.volts_full_scale)] = inlet.own_u95_relative / 2.0
        if inlet.common_u95_relative > 0.0:
            scales[COMMON_GAIN] = inlet.common_u95_relative / 2.0
        scales[f"input-ohm/{index}"] = inlet.impedance_u95_relative / 2.0
        scales[f"input-farad/{index}"] = inlet.capacitance_u95_farad / 2.0
    for load in take.loads:
        scales[f"part/{load.part}"] = load.u95_relative / 2.0
    for injection in take.injections:
        scales[f"part/{injection.part}"] = injection.u95_relative / 2.0
        if injection.volts > 0.0:
            scales["injected-volts"] = injection.volts_u95_relative / 2.0
    return scales


def admittance(elements: tuple[Element, ...], hz: Array) -> Complex:
    """Nominal admittance matrix between the three terminals, shape (F, 3, 3), siemens."""
    total = np.zeros((len(hz), 3, 3), dtype=np.complex128)
    for element in elements:
        y = element.siemens + 2j * np.pi * hz * element.farad
        total += y[:, None, None] * np.outer(element.pattern, element.pattern)
    return total
