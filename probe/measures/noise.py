"""Noise and hum of every output from takes in which nothing plays.

Differential noise is that of the difference of the legs, from both legs' spectra and the cross
spectrum between them. The recorder's own noise, from a floor take with the same gain, is taken off
in power, with its cross spectrum; without such a take all of it may be the recorder's, and only a
bound is stated. Power in a band is chi-square with the degrees of freedom its bins add up to; what
is left after the subtraction may be nothing, and then a bound is all there is (JCGM 101:2008, 9.4).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from probe.measures.continuum import line_bins, smooth_density
from probe.measures.hum import SEEN, HumLines, hum_lines, mains_ratio
from probe.measures.loading import DRAWS
from probe.measures.model import Curve, Part, Row, Subject, merged
from probe.measures.muted import quiet_remarks, steady_span
from probe.measures.outputs import Output, outputs_of
from probe.measures.projected import Projection, projection
from probe.measures.spectra import LINE_BINS, Spectrum
from probe.measures.statement import Entry, interval
from probe.measures.weighting import BAND_HZ, a_weight, in_band
from probe.phasors.model import Remark
from probe.session.model import Take

Array = NDArray[np.float64]

FLOOR_DRIFT = 0.01
"""Standard deviation of the recorder's noise power from take to take, relative: noise power goes
with absolute temperature, and a warming recorder moves by 3 K in 300 K."""

LEAST_SECONDS = 1.0
"""A shorter idle take says nothing below 50 Hz."""

BOUND = 0.95
"""Share of the draws that lie below what is stated as a bound."""

MAINS_BINS = 16.0
"""Harmonics must stand so many bins apart to be told from the noise between them."""

DENSITY_STEP = 2.0 ** (1.0 / 12.0)
"""Ratio of neighbouring frequencies of a density curve."""

DENSITY_FROM_HZ = 10.0

OWN_HUM = 0.25
"""Share of a line's power from which the recorder's own line leaves only a bound: the output's may
then be anything from half to one and a half of what is heard."""


@dataclass(frozen=True)
class _Heard:
    """One output in one idle take, and in the recorder alone."""

    take: Take
    idle: Spectrum
    floor: Spectrum | None
    output: Projection
    note: str | None

    @property
    def files(self) -> list[str]:
        """Files it rests on."""
        return [s.take.file for s in (self.idle, self.floor) if s is not None]


def noise(subject: Subject) -> Part:
    """Return noise, hum and noise densities of every output that an idle take hears."""
    parts: list[Part] = []
    stated: set[str] = set()
    for take in _idle_takes(subject):
        floor = floor_of(subject, take)
        span, remarks = _span(subject, take, floor)
        parts.append(Part(remarks=remarks))
        idle = subject.recordings.spectrum(take, span)
        if idle.segments == 0 or not np.any(idle.density[1:-1].real > 0.0):
            continue
        again: dict[str, Entry] = {}
        for output in outputs_of(take):
            heard = _heard(subject, idle, floor, output, bool(remarks))
            part = _of_output(subject, heard)
            if output.name not in stated:
                parts.append(part)
                stated.add(output.name)
            else:
                again.update(part.facts)
        if again:
            condition = {"take": take.name, "volume": take.volume}
            parts.append(Part(facts_at=({"condition": condition, "facts": again},)))
    return merged(parts)


def _idle_takes(subject: Subject) -> list[Take]:
    """Return this side's usable idle takes, those at the volume of the other facts first."""
    found = [
        t
        for t in subject.takes("idle")
        if not t.injections
        and not t.loads
        and t.state in ("play", "mute")
        and t.frames >= LEAST_SECONDS * t.sample_rate
    ]
    volume = subject.identified.volume
    return sorted(found, key=lambda t: (t.volume != volume, t.state != "play"))


def _span(
    subject: Subject, take: Take, floor: Spectrum | None
) -> tuple[tuple[float, float] | None, tuple[Remark, ...]]:
    whole = subject.recordings.spectrum(take)
    span = steady_span(whole)
    return span, quiet_remarks(subject, whole, floor, span)


def floor_of(subject: Subject, take: Take) -> Spectrum | None:
    """Return the recorder's own spectrum at this take's gain and rate, None where there is none."""
    for floor in subject.bench_takes("floor"):
        same_rate = floor.sample_rate == take.sample_rate
        same_gain = len(floor.channels) >= len(take.channels) and all(
            np.isclose(a.volts_full_scale, b.volts_full_scale, rtol=1e-6)
            for a, b in zip(floor.inputs, take.inputs, strict=False)
        )
        if same_rate and same_gain and floor.frames >= LEAST_SECONDS * floor.sample_rate:
            return subject.recordings.spectrum(floor)
    return None


