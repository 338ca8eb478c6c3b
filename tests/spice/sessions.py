"""Records a simulated output stage on a described bench: WAV takes and their session.toml.

The simulator solves one netlist that holds a copy of the stage per take, each with the recorder
inputs, resistors and injectors of that take; this file only multiplies the solution by what was
played, adds noise and hum, and writes 24-bit files. Nothing of the analysed program is used.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import soundfile
from numpy.typing import NDArray

from .circuits import Circuit
from .ngspice import Tone, solve
from .truth import Truth, solve_truth

RATE = 48_000
FULL_SCALE = 8.70  # V peak
NOISE_DBFS = -115.0  # rms against a full-scale sine
SITUATIONS = ("reference", "timebase", "none", "foreign-clock")

# 20 Hz to 20 kHz, away from multiples of 50 and 60 Hz.
DEVICE_TONES = (
    20.3, 41.1, 83.7, 171.3, 343.3, 707.3, 997.1, 1811.7, 3671.9, 7321.3, 12411.7, 19777.7,
)  # fmt: skip
# The same with two of them on the mains and its first harmonic.
TONES_ON_HUM = (20.3, 50.0, 100.0, *DEVICE_TONES[3:])
# Between the device's.
INJECTED_TONES = (
    28.7, 56.3, 113.3, 243.1, 493.9, 877.3, 1373.9, 2593.7, 5171.9, 9533.3, 15671.3,
)  # fmt: skip


@dataclass(frozen=True)
class Resistor:
    """A part of the bench, nominal ohms; ``to`` is a terminal or ``ground``."""

    from_: str
    to: str
    ohm: float
    part: str


@dataclass(frozen=True)
class Plan:
    """What is plugged in for one take."""

    channels: tuple[str, str]
    loads: tuple[Resistor, ...] = ()
    inject: tuple[Resistor, ...] = ()


_LEGS = ("hot", "cold")
PLANS: dict[str, Plan] = {
    "open": Plan(_LEGS),
    "hot and single-ended": Plan(("hot", "single-ended")),
    "load-hot": Plan(_LEGS, (Resistor("hot", "ground", 604.0, "R1"),)),
    "load-cold": Plan(_LEGS, (Resistor("cold", "ground", 604.0, "R1"),)),
    "across": Plan(_LEGS, (Resistor("hot", "cold", 1210.0, "R2"),)),
    "inject-cold": Plan(_LEGS, (), (Resistor("cold", "", 10_000.0, "R3"),)),
    "inject-hot": Plan(_LEGS, (), (Resistor("hot", "", 10_000.0, "R3"),)),
    "single-ended loaded": Plan(
        ("hot", "single-ended"), (Resistor("single-ended", "ground", 1_000.0, "R4"),)
    ),
    "second open": Plan(_LEGS),
}
FULL = tuple(PLANS)
SUBSETS: dict[str, tuple[str, ...]] = {
    "full": FULL,
    "open only": ("open",),
    "open and single-ended": ("open", "hot and single-ended"),
    "loads": ("open", "load-hot", "load-cold"),
    "loads and across": ("open", "load-hot", "load-cold", "across", "second open"),
    "injections": ("open", "inject-cold", "inject-hot"),
    "injections, ends open": ("open", "inject-cold", "inject-hot", "second open"),
    "cold only": ("open", "hot and single-ended", "load-cold", "inject-cold"),
    "no single-ended": tuple(n for n in FULL if "single-ended" not in n),
}

# Declared expanded uncertainties (k = 2).
U95 = {
    "gain": 0.005, "impedance": 0.01, "capacitance": 20e-12, "resistor": 0.001, "injected": 0.005,
}  # fmt: skip


@dataclass
class Bench:
    """The true figures of the bench; equal to the declared ones unless drawn.

    Two inputs of 20 kohm and 150 pF; ``gain`` multiplies the declared full scale.
    """

    gain: NDArray[np.float64] = field(default_factory=lambda: np.ones(2))
    ohm: NDArray[np.float64] = field(default_factory=lambda: np.full(2, 20_000.0))
    farad: NDArray[np.float64] = field(default_factory=lambda: np.full(2, 150e-12))
    part: dict[str, float] = field(default_factory=dict)
    injected: float = 1.0


def drawn_bench(rng: np.random.Generator) -> Bench:
    """A bench off by what the declared uncertainties allow: normal, two sigma at U95."""
    n = rng.standard_normal
    return Bench(
        gain=1.0 + n(2) * U95["gain"] / 2,
        ohm=20_000.0 * (1.0 + n(2) * U95["impedance"] / 2),
        farad=np.maximum(150e-12 + n(2) * U95["capacitance"] / 2, 0.0),
        part={f"R{i}": 1.0 + n() * U95["resistor"] / 2 for i in range(1, 5)},
        injected=1.0 + n() * U95["injected"] / 2,
    )


@dataclass(frozen=True)
class Written:
    """A written session and what is true about it; levels of ``truth`` are for 1 V of drive."""

    folder: Path
    circuit: Circuit
    truth: Truth
    drive_volts: float
    takes: tuple[str, ...]
    device_tones: tuple[float, ...]
    phasors: dict[str, NDArray[np.complex128]]
    """Take → shape (F, channels): true volts at the recorder's terminals at the take's tones,
    device tones first, then injected ones, as at the file's first sample; the drive last where
    it was recorded."""
    hz: dict[str, tuple[float, ...]]


def make_session(
    folder: Path,
    circuit: Circuit,
    *,
    takes: str | Sequence[str] = "full",
    situation: str = "reference",
    rough: bool = False,
    drift_db: float = 0.0,
    declared_drift_db: float | None = None,
    errors: bool = False,
    phases: bool | None = None,
    exchanged: bool = False,
    seconds: tuple[float, float] = (2.0, 4.0),
    ppm: float = 180.0,
    injector_clock: str = "player",
    single_ended_load: float = 1_000.0,
    stated_polarity: str | None = "pin-2-hot",
    seed: int = 0,
) -> Written:
    """Write a session folder and return what is true about it.

    Parameters
    ----------
    takes
        A name of ``SUBSETS`` or names of ``PLANS``.
    situation
        ``reference``: a third channel records the drive, every stream has its own latency;
        ``timebase``: cut from one running stream; ``none``: an unknown whole number of samples
        in each take; ``foreign-clock``: an unknown real delay in each and a recorder ``ppm`` fast.
    rough
        Silence before and after, hum on every channel, tones on 50 and 100 Hz.
    drift_db
        Standard deviation of the level, per take and leg; declared as the repeatability when
        ``declared_drift_db`` is None and it is not zero.
    errors
        Draw the bench's true figures from the declared uncertainties.
    phases
        Declare ``phases_deg``; None leaves it to the seed.
    injector_clock
        ``player``: injectors are played by what plays the device's tones; ``recorder``: by the
        recorder itself, as when the device plays files of its own.
    exchanged
        Every other take has the leads of the recorder exchanged.
    """
    if situation not in SITUATIONS:
        raise ValueError(f"situation {situation!r}, allowed {SITUATIONS}")
    names = SUBSETS[takes] if isinstance(takes, str) else tuple(takes)
    rng = np.random.default_rng([seed, SITUATIONS.index(situation), *circuit.name.encode()])
    bench = drawn_bench(rng) if errors else Bench()
    played = TONES_ON_HUM if rough else DEVICE_TONES
    plans = [
        _plan(PLANS[name], single_ended_load, exchanged and k % 2 == 1)
        for k, name in enumerate(names)
    ]
    transfer = _solve_takes(circuit, plans, bench, played)

    player = _Player(rng, played)
    declare = bool(rng.integers(2)) if phases is None else phases
    recordings = [
        _record(plan, transfer[k], player, bench, situation, rough, drift_db, seconds, ppm, rng)
        for k, plan in enumerate(plans)
    ]
    if injector_clock == "recorder":
        for recording in recordings:
            recording.injector_clock = 1.0
    if situation == "timebase":
        _lay_on_one_stream(recordings, rng)
    for recording in recordings:
        recording.synthesise(player)
    drive = _drive(recordings)

    folder.mkdir(parents=True, exist_ok=True)
    hum_hz = 50.0 + rng.uniform(-0.01, 0.01)
    for name, recording in zip(names, recordings, strict=True):
        data = recording.finished(drive, hum_hz if rough else None, rng)
        _write_wav(folder / _file(name), data)
    declared_drift = declared_drift_db if declared_drift_db is not None else (drift_db or None)
    (folder / "session.toml").write_text(
        _toml(circuit, names, plans, recordings, player, drive, situation, declare,
              declared_drift, stated_polarity)
    )  # fmt: skip
    return Written(
        folder=folder,
        circuit=circuit,
        truth=solve_truth(circuit, sorted({*played, *INJECTED_TONES})),
        drive_volts=drive,
        takes=names,
        device_tones=played,
        phasors={n: r.phasors(drive) for n, r in zip(names, recordings, strict=True)},
        hz={n: tuple(r.hz) for n, r in zip(names, recordings, strict=True)},
    )


def _plan(plan: Plan, single_ended_load: float, exchange: bool) -> Plan:
    loads = tuple(
        Resistor(r.from_, r.to, single_ended_load, r.part) if r.part == "R4" else r
        for r in plan.loads
    )
    channels = (plan.channels[1], plan.channels[0]) if exchange else plan.channels
    return Plan(channels, loads, plan.inject)


# --- the netlist of the takes ---------------------------------------------------------------

_LETTER = {"hot": "h", "cold": "c", "single-ended": "r"}


def _node(terminal: str, take: int) -> str:
    return "0" if terminal == "ground" else f"{_LETTER[terminal]}{take}"


def _solve_takes(
    circuit: Circuit, plans: Sequence[Plan], bench: Bench, played: Sequence[float]
) -> list[tuple[NDArray[np.complex128], NDArray[np.complex128]]]:
    """Per take: volts at (device tones, channels) per volt of drive, and at (injected tones,
    channels) per volt of injected e.m.f. (no rows without an injector)."""
    lines = [circuit.includes(), "vdrive drive 0 dc 0 ac 0"]
    injectors = []
    for k, plan in enumerate(plans):
        lines.append(circuit.instance(f"{k}", "drive", f"h{k}", f"c{k}", f"r{k}"))
        for i, terminal in enumerate(plan.channels):
            node = _node(terminal, k)
            lines.append(f"rin{k}_{i} {node} 0 {float(bench.ohm[i])!r}")
            lines.append(f"cin{k}_{i} {node} 0 {float(bench.farad[i])!r}")
        for i, load in enumerate(plan.loads):
            ohm = float(load.ohm * bench.part.get(load.part, 1.0))
            lines.append(f"rl{k}_{i} {_node(load.from_, k)} {_node(load.to, k)} {ohm!r}")
        for i, injector in enumerate(plan.inject):
            ohm = float(injector.ohm * bench.part.get(injector.part, 1.0))
            lines.append(f"vinj{k}_{i} e{k}_{i} 0 dc 0 ac 0")
            lines.append(f"rinj{k}_{i} e{k}_{i} {_node(injector.from_, k)} {ohm!r}")
            injectors.append(f"vinj{k}_{i}")
    tones = [Tone(f, ("vdrive",)) for f in played]
    if injectors:
        tones += [Tone(f, tuple(injectors)) for f in INJECTED_TONES]
    outputs = [f"v({_node(t, k)})" for k, plan in enumerate(plans) for t in plan.channels]
    solved = solve("\n".join(lines), ["vdrive", *injectors], tones, outputs)
    split = len(played)
    result = []
    for k, plan in enumerate(plans):
        volts = np.stack([solved[f"v({_node(t, k)})"] for t in plan.channels], axis=1)
        result.append((volts[:split], volts[split:] if plan.inject else volts[:0]))
    return result


# --- what is played and how it is recorded ---------------------------------------------------

INJECTED_VOLTS = 0.08


class _Player:
    """Tones with their phases: cosine, at the player's time zero."""

    def __init__(self, rng: np.random.Generator, played: Sequence[float]) -> None:
        self.device_hz = np.array(played)
        self.device_phases_deg = np.round(rng.uniform(-180, 180, len(played)), 1)
        self.injected_hz = np.array(INJECTED_TONES)
        self.injected_phases_deg = np.round(rng.uniform(-180, 180, len(INJECTED_TONES)), 1)


