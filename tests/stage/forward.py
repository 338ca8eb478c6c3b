"""Takes made from a stage given as numbers: the forward model, written apart from the solver.

``v = (I + Z Y)⁻¹ (s Voc + Z J)`` at three terminals (hot, cold, single-ended), closed form.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np

from probe.phasors.model import TakePhasors
from probe.session.model import Bench, Device, Injection, Load, RecorderInput, Session, Take

TONES = np.array(
    [20.3, 41.1, 83.7, 171.3, 347.9, 701.3, 997.1, 1811.7, 3671.9, 7321.3, 12411.7, 19777.7]
)
INJECTED = np.array([31.7, 127.9, 523.3, 883.3, 2221.1, 8887.7, 15013.3])
INPUT = RecorderInput(8.7, 0.005, 20000.0, 0.01, 150e-12, 20e-12)
G, HOT, COLD, SE = "ground", "hot", "cold", "single-ended"


@dataclass(frozen=True)
class Stage:
    """``voc(f)`` of shape (F, 3) and ``z(f)`` of shape (F, 3, 3), leg coordinates.

    ``z_off`` is the impedance while the device is switched off, where a test asks for it.
    """

    voc: Callable[[np.ndarray], np.ndarray]
    z: Callable[[np.ndarray], np.ndarray]
    z_off: Callable[[np.ndarray], np.ndarray] | None = None


def separate(vh=2.0, vc=-2.0, zh=100.0, zc=100.0, vs=2.0, zs=100.0) -> Stage:
    """Legs that do not know of each other; impedances are numbers or functions of frequency."""

    def voc(f):
        return np.tile(np.array([vh, vc, vs], dtype=complex), (len(f), 1))

    def z(f):
        out = np.zeros((len(f), 3, 3), dtype=complex)
        for k, value in enumerate((zh, zc, zs)):
            out[:, k, k] = value(f) if callable(value) else value
        return out

    return Stage(voc, z)


def floating(vd=4.0, zd=50.0, zcm=4000.0, lean=0.0, vs=4.0, zs=100.0) -> Stage:
    """A floating pair: differential level ``vd``, mean of the legs ``lean * vd``."""

    def voc(f):
        return np.tile(
            np.array([vd * (0.5 + lean), vd * (lean - 0.5), vs], dtype=complex), (len(f), 1)
        )

    def z(f):
        out = np.zeros((len(f), 3, 3), dtype=complex)
        mean = zcm(f) if callable(zcm) else zcm
        between = zd(f) if callable(zd) else zd
        out[:, 0, 0] = out[:, 1, 1] = mean + between / 4
        out[:, 0, 1] = out[:, 1, 0] = mean - between / 4
        out[:, 2, 2] = zs
        return out

    return Stage(voc, z)


def ground_sensing(v=2.0, zh=100.0, zc=100.0) -> Stage:
    """Pin 3 is a sense input: what is put on it appears on pin 2 (coupling 1 and 0)."""

    def voc(f):
        return np.tile(np.array([v, 0.0, v], dtype=complex), (len(f), 1))

    def z(f):
        out = np.zeros((len(f), 3, 3), dtype=complex)
        out[:, 0, 0], out[:, 1, 1], out[:, 0, 1], out[:, 2, 2] = zh, zc, zc, 100.0
        return out

    return Stage(voc, z)


def tapped(v=2.0, z=32.5, between=-12.5, vs=2.0) -> Stage:
    """A winding tapped to pin 1: a current into one leg lowers the other."""

    def voc(f):
        return np.tile(np.array([v, -v, vs], dtype=complex), (len(f), 1))

    def impedance(f):
        out = np.zeros((len(f), 3, 3), dtype=complex)
        out[:, 0, 0] = out[:, 1, 1] = z
        out[:, 0, 1] = out[:, 1, 0] = between
        out[:, 2, 2] = 100.0
        return out

    return Stage(voc, impedance)


def sharing(v=2.0, own=50.0, shared=60.0, zc=110.0) -> Stage:
    """Hot and the single-ended output behind one common resistor, the cold leg by itself."""

    def voc(f):
        return np.tile(np.array([v, -v, v], dtype=complex), (len(f), 1))

    def z(f):
        out = np.zeros((len(f), 3, 3), dtype=complex)
        out[:, 0, 0] = out[:, 2, 2] = own + shared
        out[:, 0, 2] = out[:, 2, 0] = shared
        out[:, 1, 1] = zc
        return out

    return Stage(voc, z)


def exchanged(stage: Stage) -> Stage:
    """The same stage with pins 2 and 3 exchanged."""
    order = [1, 0, 2]
    return Stage(
        lambda f: stage.voc(f)[:, order],
        lambda f: stage.z(f)[:, order][:, :, order],
    )


def strays(farad: float):
    """Impedance of a pin that is connected to nothing but strays, as a function of frequency."""
    return lambda f: 1.0 / (2j * np.pi * f * farad)


@dataclass
class Plan:
    """One take: what is recorded, switched and injected.

    ``plugged`` is what really hangs there where that is not what was declared; ``drive`` scales
    what the device plays, ``drive_volts`` is what was declared of it.
    """

    name: str
    channels: tuple[str, ...] = (HOT, COLD)
    loads: tuple[Load, ...] = ()
    injections: tuple[Injection, ...] = ()
    played: bool = True
    state: str = "play"
    delay: float | None = None
    plugged: tuple[Load, ...] | None = None
    drive: float = 1.0
    drive_volts: float | None = None
    volume: str = ""
    driven_input_leg: str = "both"
    usable: bool = True
    full_scale: tuple[float, ...] | None = None
    signal: str = "multitone"


def load(a: str, b: str, ohm: float, part: str, u95: float = 0.001) -> Load:
    return Load(a, b, ohm, u95, part)


def injection(into: str, volts=0.3, ohm=10000.0, part="R2", tones=INJECTED, u95=0.001) -> Injection:
    return Injection(into, ohm, u95, part, volts, 0.005, tuple(tones), None)


OPEN = Plan("open")
WITH_SE = Plan("with single-ended", (HOT, SE))
LOAD_HOT = Plan("load hot", loads=(load(HOT, G, 604.0, "R1"),))
LOAD_COLD = Plan("load cold", loads=(load(COLD, G, 604.0, "R1"),))
ACROSS = Plan("across", loads=(load(HOT, COLD, 1210.0, "R3"),))
INJECT_COLD = Plan("inject cold", injections=(injection(COLD),))
INJECT_HOT = Plan("inject hot", injections=(injection(HOT),))
LOAD_SE = Plan("load single-ended", (HOT, SE), loads=(load(SE, G, 1000.0, "R4"),))
SECOND = Plan("second open")
FULL = (OPEN, WITH_SE, LOAD_HOT, LOAD_COLD, ACROSS, INJECT_COLD, INJECT_HOT, LOAD_SE, SECOND)


@dataclass
class Errors:
    """True deviations of the bench from what is declared; zero by default."""

    gain: dict[int, float] = field(default_factory=dict)
    ohm: dict[int, float] = field(default_factory=dict)
    farad: dict[int, float] = field(default_factory=dict)
    part: dict[str, float] = field(default_factory=dict)
    injected: float = 0.0
    level: float = 0.0
    noise: float = 2e-6
    crosstalk: dict[tuple[int, int], complex] = field(default_factory=dict)
    """From terminal to terminal, (to, from): a share of the voltage, the same in every take."""


def drawn_errors(seed: int, plans, level_db: float = 0.02) -> Errors:
    """Errors drawn from what ``INPUT`` and the plans declare (u95 is two standard deviations).

    ``level_db`` is what a session that states no repeatability is taken to have.
    """
    rng = np.random.default_rng([seed, 77])
    parts = {i.part: i.u95_relative / 2 for p in plans for i in (*p.loads, *p.injections)}
    white = rng.standard_normal((2, 3, 3)) / np.sqrt(2)
    cross = {
        (a, b): 1e-4 * complex(white[0, a, b], white[1, a, b])
        for a in range(3)
        for b in range(3)
        if a != b
    }
    return Errors(
        gain={c: INPUT.u95_relative / 2 * rng.standard_normal() for c in range(3)},
        ohm={c: INPUT.impedance_u95_relative / 2 * rng.standard_normal() for c in range(3)},
        farad={c: INPUT.capacitance_u95_farad / 2 * rng.standard_normal() for c in range(3)},
        part={k: u * rng.standard_normal() for k, u in sorted(parts.items())},
        injected=0.0025 * rng.standard_normal(),
        level=np.log(10) / 20 * level_db,
        crosstalk=cross,
    )


def record(
    stage: Stage,
    plans,
    *,
    errors: Errors | None = None,
    situation="reference",
    rng=None,
    side="left",
    device: Device | None = None,
    repeatability_db: float | None = None,
    meters=(),
    tones=TONES,
    recorder: RecorderInput = INPUT,
):
    """Return (Session, phasors) for the plans; situations: reference, timebase, none."""
    errors = errors or Errors()
    rng = rng or np.random.default_rng(1)
    device = device or Device("Invented", "Example", "1", stated_polarity="pin-2-hot")
    phasors = [
        _take(stage, p, errors, situation, rng, side, k, tones, recorder)
        for k, p in enumerate(plans)
    ]
    session = Session(
        Path(),
        Path("session.toml"),
        device,
        Bench("simulated", 50.0, None, repeatability_db, (recorder, recorder)),
        tuple(meters),
        tuple(p.take for p in phasors),
    )
    return session, tuple(phasors)


def _take(stage, plan, errors, situation, rng, side, index, tones, recorder) -> TakePhasors:
    channels = plan.channels + (("reference",) if situation == "reference" else ())
    device_tones = tones if plan.played else np.zeros(0)
    injected_tones = np.concatenate(
        [np.array(i.tones_hz) for i in plan.injections if i.volts > 0] or [np.zeros(0)]
    )
    hz = np.sort(np.concatenate([device_tones, injected_tones]))
    take = Take(
        plan.name,
        f"{plan.name}.wav",
        Path(f"{plan.name}.wav"),
        side,
        channels,
        _inputs(plan, channels, recorder),
        plan.signal if plan.played else "idle",
        tuple(device_tones),
        None,
        plan.drive_volts,
        None,
        plan.volume,
        plan.state,
        plan.driven_input_leg,
        "run" if situation == "timebase" else None,
        480000 * index,
        plan.loads,
        plan.injections,
        48000,
        192000,
    )
    played = np.isin(hz, device_tones)
    carried = (
        np.stack([np.isin(hz, i.tones_hz) & (i.volts > 0) for i in plan.injections], 1)
        if (plan.injections)
        else np.zeros((len(hz), 0), dtype=bool)
    )
    v = _voltages(stage, plan, hz, played, carried, errors, rng, recorder)
    v = v + _crosstalk(plan, hz, v, errors)
    if errors.level:
        v = v * (1 + errors.level * rng.standard_normal(3))
    out = np.zeros((len(hz), len(channels)), dtype=complex)
    noise = np.zeros((len(hz), len(channels), len(channels)), dtype=complex)
    terminals = [HOT, COLD, SE]
    for c, name in enumerate(channels):
        if name == "reference":
            out[:, c] = 0.5 * played
        else:
            heard = v[:, 0] - v[:, 1] if name == "difference" else v[:, terminals.index(name)]
            out[:, c] = heard * (1 + errors.gain.get(c, 0.0))
        noise[:, c, c] = errors.noise**2
    white = rng.standard_normal((2, *out.shape))
    out += errors.noise * (white[0] + 1j * white[1]) / np.sqrt(2)
    delay = {
        "reference": rng.uniform(0, 1),
        "none": rng.integers(-20000, 20000) / 48000.0,
        "timebase": -10.0 * index,
    }[situation]
    delay = delay if plan.delay is None else plan.delay
    out *= np.exp(-2j * np.pi * hz * delay)[:, None]
    return TakePhasors(
        take,
        hz,
        played,
        carried,
        out,
        noise,
        np.zeros(len(hz), dtype=bool),
        0.0,
        1e-9,
        2.0,
        (0.0, 4.0),
        plan.usable,
        np.zeros(len(channels), dtype=bool),
        (),
    )


def _inputs(plan, channels, recorder) -> tuple[RecorderInput, ...]:
    scales = plan.full_scale or (recorder.volts_full_scale,) * len(channels)
    scales = (*scales, *[recorder.volts_full_scale] * (len(channels) - len(scales)))
    return tuple(replace(recorder, volts_full_scale=s) for s in scales)


def _crosstalk(plan, hz, v, errors):
    """What the recorder's channels hear of each other, rising above 10 kHz as strays do."""
    terminals = [HOT, COLD, SE]
    heard = [terminals.index(name) for name in plan.channels if name in terminals]
    out = np.zeros_like(v)
    for (to, source), share in errors.crosstalk.items():
        if to in heard and source in heard:
            out[:, to] += share * np.sqrt(1.0 + (hz / 1e4) ** 2) * v[:, source]
    return out


