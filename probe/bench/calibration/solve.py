"""From ratios of recordings to the bench's figures, with everything drawn that is uncertain.

Two outputs play the same tones into two inputs, and only the ratio of the inputs in one recording
is used, so that neither start, clock nor common drift of the level matter. Written for one tone:
``E`` peak volts of an output at full scale, open circuit, behind ``Zs``; ``F`` peak volts of an
input at full scale, ``Zi`` its impedance with its lead; ``D(s, i) = Zi / (Zs + Zi)``.

====================  =========================================================================
straight              ``rs = E1 D(1,1) / F1  /  (E2 D(2,2) / F2)``
leads exchanged       ``rc = E2 D(2,1) / F1  /  (E1 D(1,2) / F2)``
R in series with 1    ``r = rR / rs = (Zs1 + Zi1) / (Zs1 + R + Zi1)``, so
                      ``T = Zs1 + Zi1 = R r / (1 - r)``                                      (1)
R across input 1      ``q = rP / rs``, ``P = Zs Zi / (Zs + Zi) = R (1/q - 1)``               (2)
from (1) and (2)      ``Zs`` is the smaller root of ``x^2 - T x + P T = 0``, ``Zi = T - Zs``  (3)
match                 ``(F2/F1)^2 = rs rc  D(2,2) D(1,2) / (D(1,1) D(2,1))``                  (4)
outputs               ``(E1/E2)^2 = rs / rc  D(2,2) D(2,1) / (D(1,1) D(1,2))``                (5)
meter at input 1      ``F1 = sqrt(2) V / m1``, m1 the peak read at the same time              (6)
loop-back             ``E1 / F1 = a1 / (p D(1,1))``, p the peak played                        (7)
====================  =========================================================================

Uncertainty is that of the JCGM 101 way: resistors, meter, level from recording to recording and
noise are drawn, everything is solved again for each draw, and the interval is read off.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from probe.bench.calibration.figures import Figure, How, Match
from probe.bench.calibration.meter import MeterReading
from probe.errors import NotUsable

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]

DRAWS = 4000
"""Ends of a 95 % interval then scatter by 2 % of its width."""

REPEAT_DB = 0.005
"""Level of one channel against the other from recording to recording while plugs are changed, one
standard deviation: what a warm interface does if nothing else is touched (common practice)."""

AT_HZ = 1000.0
RESISTIVE_HZ = (75.0, 5000.0)
"""Where input and output impedances are resistive: above coupling capacitors, below strays."""

LEAST_DROP = 0.0005
"""A series resistor must lower the level by 0.05 % at least, else it was not in the path."""


@dataclass(frozen=True)
class KnownResistor:
    """A resistor of the kit; ``u95_relative`` of its value (k = 2)."""

    ohm: float
    u95_relative: float


@dataclass(frozen=True)
class Ratios:
    """Input 1 over input 2, complex, shape (F,), in each wiring; and what else was read.

    Attributes
    ----------
    noise
        For each wiring, standard deviation of its ratio, relative, shape (F,), of each of real
        and imaginary part.
    level
        Peaks read by the inputs in the straight wiring at the tone nearest 1 kHz, full scale 1.
    played
        Peak of that tone as played, full scale 1.
    metered
        Peak that input 1 read while the meter was read, full scale 1; None: no meter.
    flatness
        How much the loop's level differs between the meter's tone and 1 kHz, relative: the input
        may differ by as much.
    """

    hz: Array
    wirings: Mapping[str, Complex]
    noise: Mapping[str, Array]
    level: tuple[float, float]
    played: float
    metered: float | None = None
    flatness: float = 0.0


WIRINGS = ("straight", "crossed", "series-1", "series-2", "shunt-1", "shunt-2")


@dataclass(frozen=True)
class Given:
    """What is known beforehand.

    ``data_sheet_volts``: V peak at full scale of input 1 by its maker, with a relative u95; used
    only without a meter.
    """

    series: KnownResistor
    shunt: KnownResistor
    meter: MeterReading | None = None
    data_sheet_volts: tuple[float, float] | None = None
    repeat_db: float = REPEAT_DB
    draws: int = DRAWS
    seed: int = 1


@dataclass(frozen=True)
class Solved:
    """The figures that rest on ratios and the meter."""

    input_volts: tuple[Figure, Figure]
    input_ohm: tuple[Figure, Figure]
    input_farad: tuple[Figure, Figure]
    output_volts: tuple[Figure, Figure]
    output_ohm: tuple[Figure, Figure]
    loop_gain: tuple[Figure, Figure]
    match: Match
    common_u95_relative: float
    draws: Mapping[str, Array] = field(default_factory=dict, repr=False)


ASSUMED_VOLTS, ASSUMED_U95 = 8.0, 0.99
"""Without meter and data sheet: 8 V peak at full scale (about +17 dBu) is a usual line input. It is
written with the largest doubt a session file can hold, and as assumed."""


def solve(ratios: Ratios, given: Given) -> Solved:
    """Return the figures; every array below has the undisturbed value first, then the draws.

    Raises
    ------
    NotUsable
        A wiring is missing, or a resistor was not where it should have been.
    """
    missing = [w for w in WIRINGS if w not in ratios.wirings]
    if missing:
        raise NotUsable(f"calibration: recordings are missing: {', '.join(missing)}")
    stream = np.random.default_rng(given.seed)
    drawn = {w: _drawn(ratios, w, given, stream) for w in WIRINGS}
    series = _resistor(given.series, given.draws, stream)
    shunt = _resistor(given.shunt, given.draws, stream)
    sources, inputs = [], []
    for k in (1, 2):
        total, parallel = _total_and_parallel(drawn, k, series, shunt)
        source = 0.5 * total * (1.0 - np.sqrt(1.0 - 4.0 * parallel / total))  # (3)
        sources.append(_resistive(source, ratios.hz))
        inputs.append(total - sources[-1][:, None])
    ohm, farad = zip(*(_as_parts(z, ratios.hz) for z in inputs), strict=True)
    share = _shares(sources, inputs)
    match = _root(
        drawn["straight"] * drawn["crossed"] * share[1, 1] * share[0, 1] / share[0, 0] / share[1, 0]
    )  # (4)
    at = int(np.argmin(np.abs(ratios.hz - AT_HZ)))
    level = _levels(ratios, given, stream)
    gain = [level[k] / (ratios.played * np.abs(share[k, k][:, at])) for k in (0, 1)]  # (7)
    first, how, common = _volts_of_input_1(ratios, given, stream)
    volts = [first, first * np.abs(match[:, at])]
    out = [volts[k] * gain[k] for k in (0, 1)]
    return Solved(
        input_volts=_pair(volts, how),
        input_ohm=_pair(ohm, "series"),
        input_farad=_pair(farad, "series"),
        output_volts=_pair(out, how),
        output_ohm=_pair([np.maximum(s, 0.0) for s in sources], "shunt"),
        loop_gain=_pair(gain, "loop-back"),
        match=_match(ratios.hz, match),
        common_u95_relative=common,
        draws={"volts_1": volts[0], "ratio": volts[1] / volts[0]},
    )


def _drawn(ratios: Ratios, wiring: str, given: Given, stream: np.random.Generator) -> Complex:
    """Return the ratio of one wiring, shape (1 + D, F): as measured, then disturbed."""
    count = (given.draws, len(ratios.hz))
    sd = np.sqrt(2.0) * given.repeat_db * np.log(10.0) / 20.0
    moved = sd * stream.standard_normal((given.draws, 1))
    noise = stream.standard_normal(count) + 1j * stream.standard_normal(count)
    factor = np.ones((given.draws + 1, len(ratios.hz)), dtype=np.complex128)
    factor[1:] += moved + ratios.noise[wiring] * noise
    return np.asarray(ratios.wirings[wiring] * factor, dtype=np.complex128)


def _resistor(part: KnownResistor, draws: int, stream: np.random.Generator) -> Array:
    error = 0.5 * part.u95_relative * stream.standard_normal(draws)
    return part.ohm * np.concatenate([[1.0], 1.0 + error])[:, None]


def _total_and_parallel(
    drawn: Mapping[str, Complex], k: int, series: Array, shunt: Array
) -> tuple[Complex, Complex]:
    """Equations (1) and (2) for input k; for the second one the ratio stands upside down."""
    power = 1 if k == 1 else -1
    r = (drawn[f"series-{k}"] / drawn["straight"]) ** power
    q = (drawn[f"shunt-{k}"] / drawn["straight"]) ** power
    fall = float(np.median(np.abs(r[0])))
    if fall > 1.0 - LEAST_DROP:
        raise NotUsable(
            f"calibration: the series resistor made no difference at input {k} (level "
            f"{20.0 * np.log10(fall):+.3f} dB): it was not in the path, or at the other input"
        )
    if float(np.median(np.abs(q[0]))) > 1.0 + LEAST_DROP:
        raise NotUsable(
            f"calibration: the level at input {k} rose when the resistor was put across: it was "
            "at the other input, or a level was moved"
        )
    return series * r / (1.0 - r), shunt * (1.0 / q - 1.0)


def _resistive(z: Complex, hz: Array) -> Array:
    inside = (hz >= RESISTIVE_HZ[0]) & (hz <= RESISTIVE_HZ[1])
    return np.asarray(np.mean(z[:, inside if inside.any() else slice(None)].real, axis=1))


def _as_parts(z: Complex, hz: Array) -> tuple[Array, Array]:
    """Return resistance and capacitance in parallel, each fitted to all tones that tell of it."""
    y = 1.0 / z
    w = 2.0 * np.pi * hz
    farad = y.imag @ w / (w @ w)
    inside = (hz >= RESISTIVE_HZ[0]) & (hz <= RESISTIVE_HZ[1])
    siemens = np.mean(y[:, inside if inside.any() else slice(None)].real, axis=1)
    return np.asarray(1.0 / siemens), np.asarray(farad)


def _shares(sources: list[Array], inputs: list[Complex]) -> dict[tuple[int, int], Complex]:
    """``D(s, i)`` for every output s and input i."""
    return {(s, i): inputs[i] / (sources[s][:, None] + inputs[i]) for s in (0, 1) for i in (0, 1)}


def _root(square: Complex) -> Complex:
    """Return the root near 1: two inputs of one interface differ by far less than a sign."""
    root = np.sqrt(square)
    return np.asarray(np.where(root.real < 0.0, -root, root))


def _levels(ratios: Ratios, given: Given, stream: np.random.Generator) -> tuple[Array, Array]:
    sd = given.repeat_db * np.log(10.0) / 20.0
    first, second = (
        value * np.concatenate([[1.0], 1.0 + sd * stream.standard_normal(given.draws)])
        for value in ratios.level
    )
    return first, second


def _volts_of_input_1(
    ratios: Ratios, given: Given, stream: np.random.Generator
) -> tuple[Array, How, float]:
    """Return V peak at full scale of input 1, drawn; how; and its relative u95.

    Between the meter's tone and 1 kHz the input may fall by as much as the whole loop does.
    """
    if given.meter is None or ratios.metered is None:
        value, relative = given.data_sheet_volts or (ASSUMED_VOLTS, ASSUMED_U95)
        error = np.clip(0.5 * relative * stream.standard_normal(given.draws), -0.999, None)
        how: How = "assumed" if given.data_sheet_volts is None else "data-sheet"
        return value * np.concatenate([[1.0], 1.0 + error]), how, relative
    value = np.sqrt(2.0) * given.meter.volts / ratios.metered  # (6)
    wide = given.meter.limit_relative * stream.uniform(-1.0, 1.0, given.draws)
    wide = wide + given.meter.rounding_relative * stream.uniform(-1.0, 1.0, given.draws)
    repeat = given.repeat_db * np.log(10.0) / 20.0 * stream.standard_normal(given.draws)
    flat = ratios.flatness * stream.uniform(-1.0, 1.0, given.draws)
    volts = value * np.concatenate([[1.0], 1.0 + wide + repeat + flat])
    return volts, "metered", _half_width(volts) / value


def _pair(drawn: list[Array] | tuple[Array, ...], how: How) -> tuple[Figure, Figure]:
    first, second = (Figure(float(d[0]), _half_width(d), how) for d in drawn)
    return first, second


def _half_width(drawn: Array) -> float:
    low, high = np.quantile(drawn[1:], (0.025, 0.975))
    return float(max(high - drawn[0], drawn[0] - low))


def _match(hz: Array, match: Complex) -> Match:
    db, deg = 20.0 * np.log10(np.abs(match)), np.degrees(np.angle(match))
    half = [[_half_width(x[:, j]) for j in range(len(hz))] for x in (db, deg)]
    rows = [hz, db[0], half[0], deg[0], half[1]]
    return Match(*(tuple(float(v) for v in row) for row in rows))