@dataclass
class _Recording:
    """One take before it is written. ``device`` (F, C) is per volt of drive, ``injected`` in V;
    C counts the recorder channels and, last, the reference where there is one."""

    plan: Plan
    device: NDArray[np.complex128]
    injected: NDArray[np.complex128]
    frames: int
    first: int  # where the tone begins
    last: int  # where it ends
    clock: float  # recorder rate over nominal
    delay_s: float  # player's time at the file's first sample
    injector_delay_s: float
    full_scale: NDArray[np.float64]
    start_frame: int | None = None
    injector_clock: float | None = None  # as ``clock``; None: the same
    hz: NDArray[np.float64] = field(default_factory=lambda: np.zeros(0))
    _device_wave: NDArray[np.float64] = field(default_factory=lambda: np.zeros((0, 0)))
    _injected_wave: NDArray[np.float64] = field(default_factory=lambda: np.zeros((0, 0)))

    def synthesise(self, player: _Player) -> None:
        self.hz = player.device_hz
        self.device = self.device * _turn(player.device_hz, player.device_phases_deg, self.delay_s)
        self._device_wave = self._wave(player.device_hz, self.device, self.clock)
        if self.plan.inject:
            self.hz = np.concatenate([self.hz, player.injected_hz])
            self.injected = self.injected * _turn(
                player.injected_hz, player.injected_phases_deg, self.injector_delay_s
            )
            clock = self.injector_clock or self.clock
            self._injected_wave = self._wave(player.injected_hz, self.injected, clock)

    def _wave(
        self, hz: NDArray[np.float64], volts: NDArray[np.complex128], clock: float
    ) -> NDArray[np.float64]:
        wave = _sum_of_tones(hz / (RATE * clock), volts, self.frames)
        return wave * _gate(self.frames, self.first, self.last)[:, None]

    def peak(self) -> float:
        """Largest share of full scale per volt of drive."""
        return float((np.abs(self._device_wave).max(axis=0) / self.full_scale).max())

    def phasors(self, drive: float) -> NDArray[np.complex128]:
        """Volts rms at the file's first sample, (tones, channels)."""
        return np.concatenate([self.device * drive, self.injected])

    def finished(
        self, drive: float, hum_hz: float | None, rng: np.random.Generator
    ) -> NDArray[np.float64]:
        """Samples as shares of full scale, (frames, channels)."""
        volts = self._device_wave * drive
        if self.plan.inject:
            volts = volts + self._injected_wave
        if hum_hz is not None:
            volts = volts + _hum(hum_hz / (RATE * self.clock), *volts.shape, rng)
        noise = 10 ** (NOISE_DBFS / 20) / np.sqrt(2) * rng.standard_normal(volts.shape)
        return volts / self.full_scale + noise


