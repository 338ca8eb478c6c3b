"""From a side's takes to its indications, and the verdict."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from probe.measures.lines import heard
from probe.measures.model import Part, Subject
from probe.measures.muted import quiet_remarks, steady_span
from probe.measures.path import harmonic, idle, lag, limits, one_leg, ratio
from probe.measures.path.model import Indication, silent
from probe.measures.path.weigh import weigh
from probe.measures.volume import DB, Open, open_takes
from probe.phasors.model import TakePhasors
from probe.session.model import Take
from probe.stage.quantities import column

Complex = NDArray[np.complex128]
Array = NDArray[np.float64]

STRAIGHT, EXCHANGED = ("hot", "cold"), ("cold", "hot")


def path(subject: Subject) -> Part:
    """Return the path evidence of a side and what it allows to say."""
    opened = open_takes(subject)
    indications = (
        _idle(subject),
        _harmonic(subject),
        _lag(subject, opened),
        _ratio(subject, opened),
        _one_leg(subject),
    )
    if all(i.value is None for i in indications):
        nothing = "no take shows anything of the path"
        return Part(
            lists={"path_evidence": tuple(i.row() for i in indications)},
            stage={"path_reasons": [nothing], "path_separate_from": None},
        )
    verdict = weigh(indications, _coupled(subject))
    return Part(
        lists={"path_evidence": tuple(i.row() for i in indications)},
        stage={
            "path": verdict.path,
            "path_separate_from": verdict.separate_from,
            "path_reasons": list(verdict.reasons),
        },
    )


def _coupled(subject: Subject) -> str:
    """Say why the legs do not count as separate; empty where they do."""
    if subject.identified.contradicted:
        return "the takes contradict each other"
    for leg in ("hot", "cold"):
        one = column(subject.identified, leg)
        if one is None:
            return f"the coupling of the {leg} leg into the other was not measured"
        draws = one.coupling.real
        value = abs(float(draws[0]))
        doubt = float(np.ptp(np.quantile(draws, [0.025, 0.975]))) / 2.0
        if value - doubt > limits.COUPLING:
            return "the legs are coupled: such a stage makes its legs alike by itself"
        if value + doubt > limits.COUPLING_DOUBT:
            return "whether the legs are coupled is not known well enough"
    return ""


def _legs(take: Take, order: tuple[str, str]) -> bool:
    """Return True where the first two device channels are the legs in this order."""
    return tuple(c for c in take.channels if c in STRAIGHT) == order


# (i) idle noise


def _idle(subject: Subject) -> Indication:
    takes = [
        t
        for t in subject.takes("idle")
        if t.state == "play" and not t.injections and not t.loads and not t.crosstalk
    ]
    straight = [t for t in takes if _legs(t, STRAIGHT)]
    exchanged = [t for t in takes if _legs(t, EXCHANGED)]
    if not straight and not exchanged:
        return silent(idle.NAME, "no idle take with both legs")
    if not straight or not exchanged:
        return silent(idle.NAME, "no idle take with the leads exchanged")
    places = _leg_channels(straight[0])
    scales = [straight[0].inputs[c].volts_full_scale for c in places]
    same = [
        t for t in (*straight, *exchanged)
        if _leg_channels(t) == places and [t.inputs[c].volts_full_scale for c in places] == scales
    ]  # fmt: skip
    floor = next(
        (
            t for t in subject.bench_takes("floor")
            if len(t.channels) > max(places)
            and [t.inputs[c].volts_full_scale for c in places] == scales
        ),
        None,
    )  # fmt: skip
    if floor is None:
        return silent(idle.NAME, "no floor take at the gain of the idle take: the recorder's own "
                      "noise is not known")  # fmt: skip
    if any(_muted(subject, t, floor) for t in same):
        return silent(idle.NAME, "the output mutes itself at idle",
                      takes=tuple(t.file for t in same))  # fmt: skip
    bands = {t.name: _band(subject, t, places) for t in (*same, floor)}
    found = idle.shared_noise(
        [bands[t.name] for t in same if t in straight],
        [bands[t.name] for t in same if t in exchanged],
        bands[floor.name],
    )
    return idle.judge(found, tuple(t.file for t in (*same, floor)))


def _muted(subject: Subject, take: Take, floor: Take) -> bool:
    """Tell whether an idle take is that of a muted output, or mutes on its way."""
    whole, alone = (subject.recordings.spectrum(t) for t in (take, floor))
    return steady_span(whole) is not None or bool(quiet_remarks(subject, whole, alone, None))


def _leg_channels(take: Take) -> list[int]:
    return [c for c, name in enumerate(take.channels) if name in STRAIGHT]


def _band(subject: Subject, take: Take, places: list[int]) -> idle.Band:
    spectrum = subject.recordings.spectrum(take)
    at = [spectrum.channels.index(c) for c in places]
    return idle.band_of(spectrum, (at[0], at[1]))


# (ii) second harmonic


def _harmonic(subject: Subject) -> Indication:
    """Of single tones: both lead orders where there are both, their mean."""
    found: dict[tuple[str, str], tuple[Complex, Array, Take, float]] = {}
    for p in subject.phasors:
        take = p.take
        for order in (STRAIGHT, EXCHANGED):
            if order not in found and _plain_tone(subject, p) and _legs(take, order):
                found[order] = _seconds(p)
    if not found:
        return silent(harmonic.NAME, "no single tone with both legs")
    d = np.mean([f[0] for f in found.values()], axis=0)
    noise = float(max(f[1].max() for f in found.values()) / np.sqrt(len(found)))
    peak = max(f[3] for f in found.values())
    recorder, generator = _bench_second(subject, peak)
    if any(f[2].drive_dbfs is not None for f in found.values()):
        generator = 0.0
    files = tuple(f[2].file for f in found.values())
    return harmonic.judge(
        complex(d[0]), complex(d[1]), noise=noise, recorder=recorder, generator=generator,
        exchanged=len(found) == 2,
        takes=files,
    )  # fmt: skip


def _plain_tone(subject: Subject, p: TakePhasors) -> bool:
    take = p.take
    plain = not take.loads and not take.injections and take.driven_input_leg == "both"
    below = bool(take.tones_hz) and 2.2 * take.tones_hz[0] < 0.5 * take.sample_rate
    return (
        take.side == subject.side and take.signal == "tone" and take.state == "play"
        and p.usable and plain and below
    )  # fmt: skip


def _seconds(p: TakePhasors) -> tuple[Complex, Array, Take, float]:
    """Return ``d`` of hot and cold, standard deviations, the take, its peak in dB FS."""
    take = p.take
    tone = take.tones_hz[0]
    got = heard(take, np.array([tone, 2.0 * tone]), clock_error=p.clock_error, span_s=p.steady_s)
    at = [take.channels.index("hot"), take.channels.index("cold")]
    first, second = got.volts[0, at], got.volts[1, at]
    turn = np.exp(-2j * np.angle(first[0]))
    d = second / np.abs(first) * turn
    peak = float(20.0 * np.log10(max(float(got.peak[at].max()), 1e-9)))
    return d, got.sd[1, at] / np.abs(first), take, peak


def _bench_second(subject: Subject, peak_dbfs: float) -> tuple[float, float]:
    """Return most that the recorder and the test tone add: measured by a loop-back, or usual.

    A second harmonic falls with the level; a loop-back that is louder than the take bounds it. It
    holds both, in a proportion nobody knows.
    """
    usual = harmonic.recorder_bound(peak_dbfs), 10.0 ** (limits.GENERATOR_H2_DB / 20.0)
    for take in subject.bench_takes("loop-back"):
        if len(take.tones_hz) != 1 or 2.2 * take.tones_hz[0] >= 0.5 * take.sample_rate:
            continue
        tone = take.tones_hz[0]
        got = heard(take, np.array([tone, 2.0 * tone]))
        strong = np.abs(got.volts[0]) > 100.0 * got.sd[0]
        if not strong.any():
            continue
        level = 20.0 * np.log10(max(float(got.peak[strong].max()), 1e-9))
        over = (np.abs(got.volts[1]) + 2.0 * got.sd[1])[strong] / np.abs(got.volts[0])[strong]
        most = float(over.max())
        if level + 1.0 >= peak_dbfs:
            falls = 10.0 ** (min(peak_dbfs - level, 0.0) / 20.0)
            return most * falls, most
    return usual


# (iii) lag of cold


def _lag(subject: Subject, opened: list[Open]) -> Indication:
    settings = [o for o in opened if o.phasors.take.volume == subject.identified.volume]
    straight = next((o for o in settings if _legs(o.phasors.take, STRAIGHT)), None)
    exchanged = next((o for o in settings if _legs(o.phasors.take, EXCHANGED)), None)
    if straight is None or exchanged is None:
        return silent(lag.NAME, "no open take with the leads exchanged: the recorder's channels "
                      "may differ in phase")  # fmt: skip
    hz, at, there = np.intersect1d(straight.hz, exchanged.hz, return_indices=True)
    one = straight.volts[at, 1] / straight.volts[at, 0]
    two = exchanged.volts[there, 1] / exchanged.volts[there, 0]
    turned = np.exp(0.5j * np.angle(two / one))
    both = one * turned * np.sqrt(np.abs(two / one))
    noise = [
        np.hypot(o.doubt[i, 0], o.doubt[i, 1]) for o, i in ((straight, at), (exchanged, there))
    ]
    sd = np.degrees(0.5 * np.hypot(noise[0], noise[1]))
    files = (straight.phasors.take.file, exchanged.phasors.take.file)
    size = np.abs(both[int(np.argmin(np.abs(hz - 1000.0)))])
    if not 0.1 < size < 10.0:
        return silent(lag.NAME, "one leg carries no signal of its own", takes=files)
    return lag.judge(hz, both, sd, files)


# (iv) leg ratio against volume


def _ratio(subject: Subject, opened: list[Open]) -> Indication:
    readings = []
    for one in opened:
        take = one.phasors.take
        orders = [o for o in (STRAIGHT, EXCHANGED) if _legs(take, o)]
        if not orders:
            continue
        k = int(np.argmin(np.abs(one.hz - 1000.0)))
        db = float(DB * np.log(abs(one.volts[k, 1]) / abs(one.volts[k, 0])))
        noise = float(DB * np.hypot(*_noise(one, k)))
        readings.append(ratio.Reading(take.volume, orders[0] == EXCHANGED, db, noise, take.file))
    return ratio.judge(readings, _leg_ohm(subject), _recorder_ohm(subject))


def _noise(one: Open, k: int) -> tuple[float, float]:
    """Relative noise of both legs at one tone; what loading adds is the same in every take."""
    p = one.phasors
    at = [p.take.channels.index("hot"), p.take.channels.index("cold")]
    j = int(np.flatnonzero(p.played)[k])
    sd = [float(np.sqrt(abs(p.noise[j, c, c])) / max(abs(p.volts[j, c]), 1e-300)) for c in at]
    return sd[0], sd[1]


def _leg_ohm(subject: Subject) -> float:
    found = [column(subject.identified, leg) for leg in ("hot", "cold")]
    sizes = [np.nan if one is None else one.own.size for one in found]
    return float(max(sizes)) if np.isfinite(sizes).all() else np.nan


def _recorder_ohm(subject: Subject) -> float:
    return min(i.impedance_ohm for i in subject.session.bench.inputs)


# (v) one input leg driven


def _one_leg(subject: Subject) -> Indication:
    columns: dict[str, tuple[Array, Complex, Array, Take]] = {}
    for p in subject.phasors:
        take = p.take
        driven = take.driven_input_leg
        plain = not take.loads and not take.injections and take.state == "play"
        both = {"hot", "cold"} <= set(take.channels)
        if take.side == subject.side and driven != "both" and plain and both:
            columns.setdefault(driven, _transferred(p))
    if not columns:
        return silent(one_leg.NAME, "no take with one input leg driven (a digital input has none)")
    if len(columns) < 2:
        return silent(one_leg.NAME, "only one of the input legs was driven by itself")
    hz = np.intersect1d(columns["hot"][0], columns["cold"][0])
    transfer = np.zeros((len(hz), 2, 2), dtype=np.complex128)
    noise = np.zeros((len(hz), 2, 2))
    for j, leg in enumerate(("hot", "cold")):
        at = np.searchsorted(columns[leg][0], hz)
        transfer[:, :, j], noise[:, :, j] = columns[leg][1][at], columns[leg][2][at]
    files = tuple(columns[leg][3].file for leg in ("hot", "cold"))
    return one_leg.judge(hz, transfer, noise, files)


def _transferred(p: TakePhasors) -> tuple[Array, Complex, Array, Take]:
    """Return tones, volts at hot and cold per volt of drive, their noise, and the take."""
    take = p.take
    at = [take.channels.index("hot"), take.channels.index("cold")]
    drive = take.drive_volts or 1.0
    volts = p.volts[p.played][:, at] / drive
    own = np.stack([np.sqrt(np.abs(p.noise[p.played, c, c])) for c in at], axis=1) / drive
    return p.hz[p.played], volts, own, take