def _voltages(stage, plan, hz, played, carried, errors, rng, recorder):
    terminals = [HOT, COLD, SE]
    off = plan.state == "off" and stage.z_off is not None
    voc, z = plan.drive * stage.voc(hz), stage.z_off(hz) if off else stage.z(hz)
    y = np.zeros((len(hz), 3, 3), dtype=complex)
    j = np.zeros((len(hz), 3), dtype=complex)
    for c, name in enumerate(plan.channels):
        ohm = recorder.impedance_ohm * (1 + errors.ohm.get(c, 0.0))
        farad = recorder.capacitance_farad + errors.farad.get(c, 0.0)
        for a in _ends(name, terminals):
            y[:, a, a] += 1 / ohm + 2j * np.pi * hz * farad
    for item in plan.loads if plan.plugged is None else plan.plugged:
        a = np.array([float(item.from_ == t) - float(item.to == t) for t in terminals])
        y += np.outer(a, a) / (item.ohm * (1 + errors.part.get(item.part, 0.0)))
    for k, item in enumerate(plan.injections):
        t = terminals.index(item.into)
        ohm = item.through_ohm * (1 + errors.part.get(item.part, 0.0))
        y[:, t, t] += 1 / ohm
        phase = np.exp(2j * np.pi * rng.uniform(0, 1, len(hz)))
        j[:, t] += item.volts * (1 + errors.injected) / ohm * phase * carried[:, k]
    drive = played[:, None] * voc + np.einsum("fij,fj->fi", z, j)
    return np.linalg.solve(np.eye(3) + z @ y, drive[..., None])[..., 0]


def _ends(channel: str, terminals: list[str]) -> list[int]:
    """Terminals that a channel hangs on: a balanced input on both legs, others on their own."""
    names = [HOT, COLD] if channel == "difference" else [channel]
    return [terminals.index(name) for name in names if name in terminals]
