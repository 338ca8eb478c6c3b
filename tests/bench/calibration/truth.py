"""A bench as it truly is, and what its recordings would read: the forward model, for tests.

Written as node voltages of each wiring, without any of the formulas that solve it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from probe.bench.calibration.meter import Accuracy, reading_of
from probe.bench.calibration.solve import WIRINGS, Given, KnownResistor, Ratios
from probe.bench.tones.sets import DEVICE

HZ = np.array(DEVICE.hz)


@dataclass(frozen=True)
class Truth:
    out_volts: tuple[float, float] = (4.0, 4.1)
    out_ohm: tuple[float, float] = (75.0, 78.0)
    in_volts: tuple[float, float] = (8.7, 8.6)
    in_ohm: tuple[float, float] = (20000.0, 20300.0)
    in_farad: tuple[float, float] = (150e-12, 160e-12)
    delay_s: float = 0.2e-6
    """Of input 2 against input 1."""
    series_ohm: float = 10000.0
    shunt_ohm: float = 604.0


def admittance(truth: Truth, k: int, hz=HZ):
    return 1 / truth.in_ohm[k] + 2j * np.pi * hz * truth.in_farad[k]


def heard(truth: Truth, wiring: str, hz=HZ):
    """What both inputs read for a peak of 1 at full scale from both outputs: two arrays."""
    source = {0: 0, 1: 1} if wiring != "crossed" else {0: 1, 1: 0}
    readings = []
    for k in (0, 1):
        y = admittance(truth, k, hz)
        if wiring == f"shunt-{k + 1}":
            y = y + 1 / truth.shunt_ohm
        z = truth.out_ohm[source[k]] + (truth.series_ohm if wiring == f"series-{k + 1}" else 0.0)
        volts = truth.out_volts[source[k]] / (1 + z * y)
        late = np.exp(-2j * np.pi * hz * truth.delay_s * k)
        readings.append(volts / truth.in_volts[k] * late)
    return readings


def ratios(
    truth: Truth, stream=None, *, repeat_db=0.0, noise=0.0, played=0.05, meter_error=0.0
) -> tuple[Ratios, float]:
    """The readings, disturbed as stated, and what a meter at input 1 would be shown (V rms)."""
    found = {}
    for wiring in WIRINGS:
        one, two = heard(truth, wiring)
        ratio = one / two
        if stream is not None:
            ratio = ratio * 10 ** (repeat_db * np.sqrt(2) * stream.standard_normal() / 20)
            blur = stream.standard_normal((2, len(HZ)))
            ratio = ratio * (1 + noise * (blur[0] + 1j * blur[1]))
        found[wiring] = ratio
    at = int(np.argmin(np.abs(HZ - 1000)))
    level = [abs(x[at]) * played for x in heard(truth, "straight")]
    if stream is not None:
        level = [x * 10 ** (repeat_db * stream.standard_normal() / 20) for x in level]
    low = np.array([225.0])
    read = abs(heard(truth, "straight", low)[0][0]) * 0.5
    volts = read * truth.in_volts[0] / np.sqrt(2) * (1 + meter_error)
    return (
        Ratios(HZ, found, {w: np.full(len(HZ), noise) for w in WIRINGS},
               (level[0], level[1]), played, read),
        volts,
    )  # fmt: skip


def given(volts: float | None, draws=4000, repeat_db=0.005, u95=0.001, accuracy="1%+3") -> Given:
    meter = None
    if volts is not None:
        percent, steps = accuracy.split("%+")
        meter = reading_of(f"{volts:.3f}", Accuracy(float(percent), int(steps)))
    part = KnownResistor(10000.0, u95), KnownResistor(604.0, u95)
    return Given(*part, meter, repeat_db=repeat_db, draws=draws)
