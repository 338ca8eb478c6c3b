"""What generator and recorder add to the harmonics of a tone, from a loop-back take.

A harmonic is told against the tone it belongs to: its phase is counted from as many times the
tone's, so that it does not depend on when a take begins. For a tone of phase ``p`` at the
generator that a device turns by ``h`` (a leg that inverts: -1), a channel hears

    |v| (g h e^(i n p) + r (h e^(i p))^n)                                                  (1)

of the n-th order: the generator's ``g`` passes the device as the tone does, the recorder's ``r``
follows what it hears, whatever its memory (a tone that is turned over is a tone half a period
later). A loop-back take has ``h = 1`` and shows the sum ``g + r``, in size and phase. Of odd order
that sum is all that is needed; of even order a leg that inverts turns the generator's over against
the recorder's, and how the sum is shared between them is not known. Which leg inverts is told at
the first channel by takes of many tones (`probe.measures.upright`), at the others by their phase
against the first; where nothing tells it, either is drawn as often.

A second harmonic of device or generator that meets the tone in a bend of second order makes some
of third order, too:

    2 (v_2/|v|) (g_2 e^(i p) + r_2 h e^(i p))                                              (2)
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from probe.measures.lines import heard
from probe.measures.loading import DRAWS
from probe.measures.model import Subject
from probe.measures.upright import EVEN, keeps_polarity
from probe.session.model import Take

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]

UNMEASURED_PERCENT = 0.03
"""What recorder and generator are taken to add, percent, where no loop-back take tells: what the
plainest of interfaces add short of clipping; good ones add a tenth of it (common practice, no
source). One that does worse passes for the device."""
UNMEASURED_BENCH = (0.01 * UNMEASURED_PERCENT / 2.0**0.5,) * 2
"""The same as second and third harmonic, over the fundamental."""

SHARES = 2.0
"""A loop-back take shows generator and recorder together, which may partly cancel there and not
with a device between that inverts: 95 % of what they add along any phase is below twice what it
shows."""

EITHER = 10.0
"""Generator and recorder, two halves of one interface, are taken to differ by no more than this
ratio, either way (common practice, no source)."""

MOST_OPPOSED = 5.0
"""Both together, added in size, over what the loop-back take shows are cut off here: one case in
fifty."""

IN_LINE = 0.5
"""Share of recorders whose bend has no memory, so that its harmonics stand at 0 or 180 degrees
(common practice, no source)."""

CANDIDATES, CANDIDATES_TO = 120, 11.0
"""Sizes tried of such a harmonic over what a loop-back take shows, from one over the second figure
to it."""

REPEATS = 0.1
"""Relative standard deviation of a harmonic of generator or recorder from one take to another, a
device in place of a lead: 1 dB, or 6 degrees (common practice, no source)."""

SEEN = 2.5
"""Standard deviations at which a harmonic of a loop-back take is told from its noise; chance does
that once in 500."""

LEAST_LEVEL = 0.5
"""A loop-back take quieter than this share of the tone's level says too little: a harmonic may grow
by the n-th power, and only up to 6 dB is carried over."""

SMOOTH = 0.5
"""Share of recorders whose harmonics go with the level as a smooth bend's do; the others' fall less
where the tone is quieter (common practice, no source)."""

NEAR_TONE = 2.0
"""A loop-back tone within this ratio of the frequency tells of the size ..."""

SAME_TONE = 1.02
"""... and within this of the phase."""


@dataclass(frozen=True)
class OwnHarmonics:
    """What the bench may add to N multiples of a tone in C channels.

    Attributes
    ----------
    most
        Shape (N, C): V rms, what a loop-back take says may be there along one phase; 0 for the
        tone itself.
    shown, sd
        Shape (N, C), complex, and real: what it shows over the tone, phase against as many times
        the tone's, and standard deviation (of both parts together).
    louder
        Shape (C,): the tone's level over that of the loop-back take.
    driven
        The same of the generator, where both are declared.
    phase
        Its phase is that at this tone.
    times
        A bound is so many times ``most``.
    file
        File of the loop-back take, None where there is none.
    keeps
        How likely the first channel hears the generator's tone upright.
    """

    most: Array
    shown: Complex
    sd: Array
    louder: Array
    driven: float
    phase: bool
    times: float
    file: str | None
    keeps: float = EVEN

    @property
    def seen(self) -> NDArray[np.bool_]:
        """Shape (N, C): which are told from their noise."""
        return np.asarray(np.abs(self.shown) > SEEN * self.sd)


def own_harmonics(subject: Subject, take: Take, count: int, level: Array) -> OwnHarmonics:
    """Return what the bench may add to a tone of these levels (C,) and ``count`` - 1 harmonics.

    Raises
    ------
    BadInput
        The file of a loop-back take cannot be read.
    """
    loop = _loop_back(subject, take, level)
    if loop is not None:
        shown = _shown(loop, take, count, level)
        return replace(shown, keeps=keeps_polarity(subject, take))
    share = np.zeros((count, len(level)))
    known = min(len(UNMEASURED_BENCH), count - 1)
    share[1 : 1 + known] = np.array(UNMEASURED_BENCH[:known])[:, None]
    one = np.ones(len(level))
    return OwnHarmonics(
        share * level, share.astype(np.complex128), 0.0 * share, one, 1.0, False, 1.0, None
    )


def _loop_back(subject: Subject, take: Take, level: Array) -> Take | None:
    """Return the loop-back take nearest in frequency that is loud enough, at this gain."""
    tone = take.tones_hz[0]
    fitting = []
    for loop in subject.bench_takes("loop-back"):
        if len(loop.tones_hz) != 1 or len(loop.channels) < len(take.channels):
            continue
        same = all(
            np.isclose(a.volts_full_scale, b.volts_full_scale, rtol=1e-6)
            for a, b in zip(loop.inputs, take.inputs, strict=False)
        )
        apart = abs(np.log(loop.tones_hz[0] / tone))
        if not same or apart > np.log(NEAR_TONE):
            continue
        loud = heard(loop, np.array([loop.tones_hz[0]]))
        if np.all(np.abs(loud.volts[0, : len(level)]) >= LEAST_LEVEL * level):
            fitting.append((apart, loop.name, loop))
    return min(fitting)[2] if fitting else None


def _shown(loop: Take, take: Take, count: int, level: Array) -> OwnHarmonics:
    """Return what a loop-back take says of the bench's harmonics at this tone's level.

    Relative to the fundamental the n-th harmonic goes with the (n-1)-th power of the level where
    the tone is louder; a bound credits a quieter tone with no less.
    """
    hz = loop.tones_hz[0] * np.arange(1.0, count + 1.0)
    hz = hz[hz < 0.45 * loop.sample_rate]
    found = heard(loop, hz)
    channels = len(level)
    volts, doubt = found.volts[:, :channels], found.sd[:, :channels]
    own = np.abs(volts[0])
    shown = np.zeros((count, channels), dtype=np.complex128)
    sd, size = np.zeros((2, count, channels))
    turned = (volts[0] / own) ** np.arange(1, len(hz) + 1)[:, None]
    shown[1 : len(hz)] = volts[1:] / turned[1:] / own
    sd[1 : len(hz)] = doubt[1:] / own
    size[1:] = np.sqrt(np.maximum(np.abs(shown[1:]) ** 2 - sd[1:] ** 2, 0.0))
    driven = _driven(take, loop)
    grown = np.maximum(level / own, max(driven, 1.0)) ** np.arange(count)[:, None]
    most = np.hypot(size, 1.7 * sd) * grown * level
    apart = abs(np.log(loop.tones_hz[0] / take.tones_hz[0]))
    same = bool(apart < np.log(SAME_TONE))
    return OwnHarmonics(most, shown, sd, level / own, driven, same, SHARES, loop.file)


def _driven(take: Take, loop: Take) -> float:
    """Return the generator's level in a take over that in the loop-back take; 1 if not declared."""
    if not take.drive_volts or not loop.drive_volts:
        return 1.0
    return take.drive_volts / loop.drive_volts


