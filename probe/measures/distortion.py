"""Distortion of every output from takes of one tone: THD, THD+N, the harmonics themselves.

THD is the root of the harmonics' power, orders 2 to 20 up to 20 kHz, over the rms of the whole
output (IEC 60268-3; from memory): ``THD_R = THD_F / sqrt(1 + THD_F²)``. THD+N is everything but
the tone from 20 Hz to 20 kHz over the same. What cannot be told from the bench's own distortion,
its phase unknown, is a bound; so is a THD+N with hum that other takes do not have.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from probe.measures.continuum import line_bins, smooth_density
from probe.measures.harmonic import Harmonics, OfOutput, harmonics_of, of_output
from probe.measures.loading import DRAWS
from probe.measures.model import Curve, Part, Row, Subject, merged
from probe.measures.noise import FLOOR_DRIFT, floor_of
from probe.measures.outputs import outputs_of
from probe.measures.own_harmonics import UNMEASURED_PERCENT
from probe.measures.projected import Projection, projection
from probe.measures.spectra import Spectrum
from probe.measures.statement import QUANTILES, Entry, interval
from probe.measures.tone_hum import ForeignHum, beside, foreign_hum
from probe.measures.weighting import BAND_HZ, in_band
from probe.numbers import write_number
from probe.phasors.model import Remark, TakePhasors
from probe.session.model import Take

Array = NDArray[np.float64]

NAMED = 3
"""Lines of hum that are named, the strongest."""

HEARD = 30.0
"""Standard deviations at which a fundamental is there; a silent leg has no distortion."""

LEAST_CURVE = 3
"""Tones of different frequency that make a curve."""

LEAST_CANCELLED = 1.0
"""Decibels: harmonics of equal legs cancel by 0 dB at least; a smaller bound says nothing."""

TOLD = 2.5
"""Standard deviations at which a harmonic is told from its noise."""


@dataclass(frozen=True)
class _Tone:
    """One output in one take of a tone."""

    name: str
    take: Take
    volts: float
    facts: dict[str, Entry]
    rows: tuple[Row, ...]
    second: OfOutput
    hum: ForeignHum | None

    @property
    def hz(self) -> float:
        """The tone."""
        return self.take.tones_hz[0]


def distortion(subject: Subject) -> Part:
    """Return the distortion of every output that a take of one tone hears."""
    tones = [tone for p in _tone_takes(subject) for tone in _of_take(subject, p)]
    parts = []
    for name in dict.fromkeys(t.name for t in tones):
        own = [t for t in tones if t.name == name]
        main = min(own, key=lambda t: abs(np.log(t.hz / 1000.0)))
        parts.append(Part(facts=main.facts, lists={"harmonics": main.rows}))
        parts += [_elsewhere(t) for t in own if t is not main]
        parts.append(Part(curves=_curves(name, own)))
    parts.append(Part(facts=_cancellation(tones), remarks=_hum_remarks(tones)))
    return merged(parts)


def _tone_takes(subject: Subject) -> list[TakePhasors]:
    return [
        p
        for p in subject.phasors
        if p.take.side == subject.side
        and p.usable
        and len(p.take.tones_hz) == 1
        and p.take.state == "play"
        and p.take.driven_side in ("both", p.take.side)
        and not p.take.loads
        and not p.take.injections
    ]


def _of_take(subject: Subject, p: TakePhasors) -> list[_Tone]:
    take = p.take
    found = harmonics_of(subject, take, p.clock_error, p.steady_s)
    if len(found.hz) < 2:
        return []
    spectrum = subject.recordings.spectrum(take, p.steady_s)
    floor = floor_of(subject, take)
    out = []
    for output in outputs_of(take):
        shown = projection(subject.source, spectrum, output)
        own = of_output(found, shown)
        if abs(own.volts[0]) < HEARD * own.sd[0]:
            continue
        facts = {f"{output.name}_thd": _thd(found, own)}
        entry, rest = _thd_n(found, own, shown, spectrum, floor)
        hum = foreign_hum(subject, spectrum, shown, found.hz, rest)
        facts[f"{output.name}_thd_n"] = entry if hum is None else _at_most(entry, hum)
        rows = tuple(_row(output.name, own, n) for n in range(1, len(own.hz)))
        out.append(_Tone(output.name, take, float(abs(own.volts[0])), facts, rows, own, hum))
    return out


def _ratio(power: Array, carrier: Array) -> Array:
    """Return percent of the whole, draw by draw."""
    part = np.maximum(power, 0.0)
    return np.asarray(100.0 * np.sqrt(part / (carrier + part)))


def _thd(found: Harmonics, own: OfOutput) -> Entry:
    power = own.power[:, 1:].sum(axis=1)
    noise = float(np.sqrt(np.sum(own.sd[1:] ** 2)))
    bench = float(np.sqrt(np.sum(own.bench[1:] ** 2)))
    return _stated(found, own, power, noise, bench)


def _stated(found: Harmonics, own: OfOutput, power: Array, noise: float, bench: float) -> Entry:
    """Return a distortion as a value, or as a bound where bench or noise may be all of it."""
    carrier = np.abs(own.fundamental) ** 2
    size = float(np.sqrt(max(power[0], 0.0)))
    limit = (bench + TOLD * noise) / float(np.sqrt(carrier[0])) * 100.0
    percent = _ratio(power, carrier)
    told = size > bench + TOLD * noise and float(np.quantile(power[1:], 0.025)) > 0.0
    if told:
        entry = {**interval(float(percent[0]), percent[1:], own.at), "unit": "%"}
    else:
        top = max(float(np.quantile(percent[1:], 0.95)), float(percent[0]))
        top = max(top, limit)
        entry = {"value": top, "unit": "%", "u95": 0.0, "bound": "below", "limited_by_bench": True}
    entry["limit"] = limit
    entry["at_hz"] = float(found.hz[0])
    entry["at_volts"] = float(np.sqrt(carrier[0]))
    entry["band_hz"] = list(BAND_HZ)
    entry["takes"] = [f for f in (found.take.file, found.bench_take) if f is not None]
    if found.bench_take is None:
        entry["note"] = (
            f"no loop-back take: the bench's own distortion is taken as {UNMEASURED_PERCENT:g} %"
        )
    return entry


def _thd_n(
    found: Harmonics,
    own: OfOutput,
    shown: Projection,
    spectrum: Spectrum,
    floor: Spectrum | None,
) -> tuple[Entry, float]:
    """Return THD+N: harmonics, noise and hum; the recorder's noise taken off in power.

    Besides, the power of all that, V².
    """
    rng = np.random.default_rng(16)
    density = np.maximum(shown.density(spectrum), 0.0)
    tones = beside(spectrum, found.hz)
    lines = line_bins(density, spectrum.averages)
    smooth = smooth_density(density, lines | tones, spectrum.averages)
    weight = in_band(spectrum.hz).astype(np.float64)
    step = spectrum.bin_hz
    others = float(np.sum(np.where(tones, 0.0, density - smooth) * weight)) * step
    freedom = spectrum.freedom(smooth, weight)
    noise = float(np.sum(smooth * weight)) * step
    power = noise * _chi(freedom, rng) + others
    u = noise * np.sqrt(2.0 / freedom)
    if floor is not None:
        recorder = np.maximum(shown.density(floor), 0.0)
        quiet = smooth_density(recorder, line_bins(recorder, floor.averages), floor.averages)
        inside = in_band(floor.hz).astype(np.float64)
        own_noise = float(np.sum(quiet * inside)) * floor.bin_hz
        own_freedom = floor.freedom(quiet, inside)
        drift = 1.0 + FLOOR_DRIFT * rng.standard_normal(1 + DRAWS)
        drift[0] = 1.0
        power = power - own_noise * _chi(own_freedom, rng) * drift
        u = float(np.hypot(u, own_noise * np.sqrt(2.0 / own_freedom + FLOOR_DRIFT**2)))
    gain = np.abs(own.fundamental) ** 2 / np.abs(own.fundamental[0]) ** 2
    total = power * gain + own.power[:, 1:].sum(axis=1)
    bench = float(np.sqrt(np.sum(own.bench[1:] ** 2)))
    hidden = float(np.sqrt(1.645 * u)) if floor is not None else float(np.sqrt(noise))
    entry = _stated(found, own, total, hidden / TOLD, bench)
    if floor is None:
        said = [entry["note"]] if "note" in entry else []
        entry["note"] = "; ".join([*said, "no floor take: the recorder's noise is in it"])
        entry["limited_by_bench"] = True
    return entry, float(total[0])


def _at_most(entry: Entry, hum: ForeignHum) -> Entry:
    """Return a THD+N with hum that is not the device's: it is below what was heard."""
    top = entry.get("high", entry["value"] + entry["u95"])
    kept = {k: v for k, v in entry.items() if k not in ("low", "high", "note")}
    said = [entry["note"]] if "note" in entry else []
    less = max(entry["value"] * float(np.sqrt(max(1.0 - hum.share, 0.0))), entry["limit"])
    told = f"{_lines_of(hum)} of mains hum in it, which {hum.without} does not have"
    note = "; ".join([*said, f"{told}; at most {write_number(less, '%')} without"])
    return {
        **kept, "value": top, "u95": 0.0, "bound": "below", "limited_by_bench": True, "note": note
    }  # fmt: skip