def _record(
    plan: Plan,
    transfer: tuple[NDArray[np.complex128], NDArray[np.complex128]],
    player: _Player,
    bench: Bench,
    situation: str,
    rough: bool,
    drift_db: float,
    seconds: tuple[float, float],
    ppm: float,
    rng: np.random.Generator,
) -> _Recording:
    moved = 10 ** (drift_db * rng.standard_normal(2) / 20)
    device, injected = (volts * moved for volts in transfer)
    injected = injected * INJECTED_VOLTS * bench.injected
    full_scale = FULL_SCALE * bench.gain
    if situation == "reference":
        # the reference sits across the drive itself, before the device
        device = np.column_stack([device, np.ones(len(device))])
        injected = np.column_stack([injected, np.zeros(len(injected))])
        full_scale = np.append(full_scale, FULL_SCALE)
    tone = int(rng.uniform(*seconds) * RATE)
    before, after = (rng.integers(4_000, 24_000, 2).tolist()) if rough else (0, 0)
    frames = before + tone + after
    clock = 1.0 + ppm * 1e-6 if situation == "foreign-clock" else 1.0
    delay, injector_delay = _delays(situation, before, rng)
    return _Recording(
        plan, device, injected, frames, before, before + tone, clock, delay, injector_delay,
        full_scale,
    )  # fmt: skip