@dataclass(frozen=True)
class Drawn:
    """Draws of what the bench adds, V rms as heard, shape (1 + D, N, C); none in the first.

    Attributes
    ----------
    added
        What a loop-back take shows of it, or what is assumed without one.
    noise
        The noise of that, and what may be hidden in it.
    mean
        Shape (N, C): what is added in the mean; nothing where its phase is not known.
    """

    added: Complex
    noise: Complex
    mean: Complex


def draws_of(own: OwnHarmonics, volts: Complex, rng: np.random.Generator) -> Drawn:
    """Return draws of what the bench adds to a tone and its harmonics as heard, (N, C)."""
    size = np.abs(volts[0])
    turn = volts[0] / np.maximum(size, 1e-300)
    shape = (1 + DRAWS, len(volts), 1)
    order = np.arange(1, len(volts) + 1)[:, None]
    if own.file is None:
        any_phase = rng.random(shape) * np.exp(2j * np.pi * rng.random(shape))
        added = any_phase * turn**order * own.shown
        return Drawn(_cleared(added * size), np.zeros_like(added), 0.0 * volts)
    keeps = np.where(rng.random((1 + DRAWS, 1, 1)) < own.keeps, 1.0, -1.0)
    start = turn[0] * keeps
    generator, recorder = _halves(own, rng)
    if not own.phase:
        any_phase = np.exp(2j * np.pi * rng.random(shape))
        generator, recorder = generator * any_phase, recorder * any_phase
    smooth = rng.random((1 + DRAWS, 1, 1)) < SMOOTH
    power = np.where(smooth, 1.0, rng.random((1 + DRAWS, 1, 1)))
    recorder = recorder * own.louder ** (power * (order - 1)) * _repeated(rng, shape)
    generator = generator * own.driven ** (power * (order - 1)) * _repeated(rng, shape)
    added = generator * (turn / start) * start**order + recorder * turn**order
    if len(volts) > 2:
        mixed = generator[:, 1] * start[:, 0] + recorder[:, 1] * turn
        added[:, 2] += 2.0 * volts[1] / np.maximum(size, 1e-300) * mixed
    hidden = np.sqrt(np.maximum(np.abs(own.shown) ** 2 - own.sd**2, 0.0)) * ~own.seen
    noise = own.sd * _white(rng, (1 + DRAWS, *own.shown.shape))
    noise = noise + hidden * np.exp(2j * np.pi * rng.random(shape))
    added = _cleared(added * size)
    mean = np.mean(added[1:], axis=0) if own.phase else 0.0 * volts
    return Drawn(added, _cleared(noise * size), mean)


