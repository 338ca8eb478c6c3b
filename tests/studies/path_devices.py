"""Devices whose path is known, drawn at random, and what a bench would hear of them.

Noise is made as cross spectral matrices with their sampling distribution (complex Wishart), the
other indications as phasors with noise and with the bench's own errors. The spreads are choices
about designs and benches; every share in the table inherits them.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from probe.measures.path import harmonic, idle, lag, one_leg, ratio
from probe.measures.path.model import Indication

KINDS: tuple[str, ...] = (
    "splitter",
    "compensated splitter",
    "quiet core, noisy legs",
    "dual",
    "dual after a shared stage",
)
"""The last two have two paths: from the input on, or from a shared stage on."""


def right(kind: str, path: str, separate_from: str | None) -> bool:
    """Tell whether a verdict is true of a kind; undetermined is never wrong.

    Behind a shared stage the legs are separate from the volume control on, which stands behind it.
    """
    if path == "split":
        return kind in KINDS[:3]
    if path == "dual":
        return kind == "dual" or (kind == KINDS[4] and separate_from == "volume-control")
    return True


RECORDER_DBV = -106.0
"""Noise of the recorder over the band, A-weighted equivalent; the leg is at -105."""

AVERAGES = 16.0e3 * 60.0 * 0.7
"""Bandwidth times a minute, less what windows cost."""

HZ = np.array([997.0, 1987.6, 3469.2, 6535.7, 12437.0, 19490.7])
LEG_OHM, RECORDER_OHM = 100.0, 20.0e3


@dataclass(frozen=True)
class Device:
    """One device with its bench.

    ``shared``, ``hot``, ``cold``: noise powers (V², relative); ``lag_deg`` at 20 kHz; ``h2`` of
    each leg relative to its fundamental, ``h2_made`` ahead of the split, in legs alike or unlike;
    ``ratios`` (dB) at eight volume settings of an ``attenuator``; ``transfer`` (2, 2) between legs,
    None where there is no balanced analogue input.
    """

    kind: str
    split: bool
    shared: float
    hot: float
    cold: float
    lag_deg: float
    h2: tuple[complex, complex]
    h2_made: str
    ratios: tuple[float, ...]
    attenuator: str
    transfer: np.ndarray | None


def draw(kind: str, rng: np.random.Generator) -> Device:
    """One device of a kind."""
    split = kind in KINDS[:3]
    shared, hot, cold = _noise(kind, rng)
    made, h2 = _second(kind, rng)
    attenuator, ratios = _ratios(kind, rng)
    return Device(
        kind=kind,
        split=split,
        shared=shared,
        hot=hot,
        cold=cold,
        lag_deg=_lag(kind, rng),
        h2=h2,
        h2_made=made,
        ratios=ratios,
        attenuator=attenuator,
        transfer=_transfer(kind, rng),
    )


def _noise(kind: str, rng: np.random.Generator) -> tuple[float, float, float]:
    """Shared part and each leg's own, relative; the total of hot is about 1."""
    unlike = float(np.exp(0.02 * rng.standard_normal()))  # 0.2 dB between legs of one design
    if kind in ("splitter", "compensated splitter"):
        inverter = 10.0 ** (-rng.uniform(0.0, 10.0) / 10.0)
        return 0.97, 0.03, 0.03 + inverter
    if kind == "quiet core, noisy legs":
        share = rng.uniform(0.05, 0.3)
        return share, 1.0 - share, (1.0 - share) * unlike + 0.1
    if kind == "dual":
        return 0.0, 1.0, unlike
    share = rng.choice([0.5, 0.95])
    return float(share), 1.0 - float(share), (1.0 - float(share)) * unlike


def _lag(kind: str, rng: np.random.Generator) -> float:
    """Degrees at 20 kHz: of an inverter's own pole, or of two filters of 1 to 5 % parts."""
    if kind == "compensated splitter":
        return float(rng.uniform(-0.25, 0.25))
    if kind in KINDS[:3]:
        ohm = np.exp(rng.uniform(np.log(1.5e3), np.log(22e3)))
        farad = rng.choice([10e-12, 15e-12, 22e-12, 33e-12, 47e-12, 68e-12, 100e-12])
        bandwidth = np.exp(rng.uniform(np.log(3e6), np.log(50e6))) / 2.0
        turn = 2e4 * (2 * np.pi * ohm * farad + 1.0 / bandwidth)
        return float(np.degrees(np.arctan(turn)) - rng.uniform(0.0, 0.3))
    corner = np.exp(rng.uniform(np.log(80e3), np.log(400e3)))
    spread = rng.choice([0.01, 0.02, 0.05])
    a, b = 1.0 + spread * rng.uniform(-1.0, 1.0, 2)
    return float(np.degrees(np.arctan(2e4 / corner * a) - np.arctan(2e4 / corner * b)))


