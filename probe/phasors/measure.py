"""From a take's samples to its phasors, with their covariance and what has to be said.

Steps, for each take: one pass over the file (``table``), where the tones stand still
(``settle``, ``steady``), all tones and hum lines at once with the clock (``fit``, ``hum``),
covariance from what is left (``noise``), volts and remarks (here).

The phase at the first frame is carried there from the middle of the steady part: with ``e`` the
clock error, ``d angle(volts) / d e = + 2 pi f centre_s``.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from probe.phasors import thresholds as limits
from probe.phasors.clocks import of_their_own_clock
from probe.phasors.fit import coarse_rate, rate_step
from probe.phasors.hum import under_tones
from probe.phasors.lines import Lines, lines_of
from probe.phasors.model import Remark, TakePhasors
from probe.phasors.noise import local_noise
from probe.phasors.quiet import quiet_hum, stands_on_mains
from probe.phasors.settle import State, Steady, clip_rate, even_weights, find_steady
from probe.phasors.steady import outside
from probe.phasors.table import Complex, Real, Table, block_length, project, spin
from probe.session.model import Session, Take

Pieces = Iterable[NDArray[np.float32]]
Progress = Callable[[int, int, str], None]
"""Called as ``progress(done, total, name)`` before each take and once at the end."""

KnownHum = Mapping[str, Mapping[int, float]]
"""Hum heard while nothing played: channel role to mains order to V rms."""


def measure(session: Session, *, progress: Progress | None = None) -> tuple[TakePhasors, ...]:
    """Return the phasors of every take that carries tones, in session order.

    Parameters
    ----------
    session
        A session as read; the samples are read here, once.
    progress
        Called as ``progress(done, total, name)``.

    Returns
    -------
    One entry per take that plays ``multitone`` or ``tone`` or carries injected tones. Takes of
    the bench itself, sweeps, level steps and silence are left out.

    Raises
    ------
    BadInput
        If a take's audio cannot be read.
    """
    takes = [take for take in session.takes if carries_tones(take)]
    mains_hz = session.bench.mains_hz
    known: dict[str, dict[str, dict[int, float]]] = {}
    out = []
    for done, take in enumerate(takes):
        if progress is not None:
            progress(done, len(takes), take.name)
        hz = lines_of(take, mains_hz).hz
        if stands_on_mains(hz, mains_hz, take.frames / take.sample_rate) and take.side not in known:
            known[take.side] = _heard_in_silence(session, take.side)
        out.append(measure_take(take, mains_hz, known_hum=known.get(take.side)))
    if progress is not None:
        progress(len(takes), len(takes), "")
    return tuple(out)


def _heard_in_silence(session: Session, side: str) -> dict[str, dict[int, float]]:
    """Return the hum of one side's takes without tones, the strongest of each harmonic."""
    out: dict[str, dict[int, float]] = {}
    for take in session.takes:
        if take.side != side or take.signal not in ("idle", "floor") or carries_tones(take):
            continue
        for role, heard in quiet_hum(take, session.bench.mains_hz, _file_pieces(take)).items():
            kept = out.setdefault(role, {})
            for order, volts in heard.items():
                kept[order] = max(kept.get(order, 0.0), volts)
    return out


def carries_tones(take: Take) -> bool:
    """Return whether a take has tones to measure: played by the device, or injected.

    A take in which only the other side plays may hear nothing at all, and that is no mishap: it
    is left to the measure of crosstalk.
    """
    if take.crosstalk:
        return False
    if take.signal in ("multitone", "tone"):
        return bool(take.tones_hz)
    return take.signal == "idle" and any(i.volts > 0.0 and i.tones_hz for i in take.injections)


def measure_take(
    take: Take, mains_hz: float, *, pieces: Pieces | None = None, known_hum: KnownHum | None = None
) -> TakePhasors:
    """Return the phasors of one take.

    Parameters
    ----------
    take
        The take; it must carry tones.
    mains_hz
        Nominal mains frequency.
    pieces
        Its samples, frames x channels each, full scale 1; None: read from its file.
    known_hum
        Hum heard on the same channels while nothing played, V rms.
    """
    lines = lines_of(take, mains_hz)
    table = _table(take, lines, _again(take, pieces))
    if table.rows < 4:
        return _nothing(take, lines, table, "too-short", "the file is shorter than 4 blocks")
    once = isinstance(pieces, Iterator)
    apart = None if once else of_their_own_clock(table, lines, take.sample_rate)
    if apart is not None:
        table = _table(take, apart, _again(take, pieces))
    found = find_steady(table, apart or lines, take.sample_rate)
    measured = _conclude(take, apart or lines, table, found, known_hum or {})
    return measured if apart is None else replace(measured, hz=_declared(lines, apart, measured))


def _again(take: Take, pieces: Pieces | None) -> Pieces:
    return _file_pieces(take) if pieces is None else pieces


def _declared(lines: Lines, apart: Lines, measured: TakePhasors) -> Real:
    """Frequencies as declared of tones that were found elsewhere."""
    return np.asarray(lines.hz[np.searchsorted(apart.hz, measured.hz)])