def _cleared(draws: Complex) -> Complex:
    """Return draws that leave the nominal value and the tone itself alone."""
    draws[0] = 0.0
    draws[:, 0] = 0.0
    return draws


def _white(rng: np.random.Generator, shape: tuple[int, ...]) -> Complex:
    both = rng.standard_normal((2, *shape)) / np.sqrt(2.0)
    return np.asarray(both[0] + 1j * both[1])


def _repeated(rng: np.random.Generator, shape: tuple[int, ...]) -> Complex:
    return 1.0 + REPEATS * _white(rng, shape)


def _halves(own: OwnHarmonics, rng: np.random.Generator) -> tuple[Complex, Complex]:
    """Return draws of generator and recorder, together what was shown, shape (1 + D, N, C).

    Of any ratio up to `EITHER`; the recorder's in line with the tone in `IN_LINE` of the draws.
    """
    shape = (1 + DRAWS, len(own.shown), 1)
    ratio = EITHER ** rng.uniform(-1.0, 1.0, shape) * np.exp(2j * np.pi * rng.random(shape))
    together = 1.0 + ratio
    least = (1.0 + np.abs(ratio)) / MOST_OPPOSED
    together = together * np.maximum(least / np.maximum(np.abs(together), 1e-300), 1.0)
    recorder, generator = (
        own.seen * own.shown * part for part in (1.0 / together, ratio / together)
    )
    if own.phase:
        place = rng.random(shape[:2])
        straight = rng.random((1 + DRAWS, 1)) < IN_LINE
        for n, c in np.argwhere(own.seen):
            line = _in_line(complex(own.shown[n, c]), place[:, n])
            pick = straight[:, 0]
            recorder[pick, n, c] = line[pick]
            generator[pick, n, c] = own.shown[n, c] - line[pick]
    return generator, recorder


def _in_line(shown: complex, place: Array) -> Array:
    """Return draws of a recorder's harmonic in line with the tone, real, at places in (0, 1).

    Every size of it is as likely as ten times that, and of the generator's at any phase; both
    together are what was shown: ``p(r) dr ~ d(ln r) / |s - r|²``.
    """
    size = np.geomspace(1.0 / CANDIDATES_TO, CANDIDATES_TO, CANDIDATES)
    one = np.concatenate([-size[::-1], size])
    other = np.abs(shown / abs(shown) - one)
    ratio = other / np.abs(one)
    allowed = (ratio <= EITHER) & (ratio >= 1.0 / EITHER) & (other + np.abs(one) <= MOST_OPPOSED)
    weight = np.cumsum(allowed / np.maximum(other, 1e-3) ** 2)
    picked = np.searchsorted(weight, place * weight[-1])
    return np.asarray(one[np.minimum(picked, len(one) - 1)] * abs(shown))