def _second(kind: str, rng: np.random.Generator) -> tuple[str, tuple[complex, complex]]:
    """Second harmonics, -125 to -95 dB, any phase."""
    size = complex(10.0 ** (rng.uniform(-125.0, -95.0) / 20.0) * np.exp(2j * np.pi * rng.random()))
    if kind in KINDS[:2] or kind == KINDS[4]:
        return "ahead of the split", (size, -size)
    if rng.random() < 0.5:
        return "in legs alike", (size, size * (1.0 + rng.uniform(-0.2, 0.2)))
    other = 10.0 ** (rng.uniform(-125.0, -95.0) / 20.0) * np.exp(2j * np.pi * rng.random())
    return "in legs unlike", (size, complex(other))


ATTENUATORS = {
    "4-gang pot, 0.3 dB": 0.3,
    "ladder, 1 %": 0.065,
    "volume IC, 0.03 dB": 0.03,
    "ladder, 0.1 %": 0.0065,
    "ladder, 0.01 %": 0.0014,
    "digital or fixed": 0.0,
}
"""Standard deviation of the leg ratio from setting to setting, dB."""


def _ratios(kind: str, rng: np.random.Generator) -> tuple[str, tuple[float, ...]]:
    """Leg ratio at eight settings, dB: one attenuator ahead of the split, or one in each leg."""
    if kind in KINDS[:3]:
        return "before the split", (0.0,) * 8
    name = str(rng.choice(list(ATTENUATORS)))
    return name, tuple(ATTENUATORS[name] * rng.standard_normal(8))


def _transfer(kind: str, rng: np.random.Generator) -> np.ndarray | None:
    """Output legs by input legs; half of the devices are digital and have none."""
    if rng.random() < 0.5:
        return None
    if kind == "dual":
        across = 10.0 ** (-rng.uniform(60.0, 90.0) / 20.0)
        return np.array([[1.0, across], [across, 1.0]])
    if kind == "dual after a shared stage" and rng.random() < 0.5:
        return np.array([[2.5, -1.5], [-1.5, 2.5]])  # an instrumentation input
    rejection = 10.0 ** (-rng.uniform(35.0, 60.0) / 20.0)
    return np.array([[0.5, -0.5], [-0.5, 0.5]]) + rejection * np.array([[1.0, 1.0], [-1.0, -1.0]])


# What the bench hears


def indications(device: Device, rng: np.random.Generator) -> list[Indication]:
    """All five, judged by the project's own functions."""
    return [
        _heard_noise(device, rng),
        _heard_second(device, rng),
        _heard_lag(device, rng),
        _heard_ratios(device, rng),
        _heard_transfer(device, rng),
    ]


def _wishart(power: np.ndarray, averages: float, rng: np.random.Generator) -> np.ndarray:
    """Mean of ``averages`` outer products of complex Gaussian pairs (Bartlett's decomposition)."""
    root = np.linalg.cholesky(power)
    a = np.sqrt(rng.gamma(averages))
    b = np.sqrt(rng.gamma(averages - 1.0))
    c = (rng.standard_normal() + 1j * rng.standard_normal()) / np.sqrt(2.0)
    lower = root @ np.array([[a, 0.0], [c, b]])
    return lower @ lower.conj().T / averages


def _heard_noise(device: Device, rng: np.random.Generator) -> Indication:
    return idle.judge(_shared(device.shared, device.hot, device.cold, rng))