def _file_pieces(take: Take) -> Pieces:
    from probe.session.audio import blocks

    return blocks(take, limits.READ_FRAMES, dtype="float32")


def _table(take: Take, lines: Lines, pieces: Pieces) -> Table:
    line_w = 2.0 * np.pi * lines.all_hz() / take.sample_rate
    block = block_length(take.sample_rate, float(lines.hz.max()))

    def guess(table: Table) -> Real | None:
        return _merging_turns(table, lines)

    unused = [c for c, role in enumerate(take.channels) if role == "unused"]
    used = _without(pieces, unused) if unused else pieces
    return project(used, line_w, block, len(take.channels), guess)


def _without(pieces: Pieces, unused: list[int]) -> Pieces:
    """Silence channels nobody asks about: nothing in them may disturb the others."""
    for piece in pieces:
        quiet = piece.copy()
        quiet[:, unused] = 0.0
        yield quiet


def _merging_turns(table: Table, lines: Lines) -> Real | None:
    """Return how fast the lines turn, from the latest part of the table where tones are heard."""
    for last in range(table.rows, 0, -limits.GUESS_ROWS):
        first = max(0, last - limits.GUESS_ROWS)
        rate = coarse_rate(table, first, last, lines.tones)
        if _coherent(table, lines, rate, first, last):
            return table.line_w * rate
    return None


def _coherent(table: Table, lines: Lines, rate: float, first: int, last: int) -> bool:
    """Return whether tones are there: energy that adds up over rows, not noise."""
    w = table.line_w[lines.tones] * rate
    y = table.values[:, first:last, lines.tones] * spin(-w, 0.0, table.span, last - first)
    together = np.sum(np.abs(y.sum(axis=1)) ** 2)
    apart = np.sum(np.abs(y) ** 2)
    return bool(together > 50.0 * apart)


PEAK_S, PEAK_BLOCK = 0.25, 256
"""Half of the stretch over which the peak of the tones is sought, and samples of one product."""


@dataclass(frozen=True)
class _Estimate:
    """Peak phasors of the tones at the centre, full scale 1, and what is known of them."""

    a: Complex
    noise: Complex
    limited: NDArray[np.bool_]
    under: NDArray[np.int64]
    rate: float
    rate_u: float


def _estimate(take: Take, lines: Lines, state: State, floor: Real, known: KnownHum) -> _Estimate:
    """Weigh the tones by their noise, settle the clock, and judge hum under tones."""
    table, tones = state.window.table, lines.tones
    hum = table.line_w[lines.hum] * state.mains.ratio
    occupied = np.concatenate([state.fit.w, hum])
    noise = local_noise(state.window, state.fit, tones, occupied, floor)
    # of lines close together the equations know what they share: only the noise by itself weighs
    alone = noise / state.fit.gain_of_noise[: len(tones), None, None]
    weight = np.asarray(np.linalg.inv(alone), dtype=np.complex128)
    for _ in range(limits.CLOCK_STEPS_CROWDED if state.fit.crowded else limits.CLOCK_STEPS):
        state, step, u = _pull_clock(state, lines, weight)
        if abs(step) < limits.CLOCK_ENOUGH * u:
            break
    under, extra, limited = under_tones(state.window, state.fit, lines, state.mains, noise)
    heard_before = _known_hum(take, under, known)
    limited |= np.any(heard_before > np.diagonal(noise, axis1=1, axis2=2).real, axis=1)
    noise = noise + extra + heard_before[:, :, None] * np.eye(len(table.values))
    if state.fit.crowded:
        nominal = np.where(state.fit.lines < len(tones), table.line_w[state.fit.lines], 0.0)
        shift = state.window.rate_response(state.fit, nominal)[0].T[: len(tones)]
        noise = noise + u**2 * shift[:, :, None] * shift[:, None, :].conj()
    a = state.fit.a[:, : len(tones)].T
    return _Estimate(a, noise, limited, under, state.rate, u)


def _pull_clock(state: State, lines: Lines, weight: Complex) -> tuple[State, float, float]:
    """Correct the clock once, by all tones with their weights and what clocks are like.

    Returns the new state, the step made, and the standard uncertainty of the rate.
    """
    window, tones = state.window, lines.tones
    nominal = np.zeros(len(state.fit.lines))
    nominal[: len(tones)] = window.table.line_w[tones]
    full = even_weights(len(state.fit.a), len(nominal))
    full[: len(tones)] = weight
    step, information = rate_step(window, state.fit, nominal, state.fit.lines < len(tones), full)
    prior = 1.0 / limits.CLOCK_PRIOR**2
    step = (information * step - prior * (state.rate - 1.0)) / (information + prior)
    rate = clip_rate(state.rate + step)
    w = np.where(nominal > 0.0, nominal * rate, state.fit.w)
    u = float(1.0 / np.sqrt(information + prior))
    return replace(state, fit=window.solve(state.fit.lines, w), rate=rate), step, u