def _lines_of(hum: ForeignHum) -> str:
    hz = ", ".join(f"{f:g}" for f in hum.hz[:NAMED])
    return f"{write_number(float(np.sqrt(hum.power)), 'V')} ({hz} Hz)"


def _hum_remarks(tones: list[_Tone]) -> tuple[Remark, ...]:
    """Return what is said of every take with such hum, by the output it is worst in."""
    out = []
    for name in dict.fromkeys(t.take.name for t in tones if t.hum is not None):
        own = [(t, t.hum) for t in tones if t.take.name == name and t.hum is not None]
        tone, hum = max(own, key=lambda item: item[1].power / item[0].volts ** 2)
        message = (
            f"{_lines_of(hum)} of mains hum stand beside the tone ({tone.name.replace('_', ' ')}), "
            f"which {hum.without} does not have: a lead or a loop of this take, or a device that "
            "mutes itself while nothing plays. THD+N is no more than a bound; make the take again"
        )
        out.append(Remark("hum-beside-tone", name, message))
    return tuple(out)


def _chi(freedom: float, rng: np.random.Generator) -> Array:
    factor = freedom / np.maximum(rng.chisquare(max(freedom, 1.0), DRAWS), 1e-9)
    return np.concatenate([[1.0], factor])


def _row(name: str, own: OfOutput, n: int) -> Row:
    """Return one harmonic: percent of the fundamental, phase against n times the fundamental's."""
    carrier = np.abs(own.fundamental)
    power = np.maximum(own.power[:, n], 0.0)
    percent = 100.0 * np.sqrt(power) / carrier
    row: Row = {"output": name, "order": n + 1, "hz": float(own.hz[n])}
    limit = 100.0 * float(own.bench[n] + TOLD * own.sd[n]) / float(carrier[0])
    if percent[0] <= limit or float(np.quantile(power[1:], 0.025)) <= 0.0:
        top = max(float(np.quantile(percent[1:], 0.95)), float(percent[0]), limit)
        row |= {"value": top, "unit": "%", "u95": 0.0, "bound": "below", "limited_by_bench": True}
    else:
        at = QUANTILES if n % 2 == 0 else own.at
        row |= {**interval(float(percent[0]), percent[1:], at), "unit": "%"}
        turn = np.angle(own.volts[n] * np.exp(-1j * (n + 1) * np.angle(own.volts[0])))
        row["phase_deg"] = float(np.degrees(turn))
        doubt = (own.bench[n] + 1.96 * own.sd[n] / np.sqrt(2.0)) / abs(own.volts[n])
        row["phase_u95_deg"] = float(np.degrees(np.arcsin(min(doubt, 1.0))))
    row["limit"] = limit
    return row