def _shared(shared: float, hot: float, cold: float, rng: np.random.Generator) -> idle.Shared | None:
    """Two idle takes of a minute, leads exchanged between them, and a floor take."""
    legs = np.array([[shared + hot, -shared], [-shared, shared + cold]])
    level = 10.0 ** ((RECORDER_DBV + 105.0) / 10.0)
    tied = rng.uniform(0.0, 0.03)
    base = level * np.array([[1.0, tied], [tied, 1.1]])
    bands = []
    for exchanged in (False, True):
        drift = np.diag(1.0 + 0.02 * rng.standard_normal(2) / 2.0)
        own = drift @ base @ drift.T
        there = legs[::-1, ::-1] if exchanged else legs
        bands.append(idle.Band(_wishart((there + own).astype(complex), AVERAGES, rng), AVERAGES))
    floor = idle.Band(_wishart(base.astype(complex), AVERAGES, rng), AVERAGES)
    return idle.shared_noise(bands[:1], bands[1:], floor)


def noise_cases(seed: int, count: int) -> dict[str, list[idle.Shared]]:
    """Six cases whose shared part is known, ``count`` takes of each."""
    quiet = 10.0 ** (-0.8)
    cases = {
        "splitter, inverter 8 dB quieter than core": (1.0, 0.0, quiet),
        "splitter, inverter as noisy as core": (0.91, 0.09, 0.91),
        "splitter, quiet core, noisy legs (20 % shared)": (0.2, 0.8, 0.9),
        "dual, nothing shared": (0.0, 1.0, 1.0),
        "dual after a shared stage (50 %)": (0.5, 0.5, 0.5),
        "dual after a noisy shared stage (95 %)": (0.95, 0.05, 0.05),
    }
    found = {}
    for number, (name, powers) in enumerate(cases.items()):
        rng = np.random.default_rng([seed, 77, number])
        takes = [_shared(*powers, rng) for _ in range(count)]
        found[name] = [t for t in takes if t is not None]
    return found


PAD_DB = 20.0


def _heard_second(device: Device, rng: np.random.Generator) -> Indication:
    """Recorder's second harmonic up to -100 dB, a pad of 20 dB; device fed with files."""
    bound = 10.0 ** ((-100.0 - PAD_DB) / 20.0)
    own = [bound * np.sqrt(rng.random()) * np.exp(2j * np.pi * rng.random()) for _ in range(2)]
    mixed = 0.5 * (own[0] + own[1])  # both lead orders averaged
    noise = 10.0 ** (-150.0 / 20.0)
    white = noise * (rng.standard_normal(2) + 1j * rng.standard_normal(2)) / np.sqrt(2.0)
    return harmonic.judge(
        device.h2[0] + mixed + white[0],
        device.h2[1] + mixed + white[1],
        noise=noise,
        recorder=bound,
        generator=0.0,
        exchanged=True,
    )


def _heard_lag(device: Device, rng: np.random.Generator) -> Indication:
    slope = np.tan(np.radians(device.lag_deg)) / 2e4
    pole = 1.0 / (1.0 + 1j * slope * HZ) if device.lag_deg > 0.0 else 1.0 - 1j * slope * HZ
    error = np.exp(1j * np.radians(0.05 * rng.standard_normal() * HZ / 2e4))
    doubt = np.full(len(HZ), 0.002)
    noise = np.exp(1j * np.radians(doubt * rng.standard_normal(len(HZ))))
    return lag.judge(HZ, -pole * error * noise, doubt)


def _heard_ratios(device: Device, rng: np.random.Generator) -> Indication:
    """Eight settings with the leads both ways, two of them twice; 0.002 dB between takes."""
    readings = []
    settings = list(enumerate(device.ratios))
    for k, true in (*settings, settings[0], settings[4]):
        for exchanged in (False, True):
            db = true + 0.002 * np.sqrt(2.0) * rng.standard_normal()
            readings.append(ratio.Reading(str(k), exchanged, float(db), 0.0005))
    return ratio.judge(readings, LEG_OHM, RECORDER_OHM)


def _heard_transfer(device: Device, rng: np.random.Generator) -> Indication:
    if device.transfer is None:
        return one_leg.judge(HZ[:0], np.zeros((0, 2, 2), complex), np.zeros((0, 2, 2)))
    noise = np.full((len(HZ), 2, 2), 1e-6)
    shape = (len(HZ), 2, 2)
    white = noise * (rng.standard_normal(shape) + 1j * rng.standard_normal(shape)) / np.sqrt(2.0)
    return one_leg.judge(HZ, device.transfer[None] + white, noise)