def _known_hum(take: Take, under: NDArray[np.int64], known: KnownHum) -> Real:
    """Return peak-phasor variance, shape (F, C), of hum heard while nothing played."""
    out = np.zeros((len(under), len(take.channels)))
    for channel, (role, inlet) in enumerate(zip(take.channels, take.inputs, strict=True)):
        for j, order in enumerate(under):
            volts = known.get(role, {}).get(int(order), 0.0)
            out[j, channel] = 2.0 * (volts / inlet.volts_full_scale) ** 2
    return out


def _conclude(
    take: Take, lines: Lines, table: Table, found: Steady, known: KnownHum
) -> TakePhasors:
    """Turn the steady part's fit into volts at the first frame, and say what must be said."""
    window = found.state.window
    peak = np.maximum(table.extremes.peak, 1e-6)
    est = _estimate(take, lines, found.state, (limits.ROUNDING * peak) ** 2, known)
    clock_error = 1.0 / est.rate - 1.0
    seconds = 1.0 / (take.sample_rate * (1.0 + clock_error))
    centre_s = window.centre * seconds
    steady_s = (
        window.first * table.span / take.sample_rate,
        min(window.last * table.span, table.frames) / take.sample_rate,
    )
    scale = np.array([i.volts_full_scale for i in take.inputs]) / np.sqrt(2.0)
    volts = est.a * np.exp(-2j * np.pi * lines.hz * centre_s)[:, None] * scale[None, :]
    noise = est.noise * scale[None, :, None] * scale[None, None, :]
    noise = 0.5 * (noise + np.conj(np.swapaxes(noise, 1, 2)))

    snr = np.abs(volts) ** 2 / np.diagonal(noise, axis1=1, axis2=2).real
    unheard = ~np.any(snr > limits.HEARD, axis=0)
    long_enough = lines.hz * (steady_s[1] - steady_s[0]) >= limits.MIN_PERIODS
    remarks, usable = _remarks(take, lines, table, found, est, snr, long_enough, steady_s)
    return TakePhasors(
        take=take,
        hz=lines.hz[long_enough],
        played=lines.played[long_enough],
        injected=lines.injected[long_enough],
        volts=volts[long_enough],
        noise=noise[long_enough],
        hum_limited=est.limited[long_enough],
        clock_error=clock_error,
        clock_u=est.rate_u,
        centre_s=centre_s,
        steady_s=steady_s,
        usable=usable,
        unheard=unheard,
        remarks=remarks,
    )


def _nothing(take: Take, lines: Lines, table: Table, code: str, message: str) -> TakePhasors:
    """Return the phasors of a take nothing can be read from."""
    count, channels = len(lines.hz), len(take.channels)
    seconds = table.frames / take.sample_rate
    return TakePhasors(
        take=take,
        hz=lines.hz,
        played=lines.played,
        injected=lines.injected,
        volts=np.zeros((count, channels), dtype=np.complex128),
        noise=np.tile(np.eye(channels, dtype=np.complex128), (count, 1, 1)),
        hum_limited=np.zeros(count, dtype=bool),
        clock_error=0.0,
        clock_u=limits.CLOCK_PRIOR,
        centre_s=0.5 * seconds,
        steady_s=(0.0, seconds),
        usable=False,
        unheard=np.ones(channels, dtype=bool),
        remarks=(Remark(code, take.name, message),),
    )


def _remarks(
    take: Take,
    lines: Lines,
    table: Table,
    found: Steady,
    est: _Estimate,
    snr: Real,
    long_enough: NDArray[np.bool_],
    steady_s: tuple[float, float],
) -> tuple[tuple[Remark, ...], bool]:
    from probe.phasors.remarks import Findings, remark

    return remark(
        Findings(
            take=take,
            lines=lines,
            extremes=table.extremes,
            foretold=_peak_of(est, lines, take.sample_rate, found.state.window.centre, steady_s),
            seconds=table.frames / take.sample_rate,
            steady_s=steady_s,
            reaches=(found.run[0] == 0, found.run[1] == found.chunks.count),
            fits=found.fits,
            outside=outside(found.gain, *found.run),
            snr=snr,
            limited=est.limited,
            under=est.under,
            clock_error=1.0 / est.rate - 1.0,
            clock_u=est.rate_u,
            long_enough=long_enough,
        )
    )


def _peak_of(
    est: _Estimate, lines: Lines, sample_rate: int, centre: float, steady_s: tuple[float, float]
) -> Real:
    """Return the peak of the samples the tones make about ``centre`` (frames), full scale 1."""
    turn = 2j * np.pi * lines.hz * est.rate / sample_rate
    middle = centre / sample_rate
    reach = min(PEAK_S, middle - steady_s[0], steady_s[1] - middle)
    blocks = max(int(reach * sample_rate / PEAK_BLOCK), 1)
    at = np.exp(np.outer(turn, PEAK_BLOCK * np.arange(-blocks, blocks) - centre % 1.0))
    within = np.exp(np.outer(turn, np.arange(PEAK_BLOCK)))
    return np.array([np.abs(((a[:, None] * at).T @ within).real).max() for a in est.a.T])