def _heard(
    subject: Subject, idle: Spectrum, floor: Spectrum | None, output: Output, muted: bool
) -> _Heard:
    seen = projection(subject.source, idle, output)
    note = "the output may have muted itself" if muted else None
    return _Heard(idle.take, idle, floor, seen, note)


def _of_output(subject: Subject, heard: _Heard) -> Part:
    name = heard.output.output.name
    density = np.maximum(heard.output.density(heard.idle), 0.0)
    floor = _floor_density(heard)
    hum = _hum(subject, heard, density, floor)
    facts: dict[str, Entry] = {}
    flat = in_band(heard.idle.hz).astype(np.float64)
    weights = {"": flat, "_a": flat * a_weight(heard.idle.hz)}
    for suffix, weight in weights.items():
        facts[f"{name}_noise{suffix}"] = _band(heard, density, floor, hum, weight, suffix == "_a")
    rows: tuple[Row, ...] = ()
    if hum is not None:
        facts[f"{name}_hum"], rows = _hum_facts(heard, hum)
    curves = {f"{name}_noise_density": _curve(heard, density, floor)}
    return Part(facts=facts, curves=curves, lists={"hum_lines": rows})


def _floor_density(heard: _Heard) -> Array | None:
    """Return the recorder's own noise as this output would show it."""
    if heard.floor is None:
        return None
    return np.maximum(heard.output.density(heard.floor), 0.0)


def _chi(freedom: float, rng: np.random.Generator) -> Array:
    """Return draws of true over estimated power, nominal 1 first."""
    factor = freedom / np.maximum(rng.chisquare(max(freedom, 1.0), DRAWS), 1e-9)
    return np.concatenate([[1.0], factor])


@dataclass(frozen=True)
class _Split:
    """A density's power in a band: noise, lines that are no hum, and how sure the noise is."""

    noise: float
    lines: float
    freedom: float


def _split(spectrum: Spectrum, density: Array, hum: HumLines | None, weight: Array) -> _Split:
    lines = line_bins(density, spectrum.averages)
    of_hum = np.zeros(len(density), dtype=np.bool_) if hum is None else hum.bins
    smooth = smooth_density(density, lines | of_hum, spectrum.averages)
    rest = np.where(of_hum, 0.0, density - smooth)
    step = spectrum.bin_hz
    return _Split(
        float(np.sum(smooth * weight)) * step,
        float(np.sum(rest * weight)) * step,
        spectrum.freedom(smooth, weight),
    )


def _band(
    heard: _Heard,
    density: Array,
    floor: Array | None,
    hum: _Hum | None,
    weight: Array,
    weighted: bool,
) -> Entry:
    """Noise of one output in a band, hum included: rms volts, open circuit."""
    rng = np.random.default_rng(13)
    idle = heard.idle
    here = _split(idle, density, None if hum is None else hum.lines, weight)
    draws = here.noise * _chi(here.freedom, rng) + here.lines
    limit = 0.0
    if heard.floor is not None and floor is not None:
        own_weight = _on(heard.floor.hz, idle.hz, weight)
        own = _split(heard.floor, floor, None if hum is None else hum.own, own_weight)
        drift = np.concatenate([[0.0], FLOOR_DRIFT * rng.standard_normal(DRAWS)])
        draws = draws - own.noise * _chi(own.freedom, rng) * (1.0 + drift) - own.lines
        u = own.noise * np.sqrt(2.0 / here.freedom + 2.0 / own.freedom + FLOOR_DRIFT**2)
        limit = float(np.sqrt(1.645 * u))
    of_hum = np.zeros(len(weight), dtype=np.bool_) if hum is None else hum.lines.bins
    scale = heard.output.power(idle, np.where(of_hum, 0.0, weight))
    if scale[0] > 0.0:
        draws = draws * scale / scale[0]
    if hum is not None:
        at = np.interp(hum.lines.hz, idle.hz, weight)
        seen = hum.lines.seen
        # there is no less than the noise: what subtracting the recorder's hum leaves may be
        draws = draws + np.maximum(np.sum(hum.powers[seen] * at[seen, None], axis=0), 0.0)
    entry = _from_power(draws, limit, heard)
    entry["scale"] = heard.output.scale(heard.take, np.sqrt(np.maximum(scale, 0.0)))
    entry["band_hz"] = list(BAND_HZ)
    entry["weighting"] = "A" if weighted else "none"
    return entry


