"""Where in the file the tones stand still.

1. Tone energy per chunk of about 50 ms gives the core: the longest stretch with tone.
2. The fit of the core predicts every chunk; each chunk's complex gain against that is near 1
   where the level stands. The longest run of such chunks is the steady part.
3. If the core as a whole does not fit (a level that moved, lost samples), shorter and shorter
   pieces of it are tried, and the longest that fits is grown outwards.

Plain noise never shrinks the steady part: the tolerance follows the scatter from chunk to chunk.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from probe.phasors import thresholds as limits
from probe.phasors.fit import Fit, Window, model
from probe.phasors.lines import Lines
from probe.phasors.table import Complex, Real, Table, spin


@dataclass(frozen=True)
class Chunks:
    """Rows of the table in groups: chunk i holds rows ``cuts[i]`` to ``cuts[i+1]``."""

    cuts: NDArray[np.int64]

    @property
    def count(self) -> int:
        """Number of chunks."""
        return len(self.cuts) - 1

    def add(self, rows: NDArray[Any]) -> Complex:
        """Sum over the rows of each chunk, on axis 1."""
        return np.asarray(np.add.reduceat(rows, self.cuts[:-1], axis=1))


def chunks_of(table: Table, sample_rate: float, lowest_hz: float) -> Chunks:
    """Cut the table into chunks of about 50 ms, at least one period of the lowest tone."""
    seconds = max(limits.CHUNK_SECONDS, 1.0 / lowest_hz)
    per = max(1, round(seconds * sample_rate / table.span))
    count = max(1, table.rows // per)
    cuts = np.arange(count + 1, dtype=np.int64) * per
    cuts[-1] = table.rows
    return Chunks(cuts)


def tone_share(table: Table, chunks: Chunks, tones: NDArray[np.int64], rate: float) -> Real:
    """Return each chunk's tone energy over the usual one, shape (chunks,).

    The median over the tones that carry energy: a thump or a click does not count as tone.
    """
    w = table.line_w[tones] * rate
    turned = table.values[:, :, tones] * spin(-w, 0.0, table.span, table.rows)
    length = np.diff(chunks.cuts).astype(np.float64)
    energy = np.sum(np.abs(chunks.add(turned)) ** 2, axis=0) / length[:, None] ** 2
    usual = energy.mean(axis=0)
    for _ in range(4):
        on = energy >= 0.5 * usual
        usual = np.sum(energy * on, axis=0) / np.maximum(on.sum(axis=0), 1)
    strong = usual > 1e-4 * usual.max(initial=0.0)
    if not np.any(strong):
        return np.zeros(chunks.count)
    return np.asarray(np.median(energy[:, strong] / usual[strong], axis=1))


def longest_run(good: NDArray[np.bool_]) -> tuple[int, int]:
    """Return first and last (exclusive) of the longest run of True; (0, 0) if there is none."""
    edge = np.flatnonzero(np.diff(np.concatenate([[0], good.astype(np.int8), [0]])))
    if not len(edge):
        return 0, 0
    first, last = edge[0::2], edge[1::2]
    best = int(np.argmax(last - first))
    return int(first[best]), int(last[best])


@dataclass(frozen=True)
class Gains:
    """Complex gain of every chunk against a fit.

    Attributes
    ----------
    off
        Shape (chunks, G), complex: gain minus the usual gain, per channel and group of tones.
    sigma
        Shape (G,): scatter of ``off`` from chunk to chunk, as far as noise bears it.
    usual
        Shape (G,), complex: gain of the window the fit was made in, near 1.
    energy
        Shape (chunks, G): energy of the recording, without hum and offset, over that of the fit.
    noise
        Shape (G,): the part of ``energy`` that is noise.
    """

    off: Complex
    sigma: Real
    usual: Complex
    energy: Real
    noise: Real

    @property
    def judges(self) -> NDArray[np.bool_]:
        """Shape (G,): channels and groups whose tones are strong enough to tell."""
        return limits.GAIN_SIGMAS * self.sigma < limits.GAIN_BLIND

    def within(self, tolerance: float) -> NDArray[np.bool_]:
        """Return which chunks stay within ``tolerance`` (or plain noise), shape (chunks,)."""
        bound = np.maximum(tolerance, limits.GAIN_SIGMAS * self.sigma)
        return np.asarray(np.all((np.abs(self.off) <= bound) | ~self.judges, axis=1))


def gains(window: Window, fit: Fit, chunks: Chunks, lines: Lines) -> Gains:
    """Compare every chunk of the table with the fit of a window.

    Device tones and injected tones are judged apart, and so is every channel.
    """
    table, tones = window.table, lines.tones
    whole = model(table, window, fit, tones, 0, table.rows)
    left = table.values[:, :, tones] - whole
    hum = fit.lines >= len(tones)
    rest = replace(fit, lines=fit.lines[hum], w=fit.w[hum], a=fit.a[:, hum])
    expected = whole - model(table, window, rest, tones, 0, table.rows)
    change, energy = [], []
    for group in _groups(lines):
        ours, error = expected[:, :, group], left[:, :, group]
        cross = chunks.add(ours.conj() * error)
        own = np.maximum(chunks.add(np.abs(ours) ** 2).real, 1e-300)
        seen = chunks.add(np.abs(ours + error) ** 2).real
        change.append(_typical(1.0 + cross / own, own))
        energy.append(_typical(seen / own, own).real)
    gain = np.concatenate(change).T
    inside = slice(*_chunks_inside(chunks, window))
    usual = np.median(gain[inside].real, axis=0) + 1j * np.median(gain[inside].imag, axis=0)
    power = np.concatenate(energy).T
    return Gains(
        off=gain - usual,
        sigma=np.minimum(_scatter(gain[inside]), _bearable(window, fit, lines, chunks, left)),
        usual=usual,
        energy=power,
        noise=np.maximum(np.median(power[inside], axis=0) - np.abs(usual) ** 2, 0.0),
    )


def _typical(each: Complex | Real, own: Real) -> Complex:
    """Return the median over the tones that carry energy: (C, chunks, tones) to (C, chunks).

    What hides in a few tones (beats with hum, rumble) does not count; a moved level is in all.
    """
    usual = own.mean(axis=1)
    strong = usual >= limits.JUDGE_ENERGY * usual.max(axis=1, keepdims=True)
    out = np.empty(each.shape[:2], dtype=np.complex128)
    for channel, use in enumerate(strong):
        part = each[channel][:, use]
        out[channel] = np.median(part.real, axis=1) + 1j * np.median(part.imag, axis=1)
    return out


def _groups(lines: Lines) -> list[NDArray[np.bool_]]:
    """Return the tones judged together: the device's and the injected ones.

    Tones where hum may stand are left out if others remain, as hum beats with them; so are
    those with few periods in a chunk, where neighbours, hum and rumble leak in. The highest tone
    is judged by itself, too: lost samples may show in no other.
    """
    order = np.rint(lines.hz / lines.mains_hz)
    distance = np.abs(lines.hz - order * lines.mains_hz)
    hummed = (order >= 1) & (lines.hz < limits.HUM_TOP_HZ)
    hummed &= distance < limits.MAINS_RANGE * lines.hz + 0.5
    slow = lines.hz * limits.CHUNK_SECONDS < limits.CHUNK_PERIODS
    groups = []
    for group in (lines.played, ~lines.played):
        choices = (group & ~hummed & ~slow, group & ~slow, group & ~hummed, group)
        groups.extend([next(c for c in choices if np.any(c))] if np.any(group) else [])
    highest = np.arange(len(lines.hz)) == np.flatnonzero(groups[0])[-1]
    return [*groups, highest] if np.sum(groups[0]) > 2 else groups


def _chunks_inside(chunks: Chunks, window: Window) -> tuple[int, int]:
    first = int(np.searchsorted(chunks.cuts, window.first))
    last = int(np.searchsorted(chunks.cuts, window.last, side="right")) - 1
    return first, max(last, first + 1)


def _scatter(gain: Complex) -> Real:
    """Return the standard deviation from chunk to chunk, blind to steps and slow drift.

    Second differences: a phase that runs away evenly, as it does on both sides of lost samples
    where one rate is fitted to both, is no scatter.
    """
    if len(gain) < 3:
        return np.zeros(gain.shape[1])
    worst = np.zeros(gain.shape[1])
    for lag in (1, 2, 4):  # coloured noise hardly changes from one chunk to the next
        if len(gain) > 3 * lag or lag == 1:
            bend = gain[2 * lag :] - 2.0 * gain[lag:-lag] + gain[: -2 * lag]
            worst = np.maximum(worst, np.median(np.abs(bend) ** 2, axis=0))
    # |bend|² is exponential with mean 6 sigma²; its median is ln 2 times its mean
    return np.asarray(np.sqrt(worst / (6.0 * np.log(2.0))))


def _bearable(window: Window, fit: Fit, lines: Lines, chunks: Chunks, left: Complex) -> Real:
    """Return the most scatter of a chunk's gain that noise can be blamed for, shape (G,).

    The noise is what changes from row to row beside each tone once the tone is at rest, whether or
    not the fit found the tone: a fit that misses a strong tone scatters, but not by noise. Low
    tones stand too close together for that; they turn slowly, so chunks tell of them. ``left`` is
    what the fit leaves of the whole table.
    """
    table, tones = window.table, lines.tones
    groups = _groups(lines)
    per_chunk = max(1, table.rows // chunks.count)
    pieces = len(window.start) // per_chunk
    if pieces < limits.BEARABLE_CHUNKS:
        return np.full(len(table.values) * len(groups), np.inf)
    w = fit.w[: len(tones)]
    turn = spin(w, window.start[0], table.span, len(window.start))
    own = 0.5 * fit.a[:, None, : len(tones)] * table.own_response(w, tones)
    rows = own + left[:, window.first : window.last] * turn.conj()
    whole = rows[:, : pieces * per_chunk]
    summed = whole.reshape(len(rows), pieces, per_chunk, -1).sum(axis=2)
    by_row, power = _noise_share(rows)
    share = np.minimum(by_row / np.sqrt(per_chunk), _noise_share(summed)[0])
    most = [_usual_share(share[:, group], power[:, group]) for group in groups]
    return np.maximum(limits.BEARABLE * np.concatenate(most), limits.BEARABLE_LEAST)


def _noise_share(y: Complex) -> tuple[Real, Real]:
    """Return noise over tone (amplitudes) and the tone's power, (C, rows, tones) to (C, tones).

    Medians over the rows: a jump, a click or a hole does not count.
    """
    step = np.angle(np.sum(y[:, 1:] * y[:, :-1].conj(), axis=1))
    change = y[:, 1:] * np.exp(-1j * step)[:, None, :] - y[:, :-1]
    noise = np.median(np.abs(change) ** 2, axis=1) / (2.0 * np.log(2.0))
    power = np.maximum(np.median(np.abs(y) ** 2, axis=1) - noise, 1e-300)
    return np.asarray(np.sqrt(noise / power)), np.asarray(power)


def _usual_share(share: Real, power: Real) -> Real:
    """Return the median over the tones that carry energy, as the gains are: (C, tones) to (C,)."""
    strong = power >= limits.JUDGE_ENERGY * power.max(axis=1, keepdims=True)
    return np.array([np.median(s[use]) for s, use in zip(share, strong, strict=True)])


def steady_run(gain: Gains, near: tuple[int, int]) -> tuple[int, int]:
    """Return the run of steady chunks that overlaps ``near`` most, ends trimmed."""
    good = gain.within(limits.STEADY_GAIN)
    inside = np.zeros(len(good), dtype=bool)
    inside[near[0] : near[1]] = True
    first, last = longest_run(good & inside)
    if last == first:
        return 0, 0
    while first > 0 and good[first - 1]:
        first -= 1
    while last < len(good) and good[last]:
        last += 1
    return _trim(gain, first, last)


def _trim(gain: Gains, first: int, last: int) -> tuple[int, int]:
    """Cut chunks at the ends that still rise or fall, and one more for good measure."""
    count = len(gain.off)
    most = (last - first) // 4
    begin, end = first, last
    while begin - first < most and _bends(gain, begin, 1):
        begin += 1
    while last - end < most and _bends(gain, end - 1, -1):
        end -= 1
    guard = 1 if end - begin > 4 else 0
    if begin > 0:
        begin += guard
    if end < count:
        end -= guard
    return begin, end


def _bends(gain: Gains, at: int, inward: int) -> bool:
    """Return whether a chunk differs from the mean of the four next to it further inside."""
    inner = [at + inward * k for k in range(1, 5)]
    if min(inner) < 0 or max(inner) >= len(gain.off):
        return False
    change = np.abs(gain.off[at] - gain.off[inner].mean(axis=0))
    bound = np.maximum(limits.EDGE_GAIN, limits.GAIN_SIGMAS * gain.sigma * 1.12)
    return bool(np.any((change > bound) & gain.judges))


def outside(gain: Gains, first: int, last: int) -> str | None:
    """Say what the tones do outside the steady part: None where they only begin and end.

    Returns
    -------
    ``"level-moved"`` (another level), ``"dropout"`` (the same level, another phase),
    ``"disturbed"`` (the same again after a disturbance), or None.
    """
    judges = gain.judges
    if not np.any(judges):
        return None
    off, energy = gain.off[:, judges], gain.energy[:, judges] - gain.noise[judges]
    usual = gain.usual[judges]
    for side in (np.arange(first - 1, -1, -1), np.arange(last, len(off))):
        verdict = _one_side(off[side], energy[side], usual, gain.sigma[judges], gain.noise[judges])
        if verdict is not None:
            return verdict
    return None


def _one_side(off: Complex, energy: Real, usual: Complex, sigma: Real, noise: Real) -> str | None:
    """Judge the chunks on one side, nearest first."""
    level = np.abs(off + usual)
    noisy = limits.GAIN_SIGMAS * sigma
    bound = np.maximum(limits.STEADY_GAIN, noisy)
    for at in range(len(off) - limits.PLATEAU_CHUNKS + 1):
        part = slice(at, at + limits.PLATEAU_CHUNKS)
        swing = np.abs(off[part] - off[part].mean(axis=0)).max(axis=0)
        change = np.abs(off[part].mean(axis=0))
        # a fade moves on by as much as it has moved; a level stays
        still = swing < np.maximum(noisy, np.minimum(bound, limits.PLATEAU_SWING * change))
        loud = np.all(energy[part] > limits.SILENT_GAIN**2 + 2.0 * noise, axis=0)
        if np.all(change < bound):
            if np.any(np.abs(off[:at]) > bound) and np.all(loud):
                return "disturbed"
            continue
        if not np.all(still & loud):
            continue
        return _kind(off[part], energy[part], usual, bound)
    if len(off) < limits.PLATEAU_CHUNKS:
        return None
    never_silent = np.all(np.median(energy, axis=0) > 0.5) or np.all(level > 0.3)
    return _kind(off, energy, usual, bound) if never_silent else None


def _kind(off: Complex, energy: Real, usual: Complex, bound: Real) -> str:
    """Tell a new level from a new phase: the first changes energy as much as gain.

    Those that changed are asked, if any changed.
    """
    change = np.median(np.abs(off), axis=0)
    power = np.maximum(np.median(energy, axis=0), 0.0)
    louder = np.abs(np.sqrt(power) - np.abs(usual))
    asked = change > bound if np.any(change > bound) else np.ones(len(change), dtype=bool)
    return "dropout" if np.all((louder < 0.5 * change)[asked]) else "level-moved"
