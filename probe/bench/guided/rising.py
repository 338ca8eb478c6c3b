"""The maximum of an output: a tone that rises by half a decibel at a time until it clips.

How far it may rise is reckoned before anything sounds, from a take plugged alike: what the
interface gives, what its inputs may hear, and what somebody set. On the way every step is judged
(`probe.bench.judged.rising`) before the next.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from probe.bench.guided.taking import Made, Taker, peak_of, take_of
from probe.bench.guided.wanted_level import MOST_HEARD, MOST_PLAYED
from probe.bench.judged.judge import AGAIN_ALONE
from probe.bench.judged.judgement import Judgement
from probe.bench.judged.legs import exchanged_words
from probe.bench.judged.rising import Watching
from probe.bench.planned.steps import Played, Step, take_table
from probe.bench.stream.recorded import Progress, Recorded
from probe.bench.stream.rising import Stairs
from probe.bench.stream.sound import Part, Purpose, Sound
from probe.bench.stream.stop import Reason
from probe.bench.stream.wav import read
from probe.bench.tones.sets import TONE
from probe.measures.steps import USED
from probe.numbers import number, write_number
from probe.phasors import TakePhasors, measure_take
from probe.session.model import Bench, Take
from probe.stage.turned import turned_alone

STEP_DB = 0.5
"""From step to step, at most: hard corners take a tone from nothing to 2 % in one, to 5 % in one of
1 dB; between two the analysis knows from the wave where 1 % was passed."""

STEP_S = 2.0
"""Length of a step: a quarter is left out while the device settles, and the rest is long enough for
harmonics of a tenth of the limit."""

LEAST_STEPS = 2
"""Fewer whole steps than these say nothing."""

SPARE = 0.97
"""Of what an input may hear: noise and hum come on top, and a gain nobody metered to 0.1 dB."""

End = Literal["output", "input", "asked"]

WORDS: Mapping[End, tuple[str, str]] = {
    "output": (
        "the interface's output gives no more",
        "an interface with a higher output, or the device's volume further up (another volume "
        "position of this session)",
    ),
    "input": (
        "an input of the interface would come within 3 dB of its full scale",
        "less input gain, or a pad of 20 dB before each input; calibrate that setting (probe "
        "calibrate) and make a session of its own with --maximum",
    ),
    "asked": ("it was not to go above the level you set", "nothing, unless the maker allows more"),
}
"""Why no louder step was planned, and what would settle the maximum then."""


@dataclass(frozen=True)
class Rise:
    """Steps to be made.

    Attributes
    ----------
    levels
        Drive, V rms.
    end
        What forbids a louder one.
    expected
        V rms of each channel at the first one, by role.
    """

    levels: tuple[float, ...]
    end: End
    expected: Mapping[str, float]


ABOVE = "That is below its maximum, which is not looked for further: something else gave way first."
"""Said where the output that is looked for was not the one that clipped."""

NOTHING_ALIKE = Judgement(
    "stopped",
    "no good take plugged alike is there, from which to reckon how far the tone may rise",
    "skip it; begin the side anew, or continue the session with that take made again",
)


def alike(step: Step, takes: Sequence[TakePhasors]) -> TakePhasors | None:
    """Return the take that is plugged as a step is and heard its tone, or None.

    Of several the one driven least, which bends least; of like ones the latest.
    """
    found = [
        (p.take.drive_volts, p)
        for p in reversed(takes)
        if not p.take.loads and not p.take.injections and p.take.drive_volts
        if p.take.channels == step.plugged.channels and _row(p) is not None
    ]
    return min(found, key=lambda one: one[0], default=(0.0, None))[1]


def _row(phasors: TakePhasors) -> int | None:
    """Return the row of the tone."""
    found = np.flatnonzero(phasors.played & np.isclose(phasors.hz, TONE.hz[0], rtol=1e-6))
    return int(found[0]) if len(found) else None


def rise_of(
    before: TakePhasors,
    bench: Bench,
    body: Mapping[str, Any],
    start: float,
    most_volts: float | None,
) -> Rise:
    """Plan the steps of an output.

    Parameters
    ----------
    before
        A take plugged alike.
    bench
        Full scale of inputs and outputs.
    body
        Facts of the side so far.
    start
        Drive that the output was given before, V rms.
    most_volts
        V rms between the legs that must not be passed; None: none was set.
    """
    row, drive = _row(before), before.take.drive_volts
    assert row is not None
    assert drive
    gains: dict[str, float] = {
        role: float(abs(before.volts[row, c])) / drive
        for c, role in enumerate(before.take.channels)
        if role != "unused"
    }
    ends: dict[End, float] = {}
    full = bench.outputs[0].volts_full_scale if bench.outputs else 1.0
    ends["output"] = MOST_PLAYED * full / peak_of(TONE)
    scales = zip(before.take.channels, before.take.inputs, strict=True)
    ends["input"] = min(
        SPARE * MOST_HEARD * scale.volts_full_scale / (math.sqrt(2.0) * max(gains[role], 1e-6))
        for role, scale in scales
        if role in gains
    )
    between = number(body.get("facts", {}).get("differential_level"))
    driven = number(body.get("conditions", {}), "drive_volts")
    if most_volts is not None and between and driven:
        ends["asked"] = most_volts * driven / between
    end = min(ends, key=lambda k: ends[k])
    top = ends[end]
    first = min(start, top / 2.0) / 10.0 ** (STEP_DB / 20.0)
    count = math.ceil(20.0 * math.log10(top / first) / STEP_DB - 1e-9)
    levels = tuple(float(f"{v:.6g}") for v in np.geomspace(first, top, count + 1))
    expected = {r: g * levels[0] for r, g in gains.items() if r != "reference"}
    return Rise(levels, end, expected)


def exchanged(
    take: Take, first: int, samples: NDArray[np.float32], mains_hz: float, before: TakePhasors
) -> bool:
    """Return whether the legs of a rising tone changed places against a take plugged alike.

    Levels say nothing of legs that are alike; the tone as played in one stream does.

    Parameters
    ----------
    take
        The rising take as it was recorded.
    first, samples
        Where a piece of steady tone begins in it, and that piece, shape (N, C), over full scale.
    mains_hz
        Nominal mains frequency.
    before
        A good take plugged alike.
    """
    if take.start_frame is None:
        return False
    begins, frames = take.start_frame + first, len(samples)
    piece = replace(take, signal="tone", start_frame=begins, frames=frames)
    return turned_alone(measure_take(piece, mains_hz, pieces=[samples]), before)


def make_rising(
    taker: Taker, step: Step, rise: Rise, before: TakePhasors
) -> tuple[Made, tuple[str, ...]]:
    """Play and record the steps; return what became of it, and what to say of it.

    ``before``: a good take plugged alike.
    """
    levels, recorder = rise.levels, taker.recorder
    played = Played(TONE.hz, TONE.phases_deg, levels_volts=levels, step_s=STEP_S)
    said = take_table(step, played, taker.store.free_file(step.stem))
    path = taker.store.begin(said)
    empty = Recorded(None, None, "", 0, 0, round(recorder.rate), (), (), ())
    watching = Watching(take_of(step, played, empty, taker.bench), levels, STEP_S, rise.expected)
    drive = Part(0, Sound(taker.tone_of_one_volt() * levels[0], "volts"), Purpose.DRIVE)
    climb = tuple(20.0 * math.log10(v / levels[0]) for v in levels)

    def tell(p: Progress) -> None:
        now = levels[min(int(p.seconds / STEP_S), len(levels) - 1)]
        taker.tell(p.seconds, p.of_seconds, f"rising: {write_number(now, 'V')} into the device")

    recorder.set_ceilings([MOST_HEARD] * len(step.plugged.channels))
    try:
        taken = recorder.rise(path, [drive], Stairs(climb, STEP_S, watching), tell)
    finally:
        recorder.set_ceilings([1.0] * len(step.plugged.channels))
    if watching.wrong is not None:
        return Made(step, taken, judged=(watching.wrong,)), ()
    whole = len(watching.rungs)
    if not taken.complete or taken.path is None:
        return Made(step, taken), ()
    if whole < LEAST_STEPS:
        stop = taken.ended.message if taken.ended else "it ended at once"
        why = Judgement("stopped", stop, "turn the input gain or the volume down, then again")
        return Made(step, taken, judged=(why,)), ()
    if taken.lost:
        lost = Judgement("samples-lost", "the interface lost samples", AGAIN_ALONE)
        return Made(step, taken, judged=(lost,)), ()
    taker.store.begin({**said, "levels_volts": list(levels[:whole])})
    rate = round(recorder.rate)
    first, count = (round(s * STEP_S * rate) for s in (USED[0], USED[1] - USED[0]))
    samples = read(taken.path, len(step.plugged.channels), count, first)
    said_take = take_of(step, played, taken, taker.bench)
    if exchanged(said_take, first, samples, taker.bench.mains_hz, before):
        return Made(step, taken, judged=(exchanged_words(),)), ()
    return Made(step, taken, played=replace(played, levels_volts=levels[:whole])), _told(
        rise, watching, taken
    )


def _told(rise: Rise, watching: Watching, taken: Recorded) -> tuple[str, ...]:
    """Return why it ended, how far it came, and what would settle what is not."""
    told = watching.told()
    came = f"{told[0].upper()}{told[1:]}."
    ended = taken.ended
    if ended is not None and ended.reason is Reason.ENOUGH:
        said = (f"The tone was faded out: {ended.message}.", came)
        return said if watching.passed else (*said, ABOVE)
    if watching.passed:  # at the very last step there was
        return (came,)
    why, settles = WORDS["input"] if ended is not None else WORDS[rise.end]
    return (
        f"{came} It did not clip, and {why}: the maximum is above that.",
        f"What would settle it: {settles}.",
    )