def _delays(situation: str, before: int, rng: np.random.Generator) -> tuple[float, float]:
    """Player's time at the file's first sample, s: of the device's tones, of the injector's."""
    if situation == "reference":
        # drive and injector leave the bench in one stream with a latency of its own
        delay = float(-before - rng.integers(200, 3_000)) / RATE
        return delay, delay
    if situation == "none":
        return tuple((rng.integers(0, RATE, 2) / RATE).tolist())
    return tuple(rng.uniform(0.0, 1.0, 2).tolist())


def _lay_on_one_stream(recordings: Sequence[_Recording], rng: np.random.Generator) -> None:
    """Give every recording its place in one running stream with one latency."""
    latency = int(rng.integers(200, 3_000))
    at = int(rng.integers(RATE))
    for recording in recordings:
        recording.start_frame = at
        recording.delay_s = recording.injector_delay_s = (at - latency) / RATE
        at += recording.frames + int(rng.integers(2 * RATE, 20 * RATE))


def _turn(
    hz: NDArray[np.float64], phases_deg: NDArray[np.float64], delay_s: float
) -> NDArray[np.complex128]:
    return np.exp(1j * (np.radians(phases_deg) + 2 * np.pi * hz * delay_s))[:, None]


def _sum_of_tones(
    cycles_per_frame: NDArray[np.float64], volts: NDArray[np.complex128], frames: int
) -> NDArray[np.float64]:
    """``sqrt(2) |v| cos(2 pi f n + angle(v))`` summed over tones; (frames, channels)."""
    block = 1024
    blocks = -(-frames // block)
    omega = 2 * np.pi * cycles_per_frame
    inner = np.exp(1j * np.outer(omega, np.arange(block)))
    outer = np.exp(1j * np.outer(block * np.arange(blocks), omega))
    waves = [
        ((outer * (np.sqrt(2) * volts[:, c])) @ inner).real.ravel()[:frames]
        for c in range(volts.shape[1])
    ]
    return np.stack(waves, axis=1)


def _gate(frames: int, first: int, last: int) -> NDArray[np.float64]:
    """One while the tone is on, 5 ms raised-cosine edges where there is silence beside it."""
    gate = np.ones(frames)
    ramp = 0.5 - 0.5 * np.cos(np.pi * (np.arange(240) + 0.5) / 240)
    if first > 0:
        gate[:first] = 0.0
        gate[first : first + 240] = ramp
    if last < frames:
        gate[last:] = 0.0
        gate[last - 240 : last] = ramp[::-1]
    return gate


def _hum(
    cycles_per_frame: float, frames: int, channels: int, rng: np.random.Generator
) -> NDArray[np.float64]:
    """Mains and harmonics to the tenth, -50 to -80 dBV each, on every channel."""
    order = np.arange(1, 11)
    shape = (len(order), channels)
    volts = 10 ** (rng.uniform(-80, -50, shape) / 20)
    return _sum_of_tones(
        cycles_per_frame * order, volts * np.exp(2j * np.pi * rng.uniform(size=shape)), frames
    )


def _drive(recordings: Sequence[_Recording]) -> float:
    """Volts rms per tone at the device's input that no take clips on, at most 0.25."""
    return round(min(0.25, 0.7 / max(r.peak() for r in recordings)), 4)


# --- files -----------------------------------------------------------------------------------


def _file(take: str) -> str:
    return take.replace(" ", "-") + ".wav"


def _write_wav(path: Path, shares: NDArray[np.float64]) -> None:
    steps = np.rint(shares * 2**23)
    if np.abs(steps).max() >= 2**23:
        raise ValueError(f"{path.name} would clip")
    soundfile.write(path, steps.astype(np.int32) << 8, RATE, subtype="PCM_24")


def _toml(
    circuit: Circuit,
    names: Sequence[str],
    plans: Sequence[Plan],
    recordings: Sequence[_Recording],
    player: _Player,
    drive: float,
    situation: str,
    phases: bool,
    drift_db: float | None,
    stated_polarity: str | None,
) -> str:
    lines = ['format = "probe-session/1"', "", "[device]", 'maker = "Netlist"']
    lines += [f'model = "{circuit.name}"', 'serial = "0"', 'kind = "preamplifier"']
    lines += ['output = "line"', 'connectors = ["xlr", "rca"]']
    if stated_polarity:
        lines.append(f'stated_polarity = "{stated_polarity}"')
    lines += ["", "[bench]", 'interface = "circuit simulator"', "mains_hz = 50"]
    lines.append("recorded_on = 2026-03-14")
    if drift_db is not None:
        lines.append(f"repeatability_db = {drift_db!r}")
    for _ in range(3 if situation == "reference" else 2):
        lines += [
            "", "[[bench.input]]",
            f"volts_full_scale = {FULL_SCALE!r}", f"u95_percent = {100 * U95['gain']!r}",
            "impedance_ohm = 20000.0", f"impedance_u95_percent = {100 * U95['impedance']!r}",
            "capacitance_pf = 150.0", f"capacitance_u95_pf = {1e12 * U95['capacitance']!r}",
        ]  # fmt: skip
    lines += ["", "[[bench.output]]", "volts_full_scale = 4.0", "impedance_ohm = 100.0"]
    for name, plan, recording in zip(names, plans, recordings, strict=True):
        lines += ["", "[[take]]", f'name = "{name}"', f'file = "{_file(name)}"', 'side = "left"']
        channels = [*plan.channels, *(["reference"] if situation == "reference" else [])]
        lines.append(f"channels = {_strings(channels)}")
        lines += ['signal = "multitone"', f"tones_hz = {_numbers(player.device_hz)}"]
        if phases:
            lines.append(f"phases_deg = {_numbers(player.device_phases_deg)}")
        lines += [f"drive_volts = {drive!r}", 'volume = "12 o\'clock"']
        if recording.start_frame is not None:
            lines += ['timebase = "run-1"', f"start_frame = {recording.start_frame}"]
        if plan.loads:
            lines.append("load = [ " + ", ".join(_load(r) for r in plan.loads) + " ]")
        if plan.inject:
            injectors = ", ".join(_injector(r, player, phases) for r in plan.inject)
            lines.append(f"inject = [ {injectors} ]")
    return "\n".join(lines) + "\n"


def _load(r: Resistor) -> str:
    return (
        f'{{ from = "{r.from_}", to = "{r.to}", ohm = {r.ohm!r}, '
        f'u95_percent = {100 * U95["resistor"]!r}, part = "{r.part}" }}'
    )


def _injector(r: Resistor, player: _Player, phases: bool) -> str:
    tail = f", phases_deg = {_numbers(player.injected_phases_deg)}" if phases else ""
    return (
        f'{{ into = "{r.from_}", through_ohm = {r.ohm!r}, '
        f'u95_percent = {100 * U95["resistor"]!r}, part = "{r.part}", '
        f"volts = {INJECTED_VOLTS!r}, volts_u95_percent = {100 * U95['injected']!r}, "
        f"tones_hz = {_numbers(player.injected_hz)}{tail} }}"
    )


def _numbers(values: Sequence[float] | NDArray[np.float64]) -> str:
    return "[" + ", ".join(repr(float(v)) for v in values) + "]"


def _strings(values: Sequence[str]) -> str:
    return "[" + ", ".join(f'"{v}"' for v in values) + "]"
