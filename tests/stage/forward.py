"""Takes made from a stage given as numbers: the forward model, written apart from the solver.

``v = (I + Z Y)⁻¹ (s Voc + Z J)`` at three terminals (hot, cold, single-ended), closed form.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
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
    """``voc(f)`` of shape (F, 3) and ``z(f)`` of shape (F, 3, 3), leg coordinates."""

    voc: Callable[[np.ndarray], np.ndarray]
    z: Callable[[np.ndarray], np.ndarray]


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
        out[:, 0, 0] = out[:, 1, 1] = mean + zd / 4
        out[:, 0, 1] = out[:, 1, 0] = mean - zd / 4
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


@dataclass
class Plan:
    """One take: what is recorded, switched and injected."""

    name: str
    channels: tuple[str, ...] = (HOT, COLD)
    loads: tuple[Load, ...] = ()
    injections: tuple[Injection, ...] = ()
    played: bool = True
    state: str = "play"
    delay: float | None = None


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


def record(
    stage: Stage,
    plans,
    *,
    errors: Errors | None = None,
    situation="reference",
    rng=None,
    side="left",
    device: Device | None = None,
):
    """Return (Session, phasors) for the plans; situations: reference, timebase, none."""
    errors = errors or Errors()
    rng = rng or np.random.default_rng(1)
    device = device or Device("Invented", "Example", "1", stated_polarity="pin-2-hot")
    phasors = [_take(stage, p, errors, situation, rng, side, k) for k, p in enumerate(plans)]
    session = Session(
        Path(),
        Path("session.toml"),
        device,
        Bench("simulated", 50.0, None, None, (INPUT, INPUT)),
        (),
        tuple(p.take for p in phasors),
    )
    return session, tuple(phasors)


def _take(stage, plan, errors, situation, rng, side, index) -> TakePhasors:
    channels = plan.channels + (("reference",) if situation == "reference" else ())
    device_tones = TONES if plan.played else np.zeros(0)
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
        tuple(INPUT for _ in channels),
        "multitone" if plan.played else "idle",
        tuple(device_tones),
        None,
        None,
        None,
        "",
        plan.state,
        "both",
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
    v = _voltages(stage, plan, hz, played, carried, errors, rng)
    if errors.level:
        v = v * (1 + errors.level * rng.standard_normal(3))
    out = np.zeros((len(hz), len(channels)), dtype=complex)
    noise = np.zeros((len(hz), len(channels), len(channels)), dtype=complex)
    terminals = [HOT, COLD, SE]
    for c, name in enumerate(channels):
        if name == "reference":
            out[:, c] = 0.5 * played
        else:
            out[:, c] = v[:, terminals.index(name)] * (1 + errors.gain.get(c, 0.0))
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
        True,
        np.zeros(len(channels), dtype=bool),
        (),
    )


def _voltages(stage, plan, hz, played, carried, errors, rng):
    terminals = [HOT, COLD, SE]
    voc, z = stage.voc(hz), stage.z(hz)
    y = np.zeros((len(hz), 3, 3), dtype=complex)
    j = np.zeros((len(hz), 3), dtype=complex)
    for c, name in enumerate(plan.channels):
        t = terminals.index(name)
        ohm = 20000.0 * (1 + errors.ohm.get(c, 0.0))
        y[:, t, t] += 1 / ohm + 2j * np.pi * hz * (150e-12 + errors.farad.get(c, 0.0))
    for item in plan.loads:
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