def _on(hz: Array, other_hz: Array, weight: Array) -> Array:
    """Return a weight of other bins on these ones."""
    if len(hz) == len(other_hz):
        return weight
    return np.asarray(np.interp(hz, other_hz, weight))


def _from_power(draws: Array, limit: float, heard: _Heard) -> Entry:
    """Return the root of a power that may be nothing: a value, or a bound from above."""
    known = heard.floor is not None
    low = float(np.quantile(draws[1:], 0.025))
    if not known or low <= 0.0 or np.sqrt(max(draws[0], 0.0)) < limit:
        top = float(np.sqrt(max(np.quantile(draws[1:], BOUND), draws[0], 0.0)))
        entry: Entry = {"value": max(top, limit), "unit": "V", "u95": 0.0, "bound": "below"}
        entry["limited_by_bench"] = True
    else:
        root = np.sqrt(np.maximum(draws, 0.0))
        entry = {**interval(float(root[0]), root[1:]), "unit": "V"}
    entry["limit"] = limit if known else entry["value"]
    entry["takes"] = heard.files
    notes = [heard.note] if heard.note else []
    if not known:
        notes.append("no floor take at this gain: all of it may be the recorder's")
    elif not heard.output.known and heard.output.output.terminals:
        notes.append("what the recorder takes off was not measured")
    if notes:
        entry["note"] = "; ".join(notes)
    return entry


@dataclass(frozen=True)
class _Hum:
    """Hum of an output: as heard, the recorder's own, and what is left, draw by draw.

    ``powers``: shape (M, 1 + D), V²; ``least``: shape (M,), V²: the least power that would be seen.
    """

    lines: HumLines
    own: HumLines | None
    powers: Array
    least: Array


def _hum(subject: Subject, heard: _Heard, density: Array, floor: Array | None) -> _Hum | None:
    """Return the hum lines of an output without the recorder's own.

    The recorder's line, known as well as the floor take shows it, adds with an unknown phase: with
    ``a`` heard and ``b`` the recorder's, the output's is anywhere from ``a - b`` to ``a + b``.
    """
    mains = subject.session.bench.mains_hz
    if mains / heard.idle.bin_hz < MAINS_BINS:
        return None
    found = _lines(heard.idle, density, mains)
    own = None
    if floor is not None and heard.floor is not None:
        own = _lines(heard.floor, floor, mains)
    rng = np.random.default_rng(14)
    least = SEEN * found.bare
    powers = np.zeros((len(found.orders), 1 + DRAWS))
    for k in range(len(found.orders)):
        powers[k] = found.power[k] + found.sigma[k] * _normal(rng)
        if own is not None and (own.seen[k] or found.seen[k]):
            own_power = np.maximum(own.power[k] + own.sigma[k] * _normal(rng), 0.0)
            powers[k] = _without(powers[k], own_power, rng)
            least[k] += float(own_power[0])
    return _Hum(found, own, powers * _scales(heard, found), least)


def _lines(spectrum: Spectrum, density: Array, mains_hz: float) -> HumLines:
    total = np.einsum("fcc->f", spectrum.density).real
    ratio = mains_ratio(total, spectrum.hz, mains_hz)
    return hum_lines(spectrum, density, mains_hz, ratio)


def _hum_facts(heard: _Heard, hum: _Hum) -> tuple[Entry, tuple[Row, ...]]:
    """Return the sum of the hum lines and each line that is seen."""
    limit = float(np.sqrt(1.645 * np.sqrt(np.sum((hum.least / SEEN) ** 2))))
    rows = tuple(_row(heard, hum, int(k)) for k in np.flatnonzero(hum.lines.seen))
    entry = _from_power(hum.powers.sum(axis=0), limit, heard)
    said = [entry["note"]] if "note" in entry else []
    entry["note"] = "; ".join([*said, f"{len(rows)} lines seen"])
    return entry, rows


def _normal(rng: np.random.Generator) -> Array:
    return np.concatenate([[0.0], rng.standard_normal(DRAWS)])


def _without(heard: Array, own: Array, rng: np.random.Generator) -> Array:
    """Return the power of an output's line: heard power less the recorder's, phase unknown.

    What adds in any phase raises a power by its own, in what is heard and in every draw of it.
    """
    if not own.any():
        return heard
    b = np.sqrt(own)
    turn = rng.uniform(0.0, 2.0 * np.pi, len(heard))
    across = np.maximum(heard - (b * np.sin(turn)) ** 2, 0.0)
    amplitude = np.sqrt(across) - b * np.cos(turn)
    power = amplitude**2 - 2.0 * own
    power[0] = heard[0] - own[0]
    return np.asarray(power)


