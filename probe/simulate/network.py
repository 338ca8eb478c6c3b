"""What stands at the recorder's terminals in one take: the circuit with the bench hung on it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from probe.errors import BadInput
from probe.session.model import Side
from probe.simulate.circuit import (
    GROUND,
    Capacitor,
    Circuit,
    Element,
    Resistor,
    VoltageSource,
    solve,
)
from probe.simulate.spec import StageSpec, TakeSpec, TrueInput
from probe.simulate.truth import TERMINALS, Truth, circuit_truth, input_excitation

CHECK_OHM = 100.0
"""The reference resistor that stands in place of the device in takes of the bench itself."""

_CHECK = Circuit(
    tuple(Resistor(f"bench check {t}", t, GROUND, CHECK_OHM) for t in ("hot", "cold", "rca")),
    {"hot": "hot", "cold": "cold", "single-ended": "rca"},
)


@dataclass(frozen=True)
class Recorded:
    """Voltages of one take at the recorder's terminals, without errors of the recorder.

    Attributes
    ----------
    hz
        Shape (F,), ascending: every tone played or injected, on the player's clock.
    played
        Shape (F,), bool.
    injected
        Shape (F, n_injections), bool.
    from_device, from_injectors
        Shape (F, C), complex, V rms: the two shares, phases as at the player's first sample.
    """

    hz: NDArray[np.float64]
    played: NDArray[np.bool_]
    injected: NDArray[np.bool_]
    from_device: NDArray[np.complex128]
    from_injectors: NDArray[np.complex128]

    @property
    def volts(self) -> NDArray[np.complex128]:
        """Both shares together, shape (F, C), V rms."""
        return self.from_device + self.from_injectors


def truth(
    stage: StageSpec,
    hz: ArrayLike,
    side: Side,
    *,
    powered: bool = True,
) -> Truth:
    """Return what one side of ``stage`` is at its terminals, nothing connected.

    Open-circuit voltages are per volt between the legs of the device's input, at the loudest
    volume setting (gain 1); multiply by a take's ``drive_volts * gain``.
    """
    return circuit_truth(stage.circuits[side], hz, powered=powered)


def recorded(stage: StageSpec, take: TakeSpec) -> Recorded:
    """Solve one take.

    Raises
    ------
    BadInput
        The take uses a terminal the circuit does not have.
    """
    tones = take.tones_hz if take.plays else ()
    hz = np.array(sorted({*tones, *(f for i in take.injections for f in i.tones_hz)}))
    played = np.isin(hz, tones)
    injected = np.zeros((hz.size, len(take.injections)), dtype=np.bool_)
    for k, injection in enumerate(take.injections):
        injected[:, k] = np.isin(hz, injection.tones_hz)
    shape = (hz.size, len(take.channels))
    if hz.size == 0 or take.signal == "floor":
        zero = np.zeros(shape, dtype=np.complex128)
        return Recorded(hz, played, injected, zero, zero)
    found = responses(stage, take, hz)
    device = found[:, :, 0] * _amplitudes(hz, tones, take.phases_rad, take.drive_volts)[:, None]
    device *= _reaching(take, hz)
    injectors = np.zeros(shape, dtype=np.complex128)
    for k, injection in enumerate(take.injections):
        volts = injection.volts * stage.true.injector
        phases = injection.phases_rad or (0.0,) * len(injection.tones_hz)
        amplitudes = _amplitudes(hz, injection.tones_hz, phases, volts)
        injectors += found[:, :, 1 + k] * amplitudes[:, None]
    return Recorded(hz, played, injected, device, injectors)


def _reaching(take: TakeSpec, hz: NDArray[np.float64]) -> NDArray[np.complex128]:
    """Return what of the drive reaches each channel, (F, C): all, or what the other side lets in.

    A channel that records the drive hears all of it.
    """
    whole = np.ones((hz.size, len(take.channels)), dtype=np.complex128)
    if not take.crosstalk:
        return whole
    coupled = take.side_crosstalk
    rises = 1j * hz / coupled.corner_hz if coupled.corner_hz > 0.0 else np.zeros(hz.size)
    ours = np.array([c != "reference" for c in take.channels])
    whole[:, ours] = (coupled.ratio * (1.0 + rises))[:, None]
    return whole


def swept(stage: StageSpec, take: TakeSpec, hz: ArrayLike) -> NDArray[np.complex128]:
    """Return what each channel reads over frequency in a sweep, (F, C), V rms.

    Gain errors, drift and crosstalk between channels included.
    """
    f = np.asarray(hz, dtype=np.float64)
    device = responses(stage, take, f)[:, :, 0] * take.drive_volts * _reaching(take, f)
    nothing = np.zeros(f.shape, dtype=np.bool_)
    found = Recorded(f, ~nothing, nothing[:, None][:, :0], device, np.zeros_like(device))
    return read_shares(stage, take, found)[0]


def as_read(stage: StageSpec, take: TakeSpec) -> NDArray[np.complex128]:
    """Return what the recorder makes of the tones, shape (F, C), V rms by its declared scale.

    Gain errors, drift, crosstalk and delay included, noise not; phases at the first frame of
    the file, on the player's clock. The quick way for studies that need no audio. (Where the
    injected tones keep the recorder's clock, their true place is ``hz (1 + clock_error)``.)
    """
    found = recorded(stage, take)
    device, injectors = read_shares(stage, take, found)
    turn = np.exp(-2j * np.pi * found.hz * take.delay_s)
    return np.asarray((device + injectors) * turn[:, None])


def read_shares(
    stage: StageSpec, take: TakeSpec, found: Recorded
) -> tuple[NDArray[np.complex128], NDArray[np.complex128]]:
    """Return the two shares of ``found`` after level drift, crosstalk and recorder gain."""
    count = len(take.channels)
    mix = np.full((count, count), stage.true.crosstalk) + np.eye(count) * (
        1.0 - stage.true.crosstalk
    )
    gains = np.array([stage.true.inputs[c].gain for c in range(count)])
    matrix = gains[:, None] * mix * np.array(take.levels)[None, :]
    return found.from_device @ matrix.T, found.from_injectors @ matrix.T


def noise_variance(
    stage: StageSpec, take: TakeSpec, hz: ArrayLike, seconds: float | None = None
) -> NDArray[np.float64]:
    """Return ``E|d|²`` of an rms phasor fitted over the tone, shape (F, C), V².

    Of the recorder's noise by its declared scale: one-sided density over duration.
    """
    f = np.asarray(hz, dtype=np.float64)[:, None]
    true = stage.true.inputs[: len(take.channels)]
    density = np.array([t.gain * t.noise_density for t in true])
    corner = np.array([t.noise_corner_hz for t in true])
    return np.asarray(density**2 * (1.0 + corner / f) / (seconds or take.seconds))


def loaded(stage: StageSpec, take: TakeSpec, hz: ArrayLike = (1000.0,)) -> NDArray[np.complex128]:
    """Return what the recorder leaves of the terminals' own voltages, ``1 / (1 + Z Y)``.

    Shape (F, 3, 3).
    """
    f = np.asarray(hz, dtype=np.float64)
    z = np.nan_to_num(circuit_truth(take.circuit, f, powered=take.powered).z)
    y = np.zeros((len(f), 3, 3), dtype=np.complex128)
    for k, channel in enumerate(take.channels):
        true = stage.true.inputs[k]
        names = ("hot", "cold") if channel == "difference" else (channel,)
        for t in (TERMINALS.index(n) for n in names if n in TERMINALS):
            y[:, t, t] += 1.0 / true.ohm + 2j * np.pi * f * true.farad
    return np.asarray(np.linalg.inv(np.eye(3) + z @ y))


def _amplitudes(
    hz: NDArray[np.float64],
    tones: tuple[float, ...],
    phases: tuple[float, ...],
    volts: float,
) -> NDArray[np.complex128]:
    """Return the phasor of each frequency: ``volts`` at the tones, zero elsewhere."""
    found = np.zeros(hz.size, dtype=np.complex128)
    for tone, phase in zip(tones, phases, strict=True):
        found[hz == tone] += volts * np.exp(1j * phase)
    return found


def responses(stage: StageSpec, take: TakeSpec, hz: NDArray[np.float64]) -> NDArray[np.complex128]:
    """Return volts at each channel per volt of each excitation, shape (F, C, 1 + injections).

    The first is what stands at the device's input, then each injector's e.m.f.; errors of the
    recorder's gain are not in it.
    """
    if take.signal in ("channel-match", "loop-back"):
        return _matched(stage, take, hz)
    circuit = _CHECK if take.signal == "check" else take.circuit
    bench: list[Element] = []
    for k, channel in enumerate(take.channels):
        bench += _recorder(stage.true.inputs[k], k, _nodes_of(circuit, channel, take.name))
    for k, load in enumerate(take.loads):
        ohm = load.ohm * stage.true.parts.get(load.part, 1.0)
        ends = (_node(circuit, load.from_, take.name), _node(circuit, load.to, take.name))
        bench.append(Resistor(f"bench load {k}", *ends, ohm))
    for k, injection in enumerate(take.injections):
        ohm = injection.through_ohm * stage.true.parts.get(injection.part, 1.0)
        node = _node(circuit, injection.into, take.name)
        bench.append(VoltageSource(f"bench emf {k}", f"bench {k}", GROUND))
        bench.append(Resistor(f"bench through {k}", f"bench {k}", node, ohm))
    legs = {"both": (0.5, -0.5), "hot": (0.5, 0.0), "cold": (0.0, -0.5)}[take.driven_input_leg]
    drive = input_excitation(circuit, take.gain * legs[0], take.gain * legs[1])
    excitations = [drive, *({f"bench emf {k}": 1.0 + 0j} for k in range(len(take.injections)))]
    solution = solve(circuit.with_elements(*bench), hz, excitations, powered=take.powered)
    heard = np.zeros((hz.size, len(take.channels), len(excitations)), dtype=np.complex128)
    for k, channel in enumerate(take.channels):
        if channel == "reference":
            heard[:, k, 0] = 1.0
        elif channel == "difference":
            heard[:, k] = solution.at(_node(circuit, "hot", take.name)) - solution.at(
                _node(circuit, "cold", take.name)
            )
        elif channel != "unused":
            heard[:, k] = solution.at(_node(circuit, channel, take.name))
    return heard


def _matched(stage: StageSpec, take: TakeSpec, hz: NDArray[np.float64]) -> NDArray[np.complex128]:
    """One bench output on all recorder inputs in use at once."""
    used = np.array([c != "unused" for c in take.channels])
    ohm = stage.bench.outputs[0].impedance_ohm if stage.bench.outputs else CHECK_OHM
    elements: list[Element] = [VoltageSource("bench emf", "emf", GROUND)]
    elements.append(Resistor("bench output", "emf", "bus", max(ohm, 1e-3)))
    for k in np.flatnonzero(used):
        elements += _recorder(stage.true.inputs[k], int(k), ("bus",))
    bus = solve(Circuit(tuple(elements)), hz, [{"bench emf": 1.0 + 0j}]).at("bus")
    return np.asarray(bus[:, None, :] * used[None, :, None])


def _recorder(true: TrueInput, index: int, nodes: tuple[str, ...]) -> list[Element]:
    """Return the input impedance of one channel at every node it listens to."""
    parts: list[Element] = []
    for node in nodes:
        parts.append(Resistor(f"bench in {index} {node} R", node, GROUND, true.ohm))
        if true.farad > 0.0:
            parts.append(Capacitor(f"bench in {index} {node} C", node, GROUND, true.farad))
    return parts


def _nodes_of(circuit: Circuit, channel: str, take: str) -> tuple[str, ...]:
    if channel in ("reference", "unused"):
        return ()
    if channel == "difference":
        return (_node(circuit, "hot", take), _node(circuit, "cold", take))
    return (_node(circuit, channel, take),)


def _node(circuit: Circuit, terminal: str, take: str) -> str:
    if terminal == "ground":
        return GROUND
    if terminal not in circuit.terminals:
        raise BadInput(
            f'take "{take}" uses the terminal {terminal}, which the circuit does not have; '
            f"it has {', '.join(circuit.terminals)}"
        )
    return circuit.terminals[terminal]