def _elsewhere(tone: _Tone) -> Part:
    condition = {"tone_hz": tone.hz, "tone_volts": tone.volts, "take": tone.take.name}
    return Part(facts_at=({"condition": condition, "facts": tone.facts},))


def _curves(name: str, tones: list[_Tone]) -> dict[str, Curve]:
    """Return distortion against frequency where takes of several tones allow."""
    ordered = sorted({t.hz: t for t in reversed(tones)}.values(), key=lambda t: t.hz)
    if len(ordered) < LEAST_CURVE:
        return {}
    curves = {}
    for what in ("thd", "thd_n"):
        entries = [t.facts[f"{name}_{what}"] for t in ordered]
        told = [e if "bound" not in e else None for e in entries]
        curves[f"{name}_{what}_against_frequency"] = {
            "unit": "%",
            "hz": [t.hz for t in ordered],
            "value": [None if e is None else e["value"] for e in told],
            "u95": [None if e is None else e["u95"] for e in told],
            "limit": [e["limit"] for e in entries],
        }
    return curves


def _least(row: Row) -> float:
    """Return the least a harmonic may be; nothing where only a bound from above is known."""
    if "bound" in row:
        return 0.0
    return max(float(row.get("low", row["value"] - row["u95"])), 0.0)


def _cancellation(tones: list[_Tone]) -> dict[str, Entry]:
    """Return how far the legs' second harmonics cancel in their difference, dB.

    The legs' second harmonics, each over its fundamental, in the mean, over that of the difference.
    """
    for tone in tones:
        legs = {t.name: t for t in tones if t.take is tone.take}
        if not {"hot", "cold", "differential"} <= legs.keys():
            continue
        relative = {
            n: np.maximum(legs[n].second.power[:, 1], 1e-300)
            / np.abs(legs[n].second.fundamental) ** 2
            for n in ("hot", "cold", "differential")
        }
        rows = {n: legs[n].rows[0] for n in relative}
        if all("bound" in rows[n] for n in ("hot", "cold")):
            return {}
        legs_mean = 0.5 * (np.sqrt(relative["hot"]) + np.sqrt(relative["cold"]))
        db = 20.0 * np.log10(legs_mean / np.sqrt(relative["differential"]))
        files = [tone.take.file]
        if "bound" in rows["differential"]:
            lows = [_least(rows[n]) for n in ("hot", "cold")]
            least = 20.0 * np.log10(max(0.5 * sum(lows) / rows["differential"]["value"], 1e-15))
            if least < LEAST_CANCELLED:
                return {}
            entry: Entry = {"value": float(least), "unit": "dB", "u95": 0.0, "bound": "above"}
            entry["limited_by_bench"] = True
        else:
            entry = {**interval(float(db[0]), db[1:], tone.second.at), "unit": "dB"}
        return {"second_harmonic_cancellation": {**entry, "at_hz": tone.hz, "takes": files}}
    return {}