def _scales(heard: _Heard, lines: HumLines) -> Array:
    """Return the relative error of each line's power, draw by draw, shape (M, 1 + D).

    From the cross spectrum where the line stands: hum that nearly cancels between the legs comes
    back with the difference of their gains.
    """
    idle = heard.idle
    out = np.ones((len(lines.hz), 1 + DRAWS))
    for k in np.flatnonzero(lines.seen).tolist():
        near = np.abs(idle.hz - lines.hz[k]) <= LINE_BINS * idle.bin_hz
        power = heard.output.power(idle, near.astype(np.float64))
        if power[0] > 0.0:
            out[k] = power / power[0]
    return out


def _row(heard: _Heard, hum: _Hum, k: int) -> Row:
    entry = _from_power(hum.powers[k], float(np.sqrt(hum.least[k])), heard)
    own = 0.0 if hum.own is None else float(hum.own.power[k] + 2.0 * hum.own.sigma[k])
    if own > OWN_HUM * hum.lines.power[k] and "bound" not in entry:
        top = float(np.sqrt(hum.lines.power[k]) + np.sqrt(own))
        entry |= {"value": top, "u95": 0.0, "bound": "below", "limited_by_bench": True}
    kept = {n: v for n, v in entry.items() if n not in ("takes", "note")}
    if "bound" in kept:
        kept = {n: v for n, v in kept.items() if n not in ("low", "high")}
    order, hz = int(hum.lines.orders[k]), float(hum.lines.hz[k])
    return {"output": heard.output.output.name, "order": order, "hz": hz, **kept}


def _curve(heard: _Heard, density: Array, floor: Array | None) -> Curve:
    """Return the noise density without lines, V/sqrt(Hz), in twelfths of an octave."""
    idle = heard.idle
    lines = line_bins(density, idle.averages)
    own_lines = np.zeros(0, dtype=np.bool_)
    if heard.floor is not None and floor is not None:
        own_lines = line_bins(floor, heard.floor.averages)
    columns: dict[str, list[float | None]] = {"hz": [], "value": [], "u95": [], "limit": []}
    for low, high in _steps(idle.hz[-1]):
        use = (idle.hz >= low) & (idle.hz < high)
        if not use.any():
            continue
        kept = use & ~lines
        centre = float(np.sqrt(low * high))
        columns["hz"].append(centre)
        if not kept.any():
            value, u, limit = None, None, None
        else:
            value, u, limit = _density_at(heard, density, floor, own_lines, kept)
        columns["value"].append(value)
        columns["u95"].append(u)
        columns["limit"].append(limit)
    return {"unit": "V/√Hz", **columns}


def _steps(top: float) -> Iterator[tuple[float, float]]:
    low = DENSITY_FROM_HZ
    while low < min(top, BAND_HZ[1] * 1.05):
        yield low, low * DENSITY_STEP
        low *= DENSITY_STEP


def _density_at(
    heard: _Heard,
    density: Array,
    floor: Array | None,
    own_lines: NDArray[np.bool_],
    kept: NDArray[np.bool_],
) -> tuple[float | None, float | None, float]:
    seen = float(density[kept].mean())
    variance = 2.0 * seen**2 / heard.idle.freedom(density[kept])
    if floor is None or heard.floor is None:
        return None, None, float(np.sqrt(seen))
    at = heard.floor.hz
    inside = (at >= heard.idle.hz[kept][0]) & (at <= heard.idle.hz[kept][-1]) & ~own_lines
    if not inside.any():
        return None, None, float(np.sqrt(seen))
    own = float(floor[inside].mean())
    own_variance = own**2 * (2.0 / heard.floor.freedom(floor[inside]) + FLOOR_DRIFT**2)
    power, u = seen - own, float(np.sqrt(variance + own_variance))
    limit = float(
        np.sqrt(1.645 * np.sqrt(own**2 * 2.0 / heard.idle.freedom(density[kept]) + own_variance))
    )
    if power < 2.5 * u:
        return None, None, limit
    value = float(np.sqrt(power))
    scale = heard.take.inputs[heard.output.channels[0]].u95_relative
    return value, float(np.hypot(1.96 * u / (2.0 * value), scale * value)), limit
